import type { Command } from 'commander';
import { EXIT, runCommand } from '../io.js';
import { addExamples, parseWhole } from '../options.js';

interface ReviewCommandOptions { port: number; study?: string }

/** Adds `review`: see, hear and correct a result in a browser. */
export function addReviewCommand(program: Command): void {
  const command = program.command('review')
    .description('see, hear and correct a result in a browser on this computer; nothing is sent anywhere')
    .argument('<dir>', "folder that 'volary attribute' has written")
    .option('--port <n>', 'TCP port on this computer (default: a free one)', parseWhole(0, 65535), 0)
    .option('--study <file>', 'study manifest (default: the one that run.json names)')
    .option('--json', 'print the address as JSON')
    .action((folder: string, options: ReviewCommandOptions) => runCommand('review', async (io) => {
      const { describeServer, startReview } = await import('../../review/server/start-review.js');
      const server = await startReview(folder, { port: options.port, studyPath: options.study, onNote: (text) => io.note(`volary review: ${text}`) });
      io.out(io.json ? JSON.stringify({ url: server.url }) : describeServer(folder, server.url));
      await waitForEnd();
      await server.close();
      return EXIT.done;
    }));
  addExamples(command, ['volary review result', 'volary review result --port 8123 --study study.json']);
  command.addHelpText('after', [
    '', 'Corrections go to labels.jsonl in the folder at once; labels.csv and verified.csv follow from it, for',
    "'volary score DIR --labels'. What was written into sample.csv by hand is taken over; that file and the tables of",
    "'volary attribute' are never changed. ? in the page shows all keys.",
  ].join('\n'));
}

/** Ctrl-C is how a review ends, not how it fails: the handlers that call it interrupted give way. */
function waitForEnd(): Promise<void> {
  return new Promise((resolve) => {
    for (const name of ['SIGINT', 'SIGTERM'] as const) process.removeAllListeners(name).once(name, () => resolve());
  });
}
