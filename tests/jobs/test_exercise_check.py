"""The check of an exercise on made grounds whose answers are known by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import geopandas
import pytest
import shapely
from PIL import Image
from scipy import stats

import hillsight
from hillsight.errors import ExerciseError, HillsightError
from hillsight.plan.exercise.exercise import Exercise, ExercisePicture, ExercisePlace
from hillsight.plan.exercise.writing import write_exercise
from jobs.worlds import NORTH, WEST, world
from terrains import plane, write_geotiff

from scripts.commands import done, one_message, run  # isort: skip

#: The world of ``jobs.worlds``: a plain with one knoll 40 m high, and an edge in the south. One place has the
#: knoll 300 m ahead; from the other, that looks north from north of it, there is none.
BY_THE_KNOLL = ExercisePlace("by the knoll", 300_800.0, 699_200.0, is_true=True)
NO_KNOLL = ExercisePlace("in the west", 300_250.0, 699_350.0)


def exercise(*places: ExercisePlace, **changes: object) -> Exercise:
    plain = Exercise("Knoll", ExercisePicture(0.0), places, terrain="ground.tif", features=("features.gpkg",))
    return replace(plain, **changes)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return world(tmp_path_factory.mktemp("exercise"))


def written(folder: Path, one: Exercise, name: str = "exercise.toml") -> Path:
    path = folder / name
    path.write_text(write_exercise(one), encoding="utf-8")
    return path


@pytest.mark.slow
def test_a_knoll_that_only_one_place_sees_tells_them_apart(folder: Path) -> None:
    """The knoll stands against the sky, 40 m above ground 300 m off: atan(38.4 / 300) = 7.3 degrees.

    Round about the ground tilts by a degree and waves by 3 m, so that 0.8 degrees are allowed.
    """
    path = written(folder, exercise(BY_THE_KNOLL, NO_KNOLL))
    found = hillsight.exercise_check(path, reach=1_500.0, draws=32, learners=200).judged.soundness
    (against,) = found.against
    assert against.place == 1
    (pointed,) = [fact for fact in against.facts if fact.statement.values.get("shape") == "pointed"]
    assert pointed.true_fact.figure == pytest.approx(7.3, abs=0.8)
    assert pointed.holds > 0.95
    for fact in against.facts:
        assert fact.holds >= 0.9
        assert fact.bits > 0.0
    # The wall before it tells too, and decides nothing.
    walls = [fact for fact in against.facts if fact.statement.things == ("wall",)]
    assert [fact.evidence_class for fact in walls] == ["man_made"]
    assert against.facts[-1] is walls[0]
    # Most learners see it too. By chance half of them would be right.
    assert found.learners.right > 0.7
    assert found.is_sound
    assert found.state == "sound"
    assert against.is_told_apart
    assert against.matters >= 2
    # Six times as far off as the spots are drawn there is no knoll 300 m ahead.
    assert 25.0 <= found.tolerance_m <= 150.0
    # The interval is that of Clopper and Pearson, by its beta quantiles (from memory of their paper).
    right, count = found.learners.chosen[0], found.learners.count
    assert count == 200
    assert found.learners.low == pytest.approx(stats.beta.ppf(0.025, right, count - right + 1), abs=1e-6)


def test_places_on_a_plane_cannot_be_told_apart(tmp_path: Path) -> None:
    """On an even slope both places see the same, as far as the terrain goes: learners can but guess.

    Of 500 that guess between two, 250 are right, with a standard deviation of 11.2: five of them are 56.
    """
    write_geotiff(
        tmp_path / "ground.tif",
        plane(161, 161, height_m=200.0, north_slope=-0.1),
        west=WEST,
        north=NORTH,
        spacing=10.0,
        unit="m",
    )
    flat = exercise(
        replace(BY_THE_KNOLL, easting_m=300_780.0),
        replace(NO_KNOLL, easting_m=300_820.0, northing_m=BY_THE_KNOLL.northing_m),
        features=(),
    )
    path = written(tmp_path, flat)
    ended = run("exercise", "check", path, "--reach", "600", "--json", tmp_path / "a.json")
    assert ended.code == 3, ended.err
    assert "Not sound" in ended.out
    assert "look alike" in ended.out
    content = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    assert content["is_sound"] is False
    assert content["state"] == "alike"
    assert f"tell it from {flat.called(1)}, and two are needed" in content["reasons"][0]
    assert flat.called(1) == f"{flat.letters()[1]} (in the west)"
    # A name that is but coordinates is left out.
    searched = replace(flat, places=(flat.places[0], replace(flat.places[1], name="E 300820 N 699200")))
    assert searched.called(1) == searched.letters()[1]
    assert content["against"][0]["facts"] == []
    assert content["tolerance_m"] == 0.0
    assert abs(content["learners"]["right"] * 500 - 250) < 56
    assert content["provenance"]["script"] == "exercise check"


def test_a_wall_alone_decides_nothing(tmp_path: Path) -> None:
    """Two places on an even slope, a wall 60 m before one of them: true, plain, and no answer."""
    even = plane(161, 161, height_m=200.0, north_slope=-0.1)
    write_geotiff(tmp_path / "ground.tif", even, unit="m")
    wall = shapely.LineString([(300_690, 699_260), (300_770, 699_260)])
    frame = geopandas.GeoDataFrame({"name": [None], "kind": ["wall"]}, geometry=[wall], crs=27700)
    frame.to_file(tmp_path / "features.gpkg", layer="things")
    places = (
        replace(BY_THE_KNOLL, easting_m=300_730.0),
        replace(NO_KNOLL, easting_m=300_870.0, northing_m=BY_THE_KNOLL.northing_m),
    )
    path = written(tmp_path, exercise(*places))
    found = hillsight.exercise_check(path, reach=600.0, draws=16, learners=50).judged.soundness
    (against,) = found.against
    assert {fact.evidence_class for fact in against.facts} == {"man_made"}
    assert not found.is_sound
    assert "man-made features" in against.reason
    assert "man_made" in {one.about for one in found.misleading}


def test_a_map_that_the_terrain_gainsays_decides_nothing(folder: Path, tmp_path: Path) -> None:
    """Level ground under a map of knolls in pairs: the nearer one stands right, or left, of the other.

    Their names would tell the places apart in nearly every draw, and no such knoll is there.
    """
    write_geotiff(tmp_path / "ground.tif", plane(161, 161, height_m=200.0), west=WEST, north=NORTH, unit="m")
    knolls = geopandas.GeoDataFrame(
        {"name": ["Lone Knoll", "Cold Pike", "High Nab", "Far Nab"], "kind": ["summit"] * 4},
        geometry=shapely.points(
            [(300_700, 699_400), (300_700, 699_700), (300_690, 699_420), (300_690, 699_750)]
        ),
        crs=27700,
    )
    knolls.to_file(tmp_path / "features.gpkg", layer="things")
    places = (
        replace(BY_THE_KNOLL, easting_m=300_600.0, northing_m=699_200.0),
        replace(NO_KNOLL, easting_m=300_800.0, northing_m=699_200.0),
    )
    found = hillsight.exercise_check(written(tmp_path, exercise(*places)), reach=600, draws=32, learners=200)
    assert not found.is_sound
    assert found.judged.soundness.against[0].facts == ()
    (note,) = [text for text in found.notes if "map and terrain disagree" in text]
    assert "Lone Knoll, Cold Pike, High Nab and Far Nab stand" in note
    # On the ground that the map was made of it has nothing to say.
    told = hillsight.exercise_check(
        folder / "exercise.toml",
        terrain=folder / "ground.tif",
        features=folder / "features.gpkg",
        reach=600,
        draws=16,
        learners=50,
    )
    assert not any("disagree" in text for text in told.notes)


@pytest.mark.slow
def test_reports_escape_names_and_carry_provenance(folder: Path, tmp_path: Path) -> None:
    evil = exercise(replace(BY_THE_KNOLL, name="<script>*x*"), NO_KNOLL, title="<b>&")
    path = written(folder, evil, "evil.toml")
    small = ("--reach", "800", "--draws", "16", "--learners", "50")
    ended = run(
        "exercise", "check", path, *small, "--report", tmp_path / "a.html", "--json", tmp_path / "a.json"
    )
    assert ended.code in (0, 3), ended.err
    page = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert "default-src 'none'" in page
    assert "evil.toml" in page
    assert run("exercise", "check", path, *small, "--report", tmp_path / "a.md", "--quiet").code == ended.code
    assert "&lt;script>\\*x\\*" in (tmp_path / "a.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        (
            {"places": (BY_THE_KNOLL, replace(NO_KNOLL, easting_m=900_000.0))},
            ("in the west", "off the terrain"),
        ),
        ({"picture": ExercisePicture(0.0, photo="gone.jpg")}, ("gone.jpg", "not there")),
        ({"terrain": None}, ("terrain model", "--terrain")),
        ({"terrain": "gone.tif"}, ("gone.tif",)),
        ({"crs": "EPSG:4326"}, ("EPSG:4326", "metres")),
    ],
)
def test_what_cannot_be_checked_is_refused(
    folder: Path, changes: dict[str, object], says: tuple[str, ...]
) -> None:
    whole: dict[str, object] = {"places": (BY_THE_KNOLL, NO_KNOLL), **changes}
    path = written(folder, replace(exercise(), **whole), "bad.toml")  # type: ignore[arg-type]
    message = one_message(run("exercise", "check", path), 2)
    for words in says:
        assert words in message


@pytest.mark.slow
@pytest.mark.parametrize(
    ("changes", "is_told"),
    [({"title": "Dusk By the  knoll"}, True), ({"question": "By the knoll, or in the west?"}, False)],
)
def test_words_that_name_the_true_place_are_told(
    folder: Path, changes: dict[str, object], is_told: bool
) -> None:
    one = exercise(BY_THE_KNOLL, NO_KNOLL, terrain=str(folder / "ground.tif"), features=(), **changes)
    found = hillsight.exercise_check(one, reach=800.0, draws=16, learners=50)
    assert any("names the true place" in note for note in found.notes) == is_told


def test_what_is_no_photograph_is_refused_before_the_work(folder: Path) -> None:
    (folder / "broken.jpg").write_bytes(b"\xff\xd8\xff" + bytes(100))
    picture = ExercisePicture(0.0, photo="broken.jpg")
    path = written(folder, exercise(BY_THE_KNOLL, NO_KNOLL, picture=picture), "broken.toml")
    assert "broken.jpg" in one_message(run("exercise", "check", path), 2)
    Image.new("RGB", (1, 1)).save(folder / "speck.png")
    picture = replace(picture, photo="speck.png")
    with pytest.raises(ExerciseError, match="1 x 1 pixels"):
        hillsight.exercise_check(exercise(BY_THE_KNOLL, NO_KNOLL, picture=picture, source=str(path)))


def test_an_exercise_in_memory_is_refused_alike(folder: Path) -> None:
    with pytest.raises(ExerciseError, match="no exercise"):
        hillsight.exercise_check(5)
    with pytest.raises(HillsightError, match="make no check"):
        hillsight.exercise_check(exercise(BY_THE_KNOLL, NO_KNOLL), draws=3)


def test_cover_that_the_exercise_names_hides_as_the_options_does(folder: Path) -> None:
    """A hall across the way to the knoll, 60 m tall: what stands behind it is out of view."""
    hall = shapely.box(300_500, 699_250, 301_100, 699_270)
    frame = geopandas.GeoDataFrame({"kind": ["building"], "height_m": [60.0]}, geometry=[hall], crs=27700)
    frame.to_file(folder / "hall.gpkg", layer="hall")
    asked = {"reach": 1_500.0, "draws": 16, "learners": 50}
    named = hillsight.exercise_check(
        written(folder, exercise(BY_THE_KNOLL, NO_KNOLL, cover=("hall.gpkg",)), "hall.toml"), **asked
    )
    bare = written(folder, exercise(BY_THE_KNOLL, NO_KNOLL), "bare.toml")
    given = hillsight.exercise_check(bare, cover=folder / "hall.gpkg", **asked)
    without = hillsight.exercise_check(bare, **asked)

    def figures(found: object) -> list[float]:
        (against,) = found.judged.soundness.against  # type: ignore[attr-defined]
        return [fact.holds for fact in against.facts]

    assert figures(named) == figures(given)
    assert figures(named) != figures(without)
    for found in (named, given):
        assert "hall.gpkg" in {item.name for item in found.provenance.inputs}
        assert not any("No cover is given" in note for note in found.notes)


def test_template_and_schema_are_printed() -> None:
    assert done("exercise", "check", "--template").out.startswith('format = "hillsight exercise 1"')
    assert json.loads(done("exercise", "check", "--schema").out)["title"] == "hillsight exercise"
