"""Options about landforms: their sizes and thresholds, where to read them, and whose names they take."""

from __future__ import annotations

import click

from hillsight.jobs.settling import COMPUTED
from hillsight.scripts import options
from hillsight.scripts.options import NUMBER, stack

scales = click.option(
    "--scale",
    "scales",
    type=NUMBER,
    multiple=True,
    metavar="METRES",
    help="Size of landforms to read, m; may be repeated. Default: 100, 300, 1000 as the terrain allows.",
)

landforms = stack(
    scales,
    click.option(
        "--level-below",
        type=NUMBER,
        default=5.0,
        show_default=True,
        help="Ground gentler than this is level, degrees.",
    ),
    click.option(
        "--steep-from",
        type=NUMBER,
        multiple=True,
        default=(20.0, 30.0, 40.0),
        show_default=True,
        help="Where a band of steep ground begins, degrees; may be repeated.",
    ),
    click.option(
        "--least-change",
        type=NUMBER,
        default=8.0,
        show_default=True,
        help="Least change of slope that makes a break of slope, degrees.",
    ),
)

around = click.option(
    "--reach",
    type=NUMBER,
    metavar="METRES",
    help="Read only so far around the places given, m on the grid. Without places: the whole terrain.",
)

map_names = stack(
    options.map_features("Map features whose names landforms take"),
    options.feature_layer,
)

in_view = stack(
    click.option(
        "--landforms",
        is_flag=False,
        flag_value=COMPUTED,
        metavar="[FILE.gpkg]",
        help="List landforms too: read about each station, or those of a file that `landforms` wrote.",
    ),
    scales,
)
