import { it } from 'vitest';
import { run } from './zz-sim.js';
it('sim', () => {
  const base={ seed:1,durationSec:3600,recorderOfTrack:[0,0,0,0,1,1,1,1],clocks:[{offsetSec:1.5,driftPpm:22,wanderPpm:1,wanderSec:1800}],callsPerMin:40 };
  console.log('1h', JSON.stringify(run(base)));
  for (const s of [-0.0015,0.004]) console.log('jump', s, JSON.stringify(run({...base,seed:6,clocks:[{...base.clocks[0],jumps:[{tSec:2000,stepSec:s}]}],alignedWith:undefined})));
  console.log('1d', JSON.stringify(run({...base,seed:3,durationSec:86400*1,callsPerMin:4,clocks:[{offsetSec:-1.5,driftPpm:-22,wanderPpm:1.5,wanderSec:86400}]})));
  console.log('3rec', JSON.stringify(run({...base,seed:4,recorderOfTrack:[0,0,0,1,1,2,2,2],clocks:[{offsetSec:1.5,driftPpm:22,wanderPpm:1,wanderSec:1800},{offsetSec:-3,driftPpm:-40,wanderPpm:.5,wanderSec:900}]})));
  for (let s=10;s<14;s++) console.log('80s', JSON.stringify(run({...base,seed:s,durationSec:80})));
  console.log('delay', JSON.stringify(run({...base,seed:5,delaySec:[0,0,0.0003,0,0,0.0002,0,0]})));
  console.log('oneway', JSON.stringify(run({...base,seed:7,mute:[4,5,6,7]})));
}, 220000);
