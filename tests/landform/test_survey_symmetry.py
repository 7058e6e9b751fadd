"""What must not change the landforms, and what must hold among them.

Turning the grid, a height added everywhere and a second run change nothing; voids are told; level ground has
none; water runs out; crests and valleys keep apart.
"""

from __future__ import annotations

import heapq
from dataclasses import replace
from functools import cache

import geopandas
import numpy as np
import pytest
import shapely
from pyproj import CRS
from scipy import ndimage

from hillsight.errors import CallError
from hillsight.ground.geodesy import Geodesy
from hillsight.ground.grid import Grid, Surface
from hillsight.landform.options import LandformOptions
from hillsight.landform.survey import survey
from landform.known import CENTRE
from landform.made_ground import GROUNDS
from landform.matching import paired
from terrains import fractal, plane, with_hole

Frames = dict[str, geopandas.GeoDataFrame]
SPACING_M = 10.0
SCALES_M = (200.0, 400.0)


def surface_of(height_m: np.ndarray) -> Surface:
    """Heights about the centre of the grounds by formula."""
    rows, columns = height_m.shape
    west, north = CENTRE[0] - (columns - 1) / 2 * SPACING_M, CENTRE[1] + (rows - 1) / 2 * SPACING_M
    grid = Grid(CRS.from_epsg(27700), west, north, SPACING_M, SPACING_M, rows, columns)
    return Surface(grid, height_m.astype(np.float32))


def read(surface: Surface, scales_m: tuple[float, ...] = SCALES_M) -> Frames:
    return survey(surface, scales_m, LandformOptions(), Geodesy(surface.grid.crs))


def rough(seed: int, side: int = 240) -> Surface:
    """Rough ground, its smallest waves taken off; heights in whole 4096ths, so that sums are exact."""
    height_m = ndimage.gaussian_filter(fractal(2 * side, 2 * side, seed=seed, relief_m=700.0), 3.0)
    return surface_of(np.round(height_m[:side, :side] * 4096) / 4096)


@cache
def ground(name: str) -> Surface:
    if name.startswith("rough"):
        return rough(int(name[5:]))
    made = GROUNDS[name](20.0, 1).surface
    return replace(made, height_m=(np.round(made.height_m * 4096) / 4096).astype(np.float32))


@cache
def read_ground(name: str) -> Frames:
    return read(ground(name))


NAMES = ("rough1", "rough2", "three_tops", "hillside", "valley", "edges", "steps")
ROUGH = ("rough1", "rough2")


def assert_same_landforms(first: Frames, second: Frames, within_m: float) -> None:
    """Each kind and scale the same number of landforms, one for one within a distance."""
    for kind, one in first.items():
        other = second[kind]
        assert len(one) == len(other), f"{len(one)} {kind} became {len(other)}"
        for scale_m in sorted(set(one["scale_m"])):
            ours, theirs = (f.geometry[f["scale_m"] == scale_m].to_numpy() for f in (one, other))
            pairs = paired(ours, theirs, float(scale_m))
            assert len(pairs) == len(ours) == len(theirs), f"{kind} at {scale_m:g} m"
            worst = max((distance for _, _, distance in pairs), default=0.0)
            assert worst <= within_m, f"a {kind} of {scale_m:g} m moved {worst:.1f} m"


def turned_back(frames: Frames, quarters: int) -> Frames:
    """Landforms of a ground whose heights were turned by np.rot90, turned back about the centre."""
    out = {}
    for kind, frame in frames.items():
        geometry = frame.geometry.rotate(-90.0 * quarters, origin=CENTRE) if len(frame) else frame.geometry
        out[kind] = frame.set_geometry(geometry)
    return out


@pytest.mark.slow
@pytest.mark.parametrize("quarters", [1, 2, 3])
@pytest.mark.parametrize("name", NAMES)
def test_a_turned_ground_has_the_same_landforms(name, quarters):
    turned = surface_of(np.rot90(ground(name).height_m, quarters).copy())
    assert_same_landforms(read_ground(name), turned_back(read(turned), quarters), SPACING_M)


@pytest.mark.parametrize("name", NAMES)
def test_a_height_added_everywhere_changes_nothing_else(name):
    # 137.25 and heights in 4096ths: every sum is exact in float32.
    raised = replace(ground(name), height_m=ground(name).height_m + np.float32(137.25))
    assert np.array_equal(raised.height_m.astype(float) - 137.25, ground(name).height_m.astype(float))
    found = read(raised)
    assert_same_landforms(read_ground(name), found, SPACING_M)
    for kind, frame in read_ground(name).items():
        assert sorted(frame["landform"]) == sorted(found[kind]["landform"]), kind
    prominences = [np.sort(frames["tops"]["prominence_m"]) for frames in (read_ground(name), found)]
    assert np.allclose(*prominences, atol=1e-3)


