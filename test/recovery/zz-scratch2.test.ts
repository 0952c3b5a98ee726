import { it } from 'vitest';
import { makeCandidates, readTrueOffset } from '../model/clock-synthetic.js';
import { collectReadings } from '../../src/model/clock-readings.js';
import { startClocks } from '../../src/model/clock-settle.js';
import { fitClocks } from '../../src/model/fit-clock.js';
it('w', () => {
  const table={ seed:3,durationSec:86400,recorderOfTrack:[0,0,0,0,1,1,1,1],clocks:[{offsetSec:-1.5,driftPpm:-22,wanderPpm:1.5,wanderSec:86400}],callsPerMin:4 };
  const { candidates, alignedWith } = makeCandidates(table);
  const r = collectReadings(candidates, table.recorderOfTrack, alignedWith);
  const s = startClocks(r, { recorderOfTrack: table.recorderOfTrack, coarse: alignedWith, durationSec: 86400, spacingSec: 30 });
  const f = fitClocks({candidates, recorderOfTrack: table.recorderOfTrack, coarse: alignedWith, durationSec: 86400 })[1];
  const e0=s.state.chain.knotSec.map((t,k)=>s.state.chain.value[k]-readTrueOffset(table.clocks[0],t)*1e3);
  const e1=f.knotSec.map((t,k)=>(f.offsetSec[k]-readTrueOffset(table.clocks[0],t))*1e3);
  console.log('start', e0.filter((_,k)=>k%24===0).map(v=>v.toFixed(2)).join(' ')); console.log('fit', e1.filter((_,k)=>k%24===0).map(v=>v.toFixed(2)).join(' '));
});
