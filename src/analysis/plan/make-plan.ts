import { planBatteries } from './battery-plan.js';
import type { BatteryPlan } from './battery-plan.js';
import { computeCarsonBandwidth, findProductHits, findSpacingFaults } from './carrier-products.js';
import { proposeCarriers } from './propose-carriers.js';
import type { Proposal } from './propose-carriers.js';
import type { TagPlanFile } from './read-plan.js';
import type { TrialAccuracy } from './trial-accuracy.js';
import { planStorage } from './storage-plan.js';
import type { StoragePlan } from './storage-plan.js';

export interface TagLoadRow {
  bird: string;
  massG: number;
  tagG: number;
  percent: number;
  /** Against the two guidelines; none of them promises that a bird takes no harm. */
  verdict: 'within guideline' | 'above guideline' | 'above limit';
  /** Masses of a tag at the two guidelines, grams. */
  guidelineG: number;
  limitG: number;
}

export interface CarrierRow {
  bird: string;
  /** Hz; NaN where none is known. */
  carrierHz: number;
  origin: 'settled' | 'proposed' | 'none';
}

export interface CarrierPlan {
  bandwidthHz: number;
  carriers: CarrierRow[];
  /** Pairs nearer than one bandwidth. */
  spacing: { birds: [string, string]; spacingHz: number }[];
  /** Third-order products on a carrier in use. */
  products: { formula: string; freqHz: number; bird: string; distanceHz: number }[];
  /** Carriers outside the band, by bird, half a bandwidth included. */
  outside: string[];
  /** Search for those that are missing; absent where nothing was searched. */
  search?: Proposal;
  /** Where settled carriers clash: a free set for all birds, in their order. Absent where none was looked for. */
  instead?: Proposal;
}

export interface TagPlan {
  name: string;
  days: number;
  load: TagLoadRow[];
  radio?: CarrierPlan;
  battery?: BatteryPlan;
  storage?: StoragePlan;
  settings: { guidelinePercent: number; limitPercent: number; daysAfterFitting: number; daysAfterBattery: number; usableShare: number };
  /** What must be mended; empty = nothing found. */
  faults: string[];
  trial: { birds: number; sampleRateHz?: number };
  /** What the simulator says, where it was asked. */
  accuracy?: TrialAccuracy;
}

/** Common practice, no source: a fresh cell gives less in the cold, under pulsed load and after storage. */
const USABLE_SHARE = 0.8;

/** Works out a plan as parsePlan gives it. @example makePlan(parsePlan(text, 'plan.json')).faults */
export function makePlan(file: TagPlanFile): TagPlan {
  const given = file.settings ?? {};
  const settings = {
    guidelinePercent: given.guideline_percent ?? 3, limitPercent: given.limit_percent ?? 5, daysAfterFitting: given.days_after_fitting ?? 3,
    daysAfterBattery: given.days_after_battery ?? 1, usableShare: file.battery?.usable_share ?? USABLE_SHARE,
  };
  const plan: TagPlan = {
    name: file.name, days: file.days, load: judgeLoad(file, settings), settings, faults: [],
    trial: { birds: file.birds.length, ...(file.recording ? { sampleRateHz: file.recording.sample_rate_hz } : {}) },
  };
  if (file.radio) plan.radio = planCarriers(file, file.radio);
  if (file.battery) plan.battery = planBatteries({ capacityMah: file.battery.capacity_mah, currentMa: file.battery.current_ma, days: file.days, ...settings });
  if (file.recording) {
    const { sample_rate_hz: sampleRateHz, bits, tracks = file.birds.length, tracks_per_file: tracksPerFile = 1, hours_per_day: hoursPerDay = 24 } = file.recording;
    plan.storage = planStorage({ tracks, tracksPerFile, sampleRateHz, bits, days: file.days, hoursPerDay });
    // Sampling theorem: what is sent above half the rate is lost or folds back.
    if (file.radio && 2000 * file.radio.audio_khz > sampleRateHz) plan.faults.push(`${sampleRateHz} samples per second cannot hold audio up to ${file.radio.audio_khz} kHz: at least ${2000 * file.radio.audio_khz} are needed`);
  }
  plan.faults.push(...listFaults(plan));
  return plan;
}

