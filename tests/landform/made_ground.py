"""Grounds whose landforms are known, because a formula put them there.

Each variant returns a `Made`: the surface, the formula, and what a person with a map would name on it.
Where that is a matter of opinion (half a spur at the terrain's edge, the shallow bay below a saddle) the
landform is ``optional``: it need not be found, and finding it is no invention. All grounds drain to the
terrain's edge, but for the one hollow, and every formula is turned and leans a little, so that no axis runs
along rows of posts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from hillsight.arrays import Floats
from landform.formulas import Formula, Frame, critical_places, outline_where, ramp, slope_deg, window
from landform.known import CENTRE, Expected, Made, bearing, bounds, posts_of, tops_and_saddles


def three_tops(turned_deg: float = 20.0, seed: int = 0, spacing_m: float = 10.0) -> Made:
    """A long hill that falls to every edge, with three tops on it and a saddle between neighbours."""
    random = np.random.default_rng(seed)
    frame = Frame(CENTRE[0] + 40.0, CENTRE[1] - 30.0, turned_deg)
    along = np.array([-640.0, 30.0, 650.0]) + random.uniform(-30, 30, 3)
    beside = random.uniform(-60, 60, 3)
    tall, wide = np.array([115.0, 135.0, 105.0]) + random.uniform(-8, 8, 3), random.uniform(155, 180, 3)

    def ground(x: Floats, y: Floats) -> Floats:
        u, v = frame.from_map(x, y)
        base = 250.0 * np.exp(-(((u + 50) / 1500) ** 2) - (v / 700) ** 2) - 0.006 * u + 0.004 * v
        for u0, v0, a, s in zip(along, beside, tall, wide, strict=True):
            base = base + a * np.exp(-((u - u0) ** 2 + (v - v0) ** 2) / (2 * s**2))
        return 100.0 + base

    expected = tops_and_saddles(ground, 3000.0, 300.0)
    # A person may also name the ends of the long hill, the flanks of each top, and the bays below each
    # saddle.
    for k, (u0, v0) in enumerate(zip(along, beside, strict=True)):
        for side in (-1, 1):
            flank = frame.line([u0, u0], [v0 + side * 60, v0 + side * 1400])
            expected.append(Expected("spurs", flank, 500.0, optional=True))
            expected.append(Expected("ridges", flank, 500.0, optional=True))
        if k < 2:
            between = (u0 + along[k + 1]) / 2
            for side in (-1, 1):
                bay = frame.line([between, between], [side * 40, side * 1400])
                expected.append(Expected("re_entrants", bay, 500.0, optional=True))
                expected.append(Expected("valley_lines", bay, 500.0, optional=True))
    for side, u0 in ((-1, along[0]), (1, along[2])):
        end = frame.line([u0, side * 1900], [0, 0])
        expected += [Expected(kind, end, 600.0, optional=True) for kind in ("spurs", "ridges")]
    whole = shapely.box(*bounds(3000.0))
    opinions = ("breaks_of_slope", "level_ground", "steep_ground")
    expected += [Expected(kind, whole, 300.0, optional=True) for kind in opinions]
    return Made(posts_of(ground, 3000.0, spacing_m), ground, frame, expected, 300.0)


# --- spurs and re-entrants


@dataclass(frozen=True)
class _Folds:
    """Spurs and re-entrants by a cosine along a hillside, dying out up and down it; they lean to one side."""

    wave_m: float
    phase_m: float
    lean: float
    amplitude_m: float = 36.0
    middle_m: float = 0.0
    half_m: float = 450.0

    def height(self, u: Floats, v: Floats) -> Floats:
        fade = np.exp(-(((v - self.middle_m) / self.half_m) ** 4))
        turn = 2 * np.pi * (u - self.phase_m - self.lean * (v - self.middle_m)) / self.wave_m
        return self.amplitude_m * fade * np.cos(turn)

    @property
    def reach_m(self) -> float:
        """How far up and down the hillside more than half of the amplitude is left."""
        return float(self.half_m * np.log(2.0) ** 0.25)

    def axes(self, from_m: float, to_m: float) -> list[tuple[str, Floats, Floats]]:
        """(layer, u, v) from the upper end down, of all with middles between two places along the slope."""
        out = []
        v = np.linspace(self.middle_m + self.reach_m, self.middle_m - self.reach_m, 60)
        first, last = (int(np.ceil(2 * (e - self.phase_m) / self.wave_m)) for e in (from_m, to_m))
        for k in range(first, last):
            u = self.phase_m + k * self.wave_m / 2 + self.lean * (v - self.middle_m)
            out.append(("spurs" if k % 2 == 0 else "re_entrants", u, v))
        return out


def _axis(
    kind: str, line: shapely.LineString, ground: Formula, folds: _Folds, side_m: float
) -> list[Expected]:
    """A spur or re-entrant by its axis; optional where the terrain's edge is within its own width."""
    places = shapely.get_coordinates(line)
    height = ground(*places.T)
    down = places[-1] - places[0]
    size_m = folds.wave_m / 2
    figures = {
        "falls_true_deg": bearing(*down),
        "drop_m": float(height[0] - height[-1]),
        "length_m": float(line.length),
        "slope_deg": float(np.degrees(np.arctan((height[0] - height[-1]) / line.length))),
        "relief_m" if kind == "spurs" else "depth_m": folds.amplitude_m,
        "width_m": size_m,
    }
    inside = shapely.box(*bounds(side_m)).buffer(-size_m)
    if not shapely.box(*bounds(side_m)).intersects(line):
        return []
    whole = bool(inside.contains(line))
    # The crest of a spur may be drawn as a ridge too, and water runs down a re-entrant.
    other = "ridges" if kind == "spurs" else "valley_lines"
    longer = shapely.LineString([places[0] - 0.6 * down, *places, places[-1] + 4.0 * down])
    return [
        Expected(kind, line, size_m, figures if whole else {}, optional=not whole),
        Expected(other, longer, size_m, optional=True),
    ]


