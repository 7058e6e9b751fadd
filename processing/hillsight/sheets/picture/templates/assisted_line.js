// The assisted line: the cheapest way from one anchor to the next, where edges are cheap and all else is dear.
// Live-wire, Mortensen and Barrett 1995 ("Intelligent Scissors"), with their weights. What differs: the edge
// wanted is known at both ends, so that a strong wall below a pale skyline does not draw the line to itself
// (their "training" in another form); and the way is sought on a small picture first, then made finer in a
// narrow strip, so that a telephone keeps up.

const WEIGHTS = { ridge: 0.43, strength: 0.43, direction: 0.14 };
const MOST_NODES = 40000;
const DEAREST = 240;
const PIECE = 200;

/**
 * A line along the edge from one point of the photograph to another, both in its pixels.
 *
 * quick: only as fine as the screen shows (scale: screen pixels for a pixel of the photograph). The ends are
 * those given, to the bit.
 */
function assistedLine(pyramid, from, to, scale, quick) {
  const ratio = pyramid.ratio;
  const a = [from[0] * ratio, from[1] * ratio];
  const b = [to[0] * ratio, to[1] * ratio];
  const far = Math.hypot(b[0] - a[0], b[1] - a[1]);
  if (far < 3) return [from, to];
  let level = 0;
  const margin = () => Math.max(16, (0.3 * far) / 2 ** level);
  const nodes = () =>
    (Math.abs(a[0] - b[0]) / 2 ** level + 2 * margin()) * (Math.abs(a[1] - b[1]) / 2 ** level + 2 * margin());
  while (level + 1 < pyramid.levels.length && nodes() > MOST_NODES) level += 1;
  const finest = quick ? Math.max(0, Math.floor(Math.log2(Math.max(1, ratio / scale)))) : 0;
  const room = margin();
  let each = 2 ** level;
  const edges = edgesIn(
    pyramid, level,
    Math.min(a[0], b[0]) / each - room, Math.min(a[1], b[1]) / each - room,
    Math.max(a[0], b[0]) / each + room, Math.max(a[1], b[1]) / each + room,
  );
  let way = cheapest(edges, costs(edges, inBox(edges, a, each), inBox(edges, b, each)), a, b, each, null);
  while (level > finest) {
    level -= 1;
    each = 2 ** level;
    way = finer(pyramid, level, way, a, b);
  }
  const points = way.map(([x, y]) => [(x * each) / ratio, (y * each) / ratio]);
  const inner = points.slice(1, -1).filter((p) => Math.hypot(p[0] - from[0], p[1] - from[1]) * ratio > 1.5 * each &&
    Math.hypot(p[0] - to[0], p[1] - to[1]) * ratio > 1.5 * each);
  return thinned([from, ...inner, to], 0.3 / ratio);
}

/** Column and row in a box of edges of a point of the picture at its full size. */
function inBox({ x0, y0, w, h }, [x, y], each) {
  return [
    Math.min(w - 1, Math.max(0, Math.floor(x / each) - x0)),
    Math.min(h - 1, Math.max(0, Math.floor(y / each) - y0)),
  ];
}

/** The strongest edge within two pixels of a pixel: [strength, side_x, side_y]. */
function edgeAbout({ w, h, strength, side_x, side_y }, [x, y]) {
  let best = y * w + x;
  for (let j = Math.max(0, y - 2); j <= Math.min(h - 1, y + 2); j += 1) {
    for (let i = Math.max(0, x - 2); i <= Math.min(w - 1, x + 2); i += 1) {
      if (strength[j * w + i] > strength[best]) best = j * w + i;
    }
  }
  return [strength[best], side_x[best], side_y[best]];
}

/** What it costs to step on each pixel, 2 to DEAREST. start, goal: pixels whose edges are those wanted. */
function costs(edges, start, goal) {
  const one = edgeAbout(edges, start);
  const other = edgeAbout(edges, goal);
  const usual = usualStrength(edges);
  const wanted = Math.max(Math.min(one[0], other[0]), 0.25 * Math.max(one[0], other[0]), 2 * usual, 1);
  let way_x = one[1] + other[1];
  let way_y = one[2] + other[2];
  const length = Math.hypot(way_x, way_y);
  const faces = length > 1; // where the two ends face different ways neither tells
  if (faces) {
    way_x /= length;
    way_y /= length;
  }
  const out = new Uint8Array(edges.w * edges.h);
  for (let i = 0; i < out.length; i += 1) {
    const times = edges.strength[i] / wanted;
    const like = times <= 1 ? times : Math.max(0.6, 1 - 0.1 * (times - 1));
    const turned = faces ? (1 - edges.side_x[i] * way_x - edges.side_y[i] * way_y) / 2 : 0;
    const cost =
      WEIGHTS.ridge * (edges.ridge[i] && times > 0.3 ? 0 : 1) +
      WEIGHTS.strength * (1 - like) +
      WEIGHTS.direction * (times > 0.05 ? turned : 1);
    out[i] = 2 + Math.round((DEAREST - 2) * Math.min(1, cost));
  }
  return out;
}