function judgeLoad(file: TagPlanFile, s: TagPlan['settings']): TagLoadRow[] {
  return file.birds.map(({ name, mass_g: massG, tag_g: tagG }) => {
    // Compared as masses with a hair of tolerance: 0.36 g on 12 g is 3 % and not above it.
    const guidelineG = (massG * s.guidelinePercent) / 100, limitG = (massG * s.limitPercent) / 100;
    const isAbove = (mostG: number): boolean => tagG > mostG * (1 + 1e-9);
    return { bird: name, massG, tagG, percent: (100 * tagG) / massG, verdict: isAbove(limitG) ? 'above limit' : isAbove(guidelineG) ? 'above guideline' : 'within guideline', guidelineG, limitG };
  });
}

function planCarriers(file: TagPlanFile, radio: NonNullable<TagPlanFile['radio']>): CarrierPlan {
  const bandwidthHz = Math.round(computeCarsonBandwidth(radio.deviation_khz * 1000, radio.audio_khz * 1000));
  const toHz = (mhz: number): number => Math.round(mhz * 1e6);
  const carriers = file.birds.map((b): CarrierRow => (b.carrier_mhz === undefined ? { bird: b.name, carrierHz: NaN, origin: 'none' } : { bird: b.name, carrierHz: toHz(b.carrier_mhz), origin: 'settled' }));
  const settledHz = carriers.filter((c) => c.origin === 'settled').map((c) => c.carrierHz);
  const plan: CarrierPlan = { bandwidthHz, carriers, spacing: [], products: [], outside: [] };
  const band = radio.band_mhz?.map(toHz), open = carriers.filter((c) => c.origin === 'none');
  const areSettledFree = findSpacingFaults(settledHz, bandwidthHz).length + findProductHits(settledHz, bandwidthHz).length === 0;
  if (band && radio.raster_khz !== undefined) {
    const grid = { lowHz: band[0], highHz: band[1], rasterHz: Math.round(radio.raster_khz * 1000), bandwidthHz };
    plan.outside = carriers.filter((c) => c.carrierHz < band[0] + bandwidthHz / 2 || c.carrierHz > band[1] - bandwidthHz / 2).map((c) => c.bird);
    if (open.length > 0 && areSettledFree) {
      plan.search = proposeCarriers({ ...grid, count: open.length, settledHz });
      open.forEach((c, i) => { if (plan.search!.outcome === 'found') Object.assign(c, { carrierHz: plan.search!.carriersHz[i], origin: 'proposed' }); });
    }
    if (settledHz.length > 0 && (!areSettledFree || plan.outside.length > 0 || plan.search?.outcome === 'impossible')) plan.instead = proposeCarriers({ ...grid, count: carriers.length });
  }
  const known = carriers.filter((c) => c.origin !== 'none'), hz = known.map((c) => c.carrierHz);
  plan.spacing = findSpacingFaults(hz, bandwidthHz).map((f) => ({ birds: [known[f.first].bird, known[f.second].bird], spacingHz: f.spacingHz }));
  plan.products = findProductHits(hz, bandwidthHz).map((h) => ({
    formula: h.first === h.second ? `2 x ${known[h.first].bird} - ${known[h.third].bird}` : `${known[h.first].bird} + ${known[h.second].bird} - ${known[h.third].bird}`,
    freqHz: h.freqHz, bird: known[h.carrier].bird, distanceHz: h.distanceHz,
  }));
  return plan;
}

function listFaults({ load, settings, radio, battery }: TagPlan): string[] {
  const faults: string[] = [];
  const heavy = load.filter((r) => r.verdict === 'above limit').map((r) => r.bird);
  if (heavy.length) faults.push(`tag above ${settings.limitPercent} % of body mass: ${heavy.join(', ')}`);
  if (radio) {
    if (radio.spacing.length) faults.push(`${radio.spacing.length} pair${radio.spacing.length > 1 ? 's' : ''} of carriers nearer than the bandwidth of ${radio.bandwidthHz / 1000} kHz`);
    if (radio.products.length) faults.push(`${radio.products.length} third-order product${radio.products.length > 1 ? 's' : ''} on carriers in use`);
    if (radio.outside.length) faults.push(`carriers outside the band, with half a bandwidth at each edge: ${radio.outside.join(', ')}`);
    const missing = radio.carriers.filter((c) => c.origin === 'none').length;
    if (missing && radio.search) faults.push(radio.search.outcome === 'impossible' ? `no free set of carriers exists in this band on this raster: at most ${radio.search.mostPlaced} of ${missing} found room` : `no free set of carriers found before the search was given up: ${radio.search.mostPlaced} of ${missing} found room`);
  }
  if (battery && battery.usableDays <= 0) faults.push('no day is left between handlings: a battery with a longer life, or fewer days left out');
  return faults;
}
