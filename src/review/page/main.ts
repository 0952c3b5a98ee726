/** Entry of the page: with a review server it opens the study at once, without one it asks for recordings. */
import { compileKernels } from '../../kernels/kernels.js';
import { App } from './app.js';
import { fill, h } from './dom.js';
import { decodeKernels, viewWorkerSource } from './embedded.js';
import { createFileSource } from './file-source.js';
import { openServerSource } from './source.js';
import type { ReviewSource } from './source.js';
import { StartScreen } from './start-screen.js';
import { applyChoice, readChoice } from './theme.js';

declare global {
  /** For tests and benches. */
  var volaryPage: App | undefined;
}

async function begin(): Promise<void> {
  applyChoice(readChoice());
  const kernels = await compileKernels(decodeKernels());
  if (document.documentElement.dataset.mode === 'server') return show(await openServerSource(kernels));
  const start = new StartScreen(kernels);
  fill(document.body, start.element);
  const { study, result, notes } = await start.wait();
  show(createFileSource(kernels, study, result, notes));
}

function show(source: ReviewSource): void {
  const root = h('div', { id: 'app' });
  fill(document.body, root);
  document.title = `${source.info.name} – Volary`;
  globalThis.volaryPage = new App(root, source, viewWorkerSource);
}

begin().catch((error: Error) => fill(document.body, h('main', { class: 'page' }, h('h1', {}, 'This study cannot be shown'), h('p', {}, error.message))));
