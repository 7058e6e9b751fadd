"""Posts and unseen stretches as GPX, for hand-held receivers: longitude and latitude on WGS 84."""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

import numpy as np
import shapely

from hillsight.words.marks import marks_shown

if TYPE_CHECKING:
    import geopandas

    from hillsight.ground.transform import Operation


def posts_gpx(
    title: str,
    cautions: str,
    posts: geopandas.GeoDataFrame,
    unseen: geopandas.GeoDataFrame,
    to_wgs84: Operation,
) -> str:
    """A GPX 1.1 file: posts as waypoints, each unseen stretch as a track.

    No heights are written: a GPX file counts them from another level than the terrain.

    Parameters
    ----------
    posts, unseen : layers ``posts`` and ``unseen_stretches`` in the working CRS
    to_wgs84 : from the working CRS to longitude and latitude
    """
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="hillsight" xmlns="http://www.topografix.com/GPX/1/1">',
        f"  <metadata><name>{escape(marks_shown(title))}</name><desc>{escape(cautions)}</desc></metadata>",
    ]
    for shape, name, role in zip(posts.geometry, posts["post"], posts["role"], strict=True):
        ((lon, lat),) = _degrees(shape, to_wgs84)
        lines.append(
            f'  <wpt lat="{lat:.7f}" lon="{lon:.7f}"><name>{escape(marks_shown(name))}</name>'
            f"<desc>marshal post, {role}</desc></wpt>"
        )
    for shape, number, length_m in zip(unseen.geometry, unseen["number"], unseen["length_m"], strict=True):
        lines.append(f"  <trk><name>Unseen {number}: {length_m:.0f} m</name><trkseg>")
        lines += [f'    <trkpt lat="{lat:.7f}" lon="{lon:.7f}"/>' for lon, lat in _degrees(shape, to_wgs84)]
        lines.append("  </trkseg></trk>")
    return "\n".join([*lines, "</gpx>", ""])


def _degrees(shape: shapely.Geometry, to_wgs84: Operation) -> list[tuple[float, float]]:
    x, y = shapely.get_coordinates(shape).T
    longitude, latitude = to_wgs84(x, y)
    return list(zip(np.asarray(longitude).tolist(), np.asarray(latitude).tolist(), strict=True))
