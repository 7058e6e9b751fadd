"""Tiles the ground around a station into visible, hidden, uncertain and unknown regions with shared edges.

The edges run between the posts: on a grid line between a visible and a hidden post at the zero of the
clearance (linear), between a known and an unknown post, or beside one of which cover leaves nobody sure,
half way. Inside a square of four posts the
edges join as in marching squares (Lorensen and Cline 1987 in two dimensions, from memory), extended to
any number of classes: where three or more classes meet, they meet in one point. All regions use the
same vertices, so they tile the ground without gap or overlap.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled, inlined

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Floats, Integers

UNKNOWN, HIDDEN, VISIBLE, OUTSIDE, UNCERTAIN = 0, 1, 2, 3, 4

#: An edge keeps at least this share of a post spacing from either post, so that no sliver arises.
LEAST_SHARE = 1 / 64


@dataclass(frozen=True)
class Rings:
    """Closed boundaries of one class of ground, the class on the left (shells anticlockwise on a map).

    vertices : (n,) int64, vertex numbers in ring order, without the closing repeat; see ``Tiling.place``
    offsets : (rings + 1,) int64, where each ring starts in ``vertices``
    pieces : (rings,) int64, the connected piece of ground each ring bounds: a shell and its holes share it
    """

    vertices: Integers
    offsets: Integers
    pieces: Integers


@dataclass(frozen=True)
class Tiling:
    """Classes of the posts of a window, framed by OUTSIDE, with the connected pieces they form.

    classes : (rows + 2, columns + 2) uint8; one ring of OUTSIDE posts around the window
    clearance : (rows + 2, columns + 2) float64, metres, finite
    pieces : (rows + 2, columns + 2) int64, number of the connected piece of each post
    """

    classes: Bytes
    clearance: Floats
    pieces: Integers
    _found: dict[int, Rings] = field(default_factory=dict, init=False, repr=False, compare=False)

    @classmethod
    def of(cls, classes: Bytes, clearance_m: Floats) -> Tiling:
        """Tile a window.

        Parameters
        ----------
        classes : (rows, columns) of UNKNOWN, HIDDEN, VISIBLE, UNCERTAIN
        clearance_m : (rows, columns), finite where the class is HIDDEN (< 0) or VISIBLE (>= 0)
        """
        framed = np.pad(classes, 1, constant_values=OUTSIDE)
        values = np.pad(np.where(classes == UNKNOWN, 0.0, clearance_m), 1)
        return cls(framed, values, _pieces(framed, values))

    def rings(self, of_class: int) -> Rings:
        """Boundaries of all pieces of a class, in the order of their first post from the north-west.

        Traced once: crest lines and pockets run along the same rings.
        """
        if of_class not in self._found:
            self._found[of_class] = self._traced(of_class)
        return self._found[of_class]

    def _traced(self, of_class: int) -> Rings:
        after = _successors(self.classes, self.clearance, of_class)
        vertices, offsets = _trace(after)
        rows, columns = self.classes.shape
        first = vertices[offsets[:-1]]
        row, column, south = _edge_post(first, rows, columns)
        other_row, other_column = row + south, column + (1 - south)
        inside = self.classes[row, column] == of_class
        pieces = np.where(inside, self.pieces[row, column], self.pieces[other_row, other_column])
        return Rings(vertices, offsets, pieces)

    def edge_posts(self, vertices: Integers) -> tuple[Integers, Integers, Integers, Integers]:
        """Row and column of the two posts of each vertex's edge, in window indices.

        For a meeting point inside a square both are its north-western post.
        """
        rows, columns = self.classes.shape
        row, column, south = _edge_post(vertices, rows, columns)
        middle = vertices >= 2 * rows * columns
        other_row = np.where(middle, row, row + south)
        other_column = np.where(middle, column, column + 1 - south)
        return row - 1, column - 1, other_row - 1, other_column - 1

    def place(self, vertices: Integers) -> tuple[Floats, Floats]:
        """Fractional row and column of vertices, in window indices."""
        row, column = _places(vertices, self.classes, self.clearance)
        return row - 1.0, column - 1.0


def _edge_post(vertices: Integers, rows: int, columns: int) -> tuple[Integers, Integers, Integers]:
    """Row and column of the first post of a vertex's edge, and 1 if the edge runs south, 0 if east."""
    size = rows * columns
    post = vertices % size
    return post // columns, post % columns, ((vertices // size) == 1).astype(np.int64)


