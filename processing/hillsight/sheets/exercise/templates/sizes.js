// Letters, numbers and ticks on the pictures keep their size on the screen, and numbers find room.
const FLAG = 10.5;
const FOOT = 16; // pixels along the lower edge, for its figures
const RINGS = [20, 30, 42, 56, 72, 90];
const TURNS = [0, -35, 35, -70, 70, 180, -110, 110, 145, -145];

const clear = (x, y, taken, wide, tall) =>
  x > FLAG && y > FLAG && x < wide - FLAG && y < tall - FLAG - FOOT &&
  taken.every((other) => Math.hypot(x - other.x, y - other.y) > FLAG + other.radius);

const layFlags = (svg, units) => {
  const { width, height } = svg.viewBox.baseVal;
  const spots = [...svg.querySelectorAll(".spot")].map((spot) => {
    const at = spot.transform.baseVal.consolidate().matrix;
    return { spot, x: at.e / units, y: at.f / units };
  });
  const taken = spots.map(({ x, y }) => ({ x, y, radius: 4 }));
  for (const place of svg.querySelectorAll(".place")) {
    const at = place.transform.baseVal.consolidate().matrix;
    taken.push({ x: at.e / units, y: at.f / units, radius: 14 });
  }
  for (const { spot, x, y } of spots) {
    const free = RINGS.flatMap((away) => TURNS.map((turn) => [away, (turn * Math.PI) / 180]))
      .map(([away, turn]) => [away * Math.sin(turn), -away * Math.cos(turn)])
      .find(([right, down]) => clear(x + right, y + down, taken, width / units, height / units));
    const [right, down] = free || [0, -RINGS[0]];
    taken.push({ x: x + right, y: y + down, radius: FLAG });
    spot.querySelector(".flag").setAttribute("transform", `translate(${right.toFixed(1)} ${down.toFixed(1)})`);
    spot.querySelector(".leader").setAttribute("d", `M0 0L${right.toFixed(1)} ${down.toFixed(1)}`);
  }
};

const fitSizes = (svg, wide_px) => {
  const box = svg.getBoundingClientRect();
  const { width, height } = svg.viewBox.baseVal;
  const scale = wide_px ? wide_px / width : Math.min(box.width / width, box.height / height);
  if (!(scale > 0)) return;
  for (const one of svg.querySelectorAll(".size")) one.setAttribute("transform", `scale(${(1 / scale).toFixed(4)})`);
  layFlags(svg, 1 / scale);
};

const watchSizes = () => {
  const watcher = new ResizeObserver((entries) => entries.forEach(({ target }) => fitSizes(target)));
  for (const svg of document.querySelectorAll("svg.drawn")) {
    fitSizes(svg);
    watcher.observe(svg);
  }
};

// A sheet of paper is taken to be as wide as A4 between its margins.
addEventListener("beforeprint", () => {
  for (const svg of document.querySelectorAll("svg.drawn")) fitSizes(svg, 640);
});
addEventListener("afterprint", () => {
  for (const svg of document.querySelectorAll("svg.drawn")) fitSizes(svg);
});

