// `npm run docs`: writes docs/api.md from the docstrings of the sources.
import { writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { makeApiPage } from './make-api-page.mjs';

const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
writeFileSync(join(root, 'docs', 'api.md'), makeApiPage(root));
