"""Options that several scripts share, each declared once with its type, unit, default and check."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from hillsight.errors import CallError
from hillsight.jobs.settling import a_day

F = TypeVar("F", bound=Callable[..., Any])


class FiniteNumber(click.ParamType):  # type: ignore[type-arg, unused-ignore]
    """A number that is neither infinite nor not-a-number."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number, or a usage error."""
        try:
            number = float(value)
        except (TypeError, ValueError):
            self.fail(f"{value!r} is not a number", param, ctx)
        if not math.isfinite(number):
            self.fail(f"{value!r} is not a finite number", param, ctx)
        return number


class StoredNumber(FiniteNumber):
    """A number as a file may hold it, infinite too."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number, or a usage error."""
        try:
            return float(value)
        except (TypeError, ValueError):
            self.fail(f"{value!r} is not a number", param, ctx)


class Day(click.ParamType):  # type: ignore[type-arg, unused-ignore]
    """A calendar day, or ``today``."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> datetime.date:
        """The day, or a usage error."""
        try:
            return a_day("date", value)
        except CallError:
            self.fail(f"{value!r} is no date; write YYYY-MM-DD or today", param, ctx)


class FilledText(click.ParamType):  # type: ignore[type-arg, unused-ignore]
    """A text that is not empty, as an unset shell variable would be."""

    name = "text"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """The text, or a usage error."""
        if not str(value).strip():
            self.fail("it is empty", param, ctx)
        return str(value)


class FilledPath(FilledText):
    """A file or folder to write, as a path."""

    name = "path"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The path, or a usage error."""
        return value if isinstance(value, Path) else Path(super().convert(value, param, ctx))


NUMBER = FiniteNumber()
TEXT = FilledText()
PATH = FilledPath()


def stack[F: Callable[..., Any]](*options: Callable[[F], F]) -> Callable[[F], F]:
    """Several options as one decorator, shown in the order given."""

    def decorate(function: F) -> F:
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


#: What a terrain file does not say of itself.
terrain_file = stack(
    click.option(
        "--terrain-crs",
        type=TEXT,
        metavar="CRS",
        help="CRS of a terrain file that names none, e.g. EPSG:27700.",
    ),
    click.option("--band", type=click.IntRange(min=1), help="Band with the heights, if there are several."),
    click.option(
        "--vertical-unit",
        type=TEXT,
        metavar="UNIT",
        help="Unit of the heights if the file does not say: m, ft, dm ...",
    ),
    click.option(
        "--nodata",
        type=StoredNumber(),
        help="A further value that marks voids (nodata), besides those the file declares.",
    ),
    click.option(
        "--grid-crs",
        type=TEXT,
        metavar="CRS",
        help="Metric CRS to work in when the terrain is in degrees or feet.",
    ),
)

terrain = stack(
    click.option(
        "--terrain", required=True, type=TEXT, metavar="FILE", help="Terrain model: any raster GDAL opens."
    ),
    terrain_file,
)

stations = stack(
    click.option(
        "--stations", type=TEXT, metavar="FILE", help="Places to look from: points of any vector file."
    ),
    click.option("--station-layer", type=TEXT, metavar="NAME", help="Layer of --stations to take."),
    click.option(
        "--at",
        "at",
        multiple=True,
        metavar='"E,N[,NAME]"',
        help="A place to look from; may be repeated. In the terrain's CRS unless --at-crs is given.",
    ),
    click.option(
        "--at-crs", type=TEXT, metavar="CRS", help="CRS of --at, e.g. EPSG:4326 for longitude,latitude."
    ),
)

eye_height = click.option(
    "--eye-height", type=NUMBER, default=1.6, show_default=True, help="Eye above the ground, m."
)
reach = click.option(
    "--reach", type=NUMBER, default=10_000.0, show_default=True, help="How far to look, m on the grid."
)
refraction = click.option(
    "--refraction",
    type=NUMBER,
    default=0.13,
    show_default=True,
    help="Ray curvature over earth curvature: 0.13 light, 0.25 radio, 1 a flat earth.",
)

viewing = stack(
    eye_height,
    click.option(
        "--target-height", type=NUMBER, default=0.0, show_default=True, help="Target above the ground, m."
    ),
    reach,
    refraction,
)

