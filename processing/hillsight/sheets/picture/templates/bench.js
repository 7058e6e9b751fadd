// The bench: what a tap, a drag or a key means with the instrument in hand.

const NEAR = { mouse: 11, pen: 14, touch: 22 };
const SNAP = { mouse: 12, pen: 12, touch: 16 };
const MODES = ["look", "landmark", "skyline", "brow", "erase"];

class Bench {
  constructor(view, over, pyramid, marks, colours, chooser, say) {
    Object.assign(this, { view, over, pyramid, marks, colours, chooser, say });
    this.mode = "look";
    this.chosen = null; // { id } or { id, anchor }
    this.pen = null; // { id } of the line that is being traced
    this.preview = null;
    this.shown = null; // what a drag would make of the marks
    this.holding = null; // point of the photograph under the magnifier
    this.cursor = null; // of the keyboard, in the frame
    this.pointer = null;
    this.straight = false;
    this.straightKey = false;
    this.hidden = false;
    this.eraser = 24;
    this.told = () => {};
    listenTo(view, {
      tap: (x, y, event) => this.tap(x, y, event),
      grab: (x, y, event, held) => this.grab(x, y, event, held),
      drag: (x, y, event) => this.drag(x, y, event),
      drop: (x, y, event) => this.drop(x, y, event),
      cancel: () => this.cancel(),
      hover: (x, y, event) => this.hover(x, y, event),
      leave: () => this.left(),
    });
  }

  get tracing() {
    return this.mode === "skyline" || this.mode === "brow";
  }

  draw() {
    if (this.wanted) return;
    this.wanted = true;
    requestAnimationFrame(() => {
      this.wanted = false;
      paintMarks(this);
    });
  }

  /** After any change: what is gone can be neither chosen nor traced on. */
  settle() {
    if (this.chosen) {
      const line = this.marks.line(this.chosen.id);
      const there = line || this.marks.landmark(this.chosen.id);
      if (!there || (this.chosen.anchor !== undefined && (!line || this.chosen.anchor >= line.anchors.length))) {
        this.chosen = null;
      }
    }
    if (this.pen && !this.marks.line(this.pen.id)) this.pen = null;
    this.preview = null;
    this.shown = null;
    this.draw();
    this.told();
  }

  setMode(mode) {
    if (mode === this.mode) return;
    this.finish();
    this.mode = mode;
    if (this.chosen && mode !== "look") this.chosen = null;
    const words = {
      look: "Drag to move the photograph. Choose a mark to change it.",
      landmark: "Tap a landmark where it stands on the ground, and choose its name.",
      skyline: "Tap along the sky's edge. Tap the last anchor again to end the line.",
      brow: "Tap along the edge of the near ground. Tap the last anchor again to end.",
      erase: "Tap or rub where a line is wrong.",
    };
    this.say(words[mode]);
    this.settle();
  }

  // --- points, anchors, pieces -------------------------------------------------------------------------

  near(event) {
    return NEAR[event && event.pointerType] || NEAR.mouse;
  }

  isStraight(event) {
    return this.straight || this.straightKey || Boolean(event && event.shiftKey);
  }

  onPicture([x, y]) {
    const { width, height } = this.pyramid;
    return [Math.min(width, Math.max(0, x)), Math.min(height, Math.max(0, y))];
  }

  /** What a click cannot be better than at this magnification, in pixels of the photograph. */
  giveOrTake(event) {
    const finger = event && event.pointerType === "touch" ? 2 : 1;
    return Math.max(GIVE_OR_TAKE_PX.landmark, Math.round((finger * 10) / this.view.scale) / 10);
  }

  /** Where an anchor is put that was meant at a place of the frame. */
  anchorFor(x, y, event) {
    const point = this.onPicture(this.view.toPicture(x, y));
    if (this.isStraight(event)) return point;
    return snapped(this.pyramid, ...point, (SNAP[event && event.pointerType] || SNAP.mouse) / this.view.scale);
  }

  join(from, to, straight, quick = false) {
    const path = straight ? [from, to] : assistedLine(this.pyramid, from, to, this.view.scale, quick);
    return { straight, path };
  }

  /** The mark whose handle is at a place of the frame: { id } or { id, anchor }, or null. */
  handleAt(x, y, event) {
    let best = null;
    let least = this.near(event);
    const look = (point, handle) => {
      const [vx, vy] = this.view.toView(...point);
      const away = Math.hypot(vx - x, vy - y);
      if (away < least) {
        least = away;
        best = handle;
      }
    };
    if (!this.tracing) for (const one of this.marks.now.landmarks) look([one.x, one.y], { id: one.id });
    if (this.mode !== "landmark") {
      for (const line of this.marks.now.lines) {
        if (this.tracing && line.of !== this.mode) continue;
        line.anchors.forEach((anchor, i) => look(anchor, { id: line.id, anchor: i }));
      }
    }
    return best;
  }

  lineAt(x, y, event) {
    const [px, py] = this.view.toPicture(x, y);
    let best = null;
    for (const line of this.marks.now.lines) {
      if (this.tracing && line.of !== this.mode) continue;
      const found = nearestOn(line, px, py);
      if (found && found.away * this.view.scale < this.near(event) && (!best || found.away < best.found.away)) {
        best = { line, found };
      }
    }
    return best;
  }

