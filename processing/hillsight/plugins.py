"""The scripts that installed packages register: ours, and whoever else's."""

from __future__ import annotations

from importlib.metadata import EntryPoint, entry_points
from typing import Any

from hillsight.errors import HillsightError

#: Entry points of this group are scripts: name on the command line = "module:command".
GROUP = "hillsight.scripts"

#: Scripts that hold scripts of their own: those of ``GROUP.exercise`` are called ``hillsight exercise NAME``.
HOLDERS = ("exercise",)

_OURS = "hillsight.scripts."


class PluginError(HillsightError):
    """A registered script cannot be loaded."""


def registered(holder: str | None = None) -> dict[str, EntryPoint]:
    """Every script by its name, in order of the names; nobody else's script takes the name of one of ours.

    Parameters
    ----------
    holder : the script whose own are meant, of ``HOLDERS``; those of ``hillsight`` itself if not given
    """
    group = GROUP if holder is None else f"{GROUP}.{holder}"
    points = sorted(entry_points(group=group), key=lambda point: (point.name, point.value.startswith(_OURS)))
    return {point.name: point for point in points}


def runnable() -> dict[str, EntryPoint]:
    """Every script that does work of its own, by the words it is called with, such as ``exercise check``."""
    found = {name: point for name, point in registered().items() if name not in HOLDERS}
    for holder in HOLDERS:
        found |= {f"{holder} {name}": point for name, point in registered(holder).items()}
    return dict(sorted(found.items()))


def load(point: EntryPoint) -> Any:
    """The command that an entry point names.

    Raises
    ------
    PluginError : it cannot be imported, whatever it raises, or is no command
    """
    remedy = "Mend or uninstall the package that brings it"
    try:
        command = point.load()
    except (Exception, SystemExit) as error:
        raise PluginError(f"{type(error).__name__}: {error}", where=point.name, remedy=remedy) from error
    if not (callable(command) and hasattr(command, "params")):  # what a click command has
        raise PluginError(f"{point.value} is not a command", where=point.name, remedy=remedy)
    return command
