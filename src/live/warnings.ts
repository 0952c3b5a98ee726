/** What a live run warns of. Times in seconds on the reference clock. */
export const WARNING_KINDS = ['dead-link', 'link-back', 'falling-signal', 'rising-noise', 'silent-bird', 'bird-back', 'no-clock'] as const;
export type WarningKind = (typeof WARNING_KINDS)[number];

export interface WarningRow {
  timeSec: number;
  /** The wearer of the track; the recorder where its clock is what the warning is about. */
  track: string;
  kind: WarningKind;
  text: string;
}

/** '48 s', '12 min', '3.5 h'. */
export function formatSpan(sec: number): string {
  if (sec < 120) return `${Math.round(sec)} s`;
  return sec < 7200 ? `${Math.round(sec / 60)} min` : `${(sec / 3600).toFixed(1)} h`;
}

/** Told once in a silence: the clock ran straight on for so long that frames may not find it again. */
export function describeLostClock(recorder: string, timeSec: number): WarningRow {
  const text = 'for an hour or more too few calls were heard by several recorders: its clock may be off by more than can be found again; where calls are told twice from now on, start anew';
  return { timeSec, track: `recorder ${recorder}`, kind: 'no-clock', text };
}
