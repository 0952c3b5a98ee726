// Scenes are looked at by threads, each always by the same one, and answers come back in the order of the scenes: how many threads there are changes nothing.
import { Worker } from 'node:worker_threads';

/** How many scenes a thread is asked for at a time. */
const AHEAD = 4;

export class LookPool {
  /** @param scenes [{ seed, file, isPiece }] */
  constructor(scenes, threads) {
    this.scenes = scenes;
    this.threads = Array.from({ length: threads }, () => {
      const thread = new Worker(new URL('look-thread.mjs', import.meta.url)), answers = [], waiting = [];
      let failure;
      thread.on('message', (answer) => (waiting.length > 0 ? waiting.shift().resolve(answer) : answers.push(answer)));
      thread.on('error', (error) => {
        failure = error;
        for (const { reject } of waiting.splice(0)) reject(error);
      });
      const next = () => (answers.length > 0 ? answers.shift() : failure ? Promise.reject(failure) : new Promise((resolve, reject) => waiting.push({ resolve, reject })));
      return { thread, next };
    });
  }

  /** Asks for `work` ('look' or 'judge') with forest `name` of every scene, and tells the answers in their order: onAnswer(answer, fold). */
  async ask(work, name, foldModels, foldOf, onAnswer) {
    const { scenes, threads } = this;
    const send = (n) => n < scenes.length && threads[n % threads.length].thread.postMessage({ work, name, scene: scenes[n], fold: foldOf(scenes[n].seed) });
    for (const { thread } of threads) thread.postMessage({ models: foldModels });
    for (let n = 0; n < AHEAD * threads.length; n++) send(n);
    for (let n = 0; n < scenes.length; n++) {
      const answer = await threads[n % threads.length].next();
      send(n + AHEAD * threads.length);
      onAnswer(answer, foldOf(scenes[n].seed));
    }
  }

  async close() {
    await Promise.all(this.threads.map(({ thread }) => thread.terminate()));
  }
}
