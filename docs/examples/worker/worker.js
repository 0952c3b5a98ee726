// A worker of your own: gets files, answers with blocks of calls as they are decided, at the end with the table.
import { attributeFiles, formatTables } from './volary/browser/index.js';

addEventListener('message', async ({ data: files }) => {
  try {
    const result = await attributeFiles(files, {
      // No workers of the library's own: this one does all the work. The table is the same for any number.
      workers: 0,
      onProgress: (stage, done, total) => postMessage({ kind: 'progress', stage, done, total }),
      onCalls: ({ calls }) => postMessage({ kind: 'calls', calls }),
    });
    postMessage({ kind: 'done', table: formatTables(result, result.manifest.name)['calls.csv'] });
  } catch (error) {
    postMessage({ kind: 'failed', code: error.code, message: error.message });
  }
});
