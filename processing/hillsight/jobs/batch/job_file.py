"""A batch job: what its file holds, and a template and JSON schema of it."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.errors import BatchError
from hillsight.jobs.batch import fields
from hillsight.jobs.batch.fields import FORMAT, TABLES, TOP
from hillsight.jobs.batch.work_script import options_schema, settled_work
from hillsight.plan.posts.toml_tables import file_schema, table_of, template_line, values_of
from hillsight.plan.toml_file import FileKind, instead, read_toml, toml_value

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from hillsight.plan.toml_file import FilePlace

_KIND = FileKind("batch job", "[stations]", FORMAT, BatchError)
_EXAMPLE: dict[str, Any] = {
    "title": "Tops of the county",
    "terrain": "terrain.vrt",
    "terrain_crs": "EPSG:32632",
    "band": 1,
    "vertical_unit": "m",
    "nodata": -9999,
    "grid_crs": "EPSG:32632",
}
_KEPT = {("stations", "file"), ("looking", "reach_m"), ("products", "counts")}


@dataclass(frozen=True)
class StationSource:
    """Where stations come from: a file, or edges of an area as text."""

    file: str | None = None
    layer: str | None = None
    extent: str | None = None
    every_m: float | None = None


@dataclass(frozen=True)
class Looking:
    """How stations look where their own columns do not say otherwise; bearings from true north."""

    eye_height_m: float = 1.6
    target_height_m: float = 0.0
    reach_m: float = 10_000.0
    from_bearing_deg: float | None = None
    to_bearing_deg: float | None = None
    weight: float = 1.0
    refraction: float = 0.13


@dataclass(frozen=True)
class Products:
    """What is made; ``share`` and ``paths`` name vector files."""

    counts: bool = True
    viewsheds: bool = False
    first: bool = False
    nearest: bool = False
    weights: bool = False
    least_depth: bool = False
    chances: bool = False
    matrix: bool = False
    share: str | None = None
    share_layer: str | None = None
    paths: str | None = None
    paths_layer: str | None = None
    stretch_m: float = 100.0


@dataclass(frozen=True)
class CoverFiles:
    """What stands on the ground: names of files as they stand in the job, leafy woods in leaf or not."""

    surface: str | None = None
    file: tuple[str, ...] = ()
    layer: tuple[str, ...] = ()
    heights: str | None = None
    leaf: str = "on"

    @property
    def names(self) -> tuple[str, ...]:
        """All files."""
        return tuple(name for name in (self.surface, *self.file, self.heights) if name is not None)

    def given(self, beside: Callable[[str], str]) -> dict[str, Any]:
        """As scripts are told it.

        beside : a name as it lies from the job's file
        """
        return {
            "surface": None if self.surface is None else beside(self.surface),
            "cover": tuple(beside(name) for name in self.file),
            "cover_layer": self.layer,
            "cover_heights": None if self.heights is None else beside(self.heights),
            "leaf": self.leaf,
        }


@dataclass(frozen=True)
class Work:
    """A script whose work is done for every station, and its options; files as they stand in the job."""

    script: str
    options: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Errors:
    """What may be wrong, standard deviations; the terrain's is guessed where nothing is told of it."""

    terrain_product: str | None = None
    terrain_error_m: float | None = None
    error_correlation_m: float | None = None
    between_posts: str = "unknown"
    station_error_m: float = 5.0
    eye_height_error_m: float = 0.1
    refraction_error: float = 0.05


@dataclass(frozen=True)
class Cutting:
    """How results are cut and written."""

    tile_posts: int = 2048
    window_posts: int = 8_000_000
    parquet: bool = False
    csv: bool = False
    stac: bool = False


@dataclass(frozen=True)
class BatchJob:
    """A job as its file tells it; names of files are still as they stand there.

    source : the file's name
    looked : what of how stations look the file itself says
    has_products : whether rasters of all stations together are wanted
    """

    title: str
    terrain: str
    stations: StationSource
    terrain_crs: str | None = None
    band: int | None = None
    vertical_unit: str | None = None
    nodata: float | None = None
    grid_crs: str | None = None
    looking: Looking = Looking()
    products: Products = Products()
    errors: Errors = Errors()
    output: Cutting = Cutting()
    cover: CoverFiles = CoverFiles()
    work: Work | None = None
    source: str = ""
    looked: tuple[str, ...] = ()
    has_products: bool = True

    def beside(self, name: str) -> str:
        """A name in the job as it lies from the job's file."""
        if "://" in name or name.startswith("/vsi") or not self.source:
            return name
        return str(Path(self.source).parent / name)

    def told(self) -> dict[str, Any]:
        """All that the job says, by table and field."""
        said = asdict(self)
        said.pop("source")
        return said


