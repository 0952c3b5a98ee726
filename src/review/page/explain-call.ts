import type { StudyInfo } from '../study-info.js';
import { nameBird } from './actions.js';
import type { Item } from './review-state.js';
import { formatShare } from './time-text.js';
import type { CallEvidence } from './worker-messages.js';

/** Why the table says so, in sentences; what was measured here, not what the forests thought. */
export function explainCall(item: Item, evidence: CallEvidence, info: StudyInfo): string[] {
  const { own, tracks } = evidence;
  const name = (j: number): string => nameBird(info.tracks[j].bird);
  const others = tracks.map((t, j) => ({ ...t, j })).filter((t) => t.j !== own);
  const lines: string[] = [];
  const best = others.filter((t) => Number.isFinite(t.levelDb)).sort((a, b) => b.levelDb - a.levelDb)[0];
  const leadDb = best ? tracks[own].levelDb - best.levelDb : Infinity;
  if (!Number.isFinite(tracks[own].levelDb)) lines.push(`On ${name(own)}'s own track nothing rises above the noise just before.`);
  else if (!best) lines.push(`Only ${name(own)}'s microphone hears it: a soft call, or noise of the wearer's body.`);
  else if (leadDb >= 0) lines.push(`Loudest on ${name(own)}, ${leadDb.toFixed(1)} dB over ${name(best.j)}, receiver gains taken out.`);
  else lines.push(`Louder on ${name(best.j)} by ${(-leadDb).toFixed(1)} dB, receiver gains taken out.`);
  const heard = others.filter((t) => t.lagMs !== undefined);
  const later = heard.filter((t) => t.lagMs! > 0.03);
  const earlier = heard.filter((t) => t.lagMs! < -0.03);
  if (later.length) {
    const lags = later.map((t) => t.lagMs!);
    const least = Math.min(...lags), most = Math.max(...lags);
    lines.push(`The same sound reaches ${later.length === 1 ? name(later[0].j) : `${later.length} other tracks`} ${least.toFixed(1)}${most - least > 0.05 ? ` to ${most.toFixed(1)}` : ''} ms later: about ${(least * 0.343).toFixed(1)}${most - least > 0.05 ? ` to ${(most * 0.343).toFixed(1)}` : ''} m away.`);
  }
  if (earlier.length) lines.push(`${earlier.map((t) => name(t.j)).join(' and ')} ${earlier.length > 1 ? 'hear' : 'hears'} it first (${earlier.map((t) => t.lagMs!.toFixed(1)).join(', ')} ms): the caller may sit nearer there.`);
  if (!heard.length && others.some((t) => t.riseDb > 6)) lines.push('Other tracks are loud too, but not with the same sound: another caller, or noise of their own.');
  const { row } = item;
  if (row && row.overlaps > 0) lines.push(`Overlaps ${row.overlaps} other call${row.overlaps > 1 ? 's' : ''}: levels and lags are mixed.`);
  if (row) lines.push(`The table gives ${nameBird(row.bird)} ${formatShare(row.probability)}${row.runnerUp ? `, then ${nameBird(row.runnerUp)} ${formatShare(row.runnerUpProbability)}` : ''}.`);
  return lines;
}
