import type { Section } from './page.js';

/** What animals, law and honesty ask for. */
export function writeCautions(): Section {
  return {
    id: 'cautions', title: 'Cautions',
    body: `<div class="caution"><ul>
<li>Experiments with animals need a permit and trained people. Weigh every bird before and during the study; stop if a bird loses mass, cannot fly or plucks at the harness. A tag's share of body mass is a guideline, never a promise of safety.</li>
<li>After fitting a tag or changing a battery, behaviour is disturbed for a day or for days. Calls of that time are in these tables; leave them out of biological conclusions until your own data show the birds back at their baseline.</li>
<li>Transmitters need a licence or a band that is free for them; local law decides.</li>
<li>This report advises. It replaces neither the permit, nor the veterinarian, nor the radio authority.</li>
<li>Probabilities are worth as much as the check behind them: before publishing, verify a sample of this very study by ear.</li>
</ul></div>`,
  };
}

/** How to read the pictures and the words. */
export function writeReading(): Section {
  return {
    id: 'reading', title: 'How to read this',
    body: `<ul>
<li><b>Track</b>: the recording of one tag, named after its wearer. A tag hears its wearer first and loudest, and everybody else as <b>crosstalk</b>.</li>
<li><b>Probability</b> of a row: that it is a real call of that bird. Of a hundred rows at 0.95, five should be wrong. Small boxes over calls are filled as high.</li>
<li><b>No tag</b>: a caller that wears no transmitter; written <code>none</code> in the tables.</li>
<li><b>Gain</b>: how much louder a receiver is than the mean of all. Levels can only be compared after the gains are taken out.</li>
<li><b>Lag</b>: how much later another track hears the same call; sound takes 2.9 ms for a metre.</li>
<li><b>Usable time</b>: time in which a track can be trusted. Rates are per usable hour, so that a lost link does not look like a silent bird.</li>
<li><b>Link lost</b>: the receiver heard noise in place of the tag. <b>Breakthrough</b>: another carrier leaks in electrically, with no lag. <b>Body noise</b>: wings, preening, scratching; loud on the wearer's own track only.</li>
<li><b>F1</b>: harmonic mean of precision (share of rows that are right) and recall (share of calls that were found). <b>Ghost</b>: a row that lies in somebody else's call.</li>
<li><b>95 % interval</b>: made so that 95 of 100 such intervals hold the true value. Short recordings give wide ones.</li>
</ul>`,
  };
}
