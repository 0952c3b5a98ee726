export { normalCdf, normalQuantile } from '../numeric/normal.js';
