import { firstForest } from './learned-first.js';
import { lostForest } from './learned-lost.js';
import { ownForest } from './learned-own.js';
import { secondForest } from './learned-second.js';
import { untaggedAgainForest } from './learned-untagged-again.js';
import { untaggedForest } from './learned-untagged.js';

/** The forests that come with the program, learned by bench/learn from simulated scenes alone. */
export const SHIPPED_MODELS = { first: firstForest, second: secondForest, own: ownForest, untagged: untaggedForest, untaggedAgain: untaggedAgainForest, lost: lostForest };
