"""Letters of the National Grid, against references that maps and guides print (from memory)."""

from __future__ import annotations

import pytest
from pyproj import CRS

from hillsight.ground.national_grid import national_grid_reference

BRITAIN = CRS("EPSG:27700")


@pytest.mark.parametrize(
    ("easting_m", "northing_m", "reference"),
    [
        (651409, 313177, "TG 51409 13177"),  # Ordnance Survey, guide to coordinate systems: Caister
        (0, 0, "SV 00000 00000"),  # the false origin, south-west of the Isles of Scilly
        (216666, 771277, "NN 16666 71277"),  # Ben Nevis
        (321500, 507200, "NY 21500 07200"),  # Scafell Pike
        (260970, 354370, "SH 60970 54370"),  # Yr Wyddfa
        (530000, 180000, "TQ 30000 80000"),  # London
        (457000, 1216000, "HP 57000 16000"),  # Unst
        (99999.9, 99999.9, "SV 99999 99999"),  # cut, not rounded
    ],
)
def test_references(easting_m: float, northing_m: float, reference: str) -> None:
    assert national_grid_reference(BRITAIN, easting_m, northing_m) == reference


def test_other_grids_have_none() -> None:
    assert national_grid_reference(CRS("EPSG:32630"), 500000, 6000000) is None
    assert national_grid_reference(BRITAIN, -2e6, 0.0) is None
