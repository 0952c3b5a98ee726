import type { Forest } from './forest.js';
export const firstForest: Forest = { features: [], bias: 0, trees: [], calibration: { from: [], to: [] } };
