// What is drawn over the photograph: lines, anchors, landmarks with their numbers, the magnifier.

const LOUPE_PX = 132;

/** Paint all marks. bench: the page's state, see bench.js. */
function paintMarks(bench) {
  const { view, over, marks, colours } = bench;
  const context = over.getContext("2d");
  const d = view.dense;
  context.setTransform(d, 0, 0, d, 0, 0);
  context.clearRect(0, 0, view.width, view.height);
  if (bench.hidden) return;
  paintAll(context, bench, (x, y) => view.toView(x, y), false);
  const cursor = bench.cursor;
  if (cursor) paintCursor(context, cursor, colours);
  if (bench.mode === "erase" && bench.pointer) {
    ring(context, bench.pointer, bench.eraser, colours.paper, 3);
    ring(context, bench.pointer, bench.eraser, colours.ink, 1);
  }
  if (bench.holding) paintLoupe(context, bench);
}

function paintAll(context, bench, place, close) {
  const { marks, colours, chosen, pen, mode } = bench;
  const shown = bench.shown || marks.now;
  for (const line of shown.lines) {
    const colour = line.of === "skyline" ? colours.skyline : colours.brow;
    const picked = chosen && chosen.id === line.id;
    stroke(context, pointsOf(line).map((p) => place(...p)), colour, picked ? 3 : 2, line.how === "found" ? [9, 4] : [], colours);
    if (mode === line.of || mode === "look" || picked) {
      line.anchors.forEach((anchor, i) => {
        const on = picked && chosen.anchor === i;
        const end = pen && pen.id === line.id && i === line.anchors.length - 1;
        knob(context, place(...anchor), on || end ? 6 : 4, on ? colours.paper : colour, colours.ink);
      });
    }
  }
  if (bench.preview) {
    const colour = mode === "brow" ? colours.brow : colours.skyline;
    stroke(context, bench.preview.map((p) => place(...p)), colour, 2, [5, 4], colours);
  }
  for (const one of shown.landmarks) reticle(context, place(one.x, one.y), chosen && chosen.id === one.id, colours);
  if (!close) flags(context, shown.landmarks, place, bench);
}

function stroke(context, points, colour, width, dash, colours) {
  if (points.length < 2) return;
  context.lineJoin = "round";
  context.lineCap = "round";
  context.beginPath();
  points.forEach(([x, y], i) => (i ? context.lineTo(x, y) : context.moveTo(x, y)));
  context.setLineDash([]);
  context.globalAlpha = 0.55;
  context.strokeStyle = colours.ink;
  context.lineWidth = width + 2;
  context.stroke();
  context.globalAlpha = 1;
  context.setLineDash(dash);
  context.strokeStyle = colour;
  context.lineWidth = width;
  context.stroke();
  context.setLineDash([]);
}

function ring(context, [x, y], radius, colour, width) {
  context.beginPath();
  context.arc(x, y, radius, 0, 2 * Math.PI);
  context.strokeStyle = colour;
  context.lineWidth = width;
  context.stroke();
}

function knob(context, [x, y], size, fill, edge) {
  context.beginPath();
  context.rect(x - size, y - size, 2 * size, 2 * size);
  context.fillStyle = fill;
  context.fill();
  context.lineWidth = 1.5;
  context.strokeStyle = edge;
  context.stroke();
}

/** Four ticks about a gap: what is meant stays in sight. */
function reticle(context, [x, y], picked, colours) {
  for (const [colour, width] of [[colours.ink, 5], [picked ? colours.paper : colours.landmark, 2.5]]) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.lineCap = "butt";
    context.beginPath();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      context.moveTo(x + 4 * dx, y + 4 * dy);
      context.lineTo(x + 13 * dx, y + 13 * dy);
    }
    context.stroke();
  }
}

/** Numbers and names on small plates beside the landmarks; where a name would cover another mark, the number. */
function flags(context, landmarks, place, { view, colours, chosen }) {
  context.font = "600 13px system-ui, sans-serif";
  const points = landmarks.map((one) => place(one.x, one.y));
  const taken = points.map(([x, y]) => [x - 13, y - 13, x + 13, y + 13]);
  const meets = (a, b) => a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
  landmarks.forEach((one, i) => {
    const [x, y] = points[i];
    if (x < -5 || y < -5 || x > view.width + 5 || y > view.height + 5) return;
    const picked = Boolean(chosen && chosen.id === one.id);
    for (const text of [`${i + 1}  ${wordsOf(one)}`, `${i + 1}`]) {
      const wide = Math.min(context.measureText(text).width, 190) + 12;
      const middle = Math.min(view.width - wide - 2, Math.max(2, x - wide / 2));
      const places = [[middle, y + 17], [middle, y - 38], [x + 17, y - 11], [x - 17 - wide, y - 11]];
      const free = ([left, top]) =>
        left >= 0 && top >= 0 && left + wide <= view.width && top + 21 <= view.height &&
        !taken.some((box) => meets(box, [left, top, left + wide, top + 21]));
      const at = places.find(free) || (text.length < 4 ? places[0] : null);
      if (!at) continue;
      taken.push([at[0], at[1], at[0] + wide, at[1] + 21]);
      plate(context, at, wide, text, picked, colours);
      break;
    }
  });
}

function plate(context, [left, top], wide, text, picked, colours) {
  context.fillStyle = picked ? colours.paper : colours.ink;
  context.globalAlpha = picked ? 1 : 0.82;
  context.beginPath();
  context.roundRect(left, top, wide, 21, 4);
  context.fill();
  context.globalAlpha = 1;
  context.fillStyle = picked ? colours.ink : colours.paper;
  context.textBaseline = "middle";
  context.fillText(text, left + 6, top + 11, 190);
}

function paintCursor(context, [x, y], colours) {
  for (const [colour, width] of [[colours.ink, 4], [colours.paper, 2]]) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.beginPath();
    for (const [dx, dy] of [[1, 1], [-1, 1], [1, -1], [-1, -1]]) {
      context.moveTo(x + 4 * dx, y + 4 * dy);
      context.lineTo(x + 12 * dx, y + 12 * dy);
    }
    context.stroke();
  }
}

/** The ground under the finger, larger, in the corner that the finger is not in. */
function paintLoupe(context, bench) {
  const { view, pyramid, colours } = bench;
  const [px, py] = bench.holding;
  const [vx, vy] = view.toView(px, py);
  const size = Math.min(LOUPE_PX, view.width / 2 - 12);
  const left = vx > view.width / 2 ? 8 : view.width - size - 8;
  const top = vy > view.height / 2 || vx < left - 20 || vx > left + size + 20 ? 8 : view.height - size - 8;
  const scale = Math.max(Math.min(3, 5 * view.scale), 2 * view.scale);
  context.save();
  context.beginPath();
  context.roundRect(left, top, size, size, 8);
  context.clip();
  context.fillStyle = colours.ink;
  context.fillRect(left, top, size, size);
  const x0 = left + size / 2 - scale * px;
  const y0 = top + size / 2 - scale * py;
  pyramid.paint(context, x0, y0, scale, left + size, top + size);
  paintAll(context, bench, (x, y) => [x0 + scale * x, y0 + scale * y], true);
  reticle(context, [left + size / 2, top + size / 2], true, colours);
  context.restore();
  context.beginPath();
  context.roundRect(left, top, size, size, 8);
  context.strokeStyle = colours.paper;
  context.lineWidth = 3;
  context.stroke();
  context.strokeStyle = colours.ink;
  context.lineWidth = 1;
  context.stroke();
}
