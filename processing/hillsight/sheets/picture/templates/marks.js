// What has been marked: landmarks and lines, each step kept so that it can be taken back.
//
// A line: { id, of: "skyline" | "brow", how: "traced" | "found", give, anchors: [[x, y]], pieces: [{ straight,
// path: [[x, y]] }] } with one piece from each anchor to the next, both ends in its path. A landmark: { id,
// feature, place, give, x, y }; place is { easting_m, northing_m, height_m, crs } where it has no name on the
// map; a height left out is the ground's. Pixels of the photograph; values are never changed, only replaced.

const GIVE_OR_TAKE_PX = { landmark: 2, line: 3 };

class Marks {
  constructor(changed) {
    this.now = { landmarks: [], lines: [] };
    this.past = [];
    this.future = [];
    this.changed = changed;
    this.next = 0;
  }

  /** A number that no mark has had yet. */
  id() {
    this.next += 1;
    return this.next;
  }

  /** Begin with marks that were kept or came with the page. */
  begin(now) {
    this.now = now;
    this.next = Math.max(0, ...[...now.landmarks, ...now.lines].map((one) => one.id));
  }

  put(now) {
    this.past.push(this.now);
    if (this.past.length > 500) this.past.shift();
    this.future = [];
    this.now = now;
    this.changed();
  }

  undo() {
    if (!this.past.length) return false;
    this.future.push(this.now);
    this.now = this.past.pop();
    this.changed();
    return true;
  }

  redo() {
    if (!this.future.length) return false;
    this.past.push(this.now);
    this.now = this.future.pop();
    this.changed();
    return true;
  }

  landmark(id) {
    return this.now.landmarks.find((one) => one.id === id);
  }

  line(id) {
    return this.now.lines.find((one) => one.id === id);
  }

  putLandmark(landmark) {
    this.put({ ...this.now, landmarks: replaced(this.now.landmarks, landmark) });
  }

  putLine(line) {
    this.put({ ...this.now, lines: replaced(this.now.lines, line) });
  }

  without(id) {
    const others = (list) => list.filter((one) => one.id !== id);
    this.put({ landmarks: others(this.now.landmarks), lines: others(this.now.lines) });
  }

  get empty() {
    return !this.now.landmarks.length && !this.now.lines.length;
  }
}

/** The list with one of its members replaced by that of the same id, or added at its end. */
function replaced(list, one) {
  return list.some((old) => old.id === one.id)
    ? list.map((old) => (old.id === one.id ? one : old))
    : [...list, one];
}

/** All points of a line, anchors once each. */
function pointsOf(line) {
  return line.anchors.slice(0, 1).concat(...line.pieces.map((piece) => piece.path.slice(1)));
}

function turnedRound(line) {
  const back = (piece) => ({ ...piece, path: [...piece.path].reverse() });
  return { ...line, anchors: [...line.anchors].reverse(), pieces: line.pieces.map(back).reverse() };
}

/** The line with one anchor elsewhere; join(from, to, straight) gives the piece between two anchors. */
function withAnchorAt(line, index, point, join) {
  const anchors = line.anchors.map((old, i) => (i === index ? point : old));
  const pieces = line.pieces.map((piece, i) =>
    i === index - 1 || i === index ? join(anchors[i], anchors[i + 1], piece.straight) : piece,
  );
  return { ...line, anchors, pieces, how: "traced" };
}

/** The line without one of its anchors, or null where less than two are left. */
function withoutAnchor(line, index, join) {
  if (line.anchors.length <= 2) return null;
  const anchors = line.anchors.filter((_, i) => i !== index);
  const pieces = [...line.pieces];
  if (index === 0) pieces.shift();
  else if (index === line.anchors.length - 1) pieces.pop();
  else {
    const straight = pieces[index - 1].straight && pieces[index].straight;
    pieces.splice(index - 1, 2, join(line.anchors[index - 1], line.anchors[index + 1], straight));
  }
  return { ...line, anchors, pieces, how: "traced" };
}

