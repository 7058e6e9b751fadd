"""Mappings that cannot be changed and can be sent to another process."""

from __future__ import annotations

from collections.abc import Iterator, Mapping


class FrozenMapping[K, V](Mapping[K, V]):
    """A copy of a mapping that nobody can change.

    The standard library's ``types.MappingProxyType`` is only a view of a mapping, and cannot be pickled.
    """

    __slots__ = ("_items",)

    def __init__(self, items: Mapping[K, V]) -> None:
        self._items = dict(items)

    def __getitem__(self, key: K) -> V:
        return self._items[key]

    def __iter__(self) -> Iterator[K]:
        return iter(self._items)

    def __len__(self) -> int:
        return len(self._items)

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self._items!r})"
