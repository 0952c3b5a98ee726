import type { Forest } from './forest.js';
export const untaggedForest: Forest = { features: [], bias: 0, trees: [], calibration: { from: [], to: [] } };