/** The line with one anchor more, on a piece of it; the line itself stays as it is. */
function withAnchorOn(line, { piece, step, point }) {
  const { straight, path } = line.pieces[piece];
  const anchors = [...line.anchors.slice(0, piece + 1), point, ...line.anchors.slice(piece + 1)];
  const halves = [
    { straight, path: [...path.slice(0, step + 1), point] },
    { straight, path: [point, ...path.slice(step + 1)] },
  ];
  const pieces = [...line.pieces.slice(0, piece), ...halves, ...line.pieces.slice(piece + 1)];
  return { ...line, anchors, pieces };
}

/** The nearest place on a line: { piece, step, point, away }, away in pixels of the photograph. */
function nearestOn(line, x, y) {
  let best = null;
  line.pieces.forEach(({ path }, piece) => {
    for (let step = 0; step + 1 < path.length; step += 1) {
      const [ax, ay] = path[step];
      const dx = path[step + 1][0] - ax;
      const dy = path[step + 1][1] - ay;
      const square = dx * dx + dy * dy;
      const t = square ? Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / square)) : 0;
      const point = [ax + t * dx, ay + t * dy];
      const away = Math.hypot(point[0] - x, point[1] - y);
      if (!best || away < best.away) best = { piece, step, point, away };
    }
  });
  return best;
}

/** What is left of a line outside a circle: no line, one, or several; the same line where none of it is in. */
function outside(line, x, y, radius, newId) {
  if (line.anchors.length === 1) {
    return Math.hypot(line.anchors[0][0] - x, line.anchors[0][1] - y) < radius ? [] : [line];
  }
  const runs = [];
  let run = null;
  let cut = false;
  const end = () => {
    if (run && run.path.length > 1) run = closed(run);
    if (run && run.pieces.length) runs.push({ anchors: run.anchors, pieces: run.pieces });
    run = null;
  };
  const begin = (point, straight) => {
    run = { anchors: [point], pieces: [], path: [point], straight };
  };
  const closed = ({ anchors, pieces, path, straight }) => {
    const last = path[path.length - 1];
    return { anchors: [...anchors, last], pieces: [...pieces, { straight, path }], path: [last], straight };
  };
  for (const { straight, path } of line.pieces) {
    if (run) run = { ...run, straight };
    for (let i = 0; i + 1 < path.length; i += 1) {
      const [p, q] = [path[i], path[i + 1]];
      const within = stretchWithin(p, q, x, y, radius);
      if (!within) {
        if (!run) begin(p, straight);
        run.path = [...run.path, q];
        continue;
      }
      cut = true;
      const at = (t) => [p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])];
      if (within[0] > 0) {
        if (!run) begin(p, straight);
        run.path = [...run.path, at(within[0])];
      }
      end();
      if (within[1] < 1) {
        begin(at(within[1]), straight);
        run.path = [...run.path, q];
      }
    }
    if (run && run.path.length > 1) run = closed(run);
  }
  end();
  if (!cut) return [line];
  return runs.map((one, i) => ({ ...line, ...one, id: i ? newId() : line.id }));
}

/** Shares of the way from p to q between which it is inside a circle, or null. */
function stretchWithin(p, q, x, y, radius) {
  const dx = q[0] - p[0];
  const dy = q[1] - p[1];
  const square = dx * dx + dy * dy;
  const fx = p[0] - x;
  const fy = p[1] - y;
  if (!square) return Math.hypot(fx, fy) < radius ? [0, 1] : null;
  const half = (fx * dx + fy * dy) / square;
  const root = half * half - (fx * fx + fy * fy - radius * radius) / square;
  if (root <= 0) return null;
  const first = Math.max(0, -half - Math.sqrt(root));
  const last = Math.min(1, -half + Math.sqrt(root));
  return first < last ? [first, last] : null;
}
