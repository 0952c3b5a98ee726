/** Birds in body contact: one hears the other's call at most this much later (about 20 cm of sound), seconds ... */
export const CONTACT_SEC = 0.0006;
/** ... and surely the same sound: least height of the phase correlation, in standard deviations of unrelated noise. */
export const CONTACT_Z = 6;
