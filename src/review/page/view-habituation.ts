import { nameBird } from './actions.js';
import type { App } from './app.js';
import { drawChart, readRows, showTable, toNumber } from './charts.js';
import { h } from './dom.js';

/** Every day after a handling against the baseline, of the group and of every bird. */
export async function buildHabituation(app: App): Promise<HTMLElement> {
  const name = 'habituation.csv';
  const { columns, rows } = readRows(await app.state.source.readTable(name), name);
  const keys = [...new Set(rows.map((r) => JSON.stringify([r.measure, r.after, r.bird])))].map((k) => JSON.parse(k) as [string, string, string]);
  keys.sort((a, b) => Number(a[2] !== '') - Number(b[2] !== ''));
  const drawOne = ([measure, after, bird]: [string, string, string]): HTMLElement => {
    const own = rows.filter((r) => r.measure === measure && r.after === after && r.bird === bird);
    const points = own.map((r) => ({
      x: toNumber(r.day), y: 100 * toNumber(r.change), low: 100 * toNumber(r.low), high: 100 * toNumber(r.high), says: `day ${r.day}: ${(100 * toNumber(r.change)).toFixed(0)} %, ${r.verdict}`,
      run: () => app.showCalls(bird ? { bird } : {}),
    }));
    return h('figure', {}, h('figcaption', {}, `${measure} after ${after === 'fitted' ? 'the tag was fitted' : after === 'battery' ? 'a battery change' : 'other handling'}`),
      drawChart({ name: `${measure} after ${after}, ${bird || 'group'}`, points }, { xTitle: 'day after handling', yTitle: 'change, %', zero: true }));
  };
  const parts = [...new Set(keys.map((k) => k[2]))].flatMap((bird) => [h('h3', {}, bird ? nameBird(bird) : 'The group'), h('div', { class: 'charts' }, ...keys.filter((k) => k[2] === bird).map(drawOne))]);
  return h('div', { class: 'page wide', tabIndex: 0, role: 'region', 'aria-label': 'Habituation' }, h('h2', {}, 'Habituation'),
    h('p', { class: 'soft' }, 'Change against the baseline at the same hours of the day, 90 % intervals. Which days to leave out is the decision of whoever runs the study.'), ...parts, showTable(name, columns, rows, (r) => ({ text: 'calls', run: () => app.showCalls(r.bird ? { bird: r.bird } : {}) })));
}
