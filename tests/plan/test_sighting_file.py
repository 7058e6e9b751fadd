"""Sightings are read with the lines they stand on, and every fault is told with its line and what is allowed.

Files are written out here, so that lines can be counted by hand.
"""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from hillsight.errors import HillsightError, SightingError
from hillsight.ground.toml_lines import TomlLines
from hillsight.plan.sighting.file import MOST_STATEMENTS, read_sighting
from hillsight.plan.statement import Sighting

TOP = 'format = "hillsight sighting 1"\n'
SEEN = '[[statement]]\nkind = "seen"\nwhat = "knoll"\n'


def read(tmp_path: Path, text: str | bytes) -> Sighting:
    path = tmp_path / "picture.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_sighting(str(path))


def assert_refused(tmp_path: Path, text: str | bytes, line: int | None, *parts: str) -> None:
    """The file is refused, at that line of it, in a message that has all these parts."""
    with pytest.raises(SightingError) as caught:
        read(tmp_path, text)
    place = str(tmp_path / "picture.toml")
    assert caught.value.where == (place if line is None else f"{place}, line {line}"), str(caught.value)
    for part in parts:
        assert part in str(caught.value)


def test_a_whole_file_is_read(tmp_path: Path) -> None:
    sighting = read(
        tmp_path,
        TOP  # line 1
        + "# what the picture shows\n"
        + "[picture]\n"
        + 'title = "Ridge above the tarn"\nlooks = "NW"\nnorth = "grid"\nwidth_deg = 45\n'  # 4 to 7
        + "\n"
        + '[[statement]]\npart = "left"\nkind = "brow"\ndistance_m = 120\nsure = "likely"\n'  # 9
        + '[[statement]]\nkind = "order"\nthings = [\n"saddle", # then\n"Raven Crag"]\nnote = ""\n',  # 14
    )
    picture = sighting.picture
    assert (picture.title, picture.looks_deg, picture.give_or_take_deg) == (
        "Ridge above the tarn",
        315.0,
        20.0,
    )
    assert (picture.north, picture.width_deg, picture.taken, picture.sun_right_deg) == (
        "grid",
        45,
        None,
        None,
    )
    brow, order = sighting.statements
    assert (brow.kind, brow.part, brow.sure, brow.line) == ("brow", "left", "likely", 9)
    assert dict(brow.values) == {"distance_m": 120}
    assert (order.kind, order.part, order.sure, order.line) == ("order", "anywhere", "sure", 14)
    assert order.things == ("saddle", "Raven Crag")
    assert sighting.source.endswith("picture.toml")


def test_without_a_picture_nothing_is_known_of_it(tmp_path: Path) -> None:
    picture = read(tmp_path, TOP + SEEN).picture
    assert picture.looks_deg is None
    assert (picture.width_deg, picture.north, picture.title) == (60.0, "true", "")


@pytest.mark.parametrize(
    ("written", "looks_deg", "spread_deg"),
    [
        ('"NW"', 315.0, 20.0),
        ('" nnw "', 337.5, 20.0),
        ('"315"', 315.0, 10.0),
        ('"315.5°"', 315.5, 10.0),
        ('"47 degrees"', 47.0, 10.0),
        ("315", 315.0, 10.0),
        ("0.5", 0.5, 10.0),
        ('"N"\ngive_or_take_deg = 5', 0.0, 5.0),
        ("90\ngive_or_take_deg = 5", 90.0, 5.0),
    ],
)
def test_where_a_picture_looks(tmp_path: Path, written: str, looks_deg: float, spread_deg: float) -> None:
    picture = read(tmp_path, f"{TOP}[picture]\nlooks = {written}\n{SEEN}").picture
    assert (picture.looks_deg, picture.give_or_take_deg) == (looks_deg, spread_deg)


@pytest.mark.parametrize(
    ("written", "taken"),
    [
        ("2026-06-01", datetime.date(2026, 6, 1)),
        ('"2026-06-01"', datetime.date(2026, 6, 1)),
        ("2026-06-01T15:30:00", datetime.datetime(2026, 6, 1, 15, 30)),
        ("2026-06-01T15:30:00+01:00", datetime.datetime(2026, 6, 1, 14, 30, tzinfo=datetime.UTC)),
        ('"2026-06-01T14:30:00Z"', datetime.datetime(2026, 6, 1, 14, 30, tzinfo=datetime.UTC)),
    ],
)
def test_when_it_was_taken(tmp_path: Path, written: str, taken: datetime.date) -> None:
    read_back = read(tmp_path, f"{TOP}[picture]\ntaken = {written}\n{SEEN}").picture.taken
    assert read_back == taken
    assert type(read_back) is type(taken)