@pytest.mark.parametrize("name", NAMES)
def test_a_second_run_gives_the_same_tables(name):
    again = read(ground(name))
    seen: set[str] = set()
    for kind, frame in read_ground(name).items():
        assert again[kind].equals(frame), kind
        assert frame["landform"].is_unique and not seen & set(frame["landform"]), kind
        seen |= set(frame["landform"])
    assert seen


@pytest.mark.parametrize("name", NAMES)
def test_ridges_and_valley_lines_cross_at_saddles_only(name):
    frames = read_ground(name)
    for scale_m in SCALES_M:
        ridges, valleys = (
            f[f["scale_m"] == scale_m].geometry.to_numpy() for f in (frames["ridges"], frames["valley_lines"])
        )
        # Saddles of any scale: each is told once, at the largest scale that shows it.
        saddles = shapely.union_all(frames["saddles"].geometry.to_numpy())
        crossing = shapely.intersection(shapely.union_all(ridges), shapely.union_all(valleys))
        near_m = max(scale_m / 10, 1.5 * SPACING_M)
        for place in shapely.get_parts(crossing) if not crossing.is_empty else ():
            away = place.distance(saddles) if not saddles.is_empty else np.inf
            assert away <= near_m, f"{place.centroid.wkt} lies {away:.0f} m from a saddle at {scale_m:g} m"
    assert len(frames["ridges"]) + len(frames["valley_lines"]) or name == "edges"


@pytest.mark.parametrize("name", NAMES)
def test_every_valley_drains(name):
    frames = read_ground(name)
    valleys = frames["valley_lines"].set_index("landform")
    assert len(valleys) or name in ("three_tops", "steps", "edges")

    def last_of(line: str) -> str:
        passed = []
        while line is not None:
            assert line not in passed, f"the valley runs in a ring: {[*passed, line]}"
            assert line in valleys.index, f"{line} is no valley line"
            passed.append(line)
            line = valleys.loc[line, "into"]
            line = line if isinstance(line, str) else None
        return passed[-1]

    for line in valleys.index:
        end = valleys.loc[last_of(line)]
        assert end["cut_by"] in ("terrain_edge", "void"), f"{line} ends inside the terrain"
        into = valleys.loc[line, "into"]
        if isinstance(into, str):
            lower = shapely.Point(valleys.loc[line].geometry.coords[-1][:2])
            gap = lower.distance(valleys.loc[into].geometry)
            assert gap <= 2.5 * SPACING_M, f"{line} ends {gap:.0f} m from {into}"
    alone = []
    for row in frames["re_entrants"].itertuples():
        if isinstance(row.valley, str):
            last_of(row.valley)
        elif row.cut_by is None:
            # It is the head of a valley that runs into no other: that valley goes on from its mouth.
            mouth = shapely.Point(row.geometry.coords[-1][:2])
            beside = valleys[valleys["scale_m"] == row.scale_m]
            beside = beside[beside.geometry.distance(mouth) <= 1.5 * SPACING_M]
            alone += [] if any(last_of(line) for line in beside.index) else [row.landform]
    assert not alone, f"{len(alone)} of {len(frames['re_entrants'])} run into no valley: {alone[:5]}"


def filled(height_m: np.ndarray) -> np.ndarray:
    """Heights after water has filled every hollow up to where it runs out over the terrain's edge.

    The plain flood from a heap: every post is as high as the lowest way from it to the edge demands.
    """
    level = np.full(height_m.shape, np.inf)
    rows, columns = height_m.shape
    edge = [
        (r, c) for r in range(rows) for c in range(columns) if r in (0, rows - 1) or c in (0, columns - 1)
    ]
    heap = [(float(height_m[row, column]), row, column) for row, column in edge]
    for height, row, column in heap:
        level[row, column] = height
    heapq.heapify(heap)
    while heap:
        height, row, column = heapq.heappop(heap)
        for r in range(max(row - 1, 0), min(row + 2, rows)):
            for c in range(max(column - 1, 0), min(column + 2, columns)):
                if np.isinf(level[r, c]):
                    level[r, c] = max(height, height_m[r, c])
                    heapq.heappush(heap, (float(level[r, c]), r, c))
    return level


@cache
def drained_ground(name: str, scale_m: float) -> np.ndarray:
    """The ground averaged over half a scale, so that what is smaller is gone, and filled."""
    return filled(ndimage.uniform_filter(ground(name).height_m.astype(float), round(scale_m / 2 / SPACING_M)))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("kind", ["re_entrants", "valley_lines"])
