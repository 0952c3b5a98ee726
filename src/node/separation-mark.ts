import { createHash } from 'node:crypto';
import { rm, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { isResultWhole } from './attribute-to-folder.js';
import { readJsonFile } from './run-record.js';
import { writeFileAtomic } from './write-files.js';

export const MARK_NAME = 'separation-unfinished.json';

/**
 * A small file that lies in the folder of the tracks while they are made: what a run that was stopped has left there may be replaced by the same
 * command, and by no other, without being told to.
 */
export class SeparationMark {
  private constructor(private readonly path: string, private readonly commandSha256: string, private readonly overwrite: boolean, readonly isOwn: boolean, private hasCalls: boolean) {}

  /** @param command all that makes a command the same */
  static async read(folder: string, command: { overwrite: boolean } & Record<string, unknown>): Promise<SeparationMark> {
    const path = join(folder, MARK_NAME), commandSha256 = createHash('sha256').update(JSON.stringify(command)).digest('hex');
    const isThere = await stat(path).then((found) => found.isFile(), () => false);
    // One that cannot be read allows nothing.
    const found = isThere ? await readJsonFile(path).catch(() => undefined) : undefined;
    const isOwn = found?.commandSha256 === commandSha256;
    return new SeparationMark(path, commandSha256, command.overwrite, isOwn, isOwn && found?.hasCalls === true);
  }

  /** @param hasCalls true once the calls that the tracks are made from were found as a part of this command */
  async write(hasCalls = this.hasCalls): Promise<void> {
    this.hasCalls = hasCalls;
    await writeFileAtomic(this.path, `${JSON.stringify({ schema: 1, commandSha256: this.commandSha256, hasCalls }, null, 2)}\n`, { overwrite: true });
  }

  /** True where the stopped run had found the calls in this folder; ones that --force was to replace are not taken for them. */
  async ownsCalls(folder: string): Promise<boolean> {
    return this.isOwn && (this.hasCalls || !this.overwrite) && await isResultWhole(folder);
  }

  remove(): Promise<void> { return rm(this.path, { force: true }); }
}
