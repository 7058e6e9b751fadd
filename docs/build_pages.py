"""The parts of the docs that come from the code: options, layers, words of sightings, the observer's figures.

Run ``python docs/build_pages.py`` after changing an option or a column; a test compares.
"""

from __future__ import annotations

import inspect
import math
import re
import textwrap
import tomllib
from importlib import resources
from pathlib import Path

import click

from hillsight import plugins
from hillsight.ground.cover_table import CoverKind
from hillsight.jobs.batch import fields as job_fields
from hillsight.plan.kinds.registry import KINDS, word_figures
from hillsight.plan.kinds.shared.kind import StatementKind
from hillsight.plan.observer import Observer
from hillsight.plan.posts import fields as plan_fields
from hillsight.plan.posts.toml_tables import TomlTable
from hillsight.plan.relocation.decision import Rules
from hillsight.plan.toml_file import allowed_in
from hillsight.plan.vocabulary import (
    COMMON,
    COMPASS,
    PARTS,
    PICTURE,
    SURENESS,
    SightingField,
)
from hillsight.schema.batch import BATCH_RASTERS
from hillsight.schema.layers import LAYERS
from hillsight.schema.rasters import RASTERS
from hillsight.words.quantities import per_cent
from hillsight.words.states import GROUND_STATE_MEANINGS

CHECKOUT = Path(__file__).parents[1]
DOCS = CHECKOUT / "docs"
#: Entry points of the project's own scripts, by the words they are called with.
SCRIPTS = {name: p for name, p in plugins.runnable().items() if p.module.startswith("hillsight.")}
BEGIN, END = "<!-- from the code -->", "<!-- end -->"


def script_command(name: str) -> click.Command:
    """The command of one of the project's own scripts."""
    command: click.Command = SCRIPTS[name].load()
    return command


def script_page(name: str) -> Path:
    """The page of a script: that of ``exercise check`` is ``exercise-check.md``."""
    return DOCS / "scripts" / f"{name.replace(' ', '-')}.md"


def option_table(name: str) -> str:
    """Options of a script as a Markdown table."""
    rows = ["| option | meaning | default |", "| --- | --- | --- |"]
    for option in script_command(name).params:
        if not isinstance(option, click.Option):
            continue
        metavar = "" if option.is_flag else f" {option.make_metavar(click.Context(script_command(name)))}"
        values = option.default if isinstance(option.default, tuple) else (option.default,)
        default = ", ".join(f"{v:g}" if isinstance(v, int | float) else f"{v}" for v in values if _shown(v))
        shown = "required" if option.required else "" if option.is_flag else default
        meaning = (option.help or "").replace("|", "\\|")
        rows.append(f"| `{option.opts[0]}{metavar}` | {meaning} | {shown} |".replace("\n", " "))
    return "\n".join(rows)


def _shown(value: object) -> bool:
    """Whether a default is worth a word: click has marks of its own for "none"."""
    return isinstance(value, int | float | str | Path)


def layer_tables() -> str:
    """All layers and their columns, and the codes of the viewshed raster, as Markdown."""
    parts = []
    for layer in LAYERS.values():
        said = textwrap.wrap(f"{layer.geometry}: {layer.meaning}.", 98, break_on_hyphens=False)
        parts += [f"## `{layer.name}`", "", *said, ""]
        parts += ["| column | type | unit and frame | meaning |", "| --- | --- | --- | --- |"]
        for column in layer.columns:
            null = " May be null." if column.optional else ""
            parts.append(f"| `{column.name}` | {column.type} | {column.unit} | {column.meaning}.{null} |")
        parts.append("")
    parts += ["## Rasters", "", "| table | values | no data | meaning |", "| --- | --- | --- | --- |"]
    for kind in (*RASTERS.values(), *BATCH_RASTERS.values()):
        values = kind.dtype + (f", {kind.unit}" if kind.unit else "")
        none = "NaN" if math.isnan(kind.no_data) else f"{kind.no_data:.10g}"
        parts.append(f"| `{kind.table}` | {values} | {none} | {kind.meaning}. {kind.more} |")
    parts += ["", "States in `viewshed_<station>`:", "", "| code | state | meaning |", "| --- | --- | --- |"]
    parts += [f"| {int(s)} | {s.name.lower()} | {meaning} |" for s, meaning in GROUND_STATE_MEANINGS.items()]
    return "\n".join(parts)


def figure_table(figures: Observer | Rules) -> list[str]:
    """Figures with what their docstring says of each."""
    said = re.findall(r"(?m)^(\w[\w, ]*) : ((?:.|\n {4})+)", inspect.getdoc(figures) or "")
    rows = ["| figure | value | what it is, and where it comes from |", "| --- | --- | --- |"]
    for names, meaning in said:
        each = [name for name in names.split(", ") if isinstance(getattr(figures, name, None), float)]
        if not each:
            continue
        values = ", ".join(f"{getattr(figures, name):g}" for name in each)
        text = " ".join(meaning.split())
        rows.append(f"| {', '.join(f'`{name}`' for name in each)} | {values} | {text} |")
    return rows


