export { RandomWords } from '../numeric/random-words.js';
