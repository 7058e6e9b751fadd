"""outlook and bearings with landforms among the features: computed, from a file, and what is refused."""

from __future__ import annotations

import pyogrio
import pytest

from scripts.commands import AT, assert_refused, done, features, terrain

REACH = ("--reach", "280")


@pytest.fixture(scope="module")
def world(tmp_path_factory):
    folder = tmp_path_factory.mktemp("landforms")
    return folder, terrain(folder)


@pytest.fixture(scope="module")
def computed(world):
    folder, ground = world
    words = ("outlook", "--terrain", ground, "--at", AT, *REACH, "--landforms", "--scale", "60")
    ended = done(*words, "--out", folder / "computed.gpkg")
    return folder / "computed.gpkg", ended


def listed(path):
    return pyogrio.read_dataframe(path, layer="bearing_list")


def test_landforms_are_listed_with_identifiers_and_words(computed):
    path, ended = computed
    frame = listed(path)
    assert len(frame) > 5
    assert frame["landform"].notna().all() and frame["description"].notna().all()
    assert {"spur", "re-entrant"} <= set(frame["kind"])
    assert (frame["evidence_class"] == "ground_shape").all()
    assert set(frame["state"]) <= {"visible", "partly", "uncertain", "hidden", "unknown", "out_of_reach"}
    judged = frame[~frame["state"].isin(["unknown", "out_of_reach"])]
    assert judged["seen_probability"].between(0, 1).all()
    assert (judged["bearing_plus_minus_deg"] > 0).all()
    assert "guessed from posts 10 m apart" in ended.err


def test_relations_hang_on_rows_of_the_list(computed):
    path, _ = computed
    frame, told = listed(path).set_index("rank"), pyogrio.read_dataframe(path, layer="relations")
    assert len(told) > 0
    for row in told.itertuples():
        assert frame.loc[row.rank, "landform"] is not None
        assert frame.loc[row.rank, "state"] in ("visible", "partly")
        assert row.other_rank in frame.index and row.other_rank != row.rank
    left = told[told["relation"] == "left_of"]
    right_edge = frame.loc[left["rank"], "right_edge_true_deg"].to_numpy()
    left_edge = frame.loc[left["other_rank"], "left_edge_true_deg"].to_numpy()
    assert ((left_edge - right_edge) % 360.0).tolist() == pytest.approx(left["gap_deg"].tolist(), abs=1e-6)


def test_a_file_of_landforms_gives_its_own_identifiers(world):
    folder, ground = world
    done("landforms", "--terrain", ground, "--scale", "60", "--out", folder / "ground.gpkg")
    words = ("bearings", "--terrain", ground, "--at", AT, *REACH, "--features", features(folder))
    done(*words, "--landforms", folder / "ground.gpkg", "--out", folder / "list.gpkg")
    frame = listed(folder / "list.gpkg")
    known = set()
    for layer in ("tops", "saddles", "spurs", "re_entrants", "ridges", "valley_lines"):
        known |= set(pyogrio.read_dataframe(folder / "ground.gpkg", layer=layer)["landform"])
    of_lines = frame[frame["landform"].notna() & frame["kind"].isin(["spur", "re-entrant"])]
    assert len(of_lines) > 0
    assert set(of_lines["landform"]) <= known
    assert {"High Top", "Long Beck", "Square Wood"} <= set(frame["name"].dropna())


def test_what_does_not_go_together_is_refused(tmp_path):
    ground, map_file = terrain(tmp_path), features(tmp_path)
    words = ("outlook", "--terrain", ground, "--at", AT, *REACH, "--out", tmp_path / "out.gpkg")
    assert_refused(tmp_path, *words, "--landforms", map_file, says=("no landforms", "features.gpkg"))
    assert_refused(tmp_path, *words, "--landforms", tmp_path / "none.gpkg", says=("none.gpkg",))
    assert_refused(tmp_path, *words, "--features", map_file, "--scale", "60", says=("--scale", "--landforms"))
    assert_refused(
        tmp_path, *words, "--landforms", "--scale", "5", says=("the scale is 5 m", "(--scale METRES)")
    )
    bearings = ("bearings", "--terrain", ground, "--at", AT)
    assert_refused(tmp_path, *bearings, says=("--features",))
