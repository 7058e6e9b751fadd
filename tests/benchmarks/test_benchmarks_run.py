"""The benchmarks still run: all of them once, tiny, without a word on speed."""

import json
import math

import pytest

from benchmarks import report, sight
from benchmarks.engines import ENGINES, OURS, gdal_source, gdal_view
from benchmarks.grounds import Grounds, Station, eye_over, stations, surface_of
from benchmarks.measuring import errors, time_case
from benchmarks.memory import peak_memory
from terrains import plane

pytest.importorskip("osgeo.gdal", reason="the peer, GDAL's viewshed, comes with gdal-wheel")


@pytest.fixture(scope="module")
def found():
    """What is written as JSON, of made ground at two sizes whose posts the oracle walks to, every one."""
    run = sight.measure(
        [51, 101],
        rounds=1,
        grounds=("fractal", "bowl"),
        shares=(0.1, 0.4),
        station_count=4,
        pair_count=200,
        memory=False,
    )
    return json.loads(json.dumps(run, allow_nan=False))


def ran(found):
    """(case, engine's name, its figures) of all that ran."""
    return [(c, n, e) for c in found["cases"] for n, e in c["engines"].items() if e["runs"]]


@pytest.mark.slow
def test_ratios_are_finite_and_positive(found):
    for _, name, figure in ran(found):
        for over in ("over_gdal", "over_copy"):
            assert set(figure[over]) == {"of_minima", "median_of_rounds", "of_cpu_minima"}, name
            assert figure[over]["of_minima"] > 0 and figure[over]["median_of_rounds"] > 0, name
    assert all(math.isfinite(line["time_ratio"]) and line["time_ratio"] > 0 for line in found["growth"])
    assert {line["ground"] for line in found["growth"]} == {"fractal", "bowl"}
    assert found["stations"]["gdal_over_ours"] > 0
    assert all(line["millions_a_second"] > 0 for line in found["pairs"])


def test_ours_is_never_wrong_and_the_peer_is_seen_to_be(found):
    cases = {id(case): case for case, _, _ in ran(found)}.values()
    for case in cases:
        for name in OURS:
            oracle = case["engines"][name]["oracle"]
            assert oracle["posts"] == case["side"] ** 2
            assert oracle["differ"] == 0, (case["ground"], case["side"], name)
            assert case["engines"][name]["differ_from_ours_share"] == 0
    wrong = [c["engines"]["gdal"]["oracle"] for c in cases if c["ground"] == "fractal"]
    # GDAL's viewshed is approximate by design: some posts differ, not many.
    assert 0 < sum(o["differ"] for o in wrong) < 0.03 * sum(o["posts"] for o in wrong)
    assert all(line["oracle"]["differ"] == 0 for line in found["pairs"])


def test_stations_see_what_they_were_chosen_for(found):
    bowls = [c for c in found["cases"] if c["ground"] == "bowl"]
    assert [c["visible_share"] for c in bowls] == [1.0, 1.0]
    large = [c for c in found["cases"] if c["ground"] == "fractal" and c["side"] == 101]
    assert [c["station"]["on_post"] for c in large] == [True, True, False]
    assert large[0]["visible_share"] == pytest.approx(0.1, abs=0.03)
    assert large[1]["visible_share"] == pytest.approx(0.4, abs=0.1)


def test_every_engine_is_named_with_figures_or_a_reason(found):
    for case in found["cases"]:
        assert set(case["engines"]) == {engine.name for engine in ENGINES}
        for engine in ENGINES:
            figure = case["engines"][engine.name]
            assert bool(figure["runs"]) != bool(figure["note"])
            assert bool(figure["note"]) == bool(engine.missing)
            told = {"oracle", "differ_from_ours_share"} if figure["runs"] and engine.visible else set()
            timed = {"wall_s", "cpu_s", "over_gdal", "over_copy"} if figure["runs"] else set()
            assert set(figure) == {"note", "runs"} | timed | told


def test_keys_are_those_documented(found):
    told = report.__doc__ or ""
    listed = {
        line.split(":")[0].strip() for line in told.splitlines() if line[:1].isalpha() and " : " in line
    }
    listed |= {line.split(" : ")[0].strip() for line in told.splitlines() if " : " in line}
    assert set(found) <= listed
    inner = [*found["cases"], *found["growth"], found["stations"], *found["pairs"], found["settings"]]
    for part in (*inner, found["machine"]):
        for key in part:
            assert key in told, key


def test_memory_is_that_of_the_answer():
    # Large: Linux counts pages in batches for each processor, so that a few hundred kilobytes go astray.
    surface = Grounds([2401]).surface("fractal", 2401)
    station = Station(eye_over(surface, 1200, 1200, 1.6), 1.6, 0.1, 0.1)
    memory = peak_memory(surface, station, 2)
    assert set(memory) == {"side", "terrain_bytes", *OURS, "stations"}
    if "note" in memory["ours_crests"]:
        pytest.skip(memory["ours_crests"]["note"])
    # Handed back: bytes; two float32 arrays. Block maxima come to it.
    assert 0.2 < memory["ours_states"]["beyond_terrain_over_terrain"] < 1.5
    assert 2.0 < memory["ours_crests"]["beyond_terrain_over_terrain"] < 4.0


def test_a_wrong_engine_is_found_out():
    surface = Grounds([51]).surface("fractal", 51)
    station = stations("fractal", surface, (0.2,))[0]
    _, answers = time_case(surface, station, 1)
    answers["ours_states"] = answers["ours_states"].copy()
    answers["ours_states"][10, 10] ^= True
    assert errors(surface, station, answers, 0, 0)["ours_states"]["oracle"]["differ"] == 1


def test_the_peer_is_given_the_same_ground():
    surface = surface_of(plane(31, 31))
    surface.height_m[:, 20] += 50  # a wall from north to south hides what lies east of it
    view = gdal_view(gdal_source(surface), surface, eye_over(surface, 15, 10, 1.6), 1.6)
    seen = view.GetRasterBand(1).ReadAsArray() == 255
    assert seen[:, :21].all()
    assert not seen[:, 21:].any()


def test_tables_and_figure_are_made_of_the_json(found, tmp_path):
    text = report.tables(found)
    for engine in ENGINES:
        assert engine.label in text
    report.draw(found, tmp_path / "run.png")
    assert (tmp_path / "run.png").read_bytes().startswith(b"\x89PNG")