def read_job(path: str) -> BatchJob:
    """The job that a file holds.

    Raises
    ------
    BatchError : the file cannot be read, is no TOML, or says what a job cannot say, with its line
    """
    content, top = read_toml(path, _KIND)
    names = ["format", *(field.name for field in TOP), *(table.name for table in TABLES)]
    for key in content:
        if key not in names:
            raise top.within(key).error(f"a batch job has no {key!r}", instead(key, names, "It may have"))
    raw = {field.name: content[field.name] for field in TOP if field.name in content}
    values = values_of(raw, TOP, (), "batch job", top)
    stations = StationSource(**table_of(content, fields.STATIONS, top))
    looked = table_of(content, fields.LOOKING, top)
    looking = Looking(**looked)
    if (stations.file is None) == (stations.extent is None):
        raise top.within("stations").error(
            "[stations] needs a file or an extent, and not both", "Add file, or extent and every_m"
        )
    if stations.extent is not None and stations.every_m is None:
        raise top.within("stations", "extent").error(
            "[stations] does not say how far apart stations stand", "Add every_m"
        )
    if (looking.from_bearing_deg is None) != (looking.to_bearing_deg is None):
        raise top.within("looking").error(
            "[looking] names one side of a sector only", "Give from_bearing_deg and to_bearing_deg"
        )
    products = Products(**table_of(content, fields.PRODUCTS, top))
    if not products.counts and (products.share is not None or products.paths is not None):
        raise top.within("products").error(
            "shares of areas and paths are taken from the counts, and those are not wanted",
            "Write counts = true",
        )
    cover = CoverFiles(**table_of(content, fields.COVER, top))
    if (cover.layer or cover.heights) and not cover.file:
        raise top.within("cover").error(
            "[cover] tells of files of cover, and names none", "Add file: woods, buildings, walls or hedges"
        )
    output = Cutting(**table_of(content, fields.OUTPUT, top))
    if output.csv and "work" not in content:
        raise top.within("output").error(
            "the bearing list is wanted as CSV, and no script makes one",
            "Add [work] with outlook or bearings",
        )
    has_products = "products" in content or "work" not in content
    return BatchJob(
        **values,
        stations=stations,
        looking=looking,
        products=products,
        errors=Errors(**table_of(content, fields.ERRORS, top)),
        output=output,
        cover=cover,
        work=_work_of(content, top),
        source=path,
        looked=tuple(looked),
        has_products=has_products,
    )


def _work_of(content: Mapping[str, Any], top: FilePlace) -> Work | None:
    """The table [work] and its options, checked by the script's description."""
    if "work" not in content:
        return None
    raw = content["work"]
    alone = {name: raw[name] for name in raw if name != "options"} if isinstance(raw, dict) else raw
    table_of({"work": alone}, fields.WORK, top)
    script, options = settled_work(raw, top.within("work"))
    return Work(script.name, options)


def template() -> str:
    """A job to fill in; lines that begin with ``#`` and no space may be used without it."""
    lines = [
        f"format = {toml_value(FORMAT)}",
        "",
        "# A batch job: many stations over one terrain, however large.",
        "# Lines that begin with # and a space explain; take the # from other lines that you want to use.",
        "",
    ]
    lines += [template_line(field, _EXAMPLE[field.name], kept=field.needed) for field in TOP]
    for table in TABLES:
        lines += ["", f"# {table.meaning}"]
        kept = table.needed or any(name == table.name for name, _ in _KEPT)
        lines.append(f"{'' if kept else '#'}[{table.name}]")
        lines += [
            template_line(field, table.example[field.name], kept=(table.name, field.name) in _KEPT)
            for field in table.fields
            if field.name in table.example
        ]
        if table is fields.WORK:
            lines += ["#[work.options]"]
            lines += [
                f"#{name} = {toml_value(value)}  # an option, as the script describes itself"
                for name, value in fields.WORK_EXAMPLE.items()
            ]
    return "\n".join(lines) + "\n"


def json_schema() -> dict[str, Any]:
    """Schema of a job; it lets pass what the reader alone can tell, as one side of a sector only."""
    schema = file_schema("batch job", FORMAT, TOP, TABLES)
    schema["properties"]["work"] = options_schema()
    return schema
