// docs/api.md from the docstrings of what the library exports: an overview, then names by group with signature, sentences, errors and examples.
import { readFileSync } from 'node:fs';
import { join, relative } from 'node:path';
import ts from 'typescript';
import { formatSignature, readDocstring, readExports } from './read-exports.mjs';

/** Titles in the order of the page, each with the places in src/ whose exports belong there; the longest place that fits decides. */
const GROUPS = [
  ['Attribution', ['api', 'pipeline', 'node/attribute', 'browser/attribute', 'browser/load-kernels']],
  ['Studies and recordings', ['study', 'audio', 'node/draft-folder', 'node/study-files', 'browser/open-files', 'browser/blob-source']],
  ['Tables', ['table', 'schema/rows']],
  ['Scores and probabilities', ['score', 'refit', 'table/labels']],
  ['Rates, habituation and excluded time', ['analysis/rates', 'analysis/habituation', 'analysis/exclusions', 'schema/analysis-rows', 'table/analysis-tables', 'table/handling']],
  ['Networks of calls and replies', ['analysis/network']],
  ['Clips', ['node/clips-to-folder', 'table/region-table']],
  ['Tag plans', ['analysis/plan']],
  ['Simulation', ['simulate']],
  ['Errors', ['schema/errors']],
];

/** @returns the text of docs/api.md */
export function makeApiPage(root) {
  const entries = mergeBuilds(root);
  const groups = GROUPS.map(([title]) => [title, entries.filter((e) => e.group === title)]);
  const parts = [readFileSync(join(root, 'src', 'build', 'api-intro.md'), 'utf8').trim(), formatOverview(groups), ...groups.map(([title, list]) => formatGroup(title, list))];
  return `${parts.join('\n\n')}\n`;
}

/** Exports of both builds, each once: { name, group, variants: [{ where, node, doc }] }; `where` is '' for what is the same in both. */
function mergeBuilds(root) {
  const parsed = new Map();
  const list = (build) => readExports(join(root, 'src', build, 'index.ts'), parsed);
  const inNode = list('node');
  const inPage = list('browser');
  const merged = new Map();
  const add = (e, where) => {
    const entry = merged.get(e.name) ?? { name: e.name, group: findGroup(relative(join(root, 'src'), e.file).replaceAll('\\', '/'), e.name), variants: [] };
    merged.set(e.name, entry);
    if (!entry.variants.some((v) => v.node === e.node)) entry.variants.push({ where, node: e.node, doc: readDocstring(e.node) });
  };
  for (const e of inNode) add(e, inPage.some((o) => o.name === e.name && o.node === e.node) ? '' : 'in Node');
  for (const e of inPage) add(e, 'in a page');
  return [...merged.values()].map(requireDocstring);
}

function findGroup(file, name) {
  const fits = GROUPS.flatMap(([title, places]) => places.filter((p) => file.startsWith(p)).map((p) => [p.length, title])).sort((a, b) => b[0] - a[0]);
  if (fits.length === 0) throw new Error(`docs: ${name} of src/${file} has no group; name its place in src/build/make-api-page.mjs`);
  return fits[0][1];
}

/** A type speaks for itself, and a table has its own words; every other name needs a sentence. */
function requireDocstring(entry) {
  if (isValue(entry) && entry.variants.some((v) => describe(v) === '')) throw new Error(`docs: ${entry.name} has no docstring`);
  return entry;
}

const isType = (node) => ts.isInterfaceDeclaration(node) || ts.isTypeAliasDeclaration(node);
const isValue = (entry) => !isType(entry.variants[0].node);
const tellWhere = (entry) => (entry.variants.some((v) => v.where === '') || entry.variants.length > 1 ? '' : entry.variants[0].where);

function formatOverview(groups) {
  const lines = groups.map(([title, list]) => {
    const names = list.filter(isValue).map((e) => `[\`${e.name}\`](#${e.name.toLowerCase()})${tellWhere(e) ? ` (${tellWhere(e)})` : ''}`);
    return `| [${title}](#${title.toLowerCase().replace(/[^a-z ]/g, '').replaceAll(' ', '-')}) | ${names.join(', ')} |`;
  });
  return ['## All names', '', '| what for | names |', '|---|---|', ...lines].join('\n');
}

