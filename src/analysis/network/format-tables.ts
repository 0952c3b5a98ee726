import { formatCsv } from '../../table/csv-table.js';
import { formatCsvwMetadata } from '../../table/csvw-metadata.js';
import { formatDataPackage } from '../../table/data-package.js';
import { formatParquet } from '../../table/parquet-table.js';
import type { TableSpec } from '../../table/table-specs.js';
import type { Network } from './build-network.js';
import type { NetworkComparison } from './compare-networks.js';
import { formatGraphml } from './format-graphml.js';
import { networkToJson } from './format-network.js';
import { compareTable, dayTable, edgeTable, latencyTable, networkTables, nodeTable, thresholdTable, turnTable } from './network-tables.js';

/**
 * All files that tell of a network, by name: tables as CSV and Parquet, their description, GraphML and JSON.
 * @example const { 'network.csv': edges } = formatNetworkFiles(buildNetwork({ calls, tracks }))
 */
export function formatNetworkFiles(network: Network, comparison?: NetworkComparison): Record<string, string | Uint8Array> {
  const files: Record<string, string | Uint8Array> = {};
  const add = <Row>(table: TableSpec<Row>, rows: readonly Row[]): void => {
    files[`${table.name}.csv`] = formatCsv(table, rows);
    files[`${table.name}.parquet`] = formatParquet(table, rows);
  };
  add(edgeTable, network.edges);
  add(nodeTable, network.nodes);
  add(latencyTable, network.latencies);
  add(thresholdTable, network.thresholds);
  add(dayTable, network.days);
  add(turnTable, network.turns);
  if (comparison) add(compareTable, comparison.differences);
  const tables = comparison ? networkTables : networkTables.filter((t) => t.name !== compareTable.name);
  files['network-datapackage.json'] = formatDataPackage('network', tables);
  files['network.csv-metadata.json'] = formatCsvwMetadata('network', tables);
  files['network.graphml'] = formatGraphml(network);
  files['network.json'] = networkToJson(network, comparison);
  return files;
}
