"""Tables of a verdict: the columns of the schema, shapes where they belong, plain values for JSON."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pytest
import shapely

import verdicts
from hillsight.layers.frames import conform
from hillsight.layers.package import package
from hillsight.layers.verdict_frames import (
    candidates_frame,
    evidence_frame,
    fact_places,
    sight_lines_frame,
    views_frame,
    wedge,
)
from hillsight.layers.verdict_json import verdict_json
from hillsight.plan.verdict import Fact, Verdict
from hillsight.schema.layers import LAYERS
from layers import made
from verdicts import CRS, EAST, NORTH, line, point

# Scale on the central meridian of the British grid: Ordnance Survey, A guide to coordinate systems in Great
# Britain (from memory). Ground distance = grid distance / scale.
CENTRAL_SCALE = 0.9996012717
NONE_TURNED = {"Aye": 0.0, "Bee": 0.0, "Cee": 0.0}


def frames(of: Verdict) -> dict[str, geopandas.GeoDataFrame]:
    turned = {one.station: 0.0 for one in of.candidates}
    return {
        "candidates": candidates_frame(of, CRS),
        "evidence": evidence_frame(of, CRS),
        "sight_lines": sight_lines_frame(of, CRS),
        "candidate_views": views_frame(of, CRS, 1_000.0, turned),
    }


@pytest.mark.parametrize(
    "of", [verdicts.verdict(), verdicts.hostile(), verdicts.many(20)], ids=["plain", "hostile", "many"]
)
def test_tables_fit_the_schema_and_go_into_a_file(of: Verdict, tmp_path: Path) -> None:
    out = tmp_path / "out.gpkg"
    with package(out, made.provenance()) as file:
        for layer, frame in frames(of).items():
            assert [c for c in frame.columns if c != "geometry"] == [c.name for c in LAYERS[layer].columns]
            conform(frame, LAYERS[layer], None)
            file.write(layer, frame)
    read = {layer: pyogrio.read_dataframe(out, layer=layer) for layer in frames(of)}
    assert len(read["candidates"]) == len(read["candidate_views"]) == len(of.candidates)
    assert len(read["evidence"]) == len(of.candidates) * len(of.arguments)
    assert read["candidates"]["rank"].tolist() == [one.rank for one in of.candidates]


def test_candidates_stand_where_they_are() -> None:
    frame = candidates_frame(verdicts.verdict(), CRS)
    assert [(p.x - EAST, p.y - NORTH) for p in frame.geometry] == [(0, 0), (0, 700), (-2_000, 0)]
    assert frame["probability"].tolist() == [0.8, 0.15, 0.03]
    assert set(frame["state"]) == {"decided"} and set(frame["none_probability"]) == {0.02}


def test_the_wedge_is_the_sector_between_the_sides() -> None:
    place = verdicts.verdict().candidates[0]
    shape = wedge(place, 60.0, 1_000.0, 0.0)
    # A sector's area is r^2 angle / 2 (Euclid); chords of 2 degrees take off less than a thousandth.
    assert shape.area == pytest.approx(1e6 * np.pi / 6, rel=1e-3)
    for bearing_deg, holds in ((61, True), (119, True), (59, False), (121, False), (270, False)):
        turn = np.radians(bearing_deg)
        assert shape.contains(point(900 * np.sin(turn), 900 * np.cos(turn))) == holds, bearing_deg
    turned = wedge(place, 60.0, 1_000.0, 3.0)  # grid north lies 3 degrees east of true north
    assert turned.contains(point(900 * np.sin(np.radians(58)), 900 * np.cos(np.radians(58))))
    assert not turned.contains(point(900 * np.sin(np.radians(118)), 900 * np.cos(np.radians(118))))


@pytest.mark.parametrize("width_deg", [0.5, 180.0, 300.0, 359.0])
def test_wedges_of_any_width_are_sound(width_deg: float) -> None:
    shape = wedge(verdicts.verdict().candidates[0], width_deg, 500.0, 0.0)
    assert shape.is_valid
    assert shape.area == pytest.approx(500.0**2 * np.radians(width_deg) / 2, rel=1e-3)


def test_a_picture_all_round_is_a_disc() -> None:
    shape = wedge(verdicts.verdict().candidates[0], 360.0, 1_000.0, 0.0)
    assert shape.is_valid and shape.contains(point(0, 0))
    assert shape.area == pytest.approx(np.pi * 1e6, rel=1e-3)


def test_views_turn_by_the_convergence_of_each() -> None:
    one, other = (
        views_frame(verdicts.verdict(), CRS, 1_000.0, {**NONE_TURNED, "Bee": turn}).geometry
        for turn in (0.0, 5.0)
    )
    assert one.iloc[0].equals(other.iloc[0]) and one.iloc[2].equals(other.iloc[2])
    middle = shapely.affinity.rotate(one.iloc[1], 5.0, origin=(EAST, NORTH + 700))
    assert middle.symmetric_difference(other.iloc[1]).area < 1e-3 * middle.area


@pytest.mark.parametrize(
    ("geometry", "bearing_deg", "places"),
    [
        (None, 90.0, []),
        (point(500, 100), 90.0, [(500, 100)]),
        (line((300, -100), (300, 100)), 90.0, [(300, 0)]),  # the bearing meets it
        (line((300, 100), (300, 0), (400, 0), (400, 100)), 90.0, [(300, 0)]),  # the nearest of it
        (line((300, 100), (300, 300)), 90.0, [(300, 200)]),  # the bearing misses it
        (line((300, 100), (300, 300)), None, [(300, 200)]),
        (point(200, 0).buffer(50), 90.0, [(150, 0)]),
        (point(0, 0), 90.0, []),  # stood upon
        (line((-100, 0), (0, 0)), 90.0, [(-50, 0)]),
        (shapely.union_all([line((300, 1), (300, 9)), line((600, -5), (600, 5))]), 90.0, [(600, 0)]),
        (shapely.GeometryCollection([point(1, 2), point(3, 4)]), None, [(1, 2), (3, 4)]),
        (shapely.GeometryCollection([]), 90.0, []),
    ],
)
def test_where_a_fact_lies(
    geometry: shapely.Geometry | None, bearing_deg: float | None, places: list[tuple[float, float]]
) -> None:
    fact = Fact("made", geometry=geometry, bearing_true_deg=bearing_deg)
    found = np.array(fact_places(fact, EAST, NORTH, 0.0)).reshape(-1, 2) - (EAST, NORTH)
    assert found == pytest.approx(np.array(places, float).reshape(-1, 2), abs=1e-6)


def test_a_facts_bearing_is_true_and_its_place_on_the_grid() -> None:
    fact = Fact("made", geometry=line((1_000, -500), (1_000, 500)), bearing_true_deg=90.0)
    ((_, north),) = fact_places(fact, EAST, NORTH, 2.0)
    # True 90 is grid 88 there: 1000 m to the right is tan 2 degrees of it up.
    assert north - NORTH == pytest.approx(1_000 * np.tan(np.radians(2)), abs=1e-6)


def test_sight_lines_run_from_the_eye_and_have_ground_distances() -> None:
    frame = sight_lines_frame(verdicts.verdict(), CRS)
    rows = frame[(frame["station"] == "Aye")].set_index("argument")
    assert rows.index.tolist() == [
        2,
        1,
        1,
        5,
        3,
    ]  # the relation is about two things, the flat skyline about none
    for row in frame.itertuples():
        assert row.geometry.coords[0][2] == 301.6 and np.isnan(row.geometry.coords[1][2])
    assert rows.loc[5, "distance_m"] == pytest.approx(900 / CENTRAL_SCALE, abs=0.01)
    # Due east along the grid's line is the geodesic's start to a thousandth of a degree over such a distance.
    assert rows.loc[5, "bearing_true_deg"] == pytest.approx(90.0, abs=0.01)
    east, north = np.array(rows.loc[1, "geometry"].iloc[0].coords)[1, :2] - (EAST, NORTH)
    assert (east, north) == pytest.approx((1_000, 300))


def test_evidence_lines_go_to_the_fact_or_along_its_bearing() -> None:
    frame = evidence_frame(verdicts.verdict(), CRS).set_index(["argument", "station"])
    ends = {
        key: np.array(shape.coords)[1, :2] - np.array(shape.coords)[0, :2]
        for key, shape in frame.geometry.items()
    }
    assert ends[2, "Aye"] == pytest.approx((100, 0))  # the rim
    assert ends[2, "Bee"] == pytest.approx((1_000, 0), abs=0.1)  # a bearing alone
    # Nothing but where the picture looks; grid north lies within 2 km of the meridian some seconds off.
    assert ends[2, "Cee"] == pytest.approx((0, 50), abs=0.1)
    assert ends[1, "Aye"] == pytest.approx((1_100, 50))  # amid the two things


def test_what_no_number_holds_is_null() -> None:
    frame = evidence_frame(verdicts.hostile(), CRS)
    assert frame["agrees"].isna().all() and frame["figure"].isna().all()
    by_argument = frame.groupby("argument")["times"].first()
    assert by_argument.isna().sum() == 2  # infinite, and none


def test_json_is_plain_and_reads_back() -> None:
    of = verdicts.verdict()
    text = json.dumps(verdict_json(of, {"script": "relocate", "weight": np.float32(0.5)}), allow_nan=False)
    read = json.loads(text)
    assert read["state"] == "decided" and read["provenance"] == {"script": "relocate", "weight": 0.5}
    assert read["sighting"]["picture"]["taken"] == "2025-06-01"
    assert [c["probability"] for c in read["candidates"]] == [0.8, 0.15, 0.03]
    assert [a["argument"] for a in read["arguments"]] == [2, 1, 5, 4, 3]
    assert [f["station"] for f in read["arguments"][0]["facts"]] == ["Aye", "Bee", "Cee"]
    assert shapely.from_wkt(read["arguments"][0]["facts"][0]["geometry"]).equals(
        of.arguments[0].facts[0].geometry
    )
    assert read["arguments"][0]["facts"][1]["geometry"] is None
    assert read["questions"][0]["expected"][0] == {"station": "Aye", "answer": "a tarn is seen"}
    assert [c["changes"] for c in read["changes"]] == [False, True]
    assert read["sighting"]["statements"][1] == {
        "number": 2, "kind": "brow", "values": {"distance": "near"}, "part": "left half", "sure": "sure",
        "line": 0,
    }  # fmt: skip


def test_json_has_null_for_what_is_no_number_and_no_folders() -> None:
    of = verdicts.hostile()
    sighting = replace(of.sighting, source="/some/folder/of/mine/sighting.toml")
    read = json.loads(json.dumps(verdict_json(replace(of, sighting=sighting), {}), allow_nan=False))
    assert read["ratio_to_next"] is None
    assert [a["times"] for a in read["arguments"]] == [None, 0.0, None, 1.0, 1e-12]
    assert all(f["figure"] is None and f["agrees"] is None for a in read["arguments"] for f in a["facts"])
    assert read["sighting"]["source"] == "sighting.toml"
    assert [c["station"] for c in read["candidates"]] == list(verdicts.HOSTILE[:3])
