import type { App } from './app.js';
import { buildCalls } from './view-calls.js';
import { buildClocks } from './view-clocks.js';
import { buildDays } from './view-days.js';
import { buildHabituation } from './view-habituation.js';
import { buildNetwork } from './view-network.js';
import { buildRates } from './view-rates.js';
import type { View } from './tabs.js';

/** The tabs. Views of tables that other commands write are there when the tables are. */
export function listViews(app: App): View[] {
  const { tables, info } = app.state.source;
  const has = (pattern: RegExp): boolean => tables.some((name) => pattern.test(name));
  const views: (View | false)[] = [
    { id: 'tracks', title: 'Tracks' },
    { id: 'days', title: 'Days', build: () => buildDays(app) },
    { id: 'calls', title: 'Calls', build: () => buildCalls(app) },
    info.recorders.length > 1 && { id: 'clocks', title: 'Clocks', build: () => buildClocks(app) },
    has(/^rates/) && { id: 'rates', title: 'Rates', build: () => buildRates(app) },
    has(/^habituation\.csv$/) && { id: 'habituation', title: 'Habituation', build: () => buildHabituation(app) },
    has(/^network\.csv$/) && { id: 'network', title: 'Network', build: () => buildNetwork(app) },
  ];
  return views.filter((v) => v !== false);
}
