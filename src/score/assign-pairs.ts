import { linearSumAssignment } from 'linear-sum-assignment';
import { VolaryError } from '../schema/errors.js';

/** A possible pair of a row and a column, with a weight above zero. */
export interface WeightedPair {
  row: number;
  column: number;
  weight: number;
}

/** Above this many cells in one group of conflicting pairs the table is refused rather than the memory exhausted. */
const MAX_CELLS = 16e6;

/**
 * Chooses pairs, each row and each column at most once, so that the sum of the weights is the largest possible (global optimum).
 * The pairs are split into connected groups first, and each group is solved on its own; pairs not listed can never be chosen.
 * The result is ordered by row.
 * @param pairs weights must be finite and above zero; no pair twice.
 * @throws VolaryError 'bad-table' where thousands of rows and columns all conflict with each other.
 * @example assignPairs([{ row: 0, column: 0, weight: 1 }, { row: 1, column: 0, weight: 2 }]) // the second
 */
export function assignPairs(pairs: readonly WeightedPair[]): WeightedPair[] {
  const chosen: WeightedPair[] = [];
  for (const group of splitIntoGroups(pairs)) {
    if (group.length === 1) chosen.push(group[0]);
    else chosen.push(...assignGroup(group));
  }
  return chosen.sort((a, b) => a.row - b.row);
}

/** Connected components of the bipartite graph, by union-find over rows (columns point to the first row that names them). */
function splitIntoGroups(pairs: readonly WeightedPair[]): WeightedPair[][] {
  const parent = new Map<number, number>();
  const find = (row: number): number => {
    let root = row;
    while (parent.get(root)! !== root) root = parent.get(root)!;
    for (let at = row; at !== root;) {
      const next = parent.get(at)!;
      parent.set(at, root);
      at = next;
    }
    return root;
  };
  const rowOfColumn = new Map<number, number>();
  for (const { row, column } of pairs) {
    if (!parent.has(row)) parent.set(row, row);
    const other = rowOfColumn.get(column);
    if (other === undefined) rowOfColumn.set(column, row);
    else parent.set(find(row), find(other));
  }
  const groups = new Map<number, WeightedPair[]>();
  for (const pair of pairs) {
    const root = find(pair.row);
    const group = groups.get(root);
    if (group) group.push(pair);
    else groups.set(root, [pair]);
  }
  return [...groups.values()];
}

function assignGroup(group: readonly WeightedPair[]): WeightedPair[] {
  const rows = [...new Set(group.map((p) => p.row))].sort((a, b) => a - b);
  const columns = [...new Set(group.map((p) => p.column))].sort((a, b) => a - b);
  if (rows.length === 1 || columns.length === 1) return [group.reduce((best, p) => (p.weight > best.weight ? p : best))];
  if (rows.length * columns.length > MAX_CELLS) {
    throw new VolaryError('bad-table', {
      what: 'too many calls conflict with each other in time to be matched',
      got: `${rows.length} calls and ${columns.length} labels that all start within the tolerance of one another`,
      expected: `at most ${MAX_CELLS} pairs in one group`,
    });
  }
  const rowIndex = new Map(rows.map((row, i) => [row, i]));
  const columnIndex = new Map(columns.map((column, i) => [column, i]));
  // A missing pair weighs zero, so that leaving both sides unmatched costs nothing; such pairs are dropped below.
  const weights = rows.map(() => new Float64Array(columns.length));
  for (const { row, column, weight } of group) weights[rowIndex.get(row)!][columnIndex.get(column)!] = weight;
  const { rowAssignments } = linearSumAssignment(weights, { maximaze: true });
  const chosen: WeightedPair[] = [];
  for (let r = 0; r < rows.length; r++) {
    const c = rowAssignments[r];
    if (c >= 0 && weights[r][c] > 0) chosen.push({ row: rows[r], column: columns[c], weight: weights[r][c] });
  }
  return chosen;
}
