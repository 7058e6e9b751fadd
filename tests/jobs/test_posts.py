"""Posts along a course on a small made place: what is unseen by brute force, and what is refused."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import geopandas
import numpy as np
import pytest
import rasterio
import shapely

import hillsight
import oracle
from jobs.worlds import PLAN, heights, world
from terrains import write_geotiff

from scripts.commands import run  # isort: skip

#: Of the GPX 1.1 schema.
GPX = "{http://www.topografix.com/GPX/1/1}"
EYE_M, RUNNER_M = 1.6, 1.0


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return world(tmp_path_factory.mktemp("inputs"))


def plan_of(folder: Path, inputs: Path, *changes: tuple[str, str], more: str = "") -> str:
    """The world's plan with some text changed, its files named from where they are."""
    text = PLAN
    for name in ("features.gpkg", "course.gpkg"):
        text = text.replace(f'"{name}"', f'"{inputs / name}"')
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    path = folder / "plan.toml"
    path.write_text(text + more, encoding="utf-8")
    return str(path)


def refused(folder: Path, inputs: Path, *changes: tuple[str, str], more: str = "") -> str:
    """What the command says of a plan that it refuses: one line, exit code 2, no file."""
    plan = plan_of(folder, inputs, *changes, more=more)
    out, gpx = folder / "a.gpkg", folder / "a.gpx"
    ended = run("posts", plan, "--terrain", inputs / "ground.tif", "--out", out, "--gpx", gpx)
    assert ended.code == 2, ended.out
    assert "Traceback" not in ended.err
    assert not out.exists() and not gpx.exists()
    told = [line for line in ended.err.splitlines() if line.startswith("hillsight: ")]
    assert len(told) == 1
    return told[0]


def course_file(folder: Path, *lines: shapely.LineString, crs: object = 27700) -> tuple[str, str]:
    """A change of the plan to a course of other lines, run in the file's order."""
    path = folder / "other.gpkg"
    frame = geopandas.GeoDataFrame(
        {"name": [f"l{k}" for k in range(len(lines))]}, geometry=list(lines), crs=crs
    )
    frame.to_file(path, layer="other")
    return 'legs = ["out", "back"]', f"# {path}"


def test_what_is_seen_and_unseen_is_so_by_brute_force(inputs: Path, tmp_path: Path) -> None:
    """Every piece of the course from every post, walked line by line by ``tests/oracle.py``."""
    plan = plan_of(tmp_path, inputs, ('legs = ["out", "back"]', 'legs = ["out", "back"]\nstretch_m = 10'))
    found = hillsight.posts(plan, terrain=inputs / "ground.tif")
    outcome = found.outcome
    with rasterio.open(inputs / "ground.tif") as file:
        height_m, place = file.read(1), file.transform
    spacing = place.a

    def at(easting_m: float, northing_m: float) -> tuple[float, float]:
        return (place.f - northing_m) / spacing - 0.5, (easting_m - place.c) / spacing - 0.5

    # Airy 1830, the ellipsoid of EPSG:27700: a mean radius is near enough for 1 km, where it makes 0.07 m.
    drop = (1 - 0.13) / (2 * 6_371_000.0)
    stretches, posts = outcome.stretches, outcome.posts
    first = stretches.first
    close = 0
    seen = np.zeros(outcome.seen.shape, bool)
    for k in range(len(posts)):
        eye = at(posts.easting_m[k], posts.northing_m[k])
        lowered = oracle.lowered_posts(height_m, spacing, spacing, *eye, drop)
        level_m = oracle.bilinear(height_m.astype(float), *eye) + EYE_M
        for piece, stretch in enumerate(first):
            east, north = stretches.easting_m[stretch], stretches.northing_m[stretch]
            row, column = at(east, north)
            walked = oracle.way(lowered, *eye, level_m, row, column)
            away_m = np.hypot(east - posts.easting_m[k], north - posts.northing_m[k])
            target_m = oracle.bilinear(height_m.astype(float), row, column) + RUNNER_M - drop * away_m**2
            clearance_m = oracle.clearance_over(walked, target_m)
            seen[k, piece] = clearance_m >= 0 and away_m <= 850.0
            # The mean radius may be out by a hair, and how far a person is made out is told elsewhere.
            if abs(clearance_m) < 1e-3 or 840 < away_m < 870:
                close += 1
                seen[k, piece] = outcome.seen[k, piece]
    assert close < 0.05 * seen.size
    np.testing.assert_array_equal(seen, outcome.seen)
    unseen_m = stretches.length_m[~seen.any(axis=0)[stretches.piece]].sum()
    assert 0 < unseen_m < 0.7 * outcome.course.length_m
    layer = found.frames["unseen_stretches"]
    assert layer["length_m"].sum() == pytest.approx(unseen_m)
    assert layer["share"].sum() == pytest.approx(unseen_m / outcome.course.length_m)
    assert layer.geometry.length.sum() == pytest.approx(unseen_m, rel=1e-6)


