import { describe, expect, it } from 'vitest';
import { findSurveyIndex, findSurveySpan, planCells } from '../../src/pipeline/cells.js';
import { makeRandom } from '../model/clock-synthetic.js';

const { uniform } = makeRandom(17);
const DURATIONS = [0.001, 0.5, 9.999, 10, 10.001, 29.9, 30, 59.99, 60, 89.999, 90, 91, 3600, 86400.5, 15 * 86400, ...Array.from({ length: 40 }, () => 5000 * uniform() ** 3)];

describe.each(DURATIONS)('the plan of %f seconds', (durationSec) => {
  const plan = planCells(durationSec, 1.5);

  it('covers every moment once with survey cells, each of half a minute to a minute and a half where there is so much', () => {
    let end = 0;
    for (let k = 0; k < plan.surveyCount; k++) {
      const [from, to] = findSurveySpan(plan, k);
      expect(from).toBe(end);
      expect(to).toBeGreaterThan(from);
      expect(to - from).toBeLessThanOrEqual(1.5 * plan.surveySec);
      if (durationSec >= 30) expect(to - from).toBeGreaterThanOrEqual(30 - 1e-6);
      end = to;
    }
    expect(end).toBe(durationSec);
  });

  it('finds for every moment the survey cell that holds it', () => {
    for (let n = 0; n <= 200; n++) {
      const t = (durationSec * n) / 201;
      const [from, to] = findSurveySpan(plan, findSurveyIndex(plan, t));
      expect(t).toBeGreaterThanOrEqual(from);
      expect(t).toBeLessThan(to);
    }
    expect(findSurveyIndex(plan, -5)).toBe(0);
    expect(findSurveyIndex(plan, durationSec + 1e6)).toBe(plan.surveyCount - 1);
  });

  it('covers every moment once with extraction cells, none of them empty', () => {
    expect((plan.cellCount - 1) * plan.cellSec).toBeLessThan(durationSec);
    expect(plan.cellCount * plan.cellSec).toBeGreaterThanOrEqual(durationSec);
    expect(plan.haloSec).toBeGreaterThan(1.5);
  });
});
