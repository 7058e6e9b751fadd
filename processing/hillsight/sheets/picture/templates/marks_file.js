// The marks as a file: written as the other commands read it, and read again.

const round = (number, digits) => Math.round(number * 10 ** digits) / 10 ** digits;

/** The marks as text; photograph: its facts, as the page has them. */
function fileText(now, photograph, frameWords) {
  // An edge may be found up to a pixel beyond the picture's rim; a mark lies within it.
  const within = ([x, y]) => [
    round(Math.min(photograph.width_px, Math.max(0, x)), 2),
    round(Math.min(photograph.height_px, Math.max(0, y)), 2),
  ];
  const pixels = (point) => ({ x_px: within(point)[0], y_px: within(point)[1] });
  const landmarks = now.landmarks.map((one) => ({
    ...(one.feature ? { feature: one.feature } : {}),
    ...(one.place || {}),
    ...pixels([one.x, one.y]),
    give_or_take_px: one.give,
  }));
  const lines = (of) =>
    now.lines
      .filter((line) => line.of === of && line.anchors.length > 1)
      .map((line) => ({
        points_px: pointsOf(line).map(within),
        how: line.how,
        give_or_take_px: line.give,
      }));
  const list = (members) => (members.length ? `[\n    ${members.map((m) => JSON.stringify(m)).join(",\n    ")}\n  ]` : "[]");
  return [
    "{",
    '  "format": "hillsight marks",',
    '  "version": 1,',
    `  "photograph": ${JSON.stringify(photograph)},`,
    `  "pixel_frame": ${JSON.stringify(frameWords)},`,
    `  "landmarks": ${list(landmarks)},`,
    `  "skyline": ${list(lines("skyline"))},`,
    `  "brow": ${list(lines("brow"))}`,
    "}",
    "",
  ].join("\n");
}

/**
 * Landmarks and lines of a file's text; newId gives each a number of its own.
 *
 * Throws an Error with words for the reader where it is no such file, or one of another photograph.
 */
function readFile(text, photograph, newId) {
  let file;
  try {
    file = JSON.parse(text);
  } catch {
    throw new Error("This is not a marks file: it cannot be read as JSON.");
  }
  if (!file || file.format !== "hillsight marks") throw new Error("This is not a marks file.");
  if (file.version !== 1) {
    throw new Error(`The marks file is of version ${file.version}, and this page reads version 1.`);
  }
  const of = file.photograph || {};
  if (of.sha256 !== photograph.sha256) {
    throw new Error(`These marks are of another photograph (${of.name || "without a name"}). Nothing was loaded.`);
  }
  if (of.width_px !== photograph.width_px || of.height_px !== photograph.height_px) {
    throw new Error(
      `These marks are of a photograph of ${of.width_px} by ${of.height_px} pixels, and this one has ` +
        `${photograph.width_px} by ${photograph.height_px}. Nothing was loaded.`,
    );
  }
  const bad = (what) => new Error(`The marks file is damaged: ${what}. Nothing was loaded.`);
  const number = (value, what, most = Infinity) => {
    if (typeof value !== "number" || !Number.isFinite(value)) throw bad(`${what} is no number`);
    if (Math.abs(value) > most) throw bad(`${what} is beyond ${most}`);
    return value;
  };
  const list = (value, what) => {
    if (value === undefined) return [];
    if (!Array.isArray(value)) throw bad(`${what} is no list`);
    return value;
  };
  const many = (value, what) =>
    list(value, what).map((one, i) => {
      if (typeof one !== "object" || one === null) throw bad(`${what}, number ${i + 1}, holds nothing`);
      return one;
    });
  const give = (one, usual) =>
    one.give_or_take_px === undefined || one.give_or_take_px === null ? usual : number(one.give_or_take_px, "a give or take");
  const landmarks = many(file.landmarks, "landmarks").map((one, i) => {
    const which = `landmark ${i + 1}`;
    const given = (name) => one[name] !== undefined && one[name] !== null;
    const place = given("easting_m") || given("northing_m") ? {} : null;
    if (place) {
      for (const name of ["easting_m", "northing_m", "height_m"]) {
        if (given(name) || name !== "height_m") {
          place[name] = number(one[name], `${which}, ${name}`, MOST_M[name]);
        }
      }
      if (typeof one.crs === "string") place.crs = one.crs;
    }
    const feature = typeof one.feature === "string" ? one.feature : null;
    if (!feature && !place) throw bad(`${which} has neither name nor coordinates`);
    return {
      id: newId(),
      feature,
      place,
      give: give(one, GIVE_OR_TAKE_PX.landmark),
      x: number(one.x_px, `${which}, x_px`),
      y: number(one.y_px, `${which}, y_px`),
    };
  });
  const lines = ["skyline", "brow"].flatMap((of) =>
    many(file[of], of).map((one) => {
      const points = many(one.points_px, "points_px").map((p) => [number(p[0], "x"), number(p[1], "y")]);
      if (points.length < 2) throw bad("a line has less than two points");
      return {
        id: newId(),
        of,
        how: one.how === "found" ? "found" : "traced",
        give: give(one, GIVE_OR_TAKE_PX.line),
        ...withAnchors(points, photograph.width_px / 60),
      };
    }),
  );
  return { landmarks, lines };
}

/** Anchors and pieces of a line of bare points: anchors where it bends most, and no wider apart than spacing. */
function withAnchors(points, spacing) {
  const bends = new Set(thinned(points, spacing / 6));
  const anchors = [points[0]];
  const pieces = [];
  let path = [points[0]];
  let gone = 0;
  for (let i = 1; i < points.length; i += 1) {
    path.push(points[i]);
    gone += Math.hypot(points[i][0] - points[i - 1][0], points[i][1] - points[i - 1][1]);
    const last = i === points.length - 1;
    if (last || (bends.has(points[i]) && gone > spacing) || gone > 6 * spacing) {
      anchors.push(points[i]);
      pieces.push({ straight: path.length === 2 && gone > spacing, path });
      path = [points[i]];
      gone = 0;
    }
  }
  return { anchors, pieces };
}
