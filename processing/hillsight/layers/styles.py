"""The styles that travel with every output: one SLD 1.0.0 document a layer or kind of raster."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from hillsight.errors import OutputError
from hillsight.layers.atomic import replacing
from hillsight.schema.layers import LAYERS
from hillsight.schema.rasters import RASTERS

if TYPE_CHECKING:
    from collections.abc import Mapping
    from importlib.resources.abc import Traversable


def style_names() -> list[str]:
    """Names of all styles: the vector layers in the order of the schema, then the rasters."""
    return [*LAYERS, *RASTERS]


def style_text(layer: str) -> str:
    """SLD 1.0.0 document for a vector layer by its name, or for a raster by its kind.

    Raises
    ------
    KeyError : no such style (a fault of the program)
    OutputError : the installation is incomplete
    """
    if layer not in style_names():
        raise KeyError(layer)
    file = _folder() / f"{layer}.sld"
    try:
        return file.read_text(encoding="utf-8")
    except OSError as error:
        raise OutputError(
            f"the style of {layer} is missing from the installation", remedy="Install hillsight again"
        ) from error


def write_styles(folder: Path, styles: Mapping[str, str]) -> list[Path]:
    """Write styles into an existing folder, replacing older ones; returns the files written.

    styles : SLD text by the name of the style

    Raises
    ------
    OutputError : the folder is missing or cannot be written to
    """
    written = []
    for name, text in styles.items():
        path = Path(folder) / f"{name}.sld"
        with replacing(path) as temporary:
            temporary.write_text(text, encoding="utf-8", newline="\n")
        written.append(path)
    return written


def _folder() -> Traversable:
    """Folder of the styles: inside an installed package, or beside the sources in a checkout."""
    packed = resources.files("hillsight") / "styles"
    return packed if packed.is_dir() else Path(__file__).parents[3] / "styles"
