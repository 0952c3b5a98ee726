import { expect, it } from 'vitest';
import { RandomWords } from '../../src/numeric/random-words.js';

it.each([0, 1, 2, 67, 1000])('%i words at once are those drawn one by one, and the next go on from there', (count) => {
  const at = new RandomWords(7);
  const one = new RandomWords(7);
  const words = new Uint32Array(count);
  at.fillWords(words);
  expect(Array.from(words)).toEqual(Array.from({ length: count }, () => one.nextWord()));
  expect(at.nextWord()).toBe(one.nextWord());
});
