"""What is printed for a person: whole degrees, and a table that does not drown in what is hidden."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from hillsight.scripts.bearing_table import bearing_table, whole_degrees
from hillsight.scripts.summary_lines import station_lines


@pytest.mark.parametrize(
    ("bearing_deg", "shown"), [(0.0, "000"), (359.6, "000"), (359.4, "359"), (7.2, "007"), (89.5001, "090")]
)
def test_bearings_have_three_figures(bearing_deg, shown):
    # Trade usage: whole degrees, 359.6 shown as 000 (common practice, no source).
    assert whole_degrees(bearing_deg) == shown


def _row(name, state, **values):
    row = {
        "station": "A",
        "rank": 1,
        "name": name,
        "kind": "summit",
        "state": state,
        "visible_share": np.nan,
        "bearing_true_deg": 10.0,
        "bearing_grid_deg": 9.0,
        "bearing_magnetic_deg": np.nan,
        "distance_m": 1234.0,
        "height_m": 113.0,
        "height_difference_m": -7.0,
        "highest_seen_m": np.nan,
        "relative_height": "a little below us",
        "gap_to_next_deg": np.nan,
        "hidden_by_m": np.nan,
        "hidden_by_distance_m": np.nan,
        "left_edge_true_deg": np.nan,
        "right_edge_true_deg": np.nan,
        "bearing_plus_minus_deg": np.nan,
        "height_difference_plus_minus_m": np.nan,
        "seen_probability": np.nan,
        "landform": None,
        "description": None,
    }
    return row | values


LISTED = pd.DataFrame(
    [
        _row("Shown", "visible"),
        _row("Half", "partly", visible_share=0.25, left_edge_true_deg=350.2, right_edge_true_deg=17.0),
        _row("Away", "out_of_reach"),
        _row("Deep", "hidden", hidden_by_m=12.34, hidden_by_distance_m=400.0),
        _row("Just", "hidden", hidden_by_m=0.03, hidden_by_distance_m=400.0),
    ]
)
STATIONS = pd.DataFrame({"station": ["A", "B"]})


def test_hidden_features_are_counted_not_listed():
    out = "\n".join(bearing_table(LISTED, STATIONS, show_hidden=False))
    assert "Shown" in out and "partly, 25 %" in out
    assert "350-017" in out
    assert "Deep" not in out and "Away" not in out
    assert "1 hidden and 1 out of reach (--show-hidden lists them)" in out
    assert "From B: no feature lies between these bearings." in out


def test_what_is_just_hidden_is_listed_as_no_evidence():
    out = "\n".join(bearing_table(LISTED, STATIONS, show_hidden=False))
    assert "just hidden by under 0.1 m at 400 m" in out
    assert "less than 2 m): terrain models err by as much in places" in out


def test_a_list_of_which_nothing_is_seen_says_so():
    out = "\n".join(
        bearing_table(LISTED[LISTED["name"].isin(["Deep", "Away"])], STATIONS[:1], show_hidden=False)
    )
    assert "From A nothing on the list is seen." in out
    assert "1 hidden and 1 out of reach" in out


def test_a_thing_round_the_station_is_seen_all_round():
    row = _row("Ring", "visible", left_edge_true_deg=0.0, right_edge_true_deg=360.0)
    assert "all round" in "\n".join(bearing_table(pd.DataFrame([row]), STATIONS[:1], show_hidden=False))


def test_all_features_are_listed_on_request():
    out = "\n".join(bearing_table(LISTED, STATIONS, show_hidden=True))
    assert "hidden by 12.3 m at 400 m" in out
    assert "hidden by under 0.1 m at 400 m" in out
    assert "out of reach" in out and "Left out" not in out


@pytest.mark.parametrize(
    ("areas_ha", "shown"),
    [
        ((4.0, 1.0, 2.0, 1.0, 0.0), "visible 1.0 ha (25.0 %), hidden 2.0 ha, unknown 1.0 ha."),
        (
            (4.0, 1.0, 2.0, 0.0, 1.0),
            "visible 1.0 ha (25.0 %), hidden 2.0 ha, unknown 0.0 ha, uncertain 1.0 ha.",
        ),
        ((0.0, 0.0, 0.0, 0.0, 0.0), "no terrain post."),
    ],
)
def test_a_reach_without_cells_has_no_shares(areas_ha, shown):
    names = ("reach_ha", "visible_ha", "hidden_ha", "unknown_ha", "uncertain_ha")
    place = {"station": "A", "easting_m": 1.0, "northing_m": 2.0, "ground_height_m": 3.0, "eye_level_m": 4.6}
    row = place | {"reach_m": 20.0} | dict(zip(names, areas_ha, strict=True))
    assert shown in station_lines(pd.DataFrame([row]))[0]


def test_doubt_is_shown_and_unnamed_landforms_only_if_surely_seen():
    about = {"landform": "spur-300-1-2", "description": "spur falling NE from Rook, 400 m long"}
    listed = pd.DataFrame(
        [
            _row("Rook", "uncertain", seen_probability=0.42, bearing_plus_minus_deg=1.2, landform="top-1-2"),
            _row(None, "visible", height_difference_plus_minus_m=5.2, **about),
            _row(None, "uncertain", seen_probability=0.6, **about),
        ]
    )
    out = "\n".join(bearing_table(listed, pd.DataFrame({"station": ["A"]}), show_hidden=False))
    assert "uncertain, 4 in 10" in out and "010 ±2" in out
    assert "-7 ±6 m" in out
    assert " ".join(out.split()).count("spur falling NE") == 1
    assert "1 landforms without a name that are not surely seen" in out


def test_an_error_is_told_with_the_options_of_the_command_that_was_called():
    from hillsight.errors import CallError
    from hillsight.scripts.outlook import command
    from hillsight.scripts.running import with_options

    error = CallError("the reach is 0 m", remedy="Give a distance above 0", parameters=("reach",))
    assert str(error) == "the reach is 0 m. Give a distance above 0."
    assert with_options(error, command) == "the reach is 0 m. Give a distance above 0 (--reach NUMBER)."
    elsewhere = CallError("no count", parameters=("count",))
    assert with_options(elsewhere, command) == str(elsewhere)
