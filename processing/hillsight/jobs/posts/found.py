"""What was found of a plan of posts, as layers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from hillsight.layers import posts_frames as frames_of
from hillsight.plan.posts.limits import open_shares, slope_at_deg

if TYPE_CHECKING:
    from hillsight.ground.grid import Surface
    from hillsight.ground.sun import Daylight
    from hillsight.jobs.posts.places import Standing
    from hillsight.plan.posts.meeting import Meetings
    from hillsight.plan.posts.outcome import Outcome

LAYERS = (
    *("unseen_stretches", "handover_gaps", "posts", "checkpoints", "seen_stretches", "other_places"),
    *("sight_matrix", "radio_links", "relays"),
)
"""Unseen stretches come first: they are what an organiser must know."""


@dataclass(frozen=True, eq=False)
class FoundPosts:
    """What was found, before it becomes layers."""

    outcome: Outcome
    meetings: Meetings
    standing: Standing
    surface: Surface
    access: tuple[str, ...]
    light: Daylight | None

    def frames(self) -> dict[str, Any]:
        """The layers on the working grid."""
        crs, posts_found = self.surface.grid.crs, self.outcome.posts
        at = posts_found.easting_m, posts_found.northing_m
        frames = {
            "unseen_stretches": frames_of.unseen_frame(self.outcome, crs),
            "handover_gaps": frames_of.gaps_frame(self.outcome, crs),
            "posts": frames_of.posts_frame(
                self.outcome,
                [self.standing.walk_to(int(place)) for place in posts_found.place],
                self.access,
                slope_at_deg(self.surface, *at),
                open_shares(self.surface, *at),
                self.light,
                crs,
            ),
            "checkpoints": frames_of.checkpoints_frame(self.outcome, crs),
            "seen_stretches": frames_of.seen_frame(self.outcome, crs),
            "other_places": frames_of.others_frame(self.outcome, self.standing.places, crs),
            "sight_matrix": frames_of.sight_frame(self.meetings, crs),
            "radio_links": frames_of.radio_frame(self.meetings, crs),
            "relays": frames_of.relays_frame(self.meetings, crs),
        }
        return {layer: frames[layer] for layer in LAYERS}
