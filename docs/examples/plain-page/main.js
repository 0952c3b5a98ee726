// A page without any tool: the library is a copy of its build beside the page, which finds kernels and workers by itself.
import { attributeFiles, formatTables } from './volary/browser/index.js';

const files = document.querySelector('#files');
const state = document.querySelector('#state');
const list = document.querySelector('#calls');
const save = document.querySelector('#save');

files.addEventListener('change', async () => {
  list.replaceChildren();
  try {
    const result = await attributeFiles(files.files, {
      workers: 2,
      onProgress: (stage, done, total) => { state.textContent = `${stage}: ${done} of ${total}`; },
      onCalls: ({ calls }) => list.append(...calls.map(describeCall)),
    });
    const table = formatTables(result, result.manifest.name)['calls.csv'];
    save.href = URL.createObjectURL(new Blob([table], { type: 'text/csv' }));
    save.hidden = false;
    state.textContent = `${result.calls.length} calls`;
  } catch (error) {
    // One line for people: what, where, got, expected, how to mend it.
    state.textContent = error.message;
  }
});

function describeCall({ bird, onsetSec, probability }) {
  const item = document.createElement('li');
  item.textContent = `${onsetSec.toFixed(3)} s ${bird} (${probability.toFixed(4)})`;
  return item;
}
