"""Terrain, features and cover that a plan or an exercise names, where the call names none."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Protocol

from hillsight.jobs.outputs import named
from hillsight.words.english import listed

if TYPE_CHECKING:
    from hillsight.errors import HillsightError


class NamesGround(Protocol):
    """A file of ours that names the ground it is about; its files lie beside it."""

    @property
    def terrain(self) -> str | None:
        """The terrain model."""

    @property
    def surface(self) -> str | None:
        """The surface model beside it."""

    @property
    def features(self) -> tuple[str, ...]:
        """Map features."""

    @property
    def cover(self) -> tuple[str, ...]:
        """Map files of what stands on the ground."""

    @property
    def source(self) -> str:
        """The file's own name."""

    def beside(self, name: str) -> str:
        """A file that it names, as it lies from its own folder."""


def with_named_cover[Request](request: Request, owner: NamesGround) -> Request:
    """The request with the surface model and the map files of cover that the owner names."""
    given: Any = request
    surface = given.surface
    if surface is None and owner.surface is not None:
        surface = owner.beside(owner.surface)
    cover = given.cover or tuple(owner.beside(name) for name in owner.cover)
    return replace(given, surface=surface, cover=cover)  # type: ignore[no-any-return]


def with_named_ground[Request](
    request: Request, owner: NamesGround, what: str, error: type[HillsightError]
) -> Request:
    """The request with all files of the ground that the owner names.

    Parameters
    ----------
    what : what the owner is, in a word; error : raised where neither names a terrain model
    """
    given: Any = request
    terrain = given.terrain
    if terrain is None and owner.terrain is not None:
        terrain = owner.beside(owner.terrain)
    if terrain is None:
        raise error(
            f"neither the {what} nor the call names a terrain model",
            where=owner.source,
            remedy="Name one",
            parameters=("terrain",),
        )
    features = given.features or tuple(owner.beside(name) for name in owner.features)
    return with_named_cover(replace(given, terrain=terrain, features=features), owner)  # type: ignore[no-any-return]


def ground_files(request: Any) -> list[Any]:
    """All that a request takes its ground from: terrain, surface model, features, cover."""
    surface = () if request.surface is None else (request.surface,)
    return [request.terrain, *surface, *request.features, *request.cover]


def ground_words(request: Any) -> str:
    """The same by name, for the line of sources at the foot of a sheet."""
    named_by = {
        "surface model": () if request.surface is None else (request.surface,),
        "features": request.features,
        "cover": request.cover,
    }
    told = [f"{what} {listed([named(one) for one in files])}" for what, files in named_by.items() if files]
    return "; ".join([f"Terrain {named(request.terrain)}", *told])