  // --- taps ----------------------------------------------------------------------------------------------

  tap(x, y, event) {
    if (event && event.pointerType) this.cursor = null;
    if (this.hidden) return;
    if (this.mode === "erase") {
      this.rub(x, y);
      this.rubbed();
    } else if (this.mode === "landmark") this.tapLandmark(x, y, event);
    else if (this.tracing) this.tapLine(x, y, event);
    else this.choose(this.handleAt(x, y, event) || this.wholeLine(x, y, event));
  }

  wholeLine(x, y, event) {
    const on = this.lineAt(x, y, event);
    return on && { id: on.line.id };
  }

  choose(handle) {
    this.chosen = handle;
    if (handle) this.say(this.wordsOfChosen());
    this.settle();
  }

  wordsOfChosen() {
    const landmark = this.marks.landmark(this.chosen.id);
    if (landmark) return `${wordsOf(landmark)}, x ${landmark.x.toFixed(1)}, y ${landmark.y.toFixed(1)} px`;
    const line = this.marks.line(this.chosen.id);
    const name = line.of === "skyline" ? "Skyline" : "Near brow";
    if (this.chosen.anchor === undefined) return `${name}, ${line.anchors.length} anchors`;
    const [x, y] = line.anchors[this.chosen.anchor];
    return `${name}, anchor ${this.chosen.anchor + 1} of ${line.anchors.length}, x ${x.toFixed(1)}, y ${y.toFixed(1)} px`;
  }

  tapLandmark(x, y, event) {
    const handle = this.handleAt(x, y, event);
    if (handle) this.choose(handle);
    else this.newLandmark(this.onPicture(this.view.toPicture(x, y)), this.giveOrTake(event));
  }

  async newLandmark([x, y], give) {
    const id = this.marks.id();
    const unnamed = { id, feature: "?", place: null, give, x, y };
    this.shown = { ...this.marks.now, landmarks: [...this.marks.now.landmarks, unnamed] };
    this.draw();
    const choice = await this.chooser.ask(this.taken(), null);
    this.shown = null;
    if (choice) {
      this.marks.putLandmark({ ...unnamed, ...choice });
      this.say(`Marked ${wordsOf(choice)} at x ${x.toFixed(1)}, y ${y.toFixed(1)} px.`);
    }
    this.draw();
    this.view.frame.focus({ preventScroll: true });
  }

  async rename(id) {
    const landmark = this.marks.landmark(id);
    const choice = await this.chooser.ask(this.taken(id), landmark);
    if (choice) this.marks.putLandmark({ ...landmark, ...choice });
  }

  taken(but) {
    return new Set(this.marks.now.landmarks.filter((one) => one.id !== but).map((one) => one.feature));
  }

  tapLine(x, y, event) {
    const handle = this.handleAt(x, y, event);
    const line = this.pen && this.marks.line(this.pen.id);
    if (line) {
      if (handle && handle.id === line.id && handle.anchor === line.anchors.length - 1) this.finish();
      else this.extend(line, this.anchorFor(x, y, event), this.isStraight(event));
      return;
    }
    if (handle) {
      this.choose(handle);
      return;
    }
    const on = this.lineAt(x, y, event);
    if (on) {
      this.marks.putLine(withAnchorOn(on.line, on.found));
      this.choose({ id: on.line.id, anchor: on.found.piece + 1 });
      return;
    }
    const id = this.marks.id();
    this.pen = { id };
    this.chosen = null;
    const anchors = [this.anchorFor(x, y, event)];
    this.marks.putLine({ id, of: this.mode, how: "traced", give: GIVE_OR_TAKE_PX.line, anchors, pieces: [] });
    this.say("First anchor set. Tap on along the edge.");
  }

  extend(line, point, straight) {
    const last = line.anchors[line.anchors.length - 1];
    if (Math.hypot(point[0] - last[0], point[1] - last[1]) < 1e-6) return;
    const pieces = [...line.pieces, this.join(last, point, straight)];
    this.marks.putLine({ ...line, anchors: [...line.anchors, point], pieces, how: "traced" });
    this.say(`Anchor ${line.anchors.length + 1} set.`);
  }

  /** End the line that is being traced; one of a single anchor is no line. */
  finish() {
    if (!this.pen) return false;
    const line = this.marks.line(this.pen.id);
    this.pen = null;
    if (line && line.anchors.length < 2) this.marks.without(line.id);
    else if (line) this.say(`The line is ended with ${line.anchors.length} anchors.`);
    this.settle();
    return true;
  }

  /** Trace on from the chosen end of a line. */
  goOn() {
    const line = this.chosen && this.marks.line(this.chosen.id);
    if (!line) return;
    const fromStart = this.chosen.anchor === 0 && line.anchors.length > 1;
    this.setMode(line.of);
    if (fromStart) this.marks.putLine(turnedRound(line));
    this.pen = { id: line.id };
    this.chosen = null;
    this.say("Tap on along the edge.");
    this.settle();
  }

