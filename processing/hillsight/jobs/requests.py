"""Requests: what a job is asked for, frozen and complete, so that it can be sent to another process.

Each field bears the name, the unit and the meaning of the parameter (and of the option) of that name. The
parts come first, then one request a job, made of them. Defaults stand at the public functions.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from hillsight.jobs.settling import (
    FileName,
    FileNames,
    LandformSource,
    Number,
    Numbers,
    Parameters,
    Source,
    Sources,
    StoredNumber,
    Texts,
)

type Day = datetime.date
type Direction = str
type Places = tuple[str, ...]
type TwoNumbers = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class TerrainInput(Parameters):
    """The terrain model, and what its file does not say of itself."""

    terrain: Source
    terrain_crs: str | None
    band: int | None
    vertical_unit: str | None
    nodata: StoredNumber | None
    grid_crs: str | None


@dataclass(frozen=True, kw_only=True)
class PlacesInput(Parameters):
    """Places to look from, of a file or given singly."""

    stations: Source | None
    station_layer: str | None
    at: Places
    at_crs: str | None


@dataclass(frozen=True, kw_only=True)
class CoverInput(Parameters):
    """What stands on the terrain: a surface model, map files, heights by kind, woods in leaf or not."""

    surface: Source | None
    cover: Sources
    cover_layer: Texts
    cover_heights: FileName | None
    leaf: str


@dataclass(frozen=True, kw_only=True)
class FeaturesInput(Parameters):
    """Map features; none where ``features`` is empty."""

    features: Sources
    feature_layer: Texts


@dataclass(frozen=True, kw_only=True)
class EvidenceInput(FeaturesInput):
    """Map features, each with its class of evidence."""

    evidence: FileName | None


@dataclass(frozen=True, kw_only=True)
class Looking(Parameters):
    """Eye height above the ground (m), reach (m on the grid) and refraction coefficient."""

    eye_height: Number
    reach: Number
    refraction: Number


@dataclass(frozen=True, kw_only=True)
class Listing(Parameters):
    """How the bearing list is made; ``csv`` is a file to write it to."""

    date: Day | None
    from_bearing: Number
    to_bearing: Number | None
    level_within: Number
    well_beyond: Number
    csv: Path | None


@dataclass(frozen=True, kw_only=True)
class Pockets(Parameters):
    """Smallest pocket listed (ha); whether outlines follow cells."""

    least_pocket: Number
    cells: bool


@dataclass(frozen=True, kw_only=True)
class LandformsInView(Parameters):
    """Which landforms are listed among the features, and their sizes (m)."""

    landforms: LandformSource | None
    scales: Numbers


@dataclass(frozen=True, kw_only=True)
class TerrainDoubts(Parameters):
    """How far the terrain model may be wrong."""

    terrain_product: str | None
    terrain_error: Number | None
    error_correlation: Number | None
    between_posts: str


@dataclass(frozen=True, kw_only=True)
class SightDoubts(TerrainDoubts):
    """How far terrain, stations, eye and air may be wrong."""

    station_error: Number
    eye_height_error: Number
    refraction_error: Number
    uncertain_between: TwoNumbers


@dataclass(frozen=True, kw_only=True)
class Doubts(SightDoubts):
    """How far terrain, stations, map features, eye and air may be wrong."""

    feature_error: Number


@dataclass(frozen=True, kw_only=True)
class Outputs(Parameters):
    """The GeoPackage to write, or None for no file; the CRS of what comes out."""

    out: Path | None
    out_crs: str | None


@dataclass(frozen=True, kw_only=True)
class TerrainAndPlaces(TerrainInput, PlacesInput):
    """Places on a terrain: what all jobs share."""

    def told(self) -> dict[str, Any]:
        """The parameters by name, without where results are written."""
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name not in WRITTEN}


@dataclass(frozen=True, kw_only=True)
class FromPlaces(TerrainAndPlaces, Outputs):
    """What all jobs share that look from places and can write a GeoPackage."""


#: Parameters that say where results go, and how pictures are printed.
WRITTEN = (
    *("out", "csv", "gpx", "rasters", "pictures", "drawing", "overlay", "report", "json_file"),
    *("picture_format", "dots_per_inch", "white_paper", "sheets", "map_file"),
)


@dataclass(frozen=True, kw_only=True)
class Pictures(Parameters):
    """A folder for pictures, or None; what kind of files they are, how fine, and on which paper."""

    pictures: Path | None
    picture_format: str
    dots_per_inch: int
    white_paper: bool


@dataclass(frozen=True, kw_only=True)
class DeadGroundRequest(FromPlaces, CoverInput, Looking, Pockets):
    """Pockets of dead ground and the crest lines that hide them."""

    target_height: Number


@dataclass(frozen=True, kw_only=True)
class BearingsRequest(FromPlaces, CoverInput, Looking, EvidenceInput, Listing, LandformsInView, Doubts):
    """Map features in order of bearing."""

    target_height: Number


@dataclass(frozen=True, kw_only=True)
class OutlookRequest(
    FromPlaces, CoverInput, Looking, EvidenceInput, Listing, Pockets, LandformsInView, Doubts, Pictures
):
    """Everything that is seen, hidden and listed from each station."""

    target_height: Number
    sector_width: Number
    rasters: Path | None


@dataclass(frozen=True, kw_only=True)
class ViewshedRequest(FromPlaces, CoverInput, Looking, SightDoubts):
    """The state of every post about each station, or how many stations see each."""

    target_height: Numbers
    inner_distance: Number
    from_bearing: Number
    to_bearing: Number | None
    only_states: bool
    count: bool
    probability: bool
    rasters: Path | None


@dataclass(frozen=True, kw_only=True)
class LandformsRequest(FromPlaces, FeaturesInput, Pictures):
    """Landforms of a terrain, or of its part around some places."""

    reach: Number | None
    scales: Numbers
    level_below: Number
    steep_from: Numbers
    least_change: Number


@dataclass(frozen=True, kw_only=True)
class ProfileRequest(FromPlaces, CoverInput, EvidenceInput, Pictures):
    """Sections of the ground along sight lines."""

    to: Places
    to_feature: Texts
    bearing: Numbers
    reach: Number | None
    eye_height: Number
    target_height: Number | None
    refraction: Number
    beside: Number | None
    csv: Path | None
    drawing: Path | None
    exaggeration: Number | None


@dataclass(frozen=True, kw_only=True)
class PanoramaRequest(FromPlaces, CoverInput, EvidenceInput, Pictures):
    """Drawings of the view from places."""

    eye_height: Number
    reach: Number | None
    refraction: Number
    date: Day | None
    north: str
    looks: Direction | None
    width: Number
    from_bearing: Number | None
    to_bearing: Number | None
    size: str | None
    tilt: Number
    roll: Number
    camera: FileName | None
    style: str
    light: Number | None
    exaggeration: Number | None
    paper: str | None
    bare: bool
    beside: bool
    drawing: Path | None


@dataclass(frozen=True, kw_only=True)
class PlacesAndThings(TerrainAndPlaces, CoverInput, Looking, EvidenceInput, LandformsInView, TerrainDoubts):
    """Places, and the things that may be seen or told of from them."""


@dataclass(frozen=True, kw_only=True)
class OneView(Parameters):
    """Which way a view looks, or None for all round; how wide it is, degrees."""

    looks: Direction | None
    width: Number


@dataclass(frozen=True, kw_only=True)
class PictureSize(Parameters):
    """Largest picture that is opened, millions of pixels."""

    most_megapixels: Number


@dataclass(frozen=True, kw_only=True)
class RelocateRequest(PlacesAndThings, FromPlaces, PictureSize, Pictures):
    """Which of the places a picture was taken from."""

    sighting: Source | None
    marks: Source | None
    photo: Source | None
    width: Number | None
    priors: Numbers
    none_prior: Number
    decide_from: Number
    elsewhere: int
    elsewhere_within: Number
    observer: Source | None
    everywhere: Number | None
    everywhere_within: Number
    report: Path | None
    json_file: Path | None


@dataclass(frozen=True, kw_only=True)
class CompareRequest(PlacesAndThings, OneView):
    """What tells places apart."""

    json_file: Path | None


@dataclass(frozen=True, kw_only=True)
class DescribeRequest(PlacesAndThings, OneView):
    """The sighting of a view, of so many statements."""

    statements: int
    out: Path | None


@dataclass(frozen=True, kw_only=True)
class MarkRequest(FeaturesInput, PictureSize):
    """A page to mark a photograph on."""

    photo: FileName
    panoramas: FileNames
    marks: FileName | None
    page_megapixels: Number
    out: Path | None


@dataclass(frozen=True, kw_only=True)
class MarkedPicture(PictureSize):
    """A photograph's marks, the photograph itself, and what is told of its lens.

    width : angle between the picture's sides, degrees; cropped : whether it was cut from a larger picture
    """

    marks: Source
    photo: FileName | None
    width: Number | None
    cropped: bool


@dataclass(frozen=True, kw_only=True)
class ResectRequest(FromPlaces, CoverInput, FeaturesInput, MarkedPicture, Doubts):
    """How a photograph's camera was turned at each station, by its marks."""

    solve_place: bool
    date: Day | None
    eye_height: Number
    refraction: Number
    pick: Places
    pick_line: Texts
    camera_of: str | None
    overlay: Path | None
    pictures: Path | None


@dataclass(frozen=True, kw_only=True)
class FindSkylineRequest(PictureSize):
    """The sky's edge in a photograph, and the file of marks it goes to."""

    photo: FileName
    out: Path | None


@dataclass(frozen=True, kw_only=True)
class SearchRequest(FromPlaces, CoverInput, MarkedPicture, TerrainDoubts):
    """Where on a map a photograph may have been taken."""

    area: Source | None
    area_layer: str | None
    lines: Source | None
    line_layer: str | None
    within: Number
    apart: Number
    decide_from: Number
    eye_height: Number
    refraction: Number
    rasters: Path | None