/**
 * The cheapest way between two points (Dijkstra 1959, with buckets for whole costs: Dial 1969; from memory).
 *
 * a, b: at the picture's full size; allowed: 1 where the way may go, or null. Gives points between pixels of
 * the level, from a to b.
 */
function cheapest(edges, cost, a, b, each, allowed) {
  const { w, h } = edges;
  const [sx, sy] = inBox(edges, a, each);
  const [gx, gy] = inBox(edges, b, each);
  const start = sy * w + sx;
  const goal = gy * w + gx;
  const spent = new Int32Array(w * h).fill(2147483647);
  const came = new Int32Array(w * h).fill(-1);
  const done = new Uint8Array(w * h);
  const turns = Math.ceil(DEAREST * Math.SQRT2) + 2;
  const buckets = Array.from({ length: turns }, () => []);
  spent[start] = 0;
  buckets[0].push(start);
  let waiting = 1;
  for (let now = 0; waiting > 0 && !done[goal]; now += 1) {
    const bucket = buckets[now % turns];
    while (bucket.length) {
      const at = bucket.pop();
      waiting -= 1;
      if (done[at] || spent[at] !== now) continue;
      done[at] = 1;
      if (at === goal) break;
      const x = at % w;
      const y = (at - x) / w;
      for (let dy = -1; dy <= 1; dy += 1) {
        for (let dx = -1; dx <= 1; dx += 1) {
          const nx = x + dx;
          const ny = y + dy;
          if ((!dx && !dy) || nx < 0 || ny < 0 || nx >= w || ny >= h) continue;
          const next = ny * w + nx;
          if (done[next] || (allowed && !allowed[next])) continue;
          const sum = now + (dx && dy ? Math.round(cost[next] * Math.SQRT2) : cost[next]);
          if (sum < spent[next]) {
            spent[next] = sum;
            came[next] = at;
            buckets[sum % turns].push(next);
            waiting += 1;
          }
        }
      }
    }
  }
  if (!done[goal]) return [[a[0] / each, a[1] / each], [b[0] / each, b[1] / each]];
  const way = [];
  for (let at = goal; at >= 0; at = came[at]) way.push(exactly(edges, at % w, Math.floor(at / w)));
  return way.reverse();
}

/** A way of the level above made finer: sought anew in a strip about it, piece by piece. */
function finer(pyramid, level, way, a, b) {
  const each = 2 ** level;
  const out = [];
  let from = a;
  for (let first = 0; first < way.length - 1; first += PIECE) {
    const last = Math.min(way.length - 1, first + PIECE);
    const some = way.slice(first, last + 1).map(([x, y]) => [2 * x, 2 * y]);
    const xs = some.map((p) => p[0]);
    const ys = some.map((p) => p[1]);
    const edges = edgesIn(
      pyramid, level, Math.min(...xs) - 9, Math.min(...ys) - 9, Math.max(...xs) + 10, Math.max(...ys) + 10,
    );
    const allowed = new Uint8Array(edges.w * edges.h);
    for (const [x, y] of some) {
      for (let j = Math.floor(y) - edges.y0 - 4; j <= Math.floor(y) - edges.y0 + 4; j += 1) {
        for (let i = Math.floor(x) - edges.x0 - 4; i <= Math.floor(x) - edges.x0 + 4; i += 1) {
          if (i >= 0 && j >= 0 && i < edges.w && j < edges.h) allowed[j * edges.w + i] = 1;
        }
      }
    }
    const meant = some[some.length - 1];
    const to = last === way.length - 1 ? b : [meant[0] * each, meant[1] * each];
    for (const [x, y] of [inBox(edges, from, each), inBox(edges, to, each)]) allowed[y * edges.w + x] = 1;
    const cost = costs(edges, inBox(edges, from, each), inBox(edges, to, each));
    const part = cheapest(edges, cost, from, to, each, allowed);
    out.push(...(out.length ? part.slice(1) : part));
    from = to;
  }
  return out;
}

/** A line without the points that lie within a tolerance of it (Douglas and Peucker 1973; from memory). */
function thinned(points, tolerance) {
  const keep = new Uint8Array(points.length);
  keep[0] = 1;
  keep[points.length - 1] = 1;
  const parts = [[0, points.length - 1]];
  while (parts.length) {
    const [first, last] = parts.pop();
    const [ax, ay] = points[first];
    const dx = points[last][0] - ax;
    const dy = points[last][1] - ay;
    const length = Math.hypot(dx, dy);
    let most = tolerance;
    let at = -1;
    for (let i = first + 1; i < last; i += 1) {
      const px = points[i][0] - ax;
      const py = points[i][1] - ay;
      const off = length > 0 ? Math.abs(px * dy - py * dx) / length : Math.hypot(px, py);
      if (off > most) {
        most = off;
        at = i;
      }
    }
    if (at > 0) {
      keep[at] = 1;
      parts.push([first, at], [at, last]);
    }
  }
  return points.filter((_, i) => keep[i]);
}