@inlined
def _share(class_a: int, class_b: int, value_a: float, value_b: float) -> float:
    """Where, from post a (0) to post b (1), the edge between their classes lies."""
    if class_a * class_b == HIDDEN * VISIBLE:
        share = value_a / (value_a - value_b)
        return min(max(share, LEAST_SHARE), 1.0 - LEAST_SHARE)
    return 0.5


@inlined
def _joined(a: int, b: int, c: int, d: int, mean: float) -> int:
    """Class that joins across a square with corners a, b, c, d in order, all four edges cut; -1 if none."""
    if a == c and b == d:
        if a * b == HIDDEN * VISIBLE:
            return VISIBLE if mean >= 0.0 else HIDDEN
        return min(a, b)
    if a == c:
        return a
    if b == d:
        return b
    return -1


@compiled
def _find(parent: Integers, i: int) -> int:
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@compiled
def _union(parent: Integers, i: int, j: int) -> None:
    a, b = _find(parent, i), _find(parent, j)
    if a < b:
        parent[b] = a
    elif b < a:
        parent[a] = b


@compiled
def _pieces(classes: Bytes, values: Floats) -> Integers:
    """Number the connected pieces in the order of their first post from the north-west."""
    rows, columns = classes.shape
    parent = np.arange(rows * columns)
    for r in range(rows):
        for c in range(columns):
            if c + 1 < columns and classes[r, c] == classes[r, c + 1]:
                _union(parent, r * columns + c, r * columns + c + 1)
            if r + 1 < rows and classes[r, c] == classes[r + 1, c]:
                _union(parent, r * columns + c, (r + 1) * columns + c)
            if r + 1 < rows and c + 1 < columns:
                a, b, d, e = classes[r, c], classes[r + 1, c], classes[r + 1, c + 1], classes[r, c + 1]
                if a != b and b != d and d != e and e != a:
                    mean = (values[r, c] + values[r + 1, c] + values[r + 1, c + 1] + values[r, c + 1]) / 4
                    joined = _joined(a, b, d, e, mean)
                    if a == d == joined:
                        _union(parent, r * columns + c, (r + 1) * columns + c + 1)
                    elif b == e == joined:
                        _union(parent, (r + 1) * columns + c, r * columns + c + 1)
    number = np.full(rows * columns, -1, np.int64)
    pieces = np.empty((rows, columns), np.int64)
    count = 0
    for i in range(rows * columns):
        root = _find(parent, i)
        if number[root] < 0:
            number[root] = count
            count += 1
        pieces[i // columns, i % columns] = number[root]
    return pieces


@compiled
def _successors(classes: Bytes, values: Floats, of_class: int) -> Integers:
    """For each vertex on the boundary of a class, the next vertex with the class on the left; else -1.

    Vertices are numbered: east-going edge of post (r, c) r * columns + c; south-going edge one grid size
    on; the meeting point of the square south-east of the post two grid sizes on.
    """
    rows, columns = classes.shape
    size = rows * columns
    after = np.full(3 * size, -1, np.int64)
    corner = np.empty(4, np.int64)
    edge = np.empty(4, np.int64)
    for r in range(rows - 1):
        for c in range(columns - 1):
            # Anticlockwise on a map: north-west, south-west, south-east, north-east.
            corner[0], corner[1] = classes[r, c], classes[r + 1, c]
            corner[2], corner[3] = classes[r + 1, c + 1], classes[r, c + 1]
            if corner[0] == corner[1] == corner[2] == corner[3]:
                continue
            inside = 0
            for q in range(4):
                inside += corner[q] == of_class
            if inside == 0 or inside == 4:
                continue
            edge[0], edge[1] = size + r * columns + c, (r + 1) * columns + c
            edge[2], edge[3] = size + r * columns + c + 1, r * columns + c
            cuts = 0
            for q in range(4):
                cuts += corner[q] != corner[(q + 1) % 4]
            middle = -1
            across = False
            if cuts == 3:
                middle = 2 * size + r * columns + c
            elif cuts == 4:
                mean = (values[r, c] + values[r + 1, c] + values[r + 1, c + 1] + values[r, c + 1]) / 4
                joined = _joined(corner[0], corner[1], corner[2], corner[3], mean)
                if joined < 0:
                    middle = 2 * size + r * columns + c
                across = joined == of_class
            for q in range(4):
                if corner[q] != of_class or corner[(q + 1) % 4] == of_class:
                    continue
                # Leaves the class through edge q; comes back through the next or its own run's first edge.
                back = q
                if across:
                    back = (q + 1) % 4
                    while not (corner[back] != of_class and corner[(back + 1) % 4] == of_class):
                        back = (back + 1) % 4
                else:
                    while corner[back] == of_class:
                        back = (back + 3) % 4
                if middle >= 0:
                    after[edge[q]] = middle
                    after[middle] = edge[back]
                else:
                    after[edge[q]] = edge[back]
    return after


@compiled
def _trace(after: Integers) -> tuple[Integers, Integers]:
    """Follow successors into rings, each starting at its lowest vertex number, which lies on an edge."""
    total = 0
    for i in range(after.size):
        total += after[i] >= 0
    vertices = np.empty(total, np.int64)
    offsets = np.empty(total + 1, np.int64)
    done = np.zeros(after.size, np.bool_)
    filled, rings = 0, 0
    offsets[0] = 0
    for start in range(after.size):
        if after[start] < 0 or done[start]:
            continue
        i = start
        while not done[i]:
            done[i] = True
            vertices[filled] = i
            filled += 1
            i = after[i]
        rings += 1
        offsets[rings] = filled
    return vertices, offsets[: rings + 1].copy()


@compiled
def _places(vertices: Integers, classes: Bytes, values: Floats) -> tuple[Floats, Floats]:
    rows, columns = classes.shape
    size = rows * columns
    row, column = np.empty(vertices.size), np.empty(vertices.size)
    for i in range(vertices.size):
        kind, post = vertices[i] // size, vertices[i] % size
        r, c = post // columns, post % columns
        if kind == 0:
            row[i] = r
            column[i] = c + _share(classes[r, c], classes[r, c + 1], values[r, c], values[r, c + 1])
        elif kind == 1:
            row[i] = r + _share(classes[r, c], classes[r + 1, c], values[r, c], values[r + 1, c])
            column[i] = c
        else:
            # The mean of the cuts of the square's edges lies inside it.
            total_r, total_c, cuts = 0.0, 0.0, 0
            if classes[r, c] != classes[r, c + 1]:
                total_r += r
                total_c += c + _share(classes[r, c], classes[r, c + 1], values[r, c], values[r, c + 1])
                cuts += 1
            if classes[r + 1, c] != classes[r + 1, c + 1]:
                total_r += r + 1
                total_c += c + _share(
                    classes[r + 1, c], classes[r + 1, c + 1], values[r + 1, c], values[r + 1, c + 1]
                )
                cuts += 1
            if classes[r, c] != classes[r + 1, c]:
                total_r += r + _share(classes[r, c], classes[r + 1, c], values[r, c], values[r + 1, c])
                total_c += c
                cuts += 1
            if classes[r, c + 1] != classes[r + 1, c + 1]:
                total_r += r + _share(
                    classes[r, c + 1], classes[r + 1, c + 1], values[r, c + 1], values[r + 1, c + 1]
                )
                total_c += c + 1
                cuts += 1
            row[i], column[i] = total_r / cuts, total_c / cuts
    return row, column
