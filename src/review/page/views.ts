import type { App } from './app.js';
import type { View } from './tabs.js';

/** The tabs, by the tables that are there. */
export function listViews(_app: App): View[] {
  return [{ id: 'tracks', title: 'Tracks' }];
}