def hillside(turned_deg: float = 20.0, seed: int = 0, spacing_m: float = 10.0) -> Made:
    """A long hillside between a plain and a plateau, with spurs and re-entrants side by side."""
    random = np.random.default_rng(seed)
    frame = Frame(*CENTRE, turned_deg)
    folds = _Folds(random.uniform(570, 640), random.uniform(-300, 300), float(random.choice([-0.15, 0.12])))

    def ground(x: Floats, y: Floats) -> Floats:
        u, v = frame.from_map(x, y)
        profile = 0.10 * v + 0.24 * (ramp(v, -800, 60) - ramp(v, 800, 60)) - 0.014 * ramp(v, 0, 100)
        return 150.0 + 0.008 * u + profile + folds.height(u, v)

    expected = []
    for kind, u, v in folds.axes(-2400, 2400):
        expected += _axis(kind, frame.line(u, v), ground, folds, 3000.0)
    expected += _opinions(3000.0, ("breaks_of_slope", "level_ground", "steep_ground"))
    return Made(posts_of(ground, 3000.0, spacing_m), ground, frame, expected, 300.0)


def valley(turned_deg: float = 20.0, seed: int = 0, spacing_m: float = 10.0) -> Made:
    """A winding valley with re-entrants running into it from both sides, spurs between them."""
    random = np.random.default_rng(seed)
    frame = Frame(*CENTRE, turned_deg)
    wave = random.uniform(570, 640)
    sides = {
        side: _Folds(wave, random.uniform(-300, 300), -0.15, 32.0, middle_m=640.0, half_m=330.0)
        for side in (-1, 1)
    }

    def middle(v: Floats) -> Floats:
        return 110.0 * np.sin(np.asarray(v, float) / 600.0)

    def ground(x: Floats, y: Floats) -> Floats:
        u, v = frame.from_map(x, y)
        away = u - middle(v)
        across = np.hypot(away, 70.0)
        height = 0.035 * v + 0.30 * across - 0.20 * ramp(across, 1050, 60)
        for side, folds in sides.items():
            height = height + np.where(away * side > 0, folds.height(v, across), 0.0)
        return 150.0 + height

    v = np.linspace(-2100, 2100, 400)
    inside = shapely.box(*bounds(3000.0))
    line = frame.line(middle(v), v).intersection(inside.buffer(-60.0))
    # Above its first branch a valley that comes in over the terrain's edge may pass for a re-entrant.
    upper = frame.line(middle(v), v).intersection(frame.line([0, 0], [500, 2100]).buffer(900.0))
    expected = [
        Expected("valley_lines", line, 400.0),
        Expected("re_entrants", upper, 400.0, optional=True),
    ]
    for side, folds in sides.items():
        for kind, along, away in folds.axes(-2400, 2400):
            axis = frame.line(middle(along) + side * away, along)
            expected += _axis(kind, axis, ground, folds, 3000.0)
    expected += _opinions(3000.0, ("breaks_of_slope", "level_ground", "steep_ground"))
    return Made(posts_of(ground, 3000.0, spacing_m), ground, frame, expected, 300.0)