def test_layers_tell_one_story(inputs: Path, tmp_path: Path) -> None:
    out, gpx = tmp_path / "a.gpkg", tmp_path / "a.gpx"
    plan = plan_of(tmp_path, inputs)
    found = hillsight.posts(plan, terrain=inputs / "ground.tif", out=out, gpx=gpx)
    layers = found.frames
    assert next(iter(layers)) == "unseen_stretches"
    outcome, posts = found.outcome, layers["posts"]
    whole_m = outcome.course.length_m
    assert layers["seen_stretches"]["length_m"].sum() + layers["unseen_stretches"]["length_m"].sum() == (
        pytest.approx(whole_m)
    )
    assert len(posts) == 3 and posts["role"].tolist().count("fixed") == 1
    assert posts["along_m"].is_monotonic_increasing
    chance = layers["seen_stretches"]["seen_probability"]
    assert chance.between(0, 1).all() and chance.mean() > 0.8
    assert (posts["first_runner_min"] <= posts["first_passing_min"]).all()
    assert (posts["last_passing_min"] <= posts["last_runner_min"]).all()
    assert posts["first_passing_at"].str.startswith("2026-09-12T10:").all()
    assert (posts["dark_minutes"] == 0).all()
    assert posts["walking_minutes"].between(0, 60).all()
    gaps = layers["handover_gaps"]
    assert gaps["last_minutes"].is_monotonic_decreasing
    assert set(gaps["from_post"]) | set(gaps["to_post"]) <= {*posts["post"], ""}
    assert len(layers["sight_matrix"]) == len(layers["radio_links"]) == 6  # four ends with control
    assert any("plan aid" in note for note in found.provenance.notes)
    low, high = outcome.share_range[1:]
    assert 0 < low <= outcome.share_range[0] <= high <= 1
    root = ElementTree.parse(gpx).getroot()
    assert [w.findtext(f"{GPX}name") for w in root.iter(f"{GPX}wpt")] == posts["post"].tolist()
    assert len(list(root.iter(f"{GPX}trk"))) == len(layers["unseen_stretches"])
    assert "qualified leaders decide" in (root.findtext(f"{GPX}metadata/{GPX}desc") or "")
    text = "\n".join(found.lines)
    assert max(len(line) for line in found.lines) <= 80
    assert text.index("UNSEEN STRETCHES") < text.index("HAND-OVER GAPS") < text.index("POSTS")
    assert "qualified leaders decide" in " ".join(text.split())


def test_out_and_back_share_their_ground(inputs: Path, tmp_path: Path) -> None:
    found = hillsight.posts(plan_of(tmp_path, inputs), terrain=inputs / "ground.tif")
    stretches = found.outcome.stretches
    twice = np.bincount(stretches.piece) == 2
    shared_m = stretches.length_m[twice[stretches.piece]].sum() / 2
    # The first leg of the way out is 255 m, and the way back runs over it.
    assert shared_m == pytest.approx(np.hypot(250, 50), abs=25)


