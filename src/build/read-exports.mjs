// What an entry of the library exports, read from the sources alone: name, kind, signature, docstring, file.
import { readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import ts from 'typescript';

/**
 * @param entry path of a module of src/, such as src/node/index.ts
 * @returns [{ name, file, node, source }] in the order of the module; re-exports are followed to their declaration
 */
export function readExports(entry, parsed = new Map()) {
  const source = parse(entry, parsed);
  return source.statements.flatMap((statement) => {
    if (ts.isExportDeclaration(statement) && statement.moduleSpecifier) {
      const target = join(dirname(entry), statement.moduleSpecifier.text.replace(/\.js$/, '.ts'));
      if (!statement.exportClause) return readExports(target, parsed);
      return statement.exportClause.elements.map((e) => ({ ...findExport(target, (e.propertyName ?? e.name).text, parsed), name: e.name.text }));
    }
    return isExported(statement) ? declaredNames(statement).map((name) => ({ name, file: entry, node: statement, source })) : [];
  });
}

function findExport(file, name, parsed) {
  const found = readExports(file, parsed).find((e) => e.name === name);
  if (!found) throw new Error(`docs: ${file} has no export ${name}`);
  return found;
}

function parse(file, parsed) {
  if (!parsed.has(file)) parsed.set(file, ts.createSourceFile(file, readFileSync(file, 'utf8'), ts.ScriptTarget.ES2022, true));
  return parsed.get(file);
}

function isExported(statement) {
  return ts.canHaveModifiers(statement) && (ts.getModifiers(statement) ?? []).some((m) => m.kind === ts.SyntaxKind.ExportKeyword);
}

function declaredNames(statement) {
  if (ts.isVariableStatement(statement)) return statement.declarationList.declarations.map((d) => d.name.text);
  return statement.name ? [statement.name.text] : [];
}

/** Docstring of a declaration: { text, params: [[name, text]], throws: [text], examples: [text] }; text is '' where there is none. */
export function readDocstring(node) {
  const doc = { text: '', params: [], throws: [], examples: [] };
  const block = ts.getJSDocCommentsAndTags(node).filter(ts.isJSDoc).at(-1);
  if (!block) return doc;
  doc.text = clean(ts.getTextOfJSDocComment(block.comment));
  for (const tag of block.tags ?? []) {
    const text = clean(ts.getTextOfJSDocComment(tag.comment));
    if (ts.isJSDocParameterTag(tag)) doc.params.push([tag.name.getText(), text.replace(/^- /, '')]);
    else if (ts.isJSDocThrowsTag(tag)) doc.throws.push(clean(tag.getText().replace(/^@throws\s*/, '').replace(/\n\s*\*\/?\s*/g, ' ')));
    else if (tag.tagName.text === 'example') doc.examples.push(ts.getTextOfJSDocComment(tag.comment)?.trim() ?? '');
  }
  return doc;
}

function clean(text) {
  return (text ?? '').replace(/\s*\n\s*/g, ' ').trim();
}

/** A call as it is written: parameters with their types, what comes back. A default makes a parameter optional. */
export function formatSignature(name, node) {
  const types = node.typeParameters ? `<${node.typeParameters.map((t) => t.getText()).join(', ')}>` : '';
  const parameters = node.parameters.map((p) => {
    const isOptional = p.questionToken !== undefined || p.initializer !== undefined;
    return `${p.dotDotDotToken ? '...' : ''}${p.name.getText()}${isOptional ? '?' : ''}: ${p.type ? oneLine(p.type) : inferType(p.initializer)}`;
  });
  return `${name}${types}(${parameters.join(', ')})${node.type ? `: ${oneLine(node.type)}` : ''}`;
}

function oneLine(node) {
  return node.getText().replace(/\s*\n\s*/g, ' ');
}

function inferType(initializer) {
  if (initializer && ts.isNumericLiteral(initializer)) return 'number';
  if (initializer && ts.isStringLiteral(initializer)) return 'string';
  return initializer?.kind === ts.SyntaxKind.TrueKeyword || initializer?.kind === ts.SyntaxKind.FalseKeyword ? 'boolean' : 'unknown';
}
