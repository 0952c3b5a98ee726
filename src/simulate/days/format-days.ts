import { quoteCsvField } from '../../table/csv-text.js';
import type { TrueCall } from './draw-calls.js';

/** True calls in the format of labels, with whether they belong to song and whom they answer. */
export function formatTrueCalls(calls: readonly TrueCall[]): string {
  const lines = calls.map((c) => [quoteCsvField(c.bird), c.onsetSec.toFixed(6), c.offsetSec.toFixed(6), c.isSong ? 'yes' : 'no', quoteCsvField(c.replyTo)].join(','));
  return `${['bird,onset_s,offset_s,song,reply_to', ...lines].join('\n')}\n`;
}
