/**
 * The look: calm paper and ink, one colour for calls, one for callers without a tag (blue and orange differ for all common kinds of colour
 * blindness, and shape repeats what colour says). Text has a contrast of at least 4.5 to 1, marks 3 to 1 (WCAG 2.2 AA), in light and dark.
 */
const PAPER = `--paper:#fcfbf7;--panel:#f3f3ec;--ink:#1c2625;--soft:#4f5d5a;--rule:#d6d9d0;--grid:#e3e5dd;--call:#0b5a8c;--call-mid:#6a9fc0;--call-low:#cfe0ea;
--notag:#a5420c;--notag-soft:#f4dccb;--lost:#6b6b6b;--body:#7b4a90;--accent:#22604d;--label:#1c2625;--usable:#7fa596;--halo:#fcfbf7`;
const NIGHT = `--paper:#131919;--panel:#1b2322;--ink:#e7ebe6;--soft:#aab6b1;--rule:#3a4542;--grid:#29312f;--call:#74bdee;--call-mid:#4785af;--call-low:#20405a;
--notag:#f2a263;--notag-soft:#55321a;--lost:#a3a3a3;--body:#cfa6e0;--accent:#86ceb4;--label:#e7ebe6;--usable:#4f7d6d;--halo:#131919`;

const PAGE = `*{box-sizing:border-box}html{color-scheme:light dark;scroll-behavior:smooth}
body{margin:0;background:var(--paper);color:var(--ink);font:16px/1.55 system-ui,-apple-system,"Segoe UI",Roboto,"Noto Sans",sans-serif}
main,header.top,footer{max-width:1120px;margin:0 auto;padding:0 28px}header.top{padding-top:44px}
h1,h2{font-family:"Iowan Old Style","Palatino Linotype",Palatino,"Book Antiqua",Georgia,serif;font-weight:600;line-height:1.2;letter-spacing:-.005em}
h1{font-size:2.3rem;margin:.1em 0 .2em;overflow-wrap:anywhere}h2{font-size:1.5rem;margin:0 0 .3em}h3{font-size:1rem;margin:1.6em 0 .4em}
.kicker{color:var(--accent);font-size:.82rem;letter-spacing:.08em;text-transform:uppercase;margin:0}
p,ul{max-width:46em;margin:.5em 0}p,li,figcaption,summary{overflow-wrap:anywhere}.lead{font-size:1.12rem}.soft,figcaption,.note{color:var(--soft)}
section{padding:26px 0 20px;border-top:1px solid var(--rule)}
nav{margin:18px 0 6px}nav ul{display:flex;flex-wrap:wrap;gap:4px 18px;padding:0;margin:0;list-style:none;max-width:none}a{color:var(--accent);text-underline-offset:3px}
.figures{display:grid;grid-template-columns:repeat(auto-fit,minmax(150px,1fr));gap:14px 26px;margin:22px 0}
.figures div{border-left:3px solid var(--accent);padding:1px 0 1px 12px}.figures b{display:block;font:600 1.75rem/1.15 "Iowan Old Style","Palatino Linotype",Palatino,Georgia,serif}
.figures span{color:var(--soft);font-size:.86rem;line-height:1.35;display:block}
figure{margin:16px 0 22px}figcaption{font-size:.9rem;max-width:56em;margin-top:6px}figcaption b{color:var(--ink)}
svg{display:block;width:100%;height:auto;overflow:visible}.pair{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(440px,100%),1fr));gap:8px 36px;align-items:start}
.scroll{overflow-x:auto}table{border-collapse:collapse;font-size:.9rem;margin:10px 0;font-variant-numeric:tabular-nums}
th,td{padding:4px 14px 4px 0;text-align:right;border-bottom:1px solid var(--rule);vertical-align:top;white-space:nowrap}th{font-weight:600;color:var(--soft)}
th:first-child,td:first-child,.left{text-align:left}tbody th{color:var(--ink);font-weight:500}td.wrap,table.wrap td{white-space:normal;text-align:left;overflow-wrap:anywhere}
thead th{white-space:normal;vertical-align:bottom;line-height:1.25}table.lines td{white-space:pre-line}.legend{display:flex;flex-wrap:wrap;gap:4px 22px;list-style:none;padding:0;max-width:none;font-size:.88rem;color:var(--soft)}.legend li{display:flex;align-items:center;gap:7px}.legend svg{width:17px;height:17px;flex:none}
caption{text-align:left;color:var(--soft);padding-bottom:4px}table.grid td,table.grid th{padding:5px 10px;text-align:center}table.grid th:first-child{text-align:left}
td.heat{background:color-mix(in srgb,var(--call) calc(var(--w)*46%),transparent)}td.wrong{background:color-mix(in srgb,var(--notag) calc(var(--w)*46%),transparent)}td.same{outline:1.5px solid var(--soft);outline-offset:-2px}
.get{font-size:.84rem;margin-left:.5em;white-space:nowrap}details{margin:10px 0}summary{cursor:pointer;color:var(--accent)}
.caution{background:var(--panel);border-left:4px solid var(--notag);padding:12px 18px;max-width:52em}.caution ul{margin:.3em 0;padding-left:1.1em}
.methods{background:var(--panel);padding:14px 20px;max-width:54em;border-radius:3px}footer{color:var(--soft);font-size:.88rem;padding-top:18px;padding-bottom:50px}`;

