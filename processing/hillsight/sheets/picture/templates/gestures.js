// Fingers, mouse and wheel on a frame: what is a tap, what a drag, what a pinch.

const STILL_PX = 7;
const HOLD_MS = 380;

/**
 * Listen on a frame and move its view.
 *
 * does: { tap(x, y, event), grab(x, y, event, held) -> true where the drag is taken, drag(x, y, event),
 * drop(x, y, event), dropped off: cancel(), hover(x, y, event) }, each optional; x, y in CSS pixels of the
 * frame. held: a finger has rested there. A drag that nobody takes moves the view; two fingers always do.
 */
function listenTo(view, does, wheel = () => true) {
  const frame = view.frame;
  const fingers = new Map();
  let press = null; // { x, y, taken, moved }
  let pinch = null; // { x, y, far }
  const placed = (event) => {
    const box = frame.getBoundingClientRect();
    return [event.clientX - box.left - frame.clientLeft, event.clientY - box.top - frame.clientTop];
  };
  const spread = () => {
    const [one, other] = [...fingers.values()];
    return {
      x: (one[0] + other[0]) / 2,
      y: (one[1] + other[1]) / 2,
      far: Math.max(1, Math.hypot(one[0] - other[0], one[1] - other[1])),
    };
  };
  const forget = () => {
    if (press) clearTimeout(press.timer);
    if (press && press.taken && does.cancel) does.cancel();
    press = null;
  };

  frame.addEventListener("pointerdown", (event) => {
    const [x, y] = placed(event);
    frame.focus({ preventScroll: true });
    fingers.set(event.pointerId, [x, y]);
    try {
      frame.setPointerCapture(event.pointerId);
    } catch { /* a made event has no pointer to capture */ }
    if (fingers.size === 2) {
      forget();
      pinch = spread();
      return;
    }
    if (fingers.size > 2) return;
    const pans = event.button === 1 || event.button === 2;
    press = { x, y, last: [x, y], moved: false, pans, taken: false };
    if (!pans && does.grab && does.grab(x, y, event, false)) press.taken = true;
    else if (!pans && event.pointerType !== "mouse" && does.grab) {
      const mine = press;
      press.timer = setTimeout(() => {
        if (press === mine && !mine.moved && does.grab(mine.x, mine.y, event, true)) {
          mine.taken = true;
          mine.moved = true;
        }
      }, HOLD_MS);
    }
  });

  frame.addEventListener("pointermove", (event) => {
    const [x, y] = placed(event);
    if (!fingers.has(event.pointerId)) {
      if (does.hover && event.pointerType !== "touch") does.hover(x, y, event);
      return;
    }
    fingers.set(event.pointerId, [x, y]);
    if (pinch && fingers.size >= 2) {
      const now = spread();
      view.zoomAt(now.x, now.y, now.far / pinch.far, pinch.x, pinch.y);
      pinch = now;
      return;
    }
    if (!press) return;
    if (!press.moved && Math.hypot(x - press.x, y - press.y) < STILL_PX) return;
    if (!press.moved) clearTimeout(press.timer);
    press.moved = true;
    if (press.taken) does.drag(x, y, event);
    else view.panBy(x - press.last[0], y - press.last[1]);
    press.last = [x, y];
  });

  const up = (event) => {
    if (!fingers.delete(event.pointerId)) return;
    const [x, y] = placed(event);
    if (pinch) {
      pinch = fingers.size >= 2 ? spread() : null;
      return;
    }
    if (!press || fingers.size) return;
    const done = press;
    clearTimeout(done.timer);
    press = null;
    if (event.type === "pointercancel") {
      if (done.taken && does.cancel) does.cancel();
    } else if (done.taken && done.moved) does.drop(x, y, event);
    else if (!done.moved && !done.pans) {
      if (done.taken && does.cancel) does.cancel();
      if (does.tap) does.tap(done.x, done.y, event);
    }
  };
  frame.addEventListener("pointerup", up);
  frame.addEventListener("pointercancel", up);
  frame.addEventListener("pointerleave", () => does.leave && does.leave());
  // Else the click that a browser makes of a tap would land on whatever the tap has just opened.
  frame.addEventListener("touchend", (event) => event.cancelable && event.preventDefault(), { passive: false });
  frame.addEventListener("contextmenu", (event) => event.preventDefault());
  frame.addEventListener(
    "wheel",
    (event) => {
      if (!wheel(event)) return;
      event.preventDefault();
      const lines = event.deltaMode === 1 ? 30 : 1;
      const step = Math.max(-240, Math.min(240, event.deltaY * lines));
      view.zoomAt(...placed(event), Math.exp(-step / (event.ctrlKey ? 90 : 320)));
    },
    { passive: false },
  );
}

/** A frame that shows a picture to compare with: zoomed and moved by fingers, wheel, keys and buttons. */
async function comparable(figure) {
  const image = figure.querySelector("img");
  await image.decode();
  const pyramid = await Pyramid.of(image, image.naturalWidth, image.naturalHeight);
  const frame = figure.querySelector(".frame");
  const view = new View(frame, frame.querySelector("canvas"), pyramid, () => {});
  // Where the page itself must scroll, the wheel is its own until the picture has been chosen.
  listenTo(view, {}, (event) => event.ctrlKey || document.activeElement === frame);
  const middle = (times) => view.zoomAt(view.width / 2, view.height / 2, times);
  const does = { in: () => middle(1.5), out: () => middle(1 / 1.5), whole: () => view.showWhole() };
  for (const button of figure.querySelectorAll("button[data-zoom]")) {
    button.addEventListener("click", does[button.dataset.zoom]);
  }
  const keys = {
    "+": does.in, "=": does.in, "-": does.out, 0: does.whole,
    ArrowLeft: () => view.panBy(40, 0), ArrowRight: () => view.panBy(-40, 0),
    ArrowUp: () => view.panBy(0, 40), ArrowDown: () => view.panBy(0, -40),
  };
  frame.addEventListener("keydown", (event) => {
    if (!keys[event.key] || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    keys[event.key]();
  });
}
