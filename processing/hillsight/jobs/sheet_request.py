"""What map sheets are asked for."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from hillsight.jobs.requests import Day, EvidenceInput, TerrainAndPlaces
from hillsight.jobs.settling import FileNames, Number, Texts

type Extent = str


@dataclass(frozen=True, kw_only=True)
class SheetRequest(TerrainAndPlaces, EvidenceInput):
    """Map sheets of a terrain and of layers that were written; ``out`` names the file."""

    layers: FileNames
    station: str | None
    extent: Extent | None
    extent_crs: str | None
    scale: Number
    paper: str
    orientation: str | None
    one_sheet: bool
    overlap: Number
    contour_interval: Number | None
    show: Texts
    hide: Texts
    inset: Number | None
    date: Day | None
    title: str | None
    credit: Texts
    out: Path
