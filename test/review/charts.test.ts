import { describe, expect, it } from 'vitest';
import { niceMarks, timeMarks, trim, trimMark } from '../../src/review/page/charts.js';
import { chooseFrequencies, drawFrequencies } from '../../src/review/page/draw-frequencies.js';
import { layOut } from '../../src/review/page/draw-tracks.js';
import type { Theme } from '../../src/review/page/theme.js';
import { chooseStep } from '../../src/review/page/time-text.js';

describe('marks of an axis', () => {
  it('of days are whole, also where two days fill the axis', () => {
    expect(niceMarks(0.98, 2.02, 6, 1).map(trim)).toEqual(['1', '2']);
    expect(niceMarks(3.7, 16.2, 6, 1)).toEqual([5, 10, 15]);
    expect(niceMarks(5.8, 16.2, 6, 1)).toEqual([6, 8, 10, 12, 14, 16]);
  });

  it('of values are round', () => {
    expect(niceMarks(-55, 8, 4)).toEqual([-40, -20, 0]);
    expect(niceMarks(0, 0.41, 4).map(trim)).toEqual(['0', '0.2', '0.4']);
  });

  it('of values are three at least, whatever the range, and their labels differ', () => {
    expect(niceMarks(2.1, 5.9, 4)).toEqual([3, 4, 5]);
    expect(niceMarks(11, 29, 4)).toEqual([15, 20, 25]);
    const steps = Array.from({ length: 400 }, (_, k) => [3 + k * 7.3, 0.01 * 1.06 ** k]);
    for (const [low, range] of steps) {
      const marks = niceMarks(low, low + range, 4);
      expect([low, range, marks.length >= 3 && marks.length <= 9]).toEqual([low, range, true]);
      expect(new Set(marks.map((m) => trimMark(m, marks[1] - marks[0]))).size).toBe(marks.length);
    }
    expect([trimMark(1000.5, 0.5), trimMark(-0.30000000000000004, 0.1), trimMark(0.05, 0.05), trimMark(250000, 50000)]).toEqual(['1000.5', '-0.3', '0.05', '250000']);
  });

  it('of time are round times, ten at most, none before the start', () => {
    expect(timeMarks(-3, 95)).toEqual([0, 10, 20, 30, 40, 50, 60, 70, 80, 90]);
    expect(timeMarks(-20_000, 15 * 86400)).toEqual([0, 2, 4, 6, 8, 10, 12, 14].map((d) => d * 86400));
    expect(timeMarks(-100, 3600 * 5)).toEqual([0, 3600, 7200, 10800, 14400, 18000]);
  });
});

describe('axes of the tracks', () => {
  it('leave room between times in a study of any length', () => {
    const [widthPx, leastPx] = [1000, 96];
    for (let days = 1; days <= 300; days++) {
      const secPerPx = (days * 86400) / widthPx;
      const stepPx = chooseStep(secPerPx, leastPx) / secPerPx;
      expect([days, stepPx >= leastPx, stepPx <= widthPx / 2]).toEqual([days, true, true]);
    }
  });

  it('have two or three round frequencies, fewer where rows are low', () => {
    expect([chooseFrequencies(11880, 190), chooseFrequencies(16000, 100), chooseFrequencies(24000, 60), chooseFrequencies(4000, 200)]).toEqual([[4, 8], [4, 8, 12], [10, 20], [1, 2, 3]]);
    expect([chooseFrequencies(11880, 24), chooseFrequencies(11880, 8)]).toEqual([[5], []]);
    for (let topHz = 2000; topHz <= 125_000; topHz += 250) {
      const count = chooseFrequencies(topHz, 180).length;
      expect([topHz, count === 2 || count === 3]).toEqual([topHz, true]);
    }
  });

  it('write each frequency at its height in every row', () => {
    const drawn: [string, number][] = [];
    const context = { fillRect: () => undefined, strokeText: () => undefined, fillText: (text: string, _x: number, y: number) => drawn.push([text, y]) } as unknown as CanvasRenderingContext2D;
    const layout = layOut(800, 26 + 2 * 115, 2, 1);
    drawFrequencies(context, layout, 10_000, {} as Theme);
    // A row of 115 px: a lane of 15, a picture of 99 and a gap of 1; 4 kHz lies three fifths down.
    const heights = [4, 8].map((khz) => 99 * (1 - khz / 10));
    expect(drawn).toEqual([0, 1].flatMap((j) => [4, 8].map((khz, k) => [`${khz} kHz`, Math.round(26 + j * 115 + 15 + heights[k]) + 0.5])));
  });
});
