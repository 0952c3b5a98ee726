import { stat } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import { listKnownBirds, refuseUnknownBirds } from '../../analysis/exclusions/known-birds.js';
import { buildNetwork, compareNetworks, formatNetwork, formatNetworkFiles, networkTables, networkToJson } from '../../analysis/network/index.js';
import type { ComparedEdge, ExcludedWindow, Network, NetworkComparison, NetworkInput } from '../../analysis/network/index.js';
import { prepareFolder, writeFileAtomic } from '../../node/write-files.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import { parseDecimal, readCsv } from '../../table/csv-text.js';
import { parseCsv } from '../../table/csv-table.js';
import { soundTable, trackTable } from '../../table/table-specs.js';
import type { TableSpec } from '../../table/table-specs.js';
import { EXIT } from '../io.js';
import type { CommandIo } from '../io.js';
import type { NetworkCommandOptions } from './network.js';
import { readCalls, readTextFile } from './read-result.js';

/** What `volary network` does. */
export async function runNetwork(io: CommandIo, folder: string, options: NetworkCommandOptions): Promise<number> {
  checkOptions(options);
  const input = await readInput(io, folder, options);
  const others = options.compare === undefined ? undefined : await readEdges(options.compare);
  const target = options.out ?? folder;
  // What the command wrote before beside the tables it read may be replaced; another folder is the user's.
  const isOwn = resolve(target) === resolve(folder);
  const names = [...networkTables.flatMap((t) => [`${t.name}.csv`, `${t.name}.parquet`]), 'network-datapackage.json', 'network.csv-metadata.json', 'network.graphml', 'network.json'];
  await prepareFolder(target, names, { overwrite: isOwn || options.force });
  const network = build(io, input, options);
  const comparison = others && compareNetworks(network.edges, others, network.settings.permutations, options.seed);
  for (const [name, data] of Object.entries(formatNetworkFiles(network, comparison))) await writeFileAtomic(join(target, name), data, { overwrite: true });
  report(io, network, comparison, target);
  return EXIT.done;
}

/** Says in words of the command line what the library would refuse in its own. */
function checkOptions({ window: [, to], jitter, block }: NetworkCommandOptions): void {
  if (jitter < 4 * to) throw new VolaryError('bad-option', { where: '--jitter', what: 'too short for the reply window', got: String(jitter), expected: `at least ${4 * to}, four times the end of --window` });
  const least = Math.max(20 * to, 2 * jitter);
  if (block < least) throw new VolaryError('bad-option', { where: '--block', what: 'too short for the reply window and the jitter', got: String(block), expected: `at least ${least}` });
}

function build(io: CommandIo, input: NetworkInput, o: NetworkCommandOptions): Network {
  const progress = io.progress('network', 1);
  try {
    return buildNetwork(input, {
      fromSec: o.window[0], toSec: o.window[1], threshold: o.threshold, blockSec: o.block, jitterSec: o.jitter, surrogates: o.surrogates, draws: o.draws, seed: o.seed,
      sharedGapSec: o.sharedGap, falseShare: o.falseShare, leastRatio: o.leastRatio, leastRateRatio: o.leastRateRatio, missedShare: o.missed, binSec: o.bin, utcOffsetMin: o.utcOffset,
    }, (_, done, total) => progress.update(done / total));
  } finally {
    progress.end();
  }
}

function report(io: CommandIo, network: Network, comparison: NetworkComparison | undefined, target: string): void {
  io.out(io.json ? networkToJson(network, comparison).trimEnd() : `${formatNetwork(network, comparison)}\ntables in ${target}`);
}

async function readInput(io: CommandIo, folder: string, options: NetworkCommandOptions): Promise<NetworkInput> {
  const calls = await readCalls(folder);
  const tracks = await readIfThere(folder, trackTable);
  if (!tracks) io.note('volary network: no tracks.csv: all time up to the last call counts as observed');
  const bonds = options.bonds === undefined ? undefined : readPairs(await readTextFile(options.bonds, 'give a CSV file with the columns bird_a and bird_b'), options.bonds);
  const excluded = await readExcluded(folder);
  refuseUnknownBirds(excluded, listKnownBirds(tracks ?? [], calls), quoteName(join(folder, 'excluded.csv')));
  return { calls, tracks, sounds: await readIfThere(folder, soundTable), excluded, bonds };
}

async function isFile(path: string): Promise<boolean> {
  return (await stat(path).catch(() => undefined))?.isFile() ?? false;
}

async function readIfThere<Row>(folder: string, table: TableSpec<Row>): Promise<Row[] | undefined> {
  const path = join(folder, `${table.name}.csv`);
  return await isFile(path) ? parseCsv(table, await readTextFile(path, ''), path) : undefined;
}

async function readExcluded(folder: string): Promise<ExcludedWindow[]> {
  const path = join(folder, 'excluded.csv');
  if (!(await isFile(path))) return [];
  const { rows } = readCsv(await readTextFile(path, ''), path, 'bad-table', ['bird', 'start_s', 'end_s', 'reason']);
  return rows.map(({ row, values }) => {
    const readTime = (column: string): number => {
      const value = parseDecimal(values[column]);
      if (value === undefined) throw new VolaryError('bad-table', { where: `${quoteName(path)} row ${row} column ${column}`, what: 'wrong value', got: quoteName(values[column]), expected: 'seconds with a decimal point' });
      return value;
    };
    const startSec = readTime('start_s');
    const endSec = readTime('end_s');
    if (endSec <= startSec) throw new VolaryError('bad-table', { where: `${quoteName(path)} row ${row} column end_s`, what: 'the window ends before it starts', got: values.end_s, expected: `more than ${values.start_s}` });
    return { bird: values.bird, startSec, endSec, reason: values.reason };
  });
}

function readPairs(text: string, name: string): [string, string][] {
  const { rows } = readCsv(text, name, 'bad-table', ['bird_a', 'bird_b']);
  return rows.map(({ row, values }) => {
    if (!values.bird_a || !values.bird_b || values.bird_a === values.bird_b) {
      throw new VolaryError('bad-table', { where: `${quoteName(name)} row ${row}`, what: 'not a pair', got: `${quoteName(values.bird_a)} and ${quoteName(values.bird_b)}`, expected: 'the names of two birds' });
    }
    return [values.bird_a, values.bird_b];
  });
}

async function readEdges(folder: string): Promise<ComparedEdge[]> {
  const path = join(folder, 'network.csv');
  const { rows } = readCsv(await readTextFile(path, `run 'volary network ${folder}' first`), path, 'bad-table', ['caller', 'replier', 'excess', 'excess_low', 'excess_high']);
  const toNumber = (text: string): number => parseDecimal(text) ?? NaN;
  return rows.map(({ values: v }) => ({ caller: v.caller, replier: v.replier, excess: toNumber(v.excess), excessLow: toNumber(v.excess_low), excessHigh: toNumber(v.excess_high) }));
}