def _opinions(side_m: float, kinds: tuple[str, ...]) -> list[Expected]:
    """Anything of these kinds may be found anywhere: the ground was not made to judge them."""
    whole = shapely.box(*bounds(side_m))
    return [Expected(kind, whole, 300.0, optional=True) for kind in kinds]


# --- breaks of slope, level ground, hollows


def edges(turned_deg: float = 20.0, seed: int = 0, spacing_m: float = 10.0) -> Made:
    """Steep ground of 35 degrees between a plateau's sharp edge and its foot on a plain."""
    random = np.random.default_rng(seed)
    frame = Frame(*CENTRE, turned_deg)
    bend = random.uniform(60, 90)
    rounding = 12.0
    foot, edge = -340.0, 360.0

    def up(u: Floats, v: Floats) -> Floats:
        return v + bend * np.sin(np.asarray(u, float) / 600.0)

    def ground(x: Floats, y: Floats) -> Floats:
        u, v = frame.from_map(x, y)
        w = up(u, v)
        steep = np.tan(np.radians(35.0))
        height = (
            0.10 * w + (steep - 0.10) * ramp(w, foot, rounding) - (steep - 0.12) * ramp(w, edge, rounding)
        )
        return 200.0 + 0.01 * u + height

    side, scale = 3000.0, 300.0
    inside = shapely.box(*bounds(side))
    u = np.linspace(-2200, 2200, 400)
    expected = []
    for kind, at in (("concave_foot", foot), ("convex_edge", edge)):
        line = frame.line(u, at - bend * np.sin(u / 600.0)).intersection(inside.buffer(-60.0))
        above_deg, below_deg = (
            _mean_slope(ground, frame, (u, at + step - bend * np.sin(u / 600.0)), inside)
            for step in (scale / 4, -scale / 4)
        )
        figures = {
            "kind": kind,
            "slope_above_deg": above_deg,
            "slope_below_deg": below_deg,
            "sharpness_deg": abs(above_deg - below_deg),
        }
        expected.append(Expected("breaks_of_slope", line, scale, figures))
    band = outline_where(lambda x, y: slope_deg(ground, x, y), (30.0, 40.0), bounds(side), CENTRE)
    expected.append(Expected("steep_ground", band, 600.0, {"slope_from_deg": 30.0}))
    around = band.buffer(90.0)
    expected.append(Expected("steep_ground", around, 300.0, {"slope_from_deg": 20.0}, optional=True))
    # Where the edge bends outward a person may speak of a blunt spur, and where it bends in of a bay.
    face = frame.line(np.array([-2200.0, 2200.0]), np.array([0.0, 0.0])).buffer(700.0)
    blunt = ("spurs", "re_entrants", "ridges", "valley_lines")
    expected += [Expected(kind, face, scale, optional=True) for kind in blunt]
    return Made(posts_of(ground, side, spacing_m), ground, frame, expected, scale)


def _mean_slope(
    ground: Formula, frame: Frame, places: tuple[Floats, Floats], inside: shapely.Polygon
) -> float:
    x, y = frame.to_map(*places)
    return float(slope_deg(ground, x, y)[shapely.contains_xy(inside, x, y)].mean())


