"""What many eyes see of one surface: shared maxima, eyes spread over the cores, results one by one."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from threading import Lock, local
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.threads import budget, workers
from hillsight.sight.answers import Answers
from hillsight.sight.field import FieldOfView
from hillsight.sight.octants import Window
from hillsight.sight.posts import GroundToSweep, answer, light_for

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from concurrent.futures import Future

    from numpy.typing import NDArray

    from hillsight.arrays import Bytes, Floats, Floats32
    from hillsight.ground.grid import Surface
    from hillsight.sight.maxima import Maxima
    from hillsight.sight.viewing import Eye

#: Results that may wait to be taken, beside those in hand; they bound the memory.
_WAITING = 2

_NO_VALUES = np.empty(0, np.float32)
_VISIBLE = np.uint8(3)


@dataclass(frozen=True)
class WindowSight:
    """What one of many eyes sees, on the part of the lattice that its field reaches.

    window : where the arrays lie on the surface's lattice
    states : (targets, rows, columns) uint8 codes of GroundState
    clearance_m, crest_distance_m, light : (rows, columns) float32 as in PostSight, for the first target;
        empty if not asked for; light comes with clearance, where anything stands on the ground
    """

    window: Window
    states: Bytes
    clearance_m: Floats32
    crest_distance_m: Floats32
    light: Floats32


@dataclass(frozen=True)
class Asked:
    """What one of many eyes is asked.

    target_heights_m : metres above the ground, of the states; the first is that of clearance
    """

    eye: Eye
    field: FieldOfView
    target_heights_m: tuple[float, ...] = (0.0,)


def see_many(
    surface: Surface,
    eyes: Iterable[Eye],
    field: FieldOfView | float,
    target_heights_m: Floats | list[float] | float = 0.0,
    *,
    clearance: bool = False,
    crests: bool = False,
    maxima: Maxima | None = None,
) -> Iterator[WindowSight]:
    """The views of many eyes, in their order, each as soon as it and those before it are done.

    Only a few views are held at a time, however many eyes there are; whoever takes them decides what to
    keep. Answers are those of see_posts and see_states, bit for bit.

    Parameters
    ----------
    eyes : may be endless; they are taken as they are needed
    clearance, crests : which values to work out beside the states
    """
    field = field if isinstance(field, FieldOfView) else FieldOfView(field)
    heights = tuple(float(height_m) for height_m in np.atleast_1d(target_heights_m))
    asked = (Asked(eye, field, heights) for eye in eyes)
    yield from see_each(surface, asked, clearance=clearance, crests=crests, maxima=maxima)


def see_each(
    surface: Surface,
    asked: Iterable[Asked],
    *,
    clearance: bool = False,
    crests: bool = False,
    maxima: Maxima | None = None,
) -> Iterator[WindowSight]:
    """As :func:`see_many`, each eye with a field of view and target heights of its own."""
    ground = GroundToSweep.of(surface, maxima)

    def view(one: Asked) -> WindowSight:
        window = one.field.window(surface.grid, one.eye)
        posts = window.rows * window.columns
        heights = np.asarray(one.target_heights_m, np.float64)
        answers = Answers(
            window,
            np.empty((heights.size, posts), np.uint8),
            np.empty(posts if clearance or crests else 0, np.float32),
            np.empty(posts if crests else 0, np.float32),
        )
        light = light_for(surface, answers.clearance_m.size)
        answer(ground, one.eye, one.field, heights, answers, light)
        shape = (window.rows, window.columns)
        return WindowSight(
            window,
            answers.states.reshape(heights.size, *shape),
            answers.clearance_m.reshape(shape if clearance or crests else (0, 0)),
            answers.crest_distance_m.reshape(shape if crests else (0, 0)),
            light.reshape(shape if light.size else (0, 0)),
        )

    yield from _in_order(view, asked)


def count_visible(
    surface: Surface,
    eyes: Iterable[Eye],
    field: FieldOfView | float,
    target_height_m: float = 0.0,
    progress: Callable[[int], None] | None = None,
    *,
    maxima: Maxima | None = None,
) -> NDArray[np.uint32]:
    """How many of the eyes see each post, (rows, columns) uint32; no view is kept.

    progress : called with the number of eyes done, from the calling thread
    """
    field = field if isinstance(field, FieldOfView) else FieldOfView(field)
    ground = GroundToSweep.of(surface, maxima)
    heights = np.array([target_height_m], np.float64)
    total = np.zeros(surface.height_m.shape, np.uint32)
    one_at_a_time, own = Lock(), local()

    def view(eye: Eye) -> None:
        window = field.window(surface.grid, eye)
        posts = window.rows * window.columns
        # In whole words of eight posts, for a quick look at what there is to count.
        words = -(-posts // 8)
        if not hasattr(own, "words") or own.words.size < words:
            own.words = np.empty(words, np.uint64)
        every = own.words[:words].view(np.uint8)
        every[posts:] = 0
        states = every[:posts].reshape(1, posts)
        answers = Answers(window, states, _NO_VALUES, _NO_VALUES)
        answer(ground, eye, field, heights, answers, _NO_VALUES)
        with one_at_a_time:
            _add_visible(own.words[:words], every, window, total)

    for done, _ in enumerate(_in_order(view, eyes), 1):
        if progress is not None:
            progress(done)
    return total


@compiled
def _add_visible(words: NDArray[np.uint64], states: Bytes, window: Window, total: NDArray[np.uint32]) -> None:
    """Count the visible posts of a window.

    words, states : the same bytes, (posts of the window,) filled up to whole words
    """
    # VISIBLE has this bit; of the other states only UNCERTAIN does, which cover alone makes.
    visible = np.uint64(0x0202020202020202)
    row, row_start = 0, 0
    for k in range(words.size):
        if words[k] & visible != 0:
            for place in range(8 * k, 8 * k + 8):
                if states[place] == _VISIBLE:
                    while place >= row_start + window.columns:
                        row += 1
                        row_start += window.columns
                    total[window.row + row, window.column + place - row_start] += np.uint32(1)


def _in_order[Given, Found](work: Callable[[Given], Found], eyes: Iterable[Given]) -> Iterator[Found]:
    """Do the work for several eyes at a time and give the results in the eyes' order."""
    threads = budget()
    waiting: deque[Future[Found]] = deque()
    with workers(threads) as pool:
        for eye in eyes:
            waiting.append(pool.submit(work, eye))
            if len(waiting) >= (1 if threads == 1 else threads + _WAITING):
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