  remove() {
    const { chosen } = this;
    if (this.pen) {
      const line = this.marks.line(this.pen.id);
      if (line.anchors.length > 1) this.marks.putLine(withoutAnchor(line, line.anchors.length - 1, null) || lone(line));
      else this.marks.without(line.id);
      return;
    }
    if (!chosen) return;
    const line = this.marks.line(chosen.id);
    const less =
      line && chosen.anchor !== undefined ? withoutAnchor(line, chosen.anchor, (a, b, s) => this.join(a, b, s)) : null;
    if (less) this.marks.putLine(less);
    else this.marks.without(chosen.id);
    this.chosen = null;
    this.say("Deleted. Undo brings it back.");
    this.settle();
  }

  // --- drags ----------------------------------------------------------------------------------------------

  grab(x, y, event, held) {
    if (this.hidden || (event && event.button > 0)) return false;
    if (this.mode === "erase") {
      if (held) return false;
      this.rub(x, y);
      return true;
    }
    const handle = this.handleAt(x, y, event);
    if (handle && !held) {
      this.moving = { ...handle, start: [x, y] };
      return true;
    }
    if (held && (this.mode === "landmark" || this.tracing)) {
      this.moving = { fresh: true };
      this.drag(x, y, event);
      return true;
    }
    return false;
  }

  drag(x, y, event) {
    if (event && event.pointerType) this.cursor = null;
    if (this.mode === "erase") {
      this.rub(x, y);
      return;
    }
    const moving = this.moving;
    if (!moving) return;
    const point = this.onPicture(this.view.toPicture(x, y));
    this.holding = point;
    if (moving.fresh) this.preview = null;
    else if (moving.anchor === undefined) {
      const landmark = { ...this.marks.landmark(moving.id), x: point[0], y: point[1] };
      this.shown = { ...this.marks.now, landmarks: replaced(this.marks.now.landmarks, landmark) };
    } else {
      const line = withAnchorAt(this.marks.line(moving.id), moving.anchor, point, (a, b, s) => this.join(a, b, s, true));
      this.shown = { ...this.marks.now, lines: replaced(this.marks.now.lines, line) };
    }
    this.draw();
  }

  drop(x, y, event) {
    const { moving } = this;
    this.holding = null;
    this.moving = null;
    this.shown = null;
    if (this.mode === "erase") {
      this.rubbed();
      return;
    }
    if (!moving) return;
    if (moving.fresh) {
      this.tap(x, y, event);
      return;
    }
    if (moving.anchor === undefined) {
      const [px, py] = this.onPicture(this.view.toPicture(x, y));
      const give = this.giveOrTake(event);
      this.marks.putLandmark({ ...this.marks.landmark(moving.id), x: px, y: py, give });
    } else {
      const line = this.marks.line(moving.id);
      const point = this.anchorFor(x, y, event);
      this.marks.putLine(withAnchorAt(line, moving.anchor, point, (a, b, s) => this.join(a, b, s)));
    }
    this.choose({ id: moving.id, anchor: moving.anchor });
  }

  cancel() {
    this.moving = null;
    this.holding = null;
    this.shown = null;
    this.rubbing = null;
    this.draw();
  }

  rub(x, y) {
    const [px, py] = this.view.toPicture(x, y);
    const radius = this.eraser / this.view.scale;
    this.pointer = [x, y];
    const before = (this.rubbing || this.marks.now).lines;
    const lines = before.flatMap((line) => outside(line, px, py, radius, () => this.marks.id()));
    this.rubbing = { ...this.marks.now, lines };
    this.shown = this.rubbing;
    this.draw();
  }

  rubbed() {
    const { rubbing } = this;
    this.rubbing = null;
    this.shown = null;
    if (!rubbing) return;
    const same = rubbing.lines.length === this.marks.now.lines.length &&
      rubbing.lines.every((line, i) => line === this.marks.now.lines[i]);
    if (same) this.draw();
    else {
      this.marks.put(rubbing);
      this.say("Erased. Undo brings it back.");
    }
  }

  // --- what follows the pointer --------------------------------------------------------------------------

  hover(x, y, event) {
    this.pointer = [x, y];
    if (this.mode === "erase") this.draw();
    this.follow(x, y, event);
  }

  left() {
    this.pointer = null;
    this.preview = null;
    this.draw();
  }

  /** The line as it would be if a tap came here. */
  follow(x, y, event) {
    const line = this.pen && this.marks.line(this.pen.id);
    if (!line || this.moving) return;
    const straight = this.isStraight(event);
    this.wish = { last: line.anchors[line.anchors.length - 1], x, y, straight };
    if (this.following) return;
    this.following = true;
    requestAnimationFrame(() => {
      this.following = false;
      const { last, x: wx, y: wy, straight: straightly } = this.wish;
      if (!this.pen) return;
      this.preview = this.join(last, this.onPicture(this.view.toPicture(wx, wy)), straightly, true).path;
      this.draw();
    });
  }
}

/** A line of which only the first anchor is left. */
function lone(line) {
  return { ...line, anchors: line.anchors.slice(0, 1), pieces: [] };
}
