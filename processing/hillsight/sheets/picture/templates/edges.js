// Edges of the picture: how strong, which way they face, where exactly.

/**
 * Edges in a box of a level of the picture, in that level's pixels.
 *
 * strength: length of the gradient of the channel that changes most; side_x, side_y: its direction, one long,
 * towards the brighter side; ridge: 1 where the strength is greatest across the edge, which is where the
 * second derivative along the gradient goes through zero (Marr and Hildreth 1980; Canny 1986; from memory).
 */
function edgesIn(pyramid, level, left, top, right, bottom) {
  const [most_x, most_y] = pyramid.size(level);
  const x0 = Math.max(0, Math.floor(left));
  const y0 = Math.max(0, Math.floor(top));
  const w = Math.max(1, Math.min(most_x, Math.ceil(right)) - x0);
  const h = Math.max(1, Math.min(most_y, Math.ceil(bottom)) - y0);
  const rgba = pyramid.pixels(level, x0, y0, w, h);
  const n = w * h;
  const strength = new Float32Array(n);
  const side_x = new Float32Array(n);
  const side_y = new Float32Array(n);
  const raw = new Float32Array(n);
  const smooth = new Float32Array(n);
  for (let channel = 0; channel < 3; channel += 1) {
    for (let i = 0; i < n; i += 1) raw[i] = rgba[4 * i + channel];
    smoothed(raw, smooth, w, h);
    for (let y = 0; y < h; y += 1) {
      const up = y > 0 ? -w : 0;
      const down = y < h - 1 ? w : 0;
      for (let x = 0; x < w; x += 1) {
        const i = y * w + x;
        const before = x > 0 ? -1 : 0;
        const after = x < w - 1 ? 1 : 0;
        const gx = (smooth[i + after] - smooth[i + before]) / 2;
        const gy = (smooth[i + down] - smooth[i + up]) / 2;
        const size = Math.hypot(gx, gy);
        if (size > strength[i]) {
          strength[i] = size;
          side_x[i] = gx / size;
          side_y[i] = gy / size;
        }
      }
    }
  }
  const edges = { x0, y0, w, h, strength, side_x, side_y, ridge: new Uint8Array(n) };
  markRidges(edges);
  return edges;
}

/** Each pixel averaged with its neighbours, weights 1 2 1 both ways. */
function smoothed(raw, out, w, h) {
  const rows = new Float32Array(raw.length);
  for (let y = 0; y < h; y += 1) {
    for (let x = 0; x < w; x += 1) {
      const i = y * w + x;
      rows[i] = (raw[x > 0 ? i - 1 : i] + 2 * raw[i] + raw[x < w - 1 ? i + 1 : i]) / 4;
    }
  }
  for (let y = 0; y < h; y += 1) {
    const up = y > 0 ? -w : 0;
    const down = y < h - 1 ? w : 0;
    for (let x = 0; x < w; x += 1) {
      const i = y * w + x;
      out[i] = (rows[i + up] + 2 * rows[i] + rows[i + down]) / 4;
    }
  }
}

function markRidges({ w, h, strength, side_x, side_y, ridge }) {
  for (let y = 1; y < h - 1; y += 1) {
    for (let x = 1; x < w - 1; x += 1) {
      const i = y * w + x;
      const step = Math.round(side_y[i]) * w + Math.round(side_x[i]);
      if (step && strength[i] >= strength[i - step] && strength[i] >= strength[i + step]) ridge[i] = 1;
    }
  }
}

/** Strength between pixels; x, y count from the middle of the box's first pixel. */
function strengthAt({ w, h, strength }, x, y) {
  const cx = Math.min(w - 1.001, Math.max(0, x));
  const cy = Math.min(h - 1.001, Math.max(0, y));
  const i = Math.floor(cy) * w + Math.floor(cx);
  const fx = cx - Math.floor(cx);
  const fy = cy - Math.floor(cy);
  const right = w > 1 ? 1 : 0;
  const below = h > 1 ? w : 0;
  return (
    (1 - fy) * ((1 - fx) * strength[i] + fx * strength[i + right]) +
    fy * ((1 - fx) * strength[i + below] + fx * strength[i + below + right])
  );
}

/**
 * Where the edge at a pixel of the box lies, between pixels: the vertex of a parabola through three strengths
 * across the edge. In pixels of the level, 0,0 its upper left corner.
 */
function exactly(edges, x, y) {
  const i = y * edges.w + x;
  const nx = edges.side_x[i];
  const ny = edges.side_y[i];
  const here = edges.strength[i];
  const before = strengthAt(edges, x - nx, y - ny);
  const after = strengthAt(edges, x + nx, y + ny);
  const bend = before - 2 * here + after;
  const along = bend < -1e-6 ? Math.min(1, Math.max(-1, (before - after) / (2 * bend))) : 0;
  return [edges.x0 + x + 0.5 + along * nx, edges.y0 + y + 0.5 + along * ny];
}

/** The strength that half of the pixels stay under: what grass, scree and grain have everywhere. */
function usualStrength({ strength }) {
  const step = Math.max(1, Math.floor(strength.length / 2000));
  const some = [];
  for (let i = 0; i < strength.length; i += step) some.push(strength[i]);
  some.sort((one, other) => one - other);
  return some[Math.floor(some.length / 2)];
}

/**
 * The edge that was meant by a point. A nearer one is preferred to a stronger one: a pale skyline is often what
 * is meant, with a strong ridge close below.
 *
 * x, y, radius in pixels of the photograph; gives a point there, or the same one where nothing stands out.
 */
function snapped(pyramid, x, y, radius) {
  let level = 0;
  const ratio = pyramid.ratio;
  while (level + 1 < pyramid.levels.length && (radius * ratio) / 2 ** level > 10) level += 1;
  let px = x * ratio;
  let py = y * ratio;
  let reach = Math.max(1.5, (radius * ratio) / 2 ** level);
  for (; level >= 0; level -= 1, reach = 2.5) {
    const each = 2 ** level;
    const cx = px / each;
    const cy = py / each;
    const room = Math.ceil(reach) + 3;
    const edges = edgesIn(pyramid, level, cx - room, cy - room, cx + room + 1, cy + room + 1);
    const least = 1 + (reach > 3 ? 2 * usualStrength(edges) : 0);
    let best = 0;
    let found = null;
    for (let j = 1; j < edges.h - 1; j += 1) {
      for (let i = 1; i < edges.w - 1; i += 1) {
        const away = Math.hypot(edges.x0 + i + 0.5 - cx, edges.y0 + j + 0.5 - cy);
        const strength = edges.strength[j * edges.w + i];
        if (away > reach || strength < least || !edges.ridge[j * edges.w + i]) continue;
        const worth = Math.sqrt(strength) * Math.exp(-2 * (away / reach) ** 2);
        if (worth > best) {
          best = worth;
          found = exactly(edges, i, j);
        }
      }
    }
    if (!found) return reach > 3 ? [x, y] : [px / ratio, py / ratio];
    px = found[0] * each;
    py = found[1] * each;
  }
  return [px / ratio, py / ratio];
}