@dataclass(frozen=True)
class _Patch:
    """A round patch of other ground let into a slope: its own height inside, the slope's outside."""

    u: float
    v: float
    radius_m: float
    rounding_m: float

    def away(self, u: Floats, v: Floats) -> Floats:
        return np.hypot(u - self.u, v - self.v)

    def put(self, base: Floats, own: Floats, u: Floats, v: Floats) -> Floats:
        share = window(self.away(u, v), self.radius_m, self.rounding_m)
        return base + share * (own - base)


def _mesa(base_m: float, patch: _Patch, u: Floats, v: Floats) -> Floats:
    """A hill with a flat top, a little domed so that it has one highest place."""
    return base_m + 75.0 - 9.0 * ((u - patch.u - 20) ** 2 + (v - patch.v + 15) ** 2) / patch.radius_m**2


def _shelf(base_m: float, patch: _Patch, v: Floats) -> Floats:
    """Almost level, falling a little the way the slope falls, so that water leaves it."""
    return base_m + 0.035 * (v - patch.v)


def _sink(depth_m: float, patch: _Patch, u: Floats, v: Floats) -> Floats:
    """A bowl let into a slope, deep enough to hold water."""
    return depth_m * np.exp(-((patch.away(u, v) / patch.radius_m) ** 2))


def _level(ground: Formula, frame: Frame, patch: _Patch, side_m: float, kind: str) -> Expected:
    centre = tuple(float(c) for c in frame.to_map(np.float64(patch.u), np.float64(patch.v)))
    outline = outline_where(
        lambda x, y: slope_deg(ground, x, y), (0.0, 5.0), bounds(side_m), (centre[0], centre[1])
    )
    height = ground(*shapely.get_coordinates(outline.boundary).T)
    return Expected(
        "level_ground",
        outline,
        2 * patch.radius_m,
        {"kind": kind, "area_ha": outline.area / 1e4, "height_mean_m": float(height.mean())},
    )


def _hollow(ground: Formula, frame: Frame, patch: _Patch, side_m: float) -> Expected:
    """The hollow of a bowl: filled to the lowest saddle of its rim."""
    x, y = frame.to_map(np.float64(patch.u), np.float64(patch.v))
    reach = 2.5 * patch.radius_m
    near = (float(x) - reach, float(y) - reach, float(x) + reach, float(y) + reach)
    level = critical_places(ground, near, step_m=10.0)
    if len(level.bottoms) != 1:
        raise ValueError("the bowl has no one lowest place")
    floor, rim = float(ground(*level.bottoms[0])), min(float(ground(*s)) for s in level.saddles)
    bottom = (float(level.bottoms[0][0]), float(level.bottoms[0][1]))
    outline = outline_where(ground, (-np.inf, rim - 0.1), bounds(side_m), bottom)
    figures = {
        "depth_m": rim - floor,
        "floor_height_m": floor,
        "rim_height_m": rim,
        "area_ha": outline.area / 1e4,
    }
    return Expected("hollows", outline, patch.radius_m, figures)


def _round_about(frame: Frame, patch: _Patch, kinds: tuple[str, ...]) -> list[Expected]:
    """Opinions within sight of a patch."""
    place = frame.line([patch.u, patch.u], [patch.v, patch.v - 2.2 * patch.radius_m])
    return [Expected(kind, place.buffer(1.7 * patch.radius_m), 200.0, optional=True) for kind in kinds]


_BLUNT = ("spurs", "re_entrants", "ridges", "valley_lines", "saddles")


