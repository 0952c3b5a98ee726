/** Entry of the page: with a review server it opens the study at once, without one it asks for recordings. */
import { compileKernels } from '../../kernels/kernels.js';
import { App } from './app.js';
import { fill, h } from './dom.js';
import { decodeKernels, viewWorkerSource } from './embedded.js';
import { openServerSource } from './source.js';
import { applyChoice, readChoice } from './theme.js';

declare global {
  /** For tests and benches. */
  var volaryPage: App | undefined;
}

async function begin(): Promise<void> {
  applyChoice(readChoice());
  const kernels = await compileKernels(decodeKernels());
  const source = await openServerSource(kernels);
  const root = h('div', { id: 'app' });
  document.body.append(root);
  document.title = `${source.info.name} – Volary`;
  globalThis.volaryPage = new App(root, source, viewWorkerSource);
}

begin().catch((error: Error) => fill(document.body, h('main', { class: 'page' }, h('h1', {}, 'This study cannot be shown'), h('p', {}, error.message))));
