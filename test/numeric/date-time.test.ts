import { describe, expect, it } from 'vitest';
import { parseDateTime } from '../../src/numeric/date-time.js';

describe('dates and times', () => {
  it('are those of the engine where the day exists', () => {
    for (const text of ['2031-05-01T06:00:00Z', '2024-02-29T23:59:59.5Z', '2031-05-01T00:10:00+02:00', '2031-12-31T23:50:00-05:00', '2031-05-01']) expect(parseDateTime(text), text).toBe(Date.parse(text));
  });

  it('are no number for days that do not exist, and for what is no time', () => {
    for (const text of ['2031-02-30T00:00:00Z', '2023-02-29T00:00:00Z', '2031-04-31T10:00:00+02:00', '2031-13-01T00:00:00Z', '2031-00-10T00:00:00Z', '2031-05-00T00:00:00Z', '2031-05-01T25:00:00Z', 'May', '']) expect(parseDateTime(text), text).toBeNaN();
  });
});