def verdict_tables() -> str:
    """The observer's figures, those of noticing, the rules of a verdict, and the worked example."""
    shares = ("told_if_shown", "told_if_not", "missed_if_shown", "missed_if_not")
    rows = ["## The observer's figures", "", "`--observer FILE` changes any of these: a TOML file with lines"]
    rows += ["such as `slope_deg = 4`. They are standard deviations unless something else is said.", ""]
    rows += [*figure_table(Observer()), ""]
    rows += ["Noticing, by evidence class (common practice, no source; not changed by `--observer`):", ""]
    rows += [f"| class | {' | '.join(f'`{name}`' for name in shares)} |", "| --- " * (1 + len(shares)) + "|"]
    for name, noticing in Observer().noticing.items():
        rows.append(f"| `{name}` | {' | '.join(f'{getattr(noticing, share):,g}' for share in shares)} |")
    rows += ["", "## The rules of a verdict", "", "Ours, settled by simulation.", ""]
    rows += [*figure_table(Rules()), "", "## A worked example", ""]
    rows += [
        "Two candidates, equally likely; one direction; one statement: in the middle the near ground falls"
    ]
    rows += [
        "away near by. From A the brow is at 60 m on every bearing of the middle third, from B at 380 m. Near"
    ]
    rows += [
        "is up to 150 m. From 40 % of the places about this would be said for certain, from the others not at"
    ]
    rows += [
        "all. A second statement is about another matter; of the places about it fits half, whatever their"
    ]
    rows += ["brow.", "", *worked_table(worked_example())]
    return "\n".join(rows)


def worked_example() -> dict[str, tuple[float, float, float]]:
    """The worked example of docs/verdict.md by hand: of A, of B and of none of these."""
    observer, rules = Observer(), Rules()
    scaled = [(math.log(150.0) - math.log(brow_m)) / observer.distance_log for brow_m in (60.0, 380.0)]
    likely = [(1.0 + math.erf(z / math.sqrt(2.0))) / 2.0 for z in scaled]
    priors = [(1.0 - rules.none_prior) / 2.0] * 2 + [rules.none_prior]
    told = {"brow": (likely, 0.4), "skyline": ([0.95, 0.3], 0.5)}
    found = {"scaled": (*scaled, math.nan), "prior": tuple(priors)}
    powers = {}
    for name, (each, rate) in told.items():
        ratios = [0.95 * one / rate + 0.05 for one in each]
        # Of the places about, a share as large as the base rate fits wholly, the others not at all: the mean
        # of their ratios is one.
        powers[name] = [*((1.0 - observer.mistaken) * one + observer.mistaken for one in ratios), 1.0]
        found |= {f"{name} likely": (*each, rate), f"{name} ratio": (*ratios, math.nan)}
        found |= {f"{name} power": tuple(powers[name])}
    for name, factors in (("one", ["brow"]), ("both", ["brow", "skyline"])):
        products = [math.prod([prior, *(powers[f][k] for f in factors)]) for k, prior in enumerate(priors)]
        found |= {f"{name} product": tuple(products)}
        found |= {f"{name} probability": tuple(product / sum(products) for product in products)}
    return found


def worked_table(found: dict[str, tuple[float, float, float]]) -> list[str]:
    """The worked example as a table."""
    names = {
        "scaled": "(ln 150 - ln distance) / `distance_log`",
        "brow likely": "likelihood, Φ of it; base rate",
        "brow ratio": "ratio = 0.95 × likelihood / base rate + 0.05",
        "brow power": "0.97 × ratio + 0.03, as the matter may be mistaken; mean over the places about",
        "prior": "prior",
        "one product": "prior × that",
        "one probability": "**divided by their sum**",
        "skyline likely": "a second statement, of the skyline: likelihood; base rate",
        "skyline ratio": "ratio",
        "skyline power": "0.97 × ratio + 0.03; mean over the places about",
        "both product": "prior × both",
        "both probability": "**divided by their sum**",
    }
    rows = ["| | A | B | none of these |", "| --- | --- | --- | --- |"]
    for key, name in names.items():
        bold = "**" if "probability" in key else ""
        cells = ["" if math.isnan(value) else f"{bold}{value:.4f}{bold}" for value in found[key]]
        rows.append(f"| {name} | {' | '.join(cells)} |")
    times = [found[f"{which} probability"][0] / found[f"{which} probability"][1] for which in ("one", "both")]
    rows += [
        "",
        f"By the first statement A is {times[0]:.0f} times likelier than B, by both {times[1]:.0f} times.",
    ]
    return rows


