// The result of a run as a table: how many times as fast as each peer the kernels are.

/** Ratios of medians and of least times. */
export function formatResults({ date, machine, rounds, results }) {
  const lines = [`${date}, ${machine.cpu}, Node ${machine.node}, one thread, ${rounds} rounds in turn`, ''];
  lines.push('| work | contender | per second (median) | times as long as ours, medians | least times | goal |', '|---|---|---|---|---|---|');
  for (const { case: work, perRun, unit, times, goals = {} } of results) {
    const [ours] = times;
    for (const t of times) {
      const cells = t === ours ? ['', ''] : [(t.medianSec / ours.medianSec).toFixed(2), (t.leastSec / ours.leastSec).toFixed(2)];
      lines.push(`| ${[work, t.name, `${formatRate(perRun / t.medianSec)} ${unit}`, ...cells, goals[t.name] ?? ''].join(' | ')} |`);
    }
  }
  return `${lines.join('\n')}\n`;
}

function formatRate(value) {
  return value < 1000 ? value.toPrecision(3) : String(Math.round(value));
}