def test_a_mark_at_the_beginning_and_other_line_ends_do_no_harm(tmp_path: Path) -> None:
    text = (TOP + "\n" + SEEN).replace("\n", "\r\n")
    statement = read(tmp_path, b"\xef\xbb\xbf" + text.encode()).statements[0]
    assert (statement.things, statement.line) == (("knoll",), 3)


def test_the_file_itself(tmp_path: Path) -> None:
    missing = str(tmp_path / "none.toml")
    with pytest.raises(SightingError, match="cannot be read") as caught:
        read_sighting(missing)
    assert caught.value.where == missing
    with pytest.raises(SightingError, match="cannot be read"):
        read_sighting(str(tmp_path))
    assert isinstance(caught.value, HillsightError)
    assert_refused(tmp_path, TOP.encode() + b'[picture]\ntitle = "\xe9"\n', 3, "UTF-8")
    assert_refused(tmp_path, TOP.encode("utf-16"), 1, "UTF-8")
    assert_refused(tmp_path, TOP + "[[statement]]\nkind = brow\n", 3, "no TOML")
    assert_refused(tmp_path, TOP + '[[statement]]\nkind = "brow\n', 3, "no TOML")
    assert_refused(tmp_path, TOP + SEEN + "what = 'wall'\n", 5, "no TOML")
    assert_refused(tmp_path, TOP + "[[statement]]\nthings = [\n", 3, "no TOML")
    assert_refused(tmp_path, TOP + "a = " + "[" * 5000, None, "no TOML")


def test_the_first_line(tmp_path: Path) -> None:
    assert_refused(tmp_path, SEEN, 1, 'format = "hillsight sighting 1"')
    assert_refused(tmp_path, "", 1, 'format = "hillsight sighting 1"')
    assert_refused(tmp_path, '# a\nformat = "hillsight sighting 2"\n' + SEEN, 2, "hillsight sighting 2")
    assert_refused(tmp_path, "format = 1\n" + SEEN, 1, "format is 1")


def test_tables(tmp_path: Path) -> None:
    assert_refused(tmp_path, TOP + "\n[[statements]]\nkind = 'brow'\n", 3, "'statements'", "[[statement]]")
    assert_refused(tmp_path, TOP + SEEN + "[pictures]\n", 5, "'pictures'", "Write [picture] there")
    assert_refused(tmp_path, TOP + "looks = 'N'\n" + SEEN, 2, "'looks'")
    assert_refused(tmp_path, TOP + "[statement]\nkind = 'brow'\n", 2, "[[statement]]")
    assert_refused(tmp_path, TOP + "[[picture]]\n" + SEEN, 2, "[picture]")
    assert_refused(tmp_path, TOP + "picture = 3\n" + SEEN, 2, "[picture]")
    assert_refused(tmp_path, TOP + "statement = [1]\n", 2, "[[statement]]")
    assert_refused(tmp_path, TOP, None, "no statements")
    assert_refused(tmp_path, TOP + "statement = []\n", None, "no statements")


def test_how_many_statements(tmp_path: Path) -> None:
    assert MOST_STATEMENTS == 500
    assert len(read(tmp_path, TOP + SEEN * 500).statements) == 500
    # The 501st has its header on line 1 + 500 * 3 + 1.
    assert_refused(tmp_path, TOP + SEEN * 501, 1502, "501 statements", "500")


