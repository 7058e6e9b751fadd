"""hillsight relocate: files, words, exit codes, and everything it refuses.

The ground is a plain with one knoll north of one candidate and a trench south of it, so that what each
candidate shows is known by construction.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio
import shapely

from hillsight.schema.verdict import VERDICT_LAYERS
from terrains import write_geotiff

from scripts.commands import assert_refused, done, run  # isort: skip

WEST, NORTH, SPACING, POSTS = 300_000.0, 700_000.0, 10.0, 161
KNOLL, NEAR, FAR = (300_800.0, 699_500.0), "300800,699200,By the knoll", "300800,698600,On the plain"


def ground(folder: Path) -> Path:
    """A plain at 100 m with a knoll 40 m high, and an edge that falls 30 m away 100 m south of FAR."""
    column, row = np.meshgrid(np.arange(POSTS), np.arange(POSTS))
    east, north = WEST + SPACING * (column + 0.5), NORTH - SPACING * (row + 0.5)
    away = np.hypot(east - KNOLL[0], north - KNOLL[1])
    height = 100.0 + 40.0 * np.exp(-((away / 60.0) ** 2)) - 30.0 * (north < 698_495.0)
    return write_geotiff(folder / "ground.tif", height.astype(np.float32), spacing=SPACING)


def features(folder: Path) -> Path:
    path = folder / "features.gpkg"
    geopandas.GeoDataFrame(
        {"name": ["Lone Knoll", None], "kind": ["knoll", "wall"]},
        geometry=[shapely.Point(KNOLL), shapely.LineString([(300_700, 699_250), (300_900, 699_250)])],
        crs=27700,
    ).to_file(path)
    return path


def sighting(folder: Path, *statements: str, picture: str = 'looks = "N"\nwidth_deg = 60') -> Path:
    path = folder / "sighting.toml"
    parts = ['format = "hillsight sighting 1"', f"[picture]\n{picture}"]
    path.write_text("\n\n".join([*parts, *(f"[[statement]]\n{text}" for text in statements)]) + "\n")
    return path


WELL_ABOVE = 'kind = "height"\nwhat = "Lone Knoll"\nstands = "well above"\nsure = "certain"'
ANGLE = 'kind = "vertical_angle"\nwhat = "Lone Knoll"\ndegrees = 7.0\nsure = "certain"'
WALL = 'kind = "seen"\nwhat = "wall"\nwithin_m = 300'
DECIDING = (WELL_ABOVE, ANGLE, 'kind = "skyline"\nshape = "pointed"\nsure = "certain"')


def words(folder: Path, told: Path, *more: str | Path) -> tuple[str | Path, ...]:
    named = ("--terrain", ground(folder), "--features", features(folder), "--sighting", told)
    return (
        "relocate",
        *named,
        "--at",
        NEAR,
        "--at",
        FAR,
        "--elsewhere-within",
        "500",
        "--elsewhere",
        "40",
        *more,
    )


def test_decided_and_everything_is_written(tmp_path: Path) -> None:
    out, page, text = tmp_path / "out.gpkg", tmp_path / "out.html", tmp_path / "out.json"
    told = sighting(tmp_path, *DECIDING)
    ended = done(
        *words(tmp_path, told, "--out", out, "--report", page, "--json", text),
        *("--pictures", tmp_path / "drawn", "--none-prior", "0.01", "--decide-from", "0.9"),
    )
    assert ended.out.startswith("Decided: taken from By the knoll"), ended.out
    assert len([line for line in ended.out.splitlines() if not line.startswith("wrote ")]) <= 10
    layers = {layer.name: geopandas.read_file(out, layer=layer.name) for layer in VERDICT_LAYERS}
    assert list(layers["candidates"]["station"]) == ["By the knoll", "On the plain"]
    chances = layers["candidates"]["probability"]
    assert chances.iloc[0] > 0.9
    assert chances.sum() + layers["candidates"]["none_probability"].iloc[0] == pytest.approx(1.0)
    assert len(layers["evidence"]) == 2 * len(DECIDING)
    content = json.loads(text.read_text(encoding="utf-8"))
    assert content["state"] == "decided"
    assert "<script" not in page.read_text(encoding="utf-8")
    assert sorted(path.suffix for path in (tmp_path / "drawn").iterdir()) == [".png", ".png"]
    with closing(sqlite3.connect(out)) as file:
        (metadata,) = file.execute("SELECT count(*) FROM gpkg_metadata").fetchone()
    assert metadata > 0


def test_undecided_ends_with_three_and_asks(tmp_path: Path) -> None:
    ended = run(*words(tmp_path, sighting(tmp_path, 'kind = "seen"\nwhat = "Lone Knoll"\nsure = "doubtful"')))
    assert ended.code == 3, ended.err
    assert ended.out.startswith("Undecided: ")
    assert "next" in ended.out.lower() or "look" in ended.out.lower()


def test_a_wall_alone_does_not_decide(tmp_path: Path) -> None:
    assert run(*words(tmp_path, sighting(tmp_path, WALL))).code == 3


def test_none_fits(tmp_path: Path) -> None:
    told = sighting(
        tmp_path,
        'kind = "height"\nwhat = "Lone Knoll"\nstands = "well below"\nsure = "certain"',
        'kind = "vertical_angle"\nwhat = "Lone Knoll"\ndegrees = -9\nsure = "certain"',
    )
    ended = run(*words(tmp_path, told, "--none-prior", "0.5"))
    assert ended.out.startswith(("None fits: ", "Undecided: ")), ended.out


def test_priors_move_the_verdict(tmp_path: Path) -> None:
    told = sighting(tmp_path, 'kind = "seen"\nwhat = "Lone Knoll"\nsure = "doubtful"')
    ended = run(*words(tmp_path, told, "--prior", "1", "--prior", "50"))
    assert "On the plain" in ended.out.splitlines()[0]


def test_everywhere_writes_a_raster_that_adds_up(tmp_path: Path) -> None:
    out = tmp_path / "out.gpkg"
    run(
        *words(tmp_path, sighting(tmp_path, *DECIDING), "--out", out),
        *("--everywhere", "100", "--everywhere-within", "200"),
    )
    with rasterio.open(f"GPKG:{out}:probability_of_place") as file:
        share = file.read(1)
        place = file.xy(*np.unravel_index(np.nanargmax(share), share.shape))
    assert np.nansum(share) == pytest.approx(1.0, abs=1e-4)
    assert np.hypot(place[0] - KNOLL[0], place[1] - KNOLL[1]) < 450.0  # by the knoll, not out on the plain


def test_the_template_is_a_sighting_and_the_schema_is_json(tmp_path: Path) -> None:
    template = done("relocate", "--template").out
    assert template.startswith('format = "hillsight sighting 1"') or "hillsight sighting 1" in template
    assert json.loads(done("relocate", "--schema").out)["$schema"].startswith("https://json-schema.org/")


@pytest.mark.parametrize(
    ("statements", "says"),
    [
        ((), ("no statement",)),
        (('kind = "seeen"\nwhat = "wall"',), ("line 8", "seeen", "seen")),
        (('kind = "seen"\nwhat = "Lone Knol"',), ("line 7", "Lone Knol", "Did you mean 'Lone Knoll'?")),
        (
            (
                'kind = "height"\nwhat = "Lone Knoll"\nstands = "above"',
                'kind = "height"\nwhat = "Lone Knoll"\nstands = "well below"',
            ),
            ("line 7", "line 12", "exclude each other"),
        ),
        (('kind = "seen"\nwhat = "wall"',) * 10_000, ("10000 statements", "500")),
        (('kind = "bearing"\nwhat = "Lone Knoll"\ndegrees = 4\nnorth = "magnetic"',), ("taken",)),
    ],
    ids=["empty", "unknown kind", "unknown name", "contradiction", "ten thousand", "no day"],
)
def test_bad_sightings(tmp_path: Path, statements: tuple[str, ...], says: tuple[str, ...]) -> None:
    call = words(tmp_path, sighting(tmp_path, *statements))
    assert_refused(tmp_path, *call, "--out", tmp_path / "out.gpkg", says=says)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--at", NEAR.replace("By the knoll", "Twin")), ("Twin", "one place")),
        (("--at", "900000,100000,Sea"), ("Sea", "off the terrain")),
        (("--prior", "1"), ("1 prior", "2 candidates")),
        (("--prior", "1", "--prior", "-1"), ("prior",)),
        (("--decide-from", "0.4"), ("--decide-from",)),
        (("--none-prior", "1"), ("--none-prior",)),
        (("--report", "verdict.pdf"), ("HTML or Markdown",)),
        (("--everywhere", "10"), ("--out",)),
        (("--observer", "nowhere.toml"), ("nowhere.toml",)),
    ],
    ids=lambda value: " ".join(map(str, value)) if isinstance(value, tuple) else None,
)
def test_bad_calls(tmp_path: Path, more: tuple[str, ...], says: tuple[str, ...]) -> None:
    assert_refused(tmp_path, *words(tmp_path, sighting(tmp_path, *DECIDING)), *more, says=says)


def test_one_candidate_is_refused(tmp_path: Path) -> None:
    told = sighting(tmp_path, *DECIDING)
    call = ("relocate", "--terrain", ground(tmp_path), "--features", features(tmp_path), "--sighting", told)
    assert_refused(tmp_path, *call, "--at", NEAR, says=("one candidate",))


def test_a_direction_that_looks_away_is_said(tmp_path: Path) -> None:
    told = sighting(tmp_path, WELL_ABOVE, picture='looks = "S"\ngive_or_take_deg = 5\nwidth_deg = 40')
    ended = run(*words(tmp_path, told))
    assert any("from no candidate does Lone Knoll lie in the picture" in text for text in ended.notes)