def test_more_cover_than_there_is_ends_with_exit_code_3(inputs: Path, tmp_path: Path) -> None:
    plan = plan_of(tmp_path, inputs, ("posts = 3", "posts = 1\nshare = 0.99"))
    ended = run("posts", plan, "--terrain", inputs / "ground.tif")
    assert ended.code == 3, ended.err
    assert "UNSEEN STRETCHES" in ended.out


def test_a_pair_that_does_not_reach_ends_with_exit_code_3(inputs: Path, tmp_path: Path) -> None:
    """Behind the edge in the south, 30 m lower, nobody sees the tent."""
    more = (
        '[[fixed]]\nname = "below"\neasting_m = 300900\nnorthing_m = 698450\n'
        '[[pair]]\none = "below"\nother = "control"\nby = "sight"\n'
    )
    plan = plan_of(tmp_path, inputs, more=more)
    ended = run("posts", plan, "--terrain", inputs / "ground.tif")
    assert ended.code == 3, ended.err
    assert "below and control by sight: hidden." in ended.out


def test_a_course_that_crosses_itself_is_planned(inputs: Path, tmp_path: Path) -> None:
    legs, named = course_file(
        tmp_path,
        shapely.LineString(
            [
                (300_400, 699_000),
                (300_900, 699_000),
                (300_900, 699_400),
                (300_650, 699_400),
                (300_650, 698_700),
            ]
        ),
    )
    other = (f'file = "{inputs / "course.gpkg"}"', f'file = "{named[2:]}"')
    plan = plan_of(tmp_path, inputs, (legs, ""), other)
    found = hillsight.posts(plan, terrain=inputs / "ground.tif")
    assert found.outcome.stretches.pieces == len(found.outcome.stretches.piece)


def test_a_course_off_the_terrain_is_refused(inputs: Path, tmp_path: Path) -> None:
    legs, named = course_file(tmp_path, shapely.LineString([(300_400, 699_000), (303_900, 699_000)]))
    other = (f'file = "{inputs / "course.gpkg"}"', f'file = "{named[2:]}"')
    says = refused(tmp_path, inputs, (legs, ""), other)
    assert "lies off the terrain: 50 % of its vertices, first at E 303900 N 699000" in says


def test_a_course_of_one_point_is_refused(inputs: Path, tmp_path: Path) -> None:
    gpx = tmp_path / "one.gpx"
    gpx.write_text(
        '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
        '<trkpt lat="56.18" lon="-3.6"/></trkseg></trk></gpx>'
    )
    changes = (('legs = ["out", "back"]', ""), (f'"{inputs / "course.gpkg"}"', f'"{gpx}"'))
    assert "no line of two places or more" in refused(tmp_path, inputs, *changes)
    legs, named = course_file(tmp_path, shapely.LineString([(300_400, 699_000), (300_400, 699_000)]))
    other = (f'file = "{inputs / "course.gpkg"}"', f'file = "{named[2:]}"')
    assert "is a single place" in refused(tmp_path, inputs, (legs, ""), other)


def test_degrees_without_a_crs_are_refused(inputs: Path, tmp_path: Path) -> None:
    legs, named = course_file(tmp_path, shapely.LineString([(-3.61, 56.17), (-3.6, 56.18)]), crs=None)
    other = (f'file = "{inputs / "course.gpkg"}"', f'file = "{named[2:]}"')
    says = refused(tmp_path, inputs, (legs, ""), other)
    assert "look like degrees" in says and "EPSG:4326" in says


def test_a_course_of_a_million_points_is_refused(inputs: Path, tmp_path: Path) -> None:
    east = np.linspace(300_400, 300_900, 1_000_000)
    legs, named = course_file(
        tmp_path, shapely.LineString(np.column_stack((east, np.full(east.size, 699_000))))
    )
    other = (f'file = "{inputs / "course.gpkg"}"', f'file = "{named[2:]}"')
    assert "1,000,000 vertices, and 200,000 are the most" in refused(tmp_path, inputs, (legs, ""), other)