const DRAWING = `svg text{font:12.5px system-ui,-apple-system,"Segoe UI",Roboto,"Noto Sans",sans-serif;fill:var(--ink)}svg .num{fill:var(--soft);font-variant-numeric:tabular-nums}svg .axis-title{fill:var(--soft)}
svg .name{font-weight:600}svg .small{font-size:10.5px}svg .tiny{font-size:9.5px;fill:var(--soft)}svg .halo{paint-order:stroke;stroke:var(--halo);stroke-width:3px;stroke-linejoin:round}
.axis{stroke:var(--soft);stroke-width:1}.grid{stroke:var(--grid);stroke-width:1}.zero{stroke:var(--soft);stroke-width:1;stroke-dasharray:4 3}.frame{fill:none;stroke:var(--rule)}
.call{fill:var(--call)}.call-mid{fill:var(--call-mid)}.call-low{fill:var(--call-low);stroke:var(--call);stroke-width:1}.call-line{fill:none;stroke:var(--call);stroke-width:1.6}.call-edge{fill:none;stroke:var(--call);stroke-width:1.1}
.call-wash{fill:var(--call);fill-opacity:.1}.notag{fill:var(--notag)}.notag-edge{fill:none;stroke:var(--notag);stroke-width:1.3;stroke-dasharray:3 2}.notag-wash{fill:var(--notag);fill-opacity:.1}
.halo-edge{fill:none;stroke:var(--halo);stroke-width:3;stroke-opacity:.75}.dot{fill:var(--call);fill-opacity:.45;stroke:var(--call);stroke-width:.8}.dot-full{fill:var(--call)}.range{stroke:var(--call);stroke-width:2.4;stroke-linecap:round}
.free{fill:none;stroke:var(--notag);stroke-width:1.6;stroke-dasharray:7 4}.usable{fill:var(--usable)}.lost{fill:var(--lost)}.body{fill:var(--body)}.through{fill:none;stroke:var(--body);stroke-width:1.2;stroke-dasharray:2 2}.room-noise{fill:none;stroke:var(--lost);stroke-width:1}.unsure{fill:none;stroke:var(--lost);stroke-width:1.8;stroke-dasharray:1.5 3}
.label-mark{fill:var(--label)}.ground{fill:var(--panel)}.band{fill:var(--call);fill-opacity:.16}.hatch-line{stroke:var(--lost);stroke-width:2}.hatch-line-notag{stroke:var(--notag);stroke-width:2.4}.spec{image-rendering:auto}
.whisker{stroke:var(--call);stroke-width:1.1}.margin{fill:var(--usable);fill-opacity:.26}.margin-edge{stroke:var(--accent);stroke-width:1;stroke-dasharray:5 3}.open{fill:var(--paper);stroke:var(--call);stroke-width:1.7}.differs{fill:var(--notag)}.whisker-differs{stroke:var(--notag);stroke-width:1.1}
.edge{fill:none;stroke:var(--call)}.edge-pairwise{fill:none;stroke:var(--call);stroke-dasharray:6 4}.edge-fewer{fill:none;stroke:var(--notag);stroke-dasharray:2 3}.node{fill:var(--panel);stroke:var(--soft);stroke-width:1.3}.chance-line{fill:none;stroke:var(--notag);stroke-width:1.4;stroke-dasharray:4 2}.window-wash{fill:var(--usable);fill-opacity:.2}`;

/** On a narrow screen pictures keep a size at which their text can be read, and scroll in their frames. */
const NARROW = '@media screen and (max-width:860px){.scroll>svg{width:800px}.figures b{font-size:1.4rem}}';
const DARK_IMAGE = '.spec{filter:invert(1) brightness(.95)}';
const PRINT = `@media print{@page{margin:14mm}:root{${PAPER};--paper:#fff;--halo:#fff}.figures b{font-size:1.2rem}svg .small{font-size:11.5px}svg .tiny{font-size:11px}table{font-size:7.5pt}body{font-size:10.5pt}nav,.get{display:none}.scroll{overflow:visible}th,td{white-space:normal;padding-right:7px}main,header.top,footer{padding:0;max-width:none}section{padding:12px 0}figure,table,.figures,.caution{break-inside:avoid}h2,h3{break-after:avoid}.spec{filter:none!important}
*{print-color-adjust:exact;-webkit-print-color-adjust:exact}}`;

/** The two sets of colours, for checks of contrast. */
export const palettes = { light: readPalette(PAPER), dark: readPalette(NIGHT) };

function readPalette(text: string): Record<string, string> {
  return Object.fromEntries(text.split(';').map((part) => part.trim().replace(/^--/, '').split(':') as [string, string]));
}

/** Rules for a picture that stands alone, on light paper; `svg` selectors hold for nested pictures too. */
export const pictureStyle = `:root{${PAPER}}${DRAWING}`;

/** All rules of the page. */
export const reportStyle = `:root{${PAPER}}@media screen and (prefers-color-scheme:dark){:root{${NIGHT}}${DARK_IMAGE}}${PAGE}${DRAWING}${NARROW}${PRINT}`;
