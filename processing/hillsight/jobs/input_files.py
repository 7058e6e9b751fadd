"""Which files a request names: they are read, and never written over."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.jobs.exercise.find_request import ExerciseFindRequest
from hillsight.jobs.exercise.request import ExerciseInput
from hillsight.jobs.posts.request import PostsRequest
from hillsight.jobs.requests import (
    CoverInput,
    EvidenceInput,
    FeaturesInput,
    LandformsInView,
    MarkedPicture,
    PanoramaRequest,
    RelocateRequest,
    SearchRequest,
)
from hillsight.jobs.settling import COMPUTED
from hillsight.jobs.sheet_request import SheetRequest

if TYPE_CHECKING:
    from hillsight.jobs.requests import TerrainAndPlaces


def named_files(request: TerrainAndPlaces | ExerciseInput | PostsRequest) -> list[str]:
    """Every file that the request names as an input."""
    named = [request.terrain]
    named += [getattr(request, name, None) for name in ("exercise", "plan", "stations")]
    if isinstance(request, EvidenceInput):
        named.append(request.evidence)
    if isinstance(request, LandformsInView) and request.landforms != COMPUTED:
        named.append(request.landforms)
    if isinstance(request, FeaturesInput):
        named += request.features
    if isinstance(request, CoverInput):
        named += [request.surface, request.cover_heights, *request.cover]
    if isinstance(request, PanoramaRequest):
        named.append(request.camera)
    if isinstance(request, RelocateRequest):
        named += [request.sighting, request.observer]
    if isinstance(request, SearchRequest):
        named += [request.area, request.lines]
    if isinstance(request, SheetRequest):
        named += request.layers
    if isinstance(request, ExerciseFindRequest):
        named += [request.exercise, request.pool]
    if isinstance(request, MarkedPicture | RelocateRequest):
        named += [request.marks, request.photo]
    return [name for name in named if isinstance(name, str)]
