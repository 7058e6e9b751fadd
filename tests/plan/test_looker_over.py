"""Places that lie together share one piece of terrain, unless it is more than can be held at once."""

from __future__ import annotations

import pytest

from hillsight.ground import terrain as ground_terrain
from hillsight.plan.look import looking
from hillsight.plan.look.looking import Looker
from plan.made_hills import EAST_M, NORTH_M
from plan.made_relocations import setting_of


@pytest.mark.parametrize("fewer", [0, 1, 40, 400])
def test_terrain_too_big_to_share_is_read_place_by_place(tmp_path, monkeypatch, fewer):
    held = setting_of(tmp_path).looker
    viewing = held.viewing
    east, north = [EAST_M - 200, EAST_M + 200], [NORTH_M - 200, NORTH_M + 200]

    def over() -> Looker:
        return Looker.over(held.terrain, held.geodesy, viewing, held.errors, east, north, 50.0)

    shared = over()
    assert shared.spread_m == 250.0
    posts = shared.surface(EAST_M, NORTH_M).height_m.size
    most = posts - fewer
    for module in (ground_terrain, looking):
        monkeypatch.setattr(module, "MOST_POSTS", most)
    again = over()  # never a refusal by the terrain, which counts what it reads
    if fewer:
        assert again.spread_m == 0.0
