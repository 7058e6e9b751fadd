"""A verdict as tables for the layers of candidates, evidence, sight lines and views."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import shapely

from hillsight.ground.geodesy import Geodesy
from hillsight.layers.verdict_json import candidate_row
from hillsight.schema.frames import frame_of_rows

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import pyproj

    from hillsight.plan.verdict import Argument, Fact, Verdict, Weighed

#: Lines of facts without a place: along their bearing, or without one to where the picture looks.
_ALONG_M, _STUB_M = 1_000.0, 50.0

#: Degrees between the corners of a wedge's far edge, at most.
_ARC_STEP_DEG = 2.0


def candidates_frame(verdict: Verdict, crs: pyproj.CRS) -> geopandas.GeoDataFrame:
    """The layer ``candidates``, in the order given."""
    rows: list[dict[str, Any]] = [
        {
            **candidate_row(one),
            "state": verdict.state,
            "none_probability": verdict.none_probability,
        }
        for one in verdict.candidates
    ]
    return frame_of_rows(
        "candidates", rows, [shapely.Point(c.easting_m, c.northing_m) for c in verdict.candidates], crs
    )


def evidence_frame(verdict: Verdict, crs: pyproj.CRS) -> geopandas.GeoDataFrame:
    """The layer ``evidence``: a row for each argument and candidate, arguments in the verdict's order."""
    turn = _convergences(verdict, crs)
    rows: list[dict[str, Any]] = []
    shapes = []
    for argument, fact, place in _told(verdict):
        statement = argument.statement
        rows.append(
            {
                "station": place.station,
                "argument": argument.number,
                "statement": statement.kind,
                "says": argument.says,
                "part": statement.part,
                "sure": statement.sure,
                "evidence_class": argument.evidence_class,
                "role": argument.role,
                "times": _number(argument.times),
                "agrees": _number(fact.agrees),
                "fact": fact.words,
                "figure": _number(fact.figure),
                "unit": fact.unit,
                "bearing_true_deg": _number(fact.bearing_true_deg),
                "sentence": argument.sentence,
            }
        )
        shapes.append(_line(place, _end(fact, place, turn[place.station])))
    return frame_of_rows("evidence", rows, shapes, crs)


def sight_lines_frame(verdict: Verdict, crs: pyproj.CRS) -> geopandas.GeoDataFrame:
    """The layer ``sight_lines``: a row for each place that a fact of a candidate is about."""
    geodesy = Geodesy(crs)
    turn = _convergences(verdict, crs)
    rows: list[dict[str, Any]] = []
    shapes = []
    for argument, fact, place in _told(verdict):
        for east, north in fact_places(fact, place.easting_m, place.northing_m, turn[place.station]):
            bearing, distance_m = geodesy.inverse(place.easting_m, place.northing_m, east, north)
            rows.append(
                {
                    "station": place.station,
                    "argument": argument.number,
                    "fact": fact.words,
                    "bearing_true_deg": float(bearing),
                    "distance_m": float(distance_m),
                }
            )
            shapes.append(_line(place, (east, north)))
    return frame_of_rows("sight_lines", rows, shapes, crs)


def views_frame(
    verdict: Verdict, crs: pyproj.CRS, distance_m: float, convergence_deg: Mapping[str, float]
) -> geopandas.GeoDataFrame:
    """The layer ``candidate_views``.

    Parameters
    ----------
    distance_m : how far out the wedges go
    convergence_deg : true bearing of grid north at each candidate, by label
    """
    width_deg = verdict.sighting.picture.width_deg
    rows: list[dict[str, Any]] = [
        {
            "station": one.station,
            "looks_true_deg": one.looks_true_deg,
            "width_deg": width_deg,
            "probability": one.probability,
        }
        for one in verdict.candidates
    ]
    shapes = [wedge(one, width_deg, distance_m, convergence_deg[one.station]) for one in verdict.candidates]
    return frame_of_rows("candidate_views", rows, shapes, crs)


