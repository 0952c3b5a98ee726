import { readFileSync } from 'node:fs';

/** Version of this program. */
export function readVersion(): string {
  return (JSON.parse(readFileSync(new URL('../../package.json', import.meta.url), 'utf8')) as { version: string }).version;
}
