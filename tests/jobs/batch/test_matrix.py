"""Pairs of stations come out of the parts in order, whole, and some at a time."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from hillsight.jobs.batch import matrix
from hillsight.jobs.batch.catalog import write_parquet
from hillsight.jobs.batch.checked import packed, write_checked
from hillsight.jobs.batch.places import BatchStation
from hillsight.layers.provenance import Provenance

CRS = pyproj.CRS.from_epsg(27700)
STATES = {1: "hidden", 2: "uncertain", 3: "visible", 4: "unknown"}


def station(number: int) -> BatchStation:
    at = (300_000.0 + 7.0 * number, 700_000.0 - 11.0 * number)
    return BatchStation(number, f"Place {number}", *at, 1.6, 0.0, 1_000.0, None, None, 1.0)


def parts_of(folder: Path, pairs: pd.DataFrame, number: int) -> list[Path]:
    """Pairs shared out to parts by who looks, in no order, as parts leave them."""
    files = []
    of_part = np.random.default_rng(1).integers(0, number - 1, 1_000)  # the last part has no pairs
    for part in range(number):
        own = pairs[of_part[pairs["from"]] == part].sample(frac=1.0, random_state=part)
        arrays = {f"matrix_{name}": own[name].to_numpy() for name in ("from", "to", "state", "distance")}
        files.append(folder / f"{part}.npz")
        write_checked(files[-1], packed(arrays, {}))
    return files


@pytest.mark.parametrize("at_once", [7, 60, 100_000])
def test_all_pairs_come_in_order_however_many_at_a_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at_once: int
) -> None:
    monkeypatch.setattr(matrix, "_AT_ONCE", at_once)
    random = np.random.default_rng(2)
    rows = [(a, b) for a in range(1, 31) for b in range(1, 31) if a != b and random.random() < 0.4 and a % 7]
    pairs = pd.DataFrame(rows, columns=["from", "to"])
    pairs["state"] = random.integers(1, 5, len(pairs)).astype(np.uint8)
    pairs["distance"] = random.uniform(1, 900, len(pairs))
    files = parts_of(tmp_path, pairs, 5)
    with matrix.matrix_of(tmp_path, files, [station(n) for n in range(1, 31)], CRS) as found:
        frames = list(found.frames())
        again = list(found.frames())
        bounds = found.bounds_m
    assert len(frames) == -(-len(pairs) // at_once)
    told = pd.concat(frames, ignore_index=True)
    assert told.equals(pd.concat(again, ignore_index=True))
    expected = pairs.sort_values(["from", "to"]).reset_index(drop=True)
    assert list(told["from_number"]) == list(expected["from"])
    assert list(told["to_number"]) == list(expected["to"])
    assert list(told["distance_m"]) == list(expected["distance"])
    assert list(told["state"]) == [STATES[state] for state in expected["state"]]
    for row in told.itertuples():
        ends = [(s.easting_m, s.northing_m) for s in (station(row.from_number), station(row.to_number))]
        assert row.geometry.equals_exact(shapely.LineString(ends), 0.0)
    assert bounds == tuple(told.total_bounds)
    assert {path.suffix for path in tmp_path.iterdir()} == {".npz", ".sha256"}, "nothing is left behind"


def test_no_pairs_are_a_layer_without_rows(tmp_path: Path) -> None:
    pairs = pd.DataFrame({"from": [0], "to": [0], "state": [1], "distance": [0.0]}).iloc[:0]
    with matrix.matrix_of(tmp_path, parts_of(tmp_path, pairs, 2), [station(1)], CRS) as found:
        (frame,) = found.frames()
    assert len(frame) == 0
    assert frame.crs == CRS


def test_a_table_written_in_pieces_tells_the_bounds_of_all(tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet", reason="pyarrow is not installed")
    whole = geopandas.GeoDataFrame(
        {"n": range(10)}, geometry=shapely.points(np.arange(10.0), np.arange(10.0) * 2), crs=CRS
    )
    path = tmp_path / "table.parquet"
    write_parquet(path, (whole.iloc[a : a + 3] for a in range(0, 10, 3)), Provenance("x", {}), (0, 0, 9, 18))
    told = geopandas.read_parquet(path)
    assert told.equals(whole)
    geo = json.loads(parquet.read_schema(path).metadata[b"geo"])
    assert geo["columns"]["geometry"]["bbox"] == [0, 0, 9, 18]