def test_no_place_left_says_which_limit_costs_most(inputs: Path, tmp_path: Path) -> None:
    changes = (
        ("water_within_m = 2", "slope_deg = 0"),
        ('[[fixed]]\nname = "the bend"', '[[banned]]\nname = "x"'),
    )
    pair = ('[[pair]]\none = "the bend"\nother = "control"\nby = "radio"\n', "")
    says = refused(tmp_path, inputs, *changes, pair)
    assert "satisfies the limits" in says
    assert "costs most is slope over 0 degrees: without it" in says


@pytest.mark.parametrize(
    ("changes", "more", "says"),
    [
        (
            [("posts = 3", "posts = 1")],
            '[[fixed]]\nname = "b"\neasting_m = 1\nnorthing_m = 1\n',
            "2 posts are fixed",
        ),
        ([('one = "the bend"', 'one = "the bent"')], "", "Did you mean the bend?"),
        ([("[paces]", "[paces]\nfirst_min_per_km = 0")], "", "'first_min_per_km' is 0"),
        ([("easting_m = 300900", "easting_m = 3")], "", "fixed post 'the bend' at E 3.0"),
        ([('legs = ["out", "back"]', 'legs = ["out", "bock"]')], "", "Did you mean back?"),
        ([('layer = "things"', 'layer = "paths"')], "", "is of layer paths"),
        ([('legs = ["out", "back"]', 'legs = ["out"]\nlaps = 2')], "", "ends 750 m from where it starts"),
        ([("posts = 3", "posts = 3\nshare = 1.2")], "", "'share' is 1.2"),
    ],
)
def test_bad_plans_are_refused_in_one_line(
    inputs: Path, tmp_path: Path, changes: list[tuple[str, str]], more: str, says: str
) -> None:
    assert says in refused(tmp_path, inputs, *changes, more=more)