function formatGroup(title, list) {
  const types = list.filter((e) => !isValue(e));
  const parts = [`## ${title}`, ...list.filter(isValue).map(formatEntry)];
  if (types.length > 0) {
    const texts = types.map((e) => e.variants.map((v) => formatType(v)).join('\n\n'));
    parts.push(`<details><summary>Types: ${types.map((e) => e.name).join(', ')}</summary>\n\n\`\`\`ts\n${texts.join('\n\n')}\n\`\`\`\n\n</details>`);
  }
  return parts.join('\n\n');
}

function formatEntry(entry) {
  const where = tellWhere(entry);
  return [`### ${entry.name}`, ...(where ? [`Only ${where}.`] : []), ...entry.variants.map((v) => formatVariant(entry, v))].join('\n\n');
}

function formatVariant({ name, variants }, variant) {
  const { where, node, doc } = variant;
  const parts = [
    ...(variants.length > 1 && where ? [`${where[0].toUpperCase()}${where.slice(1)}:`] : []),
    `\`\`\`ts\n${formatDeclaration(name, node)}\n\`\`\``, describe(variant),
  ];
  const notes = [...doc.params.map(([parameter, text]) => `- \`${parameter}\`: ${text}`), ...doc.throws.map((text) => `- Throws ${text}`)];
  if (notes.length > 0) parts.push(notes.join('\n'));
  for (const example of doc.examples) parts.push(`\`\`\`ts\n${example}\n\`\`\``);
  return parts.join('\n\n');
}

function formatDeclaration(name, node) {
  if (ts.isFunctionDeclaration(node)) return formatSignature(name, node);
  if (ts.isClassDeclaration(node)) return formatClass(node);
  const { type, initializer } = node.declarationList.declarations.find((d) => d.name.text === name);
  if (type) return `const ${name}: ${type.getText()}`;
  const text = initializer.getText().replace(/\s+/g, ' ');
  return text.length < 200 ? `const ${name} = ${text}` : `const ${name}`;
}

/** What of a class can be seen from outside, each member after its own docstring. */
function formatClass(node) {
  const isOpen = (m) => !(ts.getModifiers(m) ?? []).some((x) => [ts.SyntaxKind.PrivateKeyword, ts.SyntaxKind.ProtectedKeyword].includes(x.kind)) && !(m.name && ts.isPrivateIdentifier(m.name));
  const members = node.members.filter(isOpen).flatMap((m) => {
    const { text } = readDocstring(m);
    const line = formatMember(m);
    return line === '' ? [] : [...(text ? [`  /** ${text} */`] : []), `  ${line}`];
  });
  const base = node.heritageClauses?.map((h) => ` ${h.getText()}`).join('') ?? '';
  return [`class ${node.name.text}${base} {`, ...members, '}'].join('\n');
}

function formatMember(m) {
  if (ts.isConstructorDeclaration(m)) return formatSignature('constructor', m);
  if (ts.isMethodDeclaration(m)) return formatSignature(m.name.getText(), m);
  if (ts.isGetAccessorDeclaration(m)) return `readonly ${m.name.getText()}${m.type ? `: ${m.type.getText()}` : ''}`;
  return ts.isPropertyDeclaration(m) && m.type ? `${(ts.getModifiers(m) ?? []).map((x) => `${x.getText()} `).join('')}${m.name.getText()}: ${m.type.getText()}` : '';
}

function formatType({ node, doc }) {
  return `${doc.text ? `/** ${doc.text} */\n` : ''}${node.getText().replace(/^export /, '')}`;
}

/** The docstring; for a table that has none, its title and description. */
function describe({ node, doc }) {
  if (doc.text || !ts.isVariableStatement(node)) return doc.text;
  const { initializer } = node.declarationList.declarations[0];
  if (!initializer || !ts.isObjectLiteralExpression(initializer)) return '';
  const read = (key) => initializer.properties.find((p) => p.name?.getText() === key && ts.isPropertyAssignment(p) && ts.isStringLiteralLike(p.initializer))?.initializer.text ?? '';
  return read('title') === '' ? '' : `Columns of the table "${read('title')}". ${read('description')}`;
}