@pytest.mark.parametrize(
    ("statement", "line", "parts"),
    [
        # Lines are those of the statement, from 1 for its header.
        ('what = "wall"', 1, ["no kind", "dead_ground"]),
        ('what = "wall"\nknd = "seen"', 3, ["no field 'knd'", "Write kind there"]),
        ('kind = "broww"', 2, ["'broww'", "Did you mean brow?", "skyline_points"]),
        ('kind = "Dead ground"\nextent = "much"', 2, ["Did you mean dead_ground?"]),
        ('kind = "xyz"', 2, ["'xyz'", "The kinds are brow, two_brows, dead_ground"]),
        ("kind = 3", 2, ["kind is 3"]),
        ('kind = "brow"\n\ndistence = "near"', 4, ["no field 'distence'", "Did you mean distance"]),
        (
            'kind = "seen"\nwhat = "wall"\nquux = 1',
            4,
            ["no field 'quux'", "what, seen, within_m, part, sure"],
        ),
        ('kind = "seen"\nseen = true', 1, ["seen: 'what' is missing", "a name on the map"]),
        ('kind = "relation"\nwhat = "a"\nother = "b"', 1, ["relation: 'is' is missing", "left of"]),
        ('kind = "brow"\npart = "left"', 1, ["brow says nothing", "distance, distance_m, slope_before"]),
        ('kind = "height"\nwhat = "knoll"', 1, ["height says nothing", "stands, metres_above"]),
        ('kind = "brow"\ndistance = "nere"', 3, ["'nere'", "Did you mean near?", "middle, far, none"]),
        ('kind = "brow"\ndistance = 3', 3, ["'distance' is 3", "near, middle, far, none"]),
        ('kind = "brow"\ndistance = ["near"]', 3, ["'distance' is ['near']"]),
        ('kind = "brow"\ndistance = "near"\npart = "centre"', 4, ["'centre'", "anywhere, left, middle"]),
        ('kind = "brow"\ndistance = "near"\nsure = "shure"', 4, ["Did you mean sure?"]),
        ('kind = "brow"\ndistance = "near"\nnote = 4', 4, ["'note' is 4", "quotation marks"]),
        ('kind = "brow"\ndistance_m = "120"', 3, ["'120'", "number", "1 to 100000 m"]),
        ('kind = "brow"\ndistance_m = true', 3, ["'distance_m' is true", "number"]),
        ('kind = "brow"\ndistance_m = 0.5', 3, ["0.5", "1 to 100000 m"]),
        ('kind = "brow"\ndistance_m = 1e6', 3, ["1000000.0", "1 to 100000 m"]),
        ('kind = "brow"\ndistance_m = nan', 3, ["nan"]),
        ('kind = "brow"\ndistance_m = inf', 3, ["inf"]),
        ('kind = "brow"\ndistance_m = 1' + 400 * "0", 3, ["1 to 100000 m", "..."]),
        ('kind = "brow"\ndistance_m = 2026-06-01', 3, ["2026-06-01", "number"]),
        ('kind = "seen"\nwhat = "wall"\nseen = "no"', 4, ["'no'", "true or false"]),
        ('kind = "seen"\nwhat = "wall"\nseen = 0', 4, ["'seen' is 0", "true or false"]),
        ('kind = "seen"\nwhat = ""', 3, ["'what' is empty"]),
        ('kind = "seen"\nwhat = "  "', 3, ["'what' is empty"]),
        ('kind = "seen"\nwhat = 4', 3, ["'what' is 4", "quotation marks"]),
        ('kind = "seen"\n[statement.what]\nname = "wall"', 3, ["'what' is a table"]),
        ('kind = "skyline_points"\npoints = [[0, 0], [1, 1]]', 3, ["has 2 members", "3 or more"]),
        ('kind = "skyline_points"\npoints = [\n[0, 0],\n[1, 1],\n[2]]', 6, ["member 3", "pairs"]),
        ('kind = "skyline_points"\npoints = [\n[0, 0],\n[1, nan],\n[2, 2]]', 5, ["member 2", "nan"]),
        ('kind = "skyline_points"\npoints = [[0, 0], [1, 1], [181, 0]]', 3, ["181", "-180 to 180 degrees"]),
        ('kind = "skyline_points"\npoints = [[0, 0], [1, true], [2, 2]]', 3, ["member 2, is true"]),
        ('kind = "skyline_points"\npoints = 3', 3, ["a list"]),
        ('kind = "order"\nthings = ["wall"]', 3, ["has 1 members", "2 or more"]),
        ('kind = "order"\nthings = ["wall", 3]', 3, ["member 2, is 3"]),
        ('kind = "order"\nthings = ["wall", ""]', 3, ["member 2, is empty"]),
        ('kind = "order"\nthings = "wall, knoll"', 3, ["a list"]),
        ('kind = "number"\nwhat = "wall"\ncount = 2.5', 4, ["2.5", "whole number"]),
        ('kind = "angle"\nwhat = "Raven Crag"\ndegrees = 1\nother = "raven  crag"', 5, ["against itself"]),
        ('kind = "brow"\ndistance = "near"\ndistance_m = 90', 4, ["distance and distance_m", "Keep one"]),
        ('kind = "dead_ground"\nextent = "much"\nextent_m = 90', 4, ["extent and extent_m"]),
        ('kind = "height"\nwhat = "a"\nstands = "level"\nmetres_above = 9', 5, ["stands and metres_above"]),
        ('kind = "height"\nwhat = "a"\nstands = "level"\ngive_or_take_m = 9', 5, ["without metres_above"]),
        ('kind = "relation"\nwhat = "a"\nis = "behind"\nother = "b"\ngive_or_take_deg = 1', 6, ["gap_deg"]),
    ],
)
def test_a_faulty_statement(tmp_path: Path, statement: str, line: int, parts: list[str]) -> None:
    # Two lines, then the statement of three that is right.
    before = TOP + "\n" + SEEN
    assert_refused(tmp_path, f"{before}[[statement]]\n{statement}\n", 5 + line, *parts)


