export type Vec3 = readonly [number, number, number];

export function subtract(a: Vec3, b: Vec3): Vec3 { return [a[0] - b[0], a[1] - b[1], a[2] - b[2]]; }
export function addScaled(a: Vec3, b: Vec3, scale: number): Vec3 { return [a[0] + scale * b[0], a[1] + scale * b[1], a[2] + scale * b[2]]; }
export function dot(a: Vec3, b: Vec3): number { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; }
export function distance(a: Vec3, b: Vec3): number { return Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]); }
export function unit(a: Vec3): Vec3 { const n = Math.hypot(a[0], a[1], a[2]) || 1; return [a[0] / n, a[1] / n, a[2] / n]; }