def wedge(place: Weighed, width_deg: float, distance_m: float, convergence_deg: float) -> shapely.Polygon:
    """Ground between the sides of the picture as it fits best; a disc where it goes all round."""
    width = min(width_deg, 360.0)
    steps = max(2, int(np.ceil(width / _ARC_STEP_DEG)))
    middle = place.looks_true_deg - convergence_deg
    turn = np.radians(middle + np.linspace(-width / 2, width / 2, steps + 1))
    rim = np.column_stack(
        (place.easting_m + distance_m * np.sin(turn), place.northing_m + distance_m * np.cos(turn))
    )
    if width == 360.0:
        return shapely.Polygon(rim[:-1])
    return shapely.Polygon([(place.easting_m, place.northing_m), *rim])


def fact_places(
    fact: Fact, easting_m: float, northing_m: float, convergence_deg: float
) -> list[tuple[float, float]]:
    """Where on the map a fact lies from a place, one for each thing that it is about.

    Of a line or an area that is the nearest point of it on the fact's bearing, or its middle where the
    bearing misses it. A thing stood upon has none.
    """
    if fact.geometry is None or shapely.is_empty(fact.geometry):
        return []
    found = []
    ray = None
    if fact.bearing_true_deg is not None:
        ray = _along(easting_m, northing_m, fact.bearing_true_deg - convergence_deg, 1e6)
    eye = shapely.Point(easting_m, northing_m)
    for part in _things(fact.geometry):
        met = _nearest_on(part, ray, eye)
        at = _middle(part) if met is None else met
        if shapely.distance(at, eye) > 0.01:
            found.append((float(at.x), float(at.y)))
    return found


def _things(geometry: shapely.Geometry) -> list[shapely.Geometry]:
    """Members of a collection; all else is one thing, in however many pieces."""
    if geometry.geom_type == "GeometryCollection":
        return [thing for part in geometry.geoms for thing in _things(part)]
    return [] if geometry.is_empty else [geometry]


def _nearest_on(
    thing: shapely.Geometry, ray: shapely.LineString | None, eye: shapely.Point
) -> shapely.Point | None:
    if ray is None or shapely.get_dimensions(thing) == 0 or shapely.intersects(thing, eye):
        return None
    met = shapely.intersection(thing, ray)
    return None if met.is_empty else shapely.get_point(shapely.shortest_line(met, eye), 0)


def _middle(thing: shapely.Geometry) -> shapely.Point:
    if thing.geom_type == "LineString":
        return shapely.line_interpolate_point(thing, 0.5, normalized=True)
    return shapely.point_on_surface(thing)


def _along(easting_m: float, northing_m: float, grid_deg: float, distance_m: float) -> shapely.LineString:
    turn = np.radians(grid_deg)
    end = easting_m + distance_m * np.sin(turn), northing_m + distance_m * np.cos(turn)
    return shapely.LineString([(easting_m, northing_m), end])


def _end(fact: Fact, place: Weighed, convergence_deg: float) -> tuple[float, float]:
    """Far end of a fact's line."""
    places = fact_places(fact, place.easting_m, place.northing_m, convergence_deg)
    if places:
        east, north = np.mean(places, axis=0)
        if np.hypot(east - place.easting_m, north - place.northing_m) > 0.01:
            return float(east), float(north)
    if fact.bearing_true_deg is None:
        bearing, away_m = place.looks_true_deg, _STUB_M
    else:
        bearing, away_m = fact.bearing_true_deg, _ALONG_M
    along = _along(place.easting_m, place.northing_m, bearing - convergence_deg, away_m)
    east, north = along.coords[1]
    return float(east), float(north)


def _line(place: Weighed, end: tuple[float, float]) -> shapely.LineString:
    return shapely.LineString([(place.easting_m, place.northing_m, place.eye_level_m), (*end, np.nan)])


def _told(verdict: Verdict) -> Iterator[tuple[Argument, Fact, Weighed]]:
    for argument in verdict.arguments:
        for fact, place in zip(argument.facts, verdict.candidates, strict=True):
            yield argument, fact, place


def _convergences(verdict: Verdict, crs: pyproj.CRS) -> dict[str, float]:
    geodesy = Geodesy(crs)
    return {c.station: float(geodesy.convergence_deg(c.easting_m, c.northing_m)) for c in verdict.candidates}


def _number(value: float | None) -> float | None:
    """A number that a table can hold; None for the rest."""
    return float(value) if value is not None and np.isfinite(value) else None
