export { sortedQuantile, sortedQuantileOfCopies } from '../numeric/quantile.js';