def _allowed(field: SightingField) -> str:
    if field.words:
        return ", ".join(field.words)
    if field.form in ("number", "pairs"):
        pairs = "pairs of " if field.form == "pairs" else ""
        return f"{pairs}{field.least:g} to {field.most:.10g} {field.unit.replace('degrees', '°')}".strip()
    return {"text": "text", "texts": "two or more names or kinds", "yes_no": "true, false"}[field.form]


def _field_rows(fields: tuple[SightingField, ...], kind: StatementKind | None = None) -> list[str]:
    rows = ["| field | meaning | what may stand there |", "| --- | --- | --- |"]
    for field in fields:
        need = " Needed." if field.needed else ""
        if kind is not None and field.name in kind.one_of:
            need = " One of these at least."
        rows.append(f"| `{field.name}` | {field.meaning}.{need} | {_allowed(field)} |")
    return rows


def sighting_tables() -> str:
    """Fields of the picture and of every kind of statement, and the figures that words stand for."""
    parts = ["## `[picture]`", "", *_field_rows(PICTURE), ""]
    parts += ["## Every `[[statement]]`", "", *_field_rows(COMMON), "", "besides those of its `kind`:", ""]
    for kind in KINDS.values():
        parts += [f"### `{kind.name}`", "", f"{kind.meaning[0].upper()}{kind.meaning[1:]}.", ""]
        parts += [*_field_rows(kind.fields, kind), ""]
    parts += ["## Words that stand for figures", "", "| word | of | figures |", "| --- | --- | --- |"]
    for figures in word_figures():
        of = f"{figures.of}, {figures.unit}"
        parts += [f"| {word} | {of} | {span} |" for word, span in figures.spans().items()]
    parts += [
        f"| {word} | chance that a statement is wrong | {per_cent(share)} |"
        for word, share in SURENESS.items()
    ]
    for part, (left, right) in PARTS.items():
        parts.append(f"| {part} | share of the width, from the middle | {left:.2f} to {right:.2f} |")
    parts += ["", f"Points of the compass: {', '.join(COMPASS)}."]
    return "\n".join(parts)


def cover_table() -> str:
    """Heights of cover by kind, those alike together."""
    written = resources.files("hillsight.ground").joinpath("cover_heights.toml").read_text(encoding="utf-8")
    alike: dict[CoverKind, list[str]] = {}
    for kind, told in tomllib.loads(written)["kinds"].items():
        alike.setdefault(CoverKind(**told), []).append(kind)
    rows = ["| kind | height | width of a point | sight that passes |", "| --- | --- | --- | --- |"]
    for told, kinds in sorted(alike.items(), key=lambda row: -row[0].height_m):
        width = "" if told.width_m is None else f"{told.width_m:g} m"
        passes = "some" if told.passes else "none" if told.height_m else "all"
        rows.append(f"| {', '.join(kinds)} | {told.height_m:g} m | {width} | {passes} |")
    return "\n".join(rows)


def file_tables(what: str, top: tuple[SightingField, ...], tables: tuple[TomlTable, ...]) -> str:
    """All tables of a plan of posts, or a batch job, and their fields, as Markdown."""
    rows = ["", f"Fields of {what}, above its tables:", "", *_plan_fields(top)]
    for table in tables:
        heading = f"[[{table.name}]]" if table.many else f"[{table.name}]"
        rows += ["", f"`{heading}`: {table.meaning}", "", *_plan_fields(table.fields)]
    return "\n".join(rows)


def _plan_fields(fields: tuple[SightingField, ...]) -> list[str]:
    rows = ["| field | meaning | takes |", "| --- | --- | --- |"]
    for field in fields:
        forms = {"text": "text", "texts": "texts", "yes_no": "true or false"}
        takes = forms.get(field.form, "") or allowed_in(field).removeprefix(": ")
        needed = "; needed" if field.needed else ""
        rows.append(f"| `{field.name}` | {field.meaning}{needed} | {takes} |")
    return rows


def blocks() -> dict[Path, str]:
    """The generated block of each page that has one."""
    pages = {script_page(name): option_table(name) for name in SCRIPTS}
    for name, what, held in (("posts", "a plan", plan_fields), ("batch", "a job", job_fields)):
        pages[script_page(name)] += f"\n{file_tables(what, held.TOP, held.TABLES)}"
    pages[DOCS / "layers.md"] = layer_tables()
    pages[DOCS / "sighting.md"] = sighting_tables()
    pages[DOCS / "verdict.md"] = verdict_tables()
    pages[DOCS / "cover.md"] = cover_table()
    return pages


def with_block(text: str, block: str) -> str:
    pattern = re.compile(re.escape(BEGIN) + ".*?" + re.escape(END), re.DOTALL)
    return pattern.sub(lambda _: f"{BEGIN}\n{block}\n{END}", text)


if __name__ == "__main__":
    for page, block in blocks().items():
        page.write_text(with_block(page.read_text(encoding="utf-8"), block), encoding="utf-8")
