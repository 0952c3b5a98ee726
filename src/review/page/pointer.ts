import type { Actions } from './actions.js';
import type { Stage } from './stage.js';
import type { ReviewState } from './review-state.js';
import type { Viewport } from './viewport.js';

/** How near an edge the pointer must be to take it, pixels. */
const GRIP_PX = 5;

type Drag = { kind: 'pan'; x: number; hasMoved: boolean } | { kind: 'edge'; end: 'onset' | 'offset' } | { kind: 'new' };

/** Mouse, pen and touch on the stage: drag pans, wheel zooms at the pointer, a click selects, Alt-drag draws a new call, edges of the selected call can be taken. */
export function attachPointer(stage: Stage, view: Viewport, state: ReviewState, actions: Actions): void {
  const { canvas } = stage;
  let drag: Drag | undefined;
  const at = (e: MouseEvent): { x: number; y: number } => {
    const box = canvas.getBoundingClientRect();
    return { x: e.clientX - box.left, y: e.clientY - box.top };
  };
  const edgeAt = (x: number, y: number): 'onset' | 'offset' | undefined => {
    const item = state.selected;
    if (!item || item.track !== stage.trackAt(y) || y < stage.layout.axisPx) return undefined;
    const [left, right] = [view.toPx(item.onsetSec), view.toPx(item.offsetSec)];
    if (Math.abs(x - right) <= GRIP_PX) return 'offset';
    return Math.abs(x - left) <= GRIP_PX ? 'onset' : undefined;
  };
  canvas.addEventListener('wheel', (e) => {
    e.preventDefault();
    const unit = e.deltaMode === 1 ? 16 : 1;
    const sideways = e.shiftKey ? e.deltaX + e.deltaY : e.deltaX;
    if (Math.abs(sideways) > Math.abs(e.shiftKey ? 0 : e.deltaY)) view.panBy(sideways * unit);
    else view.zoomAt(at(e).x, Math.exp(Math.max(-0.6, Math.min(0.6, e.deltaY * unit * 0.0022))));
    actions.moved();
  }, { passive: false });
  canvas.addEventListener('pointerdown', (e) => {
    if (e.button !== 0) return;
    const { x, y } = at(e);
    canvas.focus({ preventScroll: true });
    canvas.setPointerCapture(e.pointerId);
    const end = edgeAt(x, y);
    if (end && state.selected) {
      drag = { kind: 'edge', end };
      stage.draft = { track: state.selected.track, fromSec: state.selected.onsetSec, toSec: state.selected.offsetSec };
    } else if (e.altKey) {
      drag = { kind: 'new' };
      stage.draft = { track: stage.trackAt(y), fromSec: view.toSec(x), toSec: view.toSec(x) };
    } else drag = { kind: 'pan', x, hasMoved: false };
  });
  canvas.addEventListener('pointermove', (e) => {
    const { x, y } = at(e);
    actions.pointerSec = view.toSec(x);
    if (!drag) {
      canvas.style.cursor = edgeAt(x, y) ? 'ew-resize' : stage.itemAt(x, y) ? 'pointer' : 'grab';
      return;
    }
    if (drag.kind === 'pan') {
      if (!drag.hasMoved && Math.abs(x - drag.x) < 4) return;
      drag.hasMoved = true;
      view.panBy(drag.x - x);
      drag.x = x;
      actions.moved();
      return;
    }
    if (drag.kind === 'edge' && drag.end === 'onset') stage.draft!.fromSec = view.toSec(x);
    else stage.draft!.toSec = view.toSec(x);
    stage.invalidate();
  });
  const finish = (e: PointerEvent): void => {
    const { draft } = stage;
    stage.draft = undefined;
    stage.invalidate();
    const done = drag;
    drag = undefined;
    if (!done || e.type === 'pointercancel') return;
    const { x, y } = at(e);
    if (done.kind === 'pan') {
      if (done.hasMoved || y < stage.layout.axisPx) return;
      const item = stage.itemAt(x, y);
      state.chooseTrack(stage.trackAt(y));
      state.select(item);
    } else if (draft && Math.abs(draft.toSec - draft.fromSec) > 1e-4) {
      const [fromSec, toSec] = [Math.min(draft.fromSec, draft.toSec), Math.max(draft.fromSec, draft.toSec)];
      if (done.kind === 'new') actions.addCall(draft.track, fromSec, toSec);
      else actions.setTimes(fromSec, toSec);
    }
  };
  canvas.addEventListener('pointerup', finish);
  canvas.addEventListener('pointercancel', finish);
  canvas.addEventListener('dblclick', () => actions.playSelected());
}
