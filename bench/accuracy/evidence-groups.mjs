// Kinds of evidence, as groups of features by name. A feature that needs two kinds stands in both; `kept` belongs to none.
export const EVIDENCE = {
  /** When the sound reached each microphone, and how well the waveforms agree at that lag. */
  lags: [
    'heardShare', 'bestZ', 'bestMemberZ', 'bestAgreement', 'lagOfBestMs', 'earliestLagMs', 'earliestZ', 'laterZ', 'earlierZ', 'rangeM', 'leadOverCurveDb', 'zeroLag',
    'weightedLagMs', 'leadResidualDb', 'leadBelowUsualDb', 'lagToOwnMs', 'lagToOthersMs', 'ownCloserMs', 'heardTracks', 'lagMs', 'lagTracks', 'otherLagMs', 'heard', 'contactLagMs', 'contactAgreement',
    'leadBelowPlaceDb', 'placeCount', 'leadBelowHighDb', 'strengthBelowPlaceDb', 'leadBelowUsualSigmas', 'leadSpreadDb',
    'pairLagMs', 'pairLagGapMs', 'pairLagClearness', 'pairLeadDb', 'pairLeadGapDb', 'pairLeadClearness', 'pairCount', 'lagToUntaggedMs', 'leadToUntaggedDb',
    'sameLogOdds', 'sameIou', 'sameOnsetMs', 'sameOffsetMs', 'sameLagMs', 'sameLagsMs', 'sameLeadDb', 'sameLeadBackDb', 'sameStrengthDb', 'sameLikeness', 'otherSoundLogOdds',
    'besideLeadDb', 'besideStrengthDb', 'besideTiltDb', 'besideCount', 'placeTurns', 'besideLikeness', 'besideMs',
    'groupLagMarginMs', 'groupLeadMarginDb', 'groupCount', 'groupSounds', 'groupOwnOdds', 'groupRivalOdds', 'groupTurnsOdds', 'groupTurnsSounds', 'groupTurnsLagMs', 'groupTurnsLeadDb', 'groupTurnsTiltDb', 'groupGapMs',
  ],
  /** How much louder it is on one track than on the others, gains taken out, and than other sounds. Stretches are still cut by level. */
  levels: [
    'ownedShare', 'leadDb', 'leastLeadDb', 'secondLeadDb', 'rangeM', 'leadOverCurveDb', 'expectedSnrDb', 'bestOtherSnrDb', 'rivalDb', 'explainedDb',
    'louderByDb', 'sameTrackDb', 'fillDb', 'leadResidualDb', 'leadBelowUsualDb', 'leadToOwnDb', 'aboveUsualDb', 'rivalStrengthDb', 'spreadDb', 'totalShare',
    'aboveAcceptedDb', 'aboveSinceDb', 'leadMedianDb', 'expectedStrengthDb', 'otherLeadDb',
    'contactLeadDb', 'leadBelowPlaceDb', 'leadBelowHighDb', 'strengthBelowPlaceDb', 'leadBelowUsualSigmas', 'leadSpreadDb', 'belowStrongestDb',
    'pairLeadDb', 'pairLeadGapDb', 'pairLeadClearness', 'leadToUntaggedDb', 'aboveUntaggedDb', 'sameLeadDb', 'sameLeadBackDb', 'sameStrengthDb', 'besideLeadDb', 'besideStrengthDb',
    'groupLeadMarginDb', 'groupTurnsLeadDb', 'birdLeadDb', 'birdStrengthDb',
  ],
  /** What the sound is like by itself: tones or noise, how it begins, how long it is. */
  spectrum: [
    'entropy', 'crestDb', 'flatness', 'steadiness', 'highRiseDb', 'timeEntropy', 'attackDb', 'durationMs', 'relativeBandwidth', 'ownedBinsLog', 'tiltGainDb',
    'overPedestal', 'pitchToUsual', 'elements', 'eventMs', 'pitch', 'harmonicity', 'contactTiltDb', 'tiltBelowUsualDb', 'ownLikeness', 'otherLikeness', 'likeUntagged',
    'shorterThanUsual', 'longerThanUsual', 'kindToOwn', 'kindToOthers', 'kindThird', 'otherCutKind', 'unevenness', 'gapMs', 'sameLikeness', 'besideTiltDb', 'besideLikeness',
    'groupTurnsTiltDb', 'lookAlikeOdds', 'lookAlikeHighOdds', 'lookAlikeDistance', 'lookAlikeCount',
    'heldTones', 'fadeDb', 'startLikeness', 'startDb', 'beforeLikeness', 'beforeDb', 'birdTiltDb',
  ],
  /** Whose voice it is like, among sure calls of the recording. */
  voice: [
    'ownVoice', 'rivalVoice', 'voiceLead', 'voiceLeadOfAll', 'rivalVoiceLead', 'voiceOdds', 'rivalVoiceOdds', 'pairTelling', 'voiceTelling', 'clearVoice', 'clearVoiceLead', 'beforeVoice', 'beforeMs',
    'bestVoice', 'acceptedVoice', 'untaggedVoice', 'alikeCount', 'alikeLogOdds', 'lostVoice', 'lostVoiceLead',
  ],
  /** What is known from other sounds: those at the same time and just before, and how each bird usually arrives from where it sits. */
  context: [
    'rivalDb', 'explainedDb', 'rivalCount', 'rivalOnsetMs', 'sinceLouderMs', 'louderByDb', 'sameTrackDb', 'leadBelowUsualDb', 'lagToOwnMs', 'leadToOwnDb',
    'templateCount', 'aboveUsualDb', 'pitchToUsual', 'rivalLogOdds', 'rivalStrengthDb', 'lagToOthersMs', 'ownCloserMs', 'neighbourLogOdds', 'aboveAcceptedDb',
    'acceptedOverlap', 'sinceAcceptedMs', 'aboveSinceDb', 'lagMs', 'lagTracks', 'leadMedianDb', 'expectedStrengthDb', 'otherLagMs', 'otherLeadDb', 'templates',
    'sinceTemplateSec', 'pitch', 'ownLikeness', 'otherLikeness', 'leadBelowPlaceDb', 'placeCount', 'leadBelowHighDb', 'tiltBelowUsualDb', 'strengthBelowPlaceDb', 'leadBelowUsualSigmas', 'leadSpreadDb',
    'shareOfEvent', 'sinceEventMs', 'belowStrongestDb', 'onsetTracks',
    'pairLagMs', 'pairLagGapMs', 'pairLagClearness', 'pairLeadDb', 'pairLeadGapDb', 'pairLeadClearness', 'pairCount',
    'otherCutLogOdds', 'surelyUntagged', 'untaggedNearby', 'lagToUntaggedMs', 'leadToUntaggedDb', 'likeUntagged', 'aboveUntaggedDb',
    'shorterThanUsual', 'longerThanUsual', 'kindToOwn', 'kindToOthers', 'kindThird', 'otherCutKind', 'containerLogOdds', 'containerShare', 'partLogOdds', 'partShare', 'abuttingLogOdds', 'abuttingMs',
    'containerUnevenness', 'containerElements', 'sameLogOdds', 'sameIou', 'sameOnsetMs', 'sameOffsetMs', 'sameLagMs', 'sameLagsMs', 'sameLeadDb', 'sameLeadBackDb', 'sameStrengthDb', 'sameLikeness', 'otherSoundLogOdds',
    'besideLeadDb', 'besideStrengthDb', 'besideTiltDb', 'besideCount', 'placeTurns', 'besideLikeness', 'besideMs',
    'groupLagMarginMs', 'groupLeadMarginDb', 'groupCount', 'groupSounds', 'groupOwnOdds', 'groupRivalOdds', 'groupTurnsOdds', 'groupTurnsSounds', 'groupTurnsLagMs', 'groupTurnsLeadDb', 'groupTurnsTiltDb', 'groupGapMs',
    'lookAlikeOdds', 'lookAlikeHighOdds', 'lookAlikeDistance', 'lookAlikeCount', 'birdTiltDb', 'birdLeadDb', 'birdStrengthDb',
  ],
  kept: ['peakDb', 'lostShare', 'lostTracks', 'lostBirds', 'firstLogOdds', 'ownLogOdds', 'untaggedLogOdds', 'shared', 'core', 'trackCount', 'members', 'twin', 'doubtShare', 'gainScaleDb', 'birds'],
};

export const KINDS = Object.keys(EVIDENCE).filter((k) => k !== 'kept');

/** Indices of a forest's features that belong to a kind. In the last question, about lost links, leadDb is a comparison with calls of that bird. */
export function findFeatures(forest, kind) {
  const known = new Set(Object.values(EVIDENCE).flat());
  const stray = forest.features.filter((f) => !known.has(f));
  if (stray.length) throw new Error(`features of no kind of evidence: ${stray.join(', ')}; add them to bench/accuracy/evidence-groups.mjs`);
  return forest.features.flatMap((f, k) => (EVIDENCE[kind].includes(f) ? [k] : []));
}
