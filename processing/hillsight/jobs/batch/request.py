"""What a batch job is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from hillsight.jobs.settling import Parameters


@dataclass(frozen=True, kw_only=True)
class BatchRequest(Parameters):
    """A job, the folder for its results, and who does the work."""

    job: str
    out: Path
    workers: int | None
    scheduler: str | None
    afresh: bool
