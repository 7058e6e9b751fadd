"""The outputs that a request wants: under which names a job writes them, and how they are handed back."""

from __future__ import annotations

import base64
import io
import json
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hillsight.errors import CallError
from hillsight.serving.roles import role

GEOJSON, PACKAGE, ARCHIVE = "application/geo+json", "application/geopackage+sqlite3", "application/zip"
#: Endings of file names by media type.
_ENDINGS = {
    "application/geopackage+sqlite3": ".gpkg",
    "application/gpx+xml": ".gpx",
    "application/json": ".json",
    "application/pdf": ".pdf",
    "application/toml": ".toml",
    "image/png": ".png",
    "image/svg+xml": ".svg",
    "text/csv": ".csv",
    "text/html": ".html",
    "text/markdown": ".md",
}
_PRINTED = "stdout"


@dataclass(frozen=True)
class Wanted:
    """One output.

    name : of the output, as the description has it
    media_type : of what is handed back
    path : that the job writes; None for what it prints
    option : that names the path to the job; empty for what it prints
    layer : that is handed back as GeoJSON; empty for the only one
    """

    name: str
    media_type: str
    path: Path | None
    option: str = ""
    layer: str = ""

    @property
    def words(self) -> list[str]:
        """What says so on a command line."""
        return [] if self.path is None else [f"{self.option}={self.path}"]


def wanted_outputs(
    script: str, options: Sequence[Any], described: Mapping[str, Any], asked: Any, scratch: Path
) -> list[Wanted]:
    """The outputs that a request names; without a word of it the first, and those that a job must write.

    Parameters
    ----------
    described : outputs by name, as the description has them
    asked : what the request says, as parsed from JSON: an object by name, or an array of names
    scratch : folder that the job writes into

    Raises
    ------
    CallError : there is no such output, or not in that format
    """
    by_name = {option.name: option for option in options if role(script, option) == "output"}
    needed = [name for name, option in by_name.items() if option.required and name in described]
    if not asked:
        asked = {name: {} for name in needed or list(described)[:1]}
    elif isinstance(asked, list):
        asked = {str(name): {} for name in asked}
    if not isinstance(asked, Mapping):
        raise CallError("the outputs are no object with an entry for each that is wanted")
    found = []
    for name, how in asked.items():
        if name not in described:
            raise CallError(f"there is no output {name!r}", remedy=f"There are: {', '.join(described)}")
        found.append(_one(name, how if isinstance(how, Mapping) else {}, described[name], by_name, scratch))
    # What a job must write it writes, wanted or not.
    return found + [_one(name, {}, described[name], by_name, scratch) for name in needed if name not in asked]


def _one(
    name: str, how: Mapping[str, Any], described: Mapping[str, Any], by_name: Mapping[str, Any], scratch: Path
) -> Wanted:
    usual = described["schema"]["contentMediaType"]
    told = how.get("format")
    media_type = told.get("mediaType", usual) if isinstance(told, Mapping) else usual
    if name == _PRINTED:
        return Wanted(name, "text/plain", None)
    option = by_name[name]
    placeholder = option.metavar or ""
    if placeholder == "FOLDER" or option.type.name == "directory":
        return Wanted(name, ARCHIVE, scratch / name, option.opts[-1])
    if media_type == GEOJSON and usual == PACKAGE:
        return Wanted(name, GEOJSON, scratch / f"{name}.gpkg", option.opts[-1], str(how.get("layer") or ""))
    if media_type not in _ENDINGS or (media_type != usual and placeholder not in ("FILE", "FOLDER|FILE.pdf")):
        instead = f"{usual} or {GEOJSON}" if usual == PACKAGE else usual
        raise CallError(f"the output {name!r} is not to be had as {media_type}", remedy=f"Ask for {instead}")
    return Wanted(name, media_type, scratch / f"{name}{_ENDINGS[media_type]}", option.opts[-1])


def handed_back(wanted: Sequence[Wanted], printed: str) -> tuple[str, Any]:
    """Media type and content: one output as it is, several as an object with a value for each.

    Raises
    ------
    CallError : the job has not written what is wanted, or it has not the layer
    """
    contents = [(one, *_content(one, printed)) for one in wanted]
    if len(contents) == 1:
        _, media_type, content = contents[0]
        return media_type, content
    return "application/json", {one.name: _qualified(kind, content) for one, kind, content in contents}


def _content(one: Wanted, printed: str) -> tuple[str, Any]:
    if one.path is None:
        return one.media_type, printed
    if not one.path.exists():
        raise CallError(
            f"the job wrote no {one.name}: {' '.join(printed.split())[:500] or 'it did not say why'}"
        )
    if one.path.is_dir():
        return ARCHIVE, _archive(one.path)
    if one.media_type == GEOJSON:
        return GEOJSON, _geojson(one.path, one.layer)
    return one.media_type, one.path.read_bytes()


def _archive(folder: Path) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(folder.rglob("*")):
            if path.is_file():
                archive.write(path, path.relative_to(folder))
    return held.getvalue()


def _geojson(path: Path, layer: str) -> dict[str, Any]:
    """One layer in longitude and latitude of WGS 84, as RFC 7946 wants it."""
    import pyogrio
    import pyproj

    from hillsight.layers.contents import read_layer
    from hillsight.layers.frames import GEOMETRY_COLUMN, conform
    from hillsight.schema.layers import LAYERS

    names = [str(name) for name, kind in pyogrio.list_layers(path) if kind is not None and name in LAYERS]
    if layer not in names and not (layer == "" and len(names) == 1):
        which = f"there is no layer {layer!r}" if layer else "the output has several layers"
        raise CallError(which, remedy=f"Name one of them as layer: {', '.join(names)}")
    name = layer or names[0]
    frame = read_layer(path, name).rename_geometry(GEOMETRY_COLUMN)
    there = conform(frame, LAYERS[name], pyproj.CRS("OGC:CRS84"))
    collection: dict[str, Any] = json.loads(there.to_json(na="null", drop_id=True))
    return {"type": "FeatureCollection", "features": collection["features"]}


def _qualified(media_type: str, content: Any) -> Any:
    """A value with its media type, of the standard's schema qualifiedInputValue."""
    if isinstance(content, bytes):
        if media_type == "application/json":
            return json.loads(content)
        if media_type.startswith("text/") or media_type in ("application/toml", "image/svg+xml"):
            return {"value": content.decode("utf-8"), "mediaType": media_type}
        return {"value": base64.b64encode(content).decode(), "encoding": "base64", "mediaType": media_type}
    return {"value": content, "mediaType": media_type}