field_of_view = stack(
    eye_height,
    click.option(
        "--target-height",
        type=NUMBER,
        multiple=True,
        default=(0.0,),
        show_default=True,
        help="Target above the ground, m; may be repeated.",
    ),
    reach,
    click.option(
        "--inner-distance",
        type=NUMBER,
        default=0.0,
        show_default=True,
        help="Give no answer for ground nearer than this, m on the grid; it still hides what lies beyond.",
    ),
    click.option(
        "--from-bearing",
        type=NUMBER,
        default=0.0,
        show_default=True,
        help="True bearing at which a sector starts, degrees.",
    ),
    click.option(
        "--to-bearing",
        type=NUMBER,
        help="True bearing at which it ends, degrees clockwise. Without it: all round.",
    ),
    refraction,
)

pockets = stack(
    click.option(
        "--least-pocket",
        type=NUMBER,
        default=0.0,
        show_default=True,
        help="Leave pockets of dead ground below this area (ha) out of the list.",
    ),
    click.option("--cells", is_flag=True, help="Outline cells instead of drawing edges between posts."),
)


first_ground = click.option(
    "--sector-width",
    type=NUMBER,
    default=10.0,
    show_default=True,
    help="Width of the sectors of first ground, degrees; must divide 360.",
)


def map_features(what: str, *, required: bool = False) -> Callable[[F], F]:
    """The option for files of map features; ``what`` they are for begins its help."""
    return click.option(
        "--features",
        multiple=True,
        required=required,
        type=TEXT,
        metavar="FILE",
        help=f"{what}: any vector file; may be repeated.",
    )


feature_layer = click.option(
    "--feature-layer",
    multiple=True,
    type=TEXT,
    metavar="NAME",
    help="Layer of --features to take; may be repeated.",
)

evidence = click.option(
    "--evidence",
    type=TEXT,
    metavar="FILE",
    help="Table of evidence classes (TOML) instead of the built-in one.",
)


date = click.option(
    "--date",
    type=Day(),
    metavar="YYYY-MM-DD",
    help="Day for magnetic bearings (or: today). Without it none are given.",
)


def features(*, required: bool = False) -> Callable[[F], F]:
    """Options for map features and the bearing list."""
    return stack(
        map_features("Map features to list by bearing", required=required),
        feature_layer,
        evidence,
        date,
        click.option(
            "--from-bearing",
            type=NUMBER,
            default=0.0,
            show_default=True,
            help="True bearing at which the list starts, degrees.",
        ),
        click.option(
            "--to-bearing", type=NUMBER, help="Last true bearing of a sector to list, degrees clockwise."
        ),
        click.option(
            "--level-within",
            type=NUMBER,
            default=0.5,
            show_default=True,
            help="Things up to this vertical angle above or below the eye are level with us, degrees.",
        ),
        click.option(
            "--well-beyond",
            type=NUMBER,
            default=3.0,
            show_default=True,
            help="Things beyond this vertical angle are well above or well below us, degrees.",
        ),
        click.option("--csv", type=PATH, metavar="FILE", help="Write the bearing list as CSV too."),
        click.option(
            "--show-hidden",
            is_flag=True,
            help="List hidden and out-of-reach features in the terminal's table too; files always hold them.",
        ),
    )


def output(*, required: bool = True) -> Callable[[F], F]:
    """Options for what is written."""
    return stack(
        click.option(
            "--out",
            type=PATH,
            required=required,
            metavar="FILE.gpkg",
            help="GeoPackage to write; an older one is replaced.",
        ),
        click.option(
            "--out-crs", type=TEXT, metavar="CRS", help="CRS to write in, instead of the working grid's."
        ),
    )


rasters = click.option(
    "--rasters",
    type=PATH,
    metavar="FOLDER",
    help="Write the rasters as cloud-optimised GeoTIFFs too.",
)


def pictures(what: str) -> Callable[[Any], Any]:
    """A folder for pictures, and how they are printed; ``what`` is drawn, as the help says it."""
    return stack(
        click.option("--pictures", type=PATH, metavar="FOLDER", help=f"Draw {what} into a folder."),
        click.option(
            "--picture-format",
            type=click.Choice(["png", "svg", "pdf"]),
            default="png",
            show_default=True,
            help="Kind of files for pictures.",
        ),
        click.option(
            "--dots-per-inch",
            type=click.IntRange(72, 600),
            default=150,
            show_default=True,
            help="How fine pictures are as PNG; 300 for print.",
        ),
        click.option("--white-paper", is_flag=True, help="Pictures on plain white, for printing."),
    )


quiet = click.option("--quiet", is_flag=True, help="No progress and no summary; warnings and errors remain.")
