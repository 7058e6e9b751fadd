"""The tables and the figure of a benchmark run.

Both are made from the JSON alone. Its keys:

machine   : cores, python, platform, versions {engine: text}, load_before, load_after (mean runnable processes
            over a minute)
settings  : sides, rounds, grounds, shares, sample
skipped   : [text]: what could not be measured and why
cases     : [{ground, about, side, visible_share, station {row, column, eye_height_m, on_post},
            engines {name: {
                note: why it did not run, or "";
                runs;
                wall_s, cpu_s {min, median}: seconds on the wall; of processor time of all threads;
                over_gdal, over_copy {of_minima, median_of_rounds, of_cpu_minima}: ratios of time;
                oracle {posts, differ, share}: posts tried and answered otherwise than by tests/oracle.py;
                differ_from_ours_share: of all posts, answered otherwise than by our states}}}]
growth    : [{ground, engine, from_side, to_side, posts_ratio, visible_shares, time_ratio, cpu_ratio}]
stations  : {stations, reach_m, side, ours_wall_s, ours_cpu_s, mean_count, gdal_stations, gdal_wall_s,
            gdal_cpu_s, gdal_over_ours}; GDAL's seconds are scaled up from gdal_stations
pairs     : [{pairs, farthest_m, side, visible_share, millions_a_second, millions_a_cpu_second,
            oracle {pairs, differ}}]
memory    : [{side, terrain_bytes, ours_states, ours_clearance, ours_crests, stations {beyond_terrain_bytes,
            beyond_terrain_over_terrain}}]

An engine that did not run has only note and runs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from benchmarks.engines import ENGINES
from hillsight.sheets.paper import palette

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    Found = dict[str, Any]

LABELS = {engine.name: engine.label for engine in ENGINES}
_COLOURS = {
    "ours_states": palette.BROW,
    "ours_clearance": palette.UNCERTAIN,
    "ours_crests": palette.CREST,
    "gdal": palette.HIDDEN,
    "xarray_spatial": palette.CONTOUR_NAME,
}
_MARKERS = ("o", "s", "^", "D", "v", "P")
_GROUNDS = {"fractal": "Fractal relief, and bowl (all seen)", "real": "Real relief, 10 m posts"}
#: Shares are drawn no smaller than this, so that none is at the edge of the axis.
_LEAST_SHARE = 0.01


def _table(head: list[str], rows: Iterable[list[str]]) -> str:
    """A table in Markdown whose columns also line up as plain text."""
    lines = [head, *rows]
    widths = [max(len(line[i]) for line in lines) for i in range(len(head))]
    text = ["| " + " | ".join(c.ljust(w) for c, w in zip(line, widths, strict=True)) + " |" for line in lines]
    text.insert(1, "|" + "|".join("-" * (w + 2) for w in widths) + "|")
    return "\n".join(text)


def tables(found: Found) -> str:
    """All figures of a run as text."""
    machine = found["machine"]
    versions = ", ".join(f"{LABELS[name]} {version}" for name, version in machine["versions"].items())
    parts = [
        f"{machine['cores']} cores, Python {machine['python']}, {versions}; load {machine['load_before']} "
        f"before, {machine['load_after']} after; {found['settings']['rounds']} rounds.",
        "ms: least of the rounds, on the wall. Over GDAL: of the least / median of the rounds (of processor "
        "time of all threads, least). Wrong: posts answered otherwise than by the oracle, of those tried, "
        "and the share of all posts answered otherwise than by our states. * ran once. - did not run.",
    ]
    parts += [f"Skipped: {reason}" for reason in found["skipped"]]
    for ground, side in dict.fromkeys((c["ground"], c["side"]) for c in found["cases"]):
        cases = [c for c in found["cases"] if (c["ground"], c["side"]) == (ground, side)]
        parts.append(f"## {ground}, {side} x {side}\n\n{cases[0]['about']}.")
        for keys, cell in (((*LABELS,), _milliseconds), ((*_COLOURS,), _over_gdal), ((*_COLOURS,), _wrong)):
            what = {_milliseconds: "ms", _over_gdal: "over GDAL", _wrong: "wrong"}[cell]
            head = [f"seen: {what}", "eye m", *(LABELS[key] for key in keys)]
            parts.append(
                _table(head, ([*_seen(c), *(cell(k, c["engines"][k]) for k in keys)] for c in cases))
            )
        notes = {(LABELS[n], e["note"]) for c in cases for n, e in c["engines"].items() if e["note"]}
        parts += [f"{label}: {note}." for label, note in sorted(notes)]
    if found["growth"]:
        parts.append("## Growth: time at the larger side over time at the smaller")
        parts.append(
            _table(["ground", "engine", "sides", "posts", "wall", "cpu", "seen"], _growth_rows(found))
        )
    return "\n\n".join([*parts, *_bulk(found)])


def _seen(case: Found) -> list[str]:
    station = case["station"]
    off = "" if station["on_post"] else " off post"
    return [f"{case['visible_share']:.1%}{off}", f"{station['eye_height_m']:g}"]


def _milliseconds(_: str, figure: Found) -> str:
    if not figure["runs"]:
        return "-"
    return f"{figure['wall_s']['min'] * 1e3:.2f}" + ("*" if figure["runs"] == 1 else "")


def _over_gdal(_: str, figure: Found) -> str:
    if "over_gdal" not in figure:
        return "-"
    over = figure["over_gdal"]
    return f"{over['of_minima']:.2f} / {over['median_of_rounds']:.2f} ({over['of_cpu_minima']:.2f})"


def _wrong(name: str, figure: Found) -> str:
    if "oracle" not in figure:
        return "-"
    text = f"{figure['oracle']['differ']} of {figure['oracle']['posts']}"
    return text if name == "ours_states" else f"{text}, {figure['differ_from_ours_share']:.3%}"


def _growth_rows(found: Found) -> Iterable[list[str]]:
    for line in found["growth"]:
        yield [
            line["ground"],
            LABELS[line["engine"]],
            f"{line['from_side']} to {line['to_side']}",
            f"{line['posts_ratio']:.2f}",
            f"{line['time_ratio']:.2f}",
            f"{line['cpu_ratio']:.2f}",
            " to ".join(f"{share:.1%}" for share in line["visible_shares"]),
        ]


def _bulk(found: Found) -> list[str]:
    parts = []
    if many := found["stations"]:
        text = (
            f"{many['stations']} stations, reach {many['reach_m'] / 1000:g} km, {many['side']} posts a side: "
            f"ours {many['ours_wall_s']:.2f} s (cpu {many['ours_cpu_s']:.2f} s)"
        )
        if "gdal_wall_s" in many:
            text += (
                f"; GDAL's viewshed looped over {many['gdal_stations']} and scaled "
                f"{many['gdal_wall_s']:.2f} s "
                f"(cpu {many['gdal_cpu_s']:.2f} s), {many['gdal_over_ours']:.1f} times as long"
            )
        parts += ["## Many stations", text + "."]
    if found["pairs"]:
        parts.append("## Pairs")
    parts += [
        f"Within {line['farthest_m'] / 1000:g} km each way, {line['side']} posts a side, "
        f"{line['visible_share']:.1%} seen: {line['millions_a_second']:.2f} million a second "
        f"({line['millions_a_cpu_second']:.2f} a cpu second); "
        f"oracle: {line['oracle']['differ']} of {line['oracle']['pairs']} differ."
        for line in found["pairs"]
    ]
    if found["memory"]:
        parts.append("## Peak memory beyond the terrain, over the terrain's float32 size")
        names = [*(name for name in LABELS if name.startswith("ours")), "stations"]
        head = ["side", "terrain MB", *(LABELS.get(name, "many stations") for name in names)]
        parts.append(_table(head, (_memory_row(line, names) for line in found["memory"])))
    return parts


def _memory_row(line: Found, names: list[str]) -> list[str]:
    cells = []
    for name in names:
        figure = line.get(name, {"note": ""})
        cells.append(figure["note"] if "note" in figure else f"{figure['beyond_terrain_over_terrain']:.2f}")
    return [str(line["side"]), f"{line['terrain_bytes'] / 1e6:.0f}", *cells]


def draw(found: Found, path: Path) -> None:
    """The figure: above, time over GDAL's against the share of posts seen; below, posts answered wrongly."""
    import matplotlib
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    grounds = [g for g in _GROUNDS if any(c["ground"] == g for c in found["cases"])] or ["fractal"]
    sides = sorted({case["side"] for case in found["cases"]})
    with matplotlib.rc_context({"font.size": 9, "axes.edgecolor": palette.QUIET, "text.color": palette.INK}):
        figure = Figure(
            figsize=(4.9 * len(grounds) + 1.4, 7.4), facecolor=palette.PAPER, layout="constrained"
        )
        panels = figure.subplots(2, len(grounds), sharex=True, sharey="row", squeeze=False)
        for column, ground in enumerate(grounds):
            cases = [
                c for c in found["cases"] if c["ground"] in _drawn_with(ground) and c["station"]["on_post"]
            ]
            above, below = panels[:, column]
            above.set_title(_GROUNDS[ground], loc="left", fontsize=10)
            for name, colour in reversed(_COLOURS.items()):  # ours on top
                for side, marker in zip(sides, _MARKERS, strict=False):
                    style = {
                        "color": colour,
                        "marker": marker,
                        "markersize": 4.5,
                        "markeredgecolor": palette.PAPER,
                        "markeredgewidth": 0.5,
                        "linewidth": 0.9,
                    }
                    for drawn in _drawn_with(ground):
                        part = [c for c in cases if c["ground"] == drawn]
                        above.plot(*_points(part, name, side, _ratio), **style)
                        below.plot(*_points(part, name, side, _wrong_percent), **style)
            above.axhline(1.0, color=palette.QUIET, linewidth=0.8, linestyle=(0, (4, 3)))
        percent = FuncFormatter(lambda share, _: f"{share * 100:g} %")
        for panel in panels.ravel():
            panel.set(facecolor=palette.PAPER, xscale="log", xlim=(_LEAST_SHARE, 1.3))
            panel.grid(which="major", color=palette.LAND, linewidth=0.8)
            panel.spines[["top", "right"]].set_visible(False)
            panel.set_xticks([0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0])
            panel.xaxis.set_major_formatter(percent)
            panel.xaxis.set_minor_formatter(NullFormatter())
        for panel in panels[0]:
            panel.set_yscale("log")
            panel.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
            panel.yaxis.set_major_formatter(FuncFormatter(lambda ratio, _: f"{ratio:g}"))
            panel.yaxis.set_minor_formatter(NullFormatter())
        for panel in panels[1]:
            panel.set_ylim(bottom=-0.02)
            panel.yaxis.set_major_formatter(FuncFormatter(lambda wrong, _: f"{wrong:g} %"))
            panel.set_xlabel("share of all posts seen from the station")
        panels[0, 0].set_ylabel("time over GDAL's (least of the rounds)")
        panels[1, 0].set_ylabel("posts answered wrongly")
        ran = {name for case in found["cases"] for name, one in case["engines"].items() if one["runs"]}
        keys = [
            Line2D([], [], color=colour, label=LABELS[name], linewidth=2)
            for name, colour in _COLOURS.items()
            if name in ran
        ]
        keys += [
            Line2D([], [], color=palette.QUIET, marker=marker, linestyle="", label=f"{side:,} posts a side")
            for side, marker in zip(sides, _MARKERS, strict=False)
        ]
        figure.legend(handles=keys, loc="outside lower center", ncols=3, frameon=False)
        figure.savefig(path, dpi=150, metadata={"Software": None})


def _drawn_with(ground: str) -> tuple[str, ...]:
    return ("fractal", "bowl") if ground == "fractal" else (ground,)


def _ratio(_: str, figure: Found) -> float | None:
    return float(figure["over_gdal"]["of_minima"]) if "over_gdal" in figure else None


def _wrong_percent(name: str, figure: Found) -> float | None:
    """Ours against the oracle on the posts it walked to; a peer against ours on all posts."""
    if "oracle" not in figure:
        return None
    ours = name.startswith("ours")
    return 100 * float(figure["oracle"]["share"] if ours else figure["differ_from_ours_share"])


def _points(cases: list[Found], name: str, side: int, value: Any) -> tuple[list[float], list[float]]:
    """Shares and values of one engine at one size, by share."""
    points = [
        (max(case["visible_share"], _LEAST_SHARE), number)
        for case in cases
        if case["side"] == side and (number := value(name, case["engines"][name])) is not None
    ]
    points.sort()
    return [share for share, _ in points], [number for _, number in points]
