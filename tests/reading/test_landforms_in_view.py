"""Landforms beside map features in one table, none of them twice."""

from __future__ import annotations

from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely

from hillsight.reading.things.landforms_in_view import landform_features

CRS = "EPSG:27700"
COLUMNS = [
    "name",
    "kind",
    "evidence_class",
    "target_height_m",
    "source",
    "landform",
    "description",
    "geometry",
]


def landforms(
    layer: str, *rows: tuple[str | None, shapely.Geometry], **more: list[Any]
) -> geopandas.GeoDataFrame:
    table = {
        "landform": [f"{layer}-{k}" for k in range(len(rows))],
        "name": pd.Series([name for name, _ in rows], dtype=object),
        "scale_m": [300.0] * len(rows),
        "description": [f"{layer} number {k}" for k in range(len(rows))],
        **more,
    }
    return geopandas.GeoDataFrame(table, geometry=[shape for _, shape in rows], crs=CRS)


def features(*rows: tuple[str | None, str, shapely.Geometry]) -> geopandas.GeoDataFrame:
    return geopandas.GeoDataFrame(
        {
            "name": pd.Series([name for name, _, _ in rows], dtype=object),
            "kind": [kind for _, kind, _ in rows],
            "evidence_class": ["ground_shape"] * len(rows),
            "target_height_m": [3.0] * len(rows),
            "source": ["map"] * len(rows),
        },
        geometry=[shape for _, _, shape in rows],
        crs=CRS,
    )


def tops(*rows: tuple[str | None, shapely.Geometry]) -> geopandas.GeoDataFrame:
    return landforms("tops", *rows, kind=["summit"] * len(rows))


LINE = shapely.LineString([(0, 0, 5), (100, 0, 6)])


def test_landforms_alone_become_things_to_list() -> None:
    frames = {
        "tops": tops(("Rook", shapely.Point(0, 0, 300))),
        "spurs": landforms("spurs", (None, LINE)),
        "re_entrants": landforms("re_entrants", (None, LINE)),
        "breaks_of_slope": landforms("breaks_of_slope", (None, LINE), kind=["convex_edge"]),
    }
    table = landform_features(frames, None)
    assert list(table.columns) == COLUMNS
    assert table["kind"].tolist() == ["summit", "spur", "re-entrant", "convex edge"]
    assert table["name"].tolist() == ["Rook", None, None, None]
    assert table["landform"].tolist() == ["tops-0", "spurs-0", "re_entrants-0", "breaks_of_slope-0"]
    assert table["description"].iloc[1] == "spurs number 0"
    assert set(table["evidence_class"]) == {"ground_shape"}
    assert (table["target_height_m"] == 0).all()
    assert not shapely.has_z(np.asarray(table.geometry)).any()
    assert table.crs == CRS


def test_ridges_and_valleys_without_branches_are_left_to_spurs_and_re_entrants() -> None:
    frames = {
        layer: landforms(layer, (None, LINE), (None, LINE), order=[1, 2])
        for layer in ("ridges", "valley_lines")
    }
    table = landform_features(frames, None)
    assert table["landform"].tolist() == ["ridges-1", "valley_lines-1"]
    assert table["kind"].tolist() == ["ridge", "valley"]


def test_a_top_that_the_map_has_is_listed_once_with_both() -> None:
    given = features(("Rook", "hill", shapely.Point(20, 0)), (None, "wood", shapely.Point(5, 5)))
    table = landform_features(
        {"tops": tops(("Rook", shapely.Point(0, 0, 300)), (None, shapely.Point(900, 0, 200)))}, given
    )
    assert table["landform"].tolist() == ["tops-0", None, "tops-1"]
    assert table["description"].tolist()[0] == "tops number 0"
    assert table["source"].tolist()[:2] == ["map", "map"]
    assert table["target_height_m"].tolist() == [3.0, 3.0, 0.0]
    assert list(given.columns) == [c for c in COLUMNS if c not in ("landform", "description")], (
        "changed what it got"
    )


def test_of_two_of_one_name_the_nearer_stands_for_the_top() -> None:
    given = features(("Rook", "hill", shapely.Point(9000, 0)), ("Rook", "hill", shapely.Point(30, 0)))
    table = landform_features({"tops": tops(("Rook", shapely.Point(0, 0, 300)))}, given)
    assert table["landform"].tolist() == [None, "tops-0"]


def test_a_thing_of_the_same_name_far_away_does_not_stand_for_the_top() -> None:
    """The top has its name from the hill's outline; the village called after it lies elsewhere."""
    hill, village = shapely.Point(0, 0).buffer(200.0), shapely.Point(5000, 0)
    given = features(("Rook", "hill", hill), ("Rook", "village", village))
    table = landform_features({"tops": tops(("Rook", shapely.Point(0, 0, 300)))}, given)
    assert table["landform"].tolist() == [None, None, "tops-0"]


@pytest.mark.parametrize("shape", [LINE, shapely.box(0, 0, 50, 50)])
def test_a_line_or_an_area_stands_for_no_top(shape: shapely.Geometry) -> None:
    given = features(("Rook", "ridge", shape))
    assert len(landform_features({"tops": tops(("Rook", shapely.Point(0, 0, 300)))}, given)) == 2


def test_a_saddle_is_not_taken_for_a_top_of_its_name() -> None:
    frames = {
        "tops": tops(("Rook", shapely.Point(0, 0, 300))),
        "saddles": landforms("saddles", ("Rook", shapely.Point(40, 0, 250))),
    }
    table = landform_features(frames, None)
    assert table["landform"].tolist() == ["tops-0", "saddles-0"]


def test_features_alone_and_frames_without_rows() -> None:
    given = features(("Rook", "hill", shapely.Point(0, 0)))
    table = landform_features({"tops": tops()}, given)
    assert list(table.columns) == COLUMNS
    assert table["landform"].tolist() == [None]
    with pytest.raises(ValueError, match="neither"):
        landform_features({}, None)


def test_level_ground_without_any_landform_gives_a_table_without_rows() -> None:
    table = landform_features({"tops": tops(), "saddles": landforms("saddles")}, None)
    assert list(table.columns) == COLUMNS
    assert len(table) == 0
    assert table.crs == CRS
