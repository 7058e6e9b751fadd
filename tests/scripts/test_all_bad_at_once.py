"""Where several stations or features are bad, one message names each with its reason."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from hillsight.errors import MOST_NAMED, Faults, FeatureError, StationError
from jobs.worlds import FAR, NEAR, SPACING, heights, world
from terrains import write_geotiff

from scripts.commands import done, run  # isort: skip

#: Each bad row, and what the message says of it.
BAD = {
    "row 2: the station has no position": "B,,,",
    "row 3: station 'C' at E 310000.0 N 699000.0 lies off the terrain": "C,310000,699000,",
    "row 4: station 'D' at E 300500.0 N 600000.0 lies off the terrain": "D,300500,600000,",
    "station 'F' (E 300205.0 N 699805.0): stands on or beside a void of the terrain": "F,300205,699805,",
    "station 'G' (E 300700.0 N 699000.0): its surveyed ground height 12.0 m": "G,300700,699000,12",
    "row 8, column ground_height_m: 'high' is not a finite number": "H,300700,699100,high",
    "row 9, column ground_height_m: no ground is 20000 m high": "I,300700,699200,20000",
}

#: What each command is asked beside terrain and stations.
COMMANDS: dict[str, tuple[str, ...]] = {
    "outlook": ("--out", "a.gpkg"),
    "viewshed": ("--out", "a.gpkg"),
    "viewshed --count": ("--out", "a.gpkg"),
    "dead-ground": ("--out", "a.gpkg"),
    "bearings": ("--out", "a.gpkg", "--features", "features.gpkg"),
    "panorama": (
        "--drawing",
        "a.svg",
    ),
    "profile": ("--bearing", "90"),
    "relocate": ("--sighting", "sighting.toml", "--features", "features.gpkg"),
    "compare": ("--features", "features.gpkg", "--looks", "N"),
    "resect": (
        "--marks",
        "marks.json",
        "--photo",
        "knoll.png",
        "--width",
        "60",
        "--features",
        "features.gpkg",
    ),
}


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = world(tmp_path_factory.mktemp("inputs"))
    height_m = heights()
    height_m[18:22, 18:22] = np.nan
    write_geotiff(folder / "holed.tif", height_m, spacing=SPACING)
    rows = ["name,E,N,ground_height_m", "A,300800,699200,", *BAD.values()]
    rows.insert(5, "E,300900,699100,")
    (folder / "places.csv").write_text("\n".join(rows) + "\n")
    return folder


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_names_all_bad_stations(command, inputs, monkeypatch):
    monkeypatch.chdir(inputs)
    before = sorted(inputs.iterdir())
    words = (*command.split(), "--terrain", "holed.tif", "--stations", "places.csv", *COMMANDS[command])
    ended = run(*words)
    assert ended.code == 2, ended.err
    assert sorted(inputs.iterdir()) == before
    (told,) = [line for line in ended.err.splitlines() if line.startswith("hillsight: ")]
    assert f"hillsight: places.csv, layer places: {len(BAD)} stations cannot be used: row 2: " in told
    for reason in BAD:
        assert reason in told
    for good in ("'A'", "'E'"):
        assert good not in told
    assert told.count("this one spans E 300000.0 to 301600.0, N 698400.0 to 700000.0") == 1


def test_places_of_a_call_are_named_together(inputs):
    ground = inputs / "holed.tif"
    ended = run(
        "profile", "--terrain", ground, "--at", NEAR, "--at", "here", "--at", "5,5,Five", "--bearing", "9"
    )
    assert ended.code == 2
    assert "2 stations cannot be used: " in ended.err
    assert "'here' does not begin with two numbers" in ended.err
    assert "'Five' at E 5.0 N 5.0 lies off the terrain" in ended.err
    ended = run("profile", "--terrain", ground, "--at", NEAR, "--to", "6,6,Six", "--to", "7,7,Seven")
    assert "2 targets cannot be used: " in ended.err
    assert "'Six' at E 6.0" in ended.err and "'Seven' at E 7.0" in ended.err


def test_candidates_at_one_place_are_named_in_all_their_pairs(inputs, monkeypatch):
    monkeypatch.chdir(inputs)
    east, north, _ = NEAR.split(",")
    at = [word for name in ("One", "Two", "Three") for word in ("--at", f"{east},{north},{name}")]
    ended = run("relocate", "--terrain", "ground.tif", "--sighting", "sighting.toml", *at, "--at", FAR)
    assert ended.code == 2, ended.err
    assert "3 pairs of stations cannot be used" in ended.err
    for pair in ("'One' and 'Two'", "'One' and 'Three'", "'Two' and 'Three'"):
        assert f"{pair} are one place" in ended.err


def test_cells_of_features_are_named_together(inputs, tmp_path):
    path = tmp_path / "things.csv"
    path.write_text("name,E,N,target_height_m\na,300800,699500,tall\nb,300810,699500,3\nc,300820,699500,-4\n")
    words = ("bearings", "--terrain", inputs / "ground.tif", "--at", NEAR, "--features")
    ended = run(*words, path)
    assert ended.code == 2
    assert (
        "things.csv, layer things: 2 cells cannot be used: row 1, column target_height_m: 'tall'" in ended.err
    )
    assert "row 3, column target_height_m: nothing stands -4 m" in ended.err
    path.write_text("name,E,N\na,300800,\nb,300810,699500\nc,,699500\n")
    ended = run(*words, path)
    assert "2 rows cannot be used: row 1: only one of E and N is given; row 3: only one" in ended.err
    path.write_text("name,E,N\na,300800,699500\nb,east,699500\nc,300810,699500\nd,west,699500\n")
    ended = run(*words, path)
    assert "2 cells cannot be used: row 2, column E: 'east' is not a finite number; row 4" in ended.err


def test_many_are_counted_after_the_first(inputs, tmp_path):
    rows = [f"P{k},{310_000 + k},699000" for k in range(30)]
    (tmp_path / "far.csv").write_text("name,E,N\n" + "\n".join(rows) + "\n")
    ended = run(
        "viewshed",
        "--terrain",
        inputs / "ground.tif",
        "--stations",
        tmp_path / "far.csv",
        "--out",
        tmp_path / "a.gpkg",
    )
    assert ended.code == 2
    assert "30 stations cannot be used" in ended.err
    assert ended.err.count("lies off the terrain") == MOST_NAMED
    assert f"; and {30 - MOST_NAMED} more. Move the station" in ended.err


def test_a_terrain_that_is_void_all_over_is_told_first(tmp_path):
    path = write_geotiff(tmp_path / "void.tif", np.full((60, 60), np.nan, np.float32), spacing=10.0)
    ended = run(
        "viewshed",
        "--terrain",
        path,
        "--at",
        "300100,699800,A",
        "--at",
        "300200,699800,B",
        "--reach",
        "200",
        "--out",
        tmp_path / "a.gpkg",
    )
    assert ended.code == 2
    assert "void.tif: there is no height around" in ended.err


def test_good_stations_are_not_stopped(inputs):
    """Beside the void's posts, and with a height that the terrain nearly has."""
    out = done(
        "profile", "--terrain", inputs / "holed.tif", "--at", "300170,699800,Beside", "--bearing", "180"
    ).out
    assert "Beside" in out


def test_one_fault_is_told_as_ever_and_kinds_are_kept():
    faults = Faults("stations")
    faults.tell()
    one = StationError("is bad", where="a, row 1", remedy="Mend it", parameters=("at",))
    with faults.kept():
        raise one
    with pytest.raises(StationError) as told:
        faults.tell()
    assert told.value is one
    faults.found.append(
        FeatureError("is worse", where="a, row 12", remedy="Mend it", parameters=("at", "to"))
    )
    with pytest.raises(StationError) as told:
        faults.tell()
    assert str(told.value) == "a: 2 stations cannot be used: row 1: is bad; row 12: is worse. Mend it."
    assert told.value.parameters == ("at", "to")