@pytest.mark.parametrize(
    ("field", "parts"),
    [
        ('looks = "NorthWest"', ["'NorthWest'", "NNE"]),
        ("looks = 361", ["361"]),
        ('looks = "361"', ["361", "0 to 360"]),
        ("looks = -1", ["-1"]),
        ("looks = true", ["'looks' is true"]),
        ("looks = nan", ["nan"]),
        ('north = "map"', ["'map'", "true, grid, magnetic"]),
        ("give_or_take_deg = 0", ["0.5 to 180 degrees"]),
        ("width_deg = 400", ["400", "5 to 360 degrees"]),
        ("widht_deg = 40", ["'widht_deg'", "Did you mean width_deg?"]),
        ('title = ""', ["'title' is empty"]),
        ('taken = "June"', ["'June'", "2026-06-01"]),
        ('taken = "2026-02-30"', ["2026-02-30"]),
        ("taken = 15:30:00", ["15:30:00"]),
        ("taken = 2026", ["'taken' is 2026"]),
        ("sun_right_deg = 20", ["zone"]),
        ("sun_right_deg = 20\ntaken = 2026-06-01", ["zone"]),
        ("sun_right_deg = 20\ntaken = 2026-06-01T12:00:00", ["zone"]),
    ],
)
def test_a_faulty_picture(tmp_path: Path, field: str, parts: list[str]) -> None:
    assert_refused(tmp_path, f"{TOP}[picture]\n\n# of the ridge\n{field}\n{SEEN}", 5, "picture", *parts)


def test_lines_are_counted_through_comments_strings_and_lists(tmp_path: Path) -> None:
    text = (
        TOP  # 1
        + '[picture]\ntitle = """\n[[statement]]\nkind = "\\"""\nkind = "brow" """ # [ \n'  # 2 to 6
        + "# [[statement]] {\n"  # 7
        + "[[ statement ]]  # the first\n"  # 8
        + "\"kind\" = 'order'\n"  # 9
        + "things = [ # ]\n '''\n]\n[[statement]]''',\n \"x # [\" ]\n"  # 10 to 14
        + '[["statement"]]\n'  # 15
        + "kind = 'seen'\n"  # 16
        + "  'what'  = '''\n\n'''\n"  # 17 to 19
    )
    assert_refused(tmp_path, text, 17, "'what' is empty")
    sighting = read(tmp_path, text.replace("'''\n\n'''", "'''\n\nwall'''"))
    assert [statement.line for statement in sighting.statements] == [8, 15]


def test_statements_in_one_list_have_lines_too(tmp_path: Path) -> None:
    text = (
        TOP
        + "statement = [\n  {kind = 'seen', what = 'wall'},\n\n  {kind = 'order', things = ['a', 'b']},\n"
        + "  {kind = 'brow', distance = 'nigh'},\n]\n"
    )
    assert_refused(tmp_path, text, 6, "'nigh'")
    assert [one.line for one in read(tmp_path, text.replace("nigh", "near")).statements] == [3, 5, 6]


def test_lines_of_any_text() -> None:
    lines = TomlLines('a.b = 1\n[c]\nd = {e = [1]}\n[[f.g]]\nh = 1\n[[f.g]]\n[f.g.i]\nj = 2\n"k.l" = 3\n')
    found = [
        lines.of(*path)
        for path in (
            ("a",),
            ("a", "b"),
            ("c", "d"),
            ("c", "d", "e"),
            ("f", "g", 0, "h"),
            ("f", "g", 1),
            ("f", "g", 1, "i", "j"),
            ("f", "g", 1, "i", "k.l"),
            ("z",),
        )
    ]
    assert found == [1, 1, 3, 3, 5, 6, 8, 9, 1]
