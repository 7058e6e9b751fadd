"""What a plan of marshal posts is asked for."""

from __future__ import annotations

from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from hillsight.jobs.requests import (
    WRITTEN,
    CoverInput,
    EvidenceInput,
    Outputs,
    TerrainAndPlaces,
    TerrainDoubts,
    TerrainInput,
)
from hillsight.jobs.settling import Number, Source


@dataclass(frozen=True, kw_only=True)
class PlannedGround(TerrainAndPlaces, CoverInput, EvidenceInput, TerrainDoubts):
    """The ground of a plan of posts."""


@dataclass(frozen=True, kw_only=True)
class PostsRequest(TerrainInput, CoverInput, EvidenceInput, TerrainDoubts, Outputs):
    """Where marshals stand along a course; the plan names what is not given here.

    plan : a file, or the plan itself
    """

    plan: Source
    terrain: Source | None
    refraction: Number
    draws: int
    gpx: Path | None
    sheets: Path | None
    map_file: Path | None

    def told(self) -> dict[str, Any]:
        """The parameters by name, without where results are written."""
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name not in WRITTEN}
