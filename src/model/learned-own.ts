import type { Forest } from './forest.js';
export const ownForest: Forest = { features: [], bias: 0, trees: [], calibration: { from: [], to: [] } };
