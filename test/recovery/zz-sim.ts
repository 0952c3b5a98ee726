import { makeCandidates, readTrueOffset } from '../model/clock-synthetic.js';
import { fitClocksFully } from '../../src/model/fit-clock.js';
import { readOffset, readUncertainty, readRatePpm } from '../../src/model/clock.js';
export function run(table: any, knot?: number) {
  const { candidates, alignedWith } = makeCandidates(table); const t0=Date.now();
  const fit = fitClocksFully({ candidates, recorderOfTrack: table.recorderOfTrack, coarse: alignedWith, durationSec: table.durationSec, knotSec: knot });
  const ms=Date.now()-t0; const out:any[]=[];
  for (let r=1;r<=table.clocks.length;r++){ let s=0,n=0,inside=0,u=0,sum=0,rate=0; const D=table.durationSec; const m=400; for(let k=0;k<=m;k++){const t=D*k/m; const e=(readOffset(fit.clock[r],t)-readTrueOffset(table.clocks[r-1],t))*1e3; const uu=readUncertainty(fit.clock[r],t)*1e3; s+=e*e;n++;sum+=e;u+=uu; if(Math.abs(e)<1.96*uu)inside++;}
   const c=fit.clock[r], tc=table.clocks[r-1]; const mr=((readOffset(c,D)-readOffset(c,0))-(readTrueOffset(tc,D)-readTrueOffset(tc,0)))/D*1e6;
   let lr=0,ln=0; for(let t=0;t+600<=D;t+=300){const e=((readOffset(c,t+600)-readOffset(c,t))-(readTrueOffset(tc,t+600)-readTrueOffset(tc,t)))/600*1e6; lr+=e*e;ln++;}
   out.push({rms:+Math.sqrt(s/n).toFixed(4),mean:+(sum/n).toFixed(4),unc:+(u/n).toFixed(4),cover:+(inside/n).toFixed(2),meanRate:+mr.toFixed(4),localRate:ln?+Math.sqrt(lr/ln).toFixed(4):null,ex:fit.exchanges[r],jumps:JSON.stringify(c.jumps)}); }
  return {n:candidates.length,ms,out,delay:[...fit.delaySec].map(v=>+(v*1e6).toFixed(0)).join(' '),du:[...fit.delayUncertaintySec].map(v=>+(v*1e6).toFixed(0)).join(' ')};
}
