// The keyboard: a cross that the arrow keys move over the photograph, and a key for each thing to do.

const STEP_PX = 16;

function listenToKeys(bench, doing) {
  const { view } = bench;
  const frame = view.frame;
  const cursor = () => {
    if (!bench.cursor) bench.cursor = [view.width / 2, view.height / 2];
    return bench.cursor;
  };

  function move(dx, dy) {
    const [x, y] = cursor();
    let nx = x + dx;
    let ny = y + dy;
    const edge = 30;
    const over = (at, size) => Math.min(0, at - edge) + Math.max(0, at - size + edge);
    if (over(nx, view.width) || over(ny, view.height)) {
      const before = [view.x, view.y];
      view.panBy(-over(nx, view.width), -over(ny, view.height));
      nx += view.x - before[0];
      ny += view.y - before[1];
    }
    bench.cursor = [Math.min(view.width - 1, Math.max(1, nx)), Math.min(view.height - 1, Math.max(1, ny))];
    if (bench.moving) bench.drag(...bench.cursor, null);
    else bench.follow(...bench.cursor, null);
    const [px, py] = view.toPicture(...bench.cursor);
    bench.say(`x ${px.toFixed(1)}, y ${py.toFixed(1)} px`);
    bench.draw();
  }

  function enter(event) {
    const [x, y] = cursor();
    if (bench.moving) {
      bench.drop(x, y, null);
      return;
    }
    const handle = bench.pen || bench.mode === "erase" ? null : bench.handleAt(x, y, null);
    if (handle) {
      bench.choose(handle);
      bench.moving = { ...handle };
      bench.drag(x, y, null);
      bench.say("Picked up. Move it with the arrow keys; Enter puts it down.");
    } else bench.tap(x, y, event.shiftKey ? { shiftKey: true } : null);
  }

  function escape() {
    if (bench.moving) bench.cancel();
    else if (!bench.finish()) bench.choose(null);
  }

  /** To the next mark, in the order of the lists; back with the shift key. */
  function next(by) {
    const handles = [
      ...bench.marks.now.landmarks.map((one) => [{ id: one.id }, [one.x, one.y]]),
      ...bench.marks.now.lines.flatMap((line) => line.anchors.map((point, i) => [{ id: line.id, anchor: i }, point])),
    ];
    if (!handles.length) return;
    const { chosen } = bench;
    const at = handles.findIndex(([one]) => chosen && one.id === chosen.id && one.anchor === chosen.anchor);
    const to = at < 0 ? (by > 0 ? 0 : handles.length - 1) : (at + by + handles.length) % handles.length;
    const [handle, point] = handles[to];
    if (view.scale > view.least * 1.2) view.bringIn(...point);
    bench.cursor = view.toView(...point);
    bench.choose(handle);
  }

  frame.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target !== frame) return;
    const far = event.shiftKey ? 1 : STEP_PX;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const does = {
      ArrowLeft: () => move(-far, 0),
      ArrowRight: () => move(far, 0),
      ArrowUp: () => move(0, -far),
      ArrowDown: () => move(0, far),
      Enter: () => enter(event),
      " ": () => enter(event),
      Escape: escape,
      Delete: () => bench.remove(),
      Backspace: () => bench.remove(),
      "+": () => doing.zoom(1.4),
      "=": () => doing.zoom(1.4),
      "-": () => doing.zoom(1 / 1.4),
      0: doing.whole,
      n: () => next(event.shiftKey ? -1 : 1),
      g: () => bench.goOn(),
      h: doing.hide,
      s: () => (bench.straightKey = true),
    };
    MODES.forEach((mode, i) => (does[i + 1] = () => doing.mode(mode)));
    if (!does[key]) return;
    event.preventDefault();
    does[key]();
  });
  window.addEventListener("keyup", (event) => {
    if (event.key.toLowerCase() === "s") bench.straightKey = false;
  });
  window.addEventListener("blur", () => (bench.straightKey = false));
  frame.addEventListener("blur", () => {
    bench.straightKey = false;
    bench.draw();
  });

  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
    if (event.target.closest("input, textarea, dialog")) return;
    const key = event.key.toLowerCase();
    if (key === "z" || key === "y") {
      event.preventDefault();
      (key === "y" || event.shiftKey ? doing.redo : doing.undo)();
    }
  });
}
