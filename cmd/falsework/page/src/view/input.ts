// What hands do to the model: mouse, trackpad, fingers and keys.

/** What the hands mean. Places are pixels from the upper left of the sheet. */
export interface Hands {
  orbit(dx: number, dy: number): void;
  pan(dx: number, dy: number): void;
  zoom(factor: number, x: number, y: number): void;
  tap(x: number, y: number): void;
  /** Something is taken hold of; false if there is nothing to hold. */
  grip(x: number, y: number): boolean;
  drag(x: number, y: number): void;
  release(x: number, y: number, done: boolean): void;
}

/** A press that moves less than this, in pixels, is a tap. */
const slop = 5;

/** Tells the two fingers of a trackpad from the wheel of a mouse, which steps in whole, large numbers. */
export function fromTrackpad(e: Pick<WheelEvent, "deltaMode" | "deltaX" | "deltaY">): boolean {
  return e.deltaMode === 0 && (e.deltaX !== 0 || !Number.isInteger(e.deltaY) || Math.abs(e.deltaY) < 40);
}

/** Listens to hands on an element until the signal. */
export function listen(on: HTMLElement, hands: Hands, signal: AbortSignal): void {
  const fingers = new Map<number, { x: number; y: number }>();
  let from = { x: 0, y: 0 };
  let mode: "none" | "press" | "orbit" | "pan" | "drag" = "none";
  const place = (e: MouseEvent): { x: number; y: number } => {
    const box = on.getBoundingClientRect();
    return { x: e.clientX - box.left, y: e.clientY - box.top };
  };
  const spread = (): { x: number; y: number; apart: number } => {
    const [a, b] = [...fingers.values()];
    if (!a || !b) return { x: 0, y: 0, apart: 1 };
    return { x: (a.x + b.x) / 2, y: (a.y + b.y) / 2, apart: Math.max(1, Math.hypot(a.x - b.x, a.y - b.y)) };
  };

  on.addEventListener(
    "pointerdown",
    (e) => {
      const p = place(e);
      fingers.set(e.pointerId, p);
      on.setPointerCapture(e.pointerId);
      if (fingers.size > 1) {
        if (mode === "drag") hands.release(p.x, p.y, false);
        mode = "pan";
        return;
      }
      from = p;
      mode = e.button !== 0 || e.shiftKey ? "pan" : "press";
    },
    { signal },
  );
  on.addEventListener(
    "pointermove",
    (e) => {
      const last = fingers.get(e.pointerId);
      if (!last) return;
      const p = place(e);
      const before = spread();
      fingers.set(e.pointerId, p);
      if (fingers.size === 2) {
        const now = spread();
        hands.pan(now.x - before.x, now.y - before.y);
        hands.zoom(before.apart / now.apart, now.x, now.y);
        return;
      }
      if (mode === "press" && Math.hypot(p.x - from.x, p.y - from.y) > slop) mode = hands.grip(from.x, from.y) ? "drag" : "orbit";
      if (mode === "orbit") hands.orbit(p.x - last.x, p.y - last.y);
      else if (mode === "pan") hands.pan(p.x - last.x, p.y - last.y);
      else if (mode === "drag") hands.drag(p.x, p.y);
    },
    { signal },
  );
  const up = (e: PointerEvent): void => {
    if (!fingers.delete(e.pointerId)) return;
    const p = place(e);
    const done = e.type === "pointerup";
    if (mode === "press" && done) hands.tap(p.x, p.y);
    if (mode === "drag") hands.release(p.x, p.y, done);
    if (fingers.size === 0) mode = "none";
  };
  on.addEventListener("pointerup", up, { signal });
  on.addEventListener("pointercancel", up, { signal });
  on.addEventListener("contextmenu", (e) => e.preventDefault(), { signal });
  on.addEventListener(
    "wheel",
    (e) => {
      e.preventDefault();
      const p = place(e);
      // A pinch on a trackpad comes as a wheel with the control key.
      if (e.ctrlKey) hands.zoom(Math.exp(e.deltaY * 0.01), p.x, p.y);
      else if (fromTrackpad(e)) hands.pan(-e.deltaX, -e.deltaY);
      else hands.zoom(Math.exp(Math.sign(e.deltaY) * 0.15), p.x, p.y);
    },
    { signal, passive: false },
  );
}