def test_a_pair_that_names_no_post_is_told_before_places_are_sought(
    inputs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also where ground to stand on may hold named places, which are known once its file is read."""

    def never(*_: object) -> None:
        raise AssertionError("places to stand were sought")

    monkeypatch.setattr("hillsight.jobs.posts.run.where_to_stand", never)
    plan = plan_of(tmp_path, inputs, ('one = "the bend"', 'one = "the bent"'))
    with pytest.raises(hillsight.HillsightError, match="'the bent', and no fixed post or named place"):
        hillsight.posts(plan, terrain=inputs / "ground.tif")


def test_a_pair_that_names_a_refused_place_is_told_what_refused_it(inputs: Path, tmp_path: Path) -> None:
    named = tmp_path / "named.gpkg"
    points = [shapely.Point(300_900, 698_495), shapely.Point(300_700, 699_200)]
    frame = geopandas.GeoDataFrame({"name": ["the edge", "the flat"]}, geometry=points, crs=27700)
    frame.to_file(named, layer="named")
    stand = f'[[stand]]\nfile = "{named}"\n'
    pair = '[[pair]]\none = "{}"\nother = "control"\nby = "sight"\n'
    says = refused(tmp_path, inputs, more=stand + pair.format("the edge"))
    assert "'the edge', where the limits let nobody stand: slope over 25 degrees" in says
    found = hillsight.posts(
        plan_of(tmp_path, inputs, more=stand + pair.format("the flat")), terrain=inputs / "ground.tif"
    )
    assert found.outcome.pairs[-1].pair.one == "the flat"


def test_a_danger_that_ends_beyond_the_lap_is_told(inputs: Path, tmp_path: Path) -> None:
    more = '[[danger]]\nname = "far off"\nfrom_m = 100\nto_m = 90000\n'
    found = hillsight.posts(plan_of(tmp_path, inputs, more=more), terrain=inputs / "ground.tif")
    (note,) = [note for note in found.notes if "far off" in note]
    assert "is told to end 90,000 m along a lap of" in note
    assert "taken to the lap's end" in note


def test_a_further_person_has_a_place_in_the_report(inputs: Path, tmp_path: Path) -> None:
    """Behind the edge a radio of 30 mW is not heard, unless somebody stands at its top."""
    changes = (("easting_m = 300900\nnorthing_m = 699100", "easting_m = 300900\nnorthing_m = 698450"),)
    more = (
        "[radio]\npower_dbm = 15\n"
        + f'[[stand]]\nfile = "{_points(tmp_path, (300_900, 698_510), (300_900, 698_560))}"\n'
    )
    plan = plan_of(tmp_path, inputs, *changes, more=more)
    found = hillsight.posts(plan, terrain=inputs / "ground.tif")
    rows = found.frames["relays"]
    row = rows[rows["by"] == "a further person"].iloc[0]
    # Square NT of the National Grid begins at E 300 km, N 600 km (Ordnance Survey; from memory).
    reference = f"NT {row.easting_m - 300_000:05.0f} {row.northing_m - 600_000:05.0f}"
    told = " ".join(" ".join(found.lines).split())
    assert f"the bend and control by radio: a further person at {reference} would join them" in told


def _points(folder: Path, *at: tuple[float, float]) -> Path:
    path = folder / "points.gpkg"
    points = [shapely.Point(one) for one in at]
    geopandas.GeoDataFrame({"name": ["", ""]}, geometry=points, crs=27700).to_file(path, layer="points")
    return path


def test_a_plan_that_is_not_there(inputs: Path, tmp_path: Path) -> None:
    ended = run("posts", tmp_path / "none.toml", "--terrain", inputs / "ground.tif")
    assert ended.code == 2 and "cannot be read" in ended.err


def test_places_keep_to_no_go_areas_bans_and_walks(inputs: Path, tmp_path: Path) -> None:
    """A closed field over the eastern half of the places, a ban about one, and ten minutes' walk."""
    field = tmp_path / "closed.gpkg"
    closed = shapely.box(300_800, 698_700, 301_100, 699_400)
    geopandas.GeoDataFrame({"name": ["field"]}, geometry=[closed], crs=27700).to_file(field, layer="closed")
    more = (
        f'[[no_go]]\nfile = "{field}"\n'
        '[[banned]]\nname = "wet"\neasting_m = 300700\nnorthing_m = 699250\nwithin_m = 60\n'
        "[walking]\nmost_minutes = 10\n"
    )
    fixed = (
        '[[fixed]]\nname = "the bend"\neasting_m = 300900',
        '[[fixed]]\nname = "the bend"\neasting_m = 300500',
    )
    found = hillsight.posts(plan_of(tmp_path, inputs, fixed, more=more), terrain=inputs / "ground.tif")
    for layer in ("posts", "other_places"):
        frame = found.frames[layer]
        assert len(frame) > 0
        assert not frame.geometry.intersects(closed).any()
        assert (frame.geometry.distance(shapely.Point(300_700, 699_250)) > 60).all()
    assert (found.frames["posts"]["walking_minutes"] <= 10).all()


def test_a_fixed_post_against_the_limits_is_kept_and_told_of(inputs: Path, tmp_path: Path) -> None:
    """The edge in the south drops 30 m between two rows of posts."""
    changes = (("easting_m = 300900\nnorthing_m = 699100", "easting_m = 300900\nnorthing_m = 698495"),)
    found = hillsight.posts(plan_of(tmp_path, inputs, *changes), terrain=inputs / "ground.tif")
    (note,) = [note for note in found.notes if "the bend" in note]
    assert "stands against the limits: slope over 25 degrees" in note
    assert "the bend" in found.frames["posts"]["post"].tolist()


def test_places_may_be_told_in_another_crs(inputs: Path, tmp_path: Path) -> None:
    """UTM zone 30 for the fixed post, the gate and the tent: they stand where the British grid has them."""
    plain = hillsight.posts(plan_of(tmp_path, inputs), terrain=inputs / "ground.tif")
    text = PLAN
    for east, north in ((300_900, 699_100), (300_400, 699_000)):
        point = geopandas.GeoSeries([shapely.Point(east, north)], crs=27700).to_crs(32630).iloc[0]
        old = f"easting_m = {east}\nnorthing_m = {north}"
        assert old in text
        text = text.replace(old, f"easting_m = {point.x:.3f}\nnorthing_m = {point.y:.3f}")
    for name in ("features.gpkg", "course.gpkg"):
        text = text.replace(f'"{name}"', f'"{inputs / name}"')
    plan = tmp_path / "utm.toml"
    plan.write_text(text.replace("title =", 'crs = "EPSG:32630"\ntitle ='), encoding="utf-8")
    moved = hillsight.posts(str(plan), terrain=inputs / "ground.tif")
    at = [
        found.frames["posts"].set_index("post").loc["the bend", ["easting_m", "northing_m"]].to_numpy(float)
        for found in (plain, moved)
    ]
    # Two ways between the datums may differ by some metres.
    np.testing.assert_allclose(at[0], at[1], atol=5.0)
    plan.write_text(text.replace("title =", 'crs = "EPSG:4326"\ntitle ='), encoding="utf-8")
    with pytest.raises(hillsight.HillsightError, match="does not count in metres"):
        hillsight.posts(str(plan), terrain=inputs / "ground.tif")


def test_a_course_over_a_void_is_unseen_there_and_told_of(inputs: Path, tmp_path: Path) -> None:
    """A void of 100 x 100 m over the way back north: nobody can say who sees a runner there."""
    height_m = heights()
    height_m[60:70, 85:95] = np.nan
    write_geotiff(tmp_path / "void.tif", height_m, spacing=10.0)
    found = hillsight.posts(plan_of(tmp_path, inputs), terrain=tmp_path / "void.tif")
    void = shapely.box(300_855, 699_305, 300_945, 699_395)
    middles = found.frames["seen_stretches"].geometry.interpolate(0.5, normalized=True)
    assert not middles.intersects(void).any()
    assert found.frames["unseen_stretches"].geometry.intersection(void).length.sum() > 80
    assert any("of the course lie on unknown ground" in note for note in found.notes)


def test_double_cover_counts_the_second_post_too(inputs: Path, tmp_path: Path) -> None:
    """Asked for everywhere, each piece is worth half its weight to the first post and half to the second."""
    change = ("posts = 3", 'posts = 2\ntwice = "all"')
    both = hillsight.posts(plan_of(tmp_path, inputs, change), terrain=inputs / "ground.tif").outcome
    weight_m = both.stretches.piece_weight_m()
    count = both.seen.sum(axis=0)
    assert both.choice.covered_share == pytest.approx((weight_m @ np.minimum(count, 2)) / 2 / weight_m.sum())
    assert "one post of two that are wanted counts half" in both.choice.in_words
    # What is said to be seen is what any post sees, as the range of the draws beside it is.
    assert both.seen_share == pytest.approx(weight_m[count > 0].sum() / weight_m.sum())
    once = hillsight.posts(
        plan_of(tmp_path, inputs, ("posts = 3", "posts = 2")), terrain=inputs / "ground.tif"
    ).outcome
    assert "counts half" not in once.choice.in_words
    assert (weight_m @ np.minimum(count, 2)) >= (weight_m @ np.minimum(once.seen.sum(axis=0), 2)) - 1e-6


def test_nothing_is_written_over_what_the_plan_names(inputs: Path, tmp_path: Path) -> None:
    before = (inputs / "course.gpkg").read_bytes()
    plan = plan_of(tmp_path, inputs)
    ended = run("posts", plan, "--terrain", inputs / "ground.tif", "--out", inputs / "course.gpkg")
    assert ended.code == 2 and "Traceback" not in ended.err
    assert (inputs / "course.gpkg").read_bytes() == before
