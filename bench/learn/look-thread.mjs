// Looks at some of the scenes in a thread of its own, and keeps what later looks need of these.
import { parentPort } from 'node:worker_threads';
import { Looker } from './looks.mjs';

const looker = new Looker();
let foldModels = [];
parentPort.on('message', ({ models, work, scene, name, fold }) => {
  if (models) foldModels = models;
  else if (work === 'look') {
    const answer = looker.look(scene, name, foldModels[fold]);
    parentPort.postMessage(answer, [answer.rows.buffer]);
  } else parentPort.postMessage(looker.judge(scene, name, foldModels[fold]));
});
