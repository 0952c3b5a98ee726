// The page: hands files to the worker and shows what it answers. Files go to a worker without being copied.
const files = document.querySelector('#files');
const state = document.querySelector('#state');
const list = document.querySelector('#calls');
const save = document.querySelector('#save');

const worker = new Worker(new URL('worker.js', import.meta.url), { type: 'module' });

files.addEventListener('change', () => {
  list.replaceChildren();
  worker.postMessage([...files.files]);
});

worker.addEventListener('message', ({ data }) => {
  if (data.kind === 'progress') state.textContent = `${data.stage}: ${data.done} of ${data.total}`;
  else if (data.kind === 'calls') list.append(...data.calls.map(describeCall));
  else if (data.kind === 'failed') state.textContent = data.message;
  else {
    save.href = URL.createObjectURL(new Blob([data.table], { type: 'text/csv' }));
    save.hidden = false;
    state.textContent = `${list.childElementCount} calls`;
  }
});

function describeCall({ bird, onsetSec, probability }) {
  const item = document.createElement('li');
  item.textContent = `${onsetSec.toFixed(3)} s ${bird} (${probability.toFixed(4)})`;
  return item;
}
