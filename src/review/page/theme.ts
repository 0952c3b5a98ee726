/** Colours of what is drawn on canvases; the style sheet has those of everything else. */
export interface Theme {
  isDark: boolean;
  paper: string;
  panel: string;
  ink: string;
  soft: string;
  rule: string;
  call: string;
  callSoft: string;
  noTag: string;
  good: string;
  bad: string;
  select: string;
  halo: string;
  /** Colours of spectrograms from floor to loud. */
  spectrum: Uint32Array;
}

export type ThemeChoice = 'auto' | 'light' | 'dark';

const KEY = 'volary-theme';
/** Stops of the spectrograms' colours: paper to ink over lichen and slate; night to chalk over moss. */
const DAY = [[250, 249, 244], [219, 226, 214], [150, 178, 168], [72, 117, 122], [30, 60, 80], [14, 22, 34]];
const NIGHT = [[19, 24, 25], [26, 43, 48], [38, 82, 84], [86, 138, 116], [188, 198, 140], [252, 246, 214]];

export function readChoice(): ThemeChoice {
  const stored = readStored(KEY);
  return stored === 'light' || stored === 'dark' ? stored : 'auto';
}

/** Sets light, dark, or what the computer says, and remembers it in this browser. */
export function applyChoice(choice: ThemeChoice): void {
  const root = document.documentElement;
  if (choice === 'auto') root.removeAttribute('data-theme');
  else root.setAttribute('data-theme', choice);
  try { localStorage.setItem(KEY, choice); } catch { /* a page without storage forgets it */ }
}

/** The colours that the style sheet gives now. */
export function readTheme(): Theme {
  const style = getComputedStyle(document.documentElement);
  const read = (name: string): string => style.getPropertyValue(`--${name}`).trim();
  const isDark = style.colorScheme.trim() === 'dark';
  return {
    isDark, paper: read('paper'), panel: read('panel'), ink: read('ink'), soft: read('soft'), rule: read('rule'), call: read('call'), callSoft: read('call-soft'),
    noTag: read('notag'), good: read('good'), bad: read('bad'), select: read('select'), halo: read('halo'), spectrum: buildColours(isDark ? NIGHT : DAY),
  };
}

/** 256 colours through evenly spaced stops, as little-endian RGBA words. */
function buildColours(stops: number[][]): Uint32Array {
  return Uint32Array.from({ length: 256 }, (_, i) => {
    const at = (i / 255) * (stops.length - 1);
    const k = Math.min(stops.length - 2, Math.floor(at));
    const [r, g, b] = stops[k].map((v, c) => Math.round(v + (stops[k + 1][c] - v) * (at - k)));
    return (255 << 24) | (b << 16) | (g << 8) | r;
  });
}

function readStored(key: string): string | null {
  try { return localStorage.getItem(key); } catch { return null; }
}
