"""Vector files that are texts: what is sound is read, and nothing is guessed of what is not."""

from __future__ import annotations

from pathlib import Path

import pytest

from hillsight.errors import FeatureError
from hillsight.ground.crs import parse_crs
from hillsight.ground.vector import read_layer

CRS = parse_crs("EPSG:27700", "the CRS")
POINT = (
    '{"type":"Feature","properties":{"NAME":"Caf\u00e9"},"geometry":{"type":"Point","coordinates":[-3,56]}}'
)
SPREAD = POINT.replace(',"geo', ',\n"geo')
COLLECTION = f'{{"type":"FeatureCollection","features":[\n{POINT}\n]}}'


@pytest.mark.parametrize(
    ("name", "text", "rows"),
    [
        ("a.csv", 'name,easting,northing\n"Fold, old",1,2\nFord,3,4\n', 2),
        ("a.csv", 'name,easting,northing\n"The ""old"" fold",1,2\nFord,3,4\n', 2),
        ("a.csv", 'name,easting,northing\n5" pipe,1,2\nFord,3,4\n', 2),
        ("a.csv", 'name;easting;northing\n"Two\nlines";1;2\n"";3;4\n', 2),
        ("a.csv", 'name,easting,northing\n"Fold, old" ,1,2\nFord,3,4\n', 2),
        ("a.tsv", 'name\teasting\tnorthing\n"Fold, old"\t1\t2\n', 1),
        ("a.geojson", COLLECTION, 1),
        ("a.geojson", f"{POINT}\n\n{POINT}\r\n", 2),
        ("a.geojson", f"\x1e{SPREAD}\n\x1e{POINT}\n", 2),
        ("a.geojson", POINT.replace('"NAME"', f'"n":{"9" * 5000},"NAME"'), 1),
        ("a.geojsonl", f"{POINT}\n{POINT}\n", 2),
        ("a.json", f"{POINT}\n{POINT}\n", 2),
    ],
)
def test_a_sound_file_is_read(tmp_path: Path, name: str, text: str, rows: int) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    frame, _ = read_layer(str(tmp_path / name), None, CRS)
    assert len(frame) == rows


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        (
            "a.csv",
            b'name,easting,northing\nFord,3,4\n"Fold, old,1,2\nFell,5,6\n',
            "line 3 and is never closed",
        ),
        ("a.csv", b'name,easting,northing\nFord,3,4\n"Fold"",1,2\nFell,5,6\n', "line 3 and is never closed"),
        ("a.csv", b"name,easting,northing\nFo\0rd,3,4\nFold,1,2\n", "line 2 holds NUL"),
        ("a.geojson", COLLECTION.encode().replace(b"Caf", b"Ca\nf"), "a text in line 2 holds a line break"),
        ("a.csv", b'name,easting,northing\nFord,3,4\n"Fold"old,1,2\n', "closing quote in line 3"),
        ("a.tsv", b'name\teasting\tnorthing\n"Fo"ld\t1\t2\n', "closing quote in line 2"),
        ("a.geojson", COLLECTION.encode().replace(b"-3", b".3"), "broken in line 2, column 90"),
        ("a.geojson", COLLECTION.encode().replace(b"-3,56", b"-3,056"), "broken in line 2"),
        ("a.geojsonl", f"{POINT}\n{POINT[:-1]}\n{POINT}\n".encode(), "broken in line 2"),
        ("a.geojson", f"{SPREAD}\n{POINT}\n".encode(), "broken in line 3"),
        ("a.geojson", f"\x1e{SPREAD}\n\x1e{POINT[:-1]}\n".encode(), "broken in line 3"),
        ("a.geojson", f"{POINT}{POINT}".encode(), "broken in line 1"),
        (
            "a.geojson",
            COLLECTION.encode().replace(b"NAME", b"NA\xffE"),
            "line 2 holds bytes that are no UTF-8",
        ),
        ("a.json", COLLECTION.encode("latin-1"), "line 2 holds bytes that are no UTF-8"),
    ],
)
def test_a_damaged_file_is_refused(tmp_path: Path, name: str, content: bytes, says: str) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(FeatureError) as refused:
        read_layer(str(tmp_path / name), None, CRS)
    assert says in str(refused.value)
