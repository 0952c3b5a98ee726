// A learned forest as a source file: lines that can be read, compared and searched.
import { packForest } from '../../dist/model/pack-forest.js';

/** @param name of the forest, as in `Models` */
export function formatModel(name, forest, sceneCount) {
  const { cuts, nodes, ...rest } = packForest(forest), list = (values) => `[\n${values.map((v) => JSON.stringify(v)).join(',\n')}\n]`;
  const fields = [...Object.entries(rest).map(([key, value]) => [key, JSON.stringify(value)]), ['cuts', list(cuts)], ['nodes', list(nodes)]];
  const text = `{\n${fields.map(([key, value]) => `${JSON.stringify(key)}:${value}`).join(',\n')}\n}`;
  return `import { unpackForest } from './pack-forest.js';\n\n/** Learned on ${sceneCount} simulated scenes by bench/learn; not to be edited by hand. */\nexport const ${name}Forest = unpackForest(JSON.parse(\`${text}\`));\n`;
}

export function nameModelFile(name) {
  return `learned-${name.replace(/[A-Z]/g, (c) => `-${c.toLowerCase()}`)}.ts`;
}