def test_valleys_run_downward_on_drained_ground(name, kind):
    """Nowhere up by more than one in fifty of the scale: two ways of averaging the ground differ by that."""
    frame = read_ground(name)[kind]
    worst = []
    for row in frame.itertuples():
        away = np.linspace(0, row.geometry.length, max(int(row.geometry.length / SPACING_M), 3))
        places = shapely.get_coordinates(shapely.line_interpolate_point(row.geometry, away))
        position = ground(name).grid.to_array(*places.T)
        height = ndimage.map_coordinates(drained_ground(name, row.scale_m), position, order=1, mode="nearest")
        rises_m = float((height - np.minimum.accumulate(height)).max())
        if rises_m > 0.02 * row.scale_m:
            worst.append(f"{row.landform} rises {rises_m:.1f} m")
    assert not worst, f"{len(worst)} of {len(frame)}: {worst[:5]}"


@pytest.mark.parametrize("name", NAMES)
def test_spurs_run_downward(name):
    """A spur may rise to a lesser top on its way, by a twentieth of the scale, but falls on the whole."""
    frame = read_ground(name)["spurs"]
    worst = []
    for row in frame.itertuples():
        height = shapely.get_coordinates(row.geometry, include_z=True)[:, 2]
        rises_m = float((height - np.minimum.accumulate(height)).max())
        if not (rises_m <= 0.05 * row.scale_m and height[0] > height[-1]):
            worst.append(f"{row.landform} rises {rises_m:.1f} m of {height[0] - height[-1]:.1f} m")
        assert row.drop_m == pytest.approx(row.root_height_m - row.nose_height_m, abs=0.01)
    assert not worst, f"{len(worst)} of {len(frame)}: {worst[:5]}"


@pytest.mark.parametrize("name", ROUGH)
def test_landforms_belong_to_landforms_that_exist(name):
    frames = read_ground(name)
    tops, saddles, ridges = (set(frames[k]["landform"]) for k in ("tops", "saddles", "ridges"))
    owners = {
        "tops": {"key_saddle": saddles, "parent": tops},
        "saddles": {"lower_top": tops, "higher_top": tops},
        "ridges": {"higher_top": tops, "lower_top": tops, "saddle": saddles},
        "spurs": {"top": tops, "ridge": ridges},
        "level_ground": {"top": tops},
    }
    for kind, columns in owners.items():
        for column, known in columns.items():
            named = set(frames[kind][column].dropna())
            assert named <= known, f"{kind}.{column}: {named - known}"
    assert frames["spurs"]["top"].notna().any() and frames["saddles"]["lower_top"].notna().all()


@pytest.mark.parametrize("name", ROUGH)
def test_landforms_that_touch_a_void_say_so(name):
    hole = (100, 110, 24, 30)
    holed = replace(ground(name), height_m=with_hole(ground(name).height_m, *hole))
    frames = read(holed)
    west, north = holed.grid.to_map(hole[0] - 0.5, hole[1] - 0.5)
    east, south = holed.grid.to_map(hole[0] + hole[2] - 0.5, hole[1] + hole[3] - 0.5)
    void = shapely.box(float(west), float(south), float(east), float(north))
    touching = 0
    for kind, frame in frames.items():
        near = frame[frame.geometry.distance(void) <= 1.5 * SPACING_M]
        touching += len(near)
        assert (near["cut_by"] == "void").all(), (
            f"{kind}: {list(near.loc[near.cut_by != 'void', 'landform'])}"
        )
        far = frame[frame.geometry.distance(void) > frame["scale_m"]]
        assert not (far["cut_by"] == "void").any(), kind
    assert touching


@pytest.mark.parametrize("height_m", [0.0, 312.5])
def test_level_terrain_has_no_landforms(height_m):
    frames = read(surface_of(plane(120, 120, height_m=height_m)), (100.0, 200.0))
    assert frames and all(frame.empty for frame in frames.values())


def test_terrain_all_of_voids_has_no_landforms():
    frames = read(surface_of(np.full((120, 120), np.nan)), (100.0,))
    assert frames and all(frame.empty for frame in frames.values())


@pytest.mark.parametrize("scale_m", [19.0, 601.0, 0.0, -100.0, np.nan, np.inf])
def test_a_scale_the_terrain_cannot_give_is_refused(scale_m):
    """Below two cells of 10 m, above a quarter of 2,400 m, or no number."""
    with pytest.raises(CallError) as refusal:
        read(ground("rough1"), (scale_m,))
    assert "scale" in str(refusal.value)