def steps(turned_deg: float = 20.0, seed: int = 0, spacing_m: float = 10.0) -> Made:
    """A slope with a flat-topped hill, a shelf and a closed hollow."""
    random = np.random.default_rng(seed)
    frame = Frame(*CENTRE, turned_deg)
    shift = random.uniform(-50, 50, 6)
    mesa = _Patch(-620 + shift[0], 480 + shift[1], 330.0, 28.0)
    shelf = _Patch(660 + shift[2], 420 + shift[3], 330.0, 28.0)
    bowl = _Patch(-60 + shift[4], -720 + shift[5], 170.0, 0.0)

    def base(u: Floats, v: Floats) -> Floats:
        return 300.0 + 0.13 * v + 0.01 * u

    def ground(x: Floats, y: Floats) -> Floats:
        u, v = frame.from_map(x, y)
        height = mesa.put(base(u, v), _mesa(float(base(mesa.u, mesa.v)), mesa, u, v), u, v)
        height = shelf.put(height, _shelf(float(base(shelf.u, shelf.v)), shelf, v), u, v)
        return height - _sink(50.0, bowl, u, v)

    return _stepped(ground, frame, (mesa, shelf, bowl), 3000.0, spacing_m, 200.0)


def _stepped(
    ground: Formula,
    frame: Frame,
    patches: tuple[_Patch, _Patch, _Patch],
    side_m: float,
    spacing_m: float,
    scale_m: float,
) -> Made:
    mesa, shelf, bowl = patches
    expected = tops_and_saddles(ground, side_m, scale_m)
    expected.append(_level(ground, frame, mesa, side_m, "flat_top"))
    expected.append(_level(ground, frame, shelf, side_m, "shelf"))
    expected.append(_hollow(ground, frame, bowl, side_m))
    for patch in patches:
        expected += _round_about(frame, patch, (*_BLUNT, "level_ground"))
    expected += _opinions(side_m, ("breaks_of_slope", "steep_ground"))
    return Made(posts_of(ground, side_m, spacing_m), ground, frame, expected, scale_m)


def everything(turned_deg: float = 20.0, seed: int = 0, spacing_m: float = 10.0) -> Made:
    """Six kilometres: folded hillside, tops on the high ground behind it, mesa, shelf and hollow."""
    random = np.random.default_rng(seed)
    frame = Frame(*CENTRE, turned_deg)
    folds = _Folds(random.uniform(580, 640), random.uniform(-300, 300), -0.13, middle_m=-900.0)
    mesa = _Patch(-1250.0, 700.0, 330.0, 28.0)
    shelf = _Patch(1250.0, 600.0, 330.0, 28.0)
    bowl = _Patch(100.0, 250.0, 170.0, 0.0)
    humps = np.column_stack(
        [
            [-420.0, 180.0, 760.0],
            1500 + random.uniform(-60, 60, 3),
            [120.0, 145.0, 105.0],
            [180.0, 190.0, 175.0],
        ]
    )

    def base(u: Floats, v: Floats) -> Floats:
        steep = 0.24 * (ramp(v, -1700, 60) - ramp(v, -100, 60))
        return 200.0 + 0.10 * v + 0.03 * ramp(v, -100, 60) + steep + 0.008 * u

    def ground(x: Floats, y: Floats) -> Floats:
        u, v = frame.from_map(x, y)
        height = mesa.put(base(u, v), _mesa(float(base(mesa.u, mesa.v)), mesa, u, v), u, v)
        height = shelf.put(height, _shelf(float(base(shelf.u, shelf.v)), shelf, v), u, v)
        height = height - _sink(50.0, bowl, u, v) + folds.height(u, v)
        for u0, v0, tall, wide in humps:
            height = height + tall * np.exp(-((u - u0) ** 2 + (v - v0) ** 2) / (2 * wide**2))
        return height

    made = _stepped(ground, frame, (mesa, shelf, bowl), 6000.0, spacing_m, 300.0)
    for kind, u, v in folds.axes(-4500, 4500):
        made.expected.extend(_axis(kind, frame.line(u, v), ground, folds, 6000.0))
    # What the humps' own flanks and the ground between and behind them are called is a matter of opinion.
    about = frame.line(humps[:, 0], humps[:, 1]).buffer(750.0)
    made.expected.extend(Expected(kind, about, 300.0, optional=True) for kind in (*_BLUNT, "level_ground"))
    return made


GROUNDS = {
    "three_tops": three_tops,
    "hillside": hillside,
    "valley": valley,
    "edges": edges,
    "steps": steps,
    "everything": everything,
}
