"""What the viewshed script is asked for: field of view, target heights and which rasters."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from hillsight.errors import CallError
from hillsight.scripts.trust_options import uncertain_limits
from hillsight.sight.field import FieldOfView
from hillsight.sight.viewing import Viewing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from hillsight.reading.doubt.trust import Limits


@dataclass(frozen=True)
class Asked:
    """What is asked of each station.

    Parameters
    ----------
    viewing : heights, reach, refraction; its target height is the first
    target_heights_m : metres above the ground, none twice
    inner_m : metres on the grid, ground nearer is not answered for
    from_bearing_deg, to_bearing_deg : sector, degrees from true north, clockwise; None for all round
    depth : whether to tell how deep hidden ground lies
    count : whether to write one raster for all stations together in place of theirs
    limits : probabilities of being seen between which a post is uncertain; None for no probabilities
    """

    viewing: Viewing
    target_heights_m: tuple[float, ...]
    inner_m: float
    from_bearing_deg: float
    to_bearing_deg: float | None
    depth: bool
    count: bool
    limits: Limits | None = None

    @classmethod
    def of(cls, given: Mapping[str, Any]) -> Asked:
        """From the options of the script.

        Raises
        ------
        CallError : an option out of its bounds, or two that do not go together
        """
        heights_m = tuple(dict.fromkeys(given["target_height"]))
        viewings = [
            Viewing(given["eye_height"], height_m, given["reach"], given["refraction"])
            for height_m in heights_m
        ]
        inner_m, reach_m = given["inner_distance"], given["reach"]
        if inner_m < 0:
            raise CallError(f"--inner-distance is {inner_m:g} m", remedy="Give a distance of 0 or more")
        if inner_m >= reach_m:
            raise CallError(
                f"--inner-distance {inner_m:g} m leaves no ground within --reach {reach_m:g} m",
                remedy="Give an inner distance below the reach",
            )
        from_deg, to_deg = given["from_bearing"], given["to_bearing"]
        for option, bearing in (("--from-bearing", from_deg), ("--to-bearing", to_deg)):
            check_bearing(option, bearing)
        if to_deg is None and from_deg != 0.0:
            raise CallError(
                f"--from-bearing {from_deg:g} begins a sector that has no end", remedy="Give --to-bearing too"
            )
        if to_deg is not None and from_deg == to_deg:
            raise CallError(
                f"the sector from bearing {from_deg:g} to {to_deg:g} holds no ground",
                remedy="Give two bearings, or none to look all round",
            )
        if given["count"] and given["only_states"]:
            raise CallError(
                "--count writes one raster in place of each station's, and --only-states asks for theirs",
                remedy="Leave one of them out",
            )
        if given["probability"] and (given["count"] or len(heights_m) > 1):
            raise CallError(
                "--probability is worked out for each station and one target height",
                remedy="Leave --count out, and give one --target-height",
            )
        depth = not (given["only_states"] or given["count"])
        limits = uncertain_limits(given) if given["probability"] else None
        return cls(viewings[0], heights_m, inner_m, from_deg, to_deg, depth, given["count"], limits)

    @property
    def field_words(self) -> str:
        """The field of view for the summary; empty if it is all within the reach."""
        words = []
        if self.inner_m > 0:
            words.append(f"From {self.inner_m:,.0f} to {self.viewing.reach_m:,.0f} m")
        if self._is_sector:
            words += [] if words else [f"Within {self.viewing.reach_m:,.0f} m"]
            words.append(f"between bearings {self.from_bearing_deg:g} and {self.to_bearing_deg:g}")
        return ", ".join(words)

    @property
    def _is_sector(self) -> bool:
        return (
            self.to_bearing_deg is not None and (self.to_bearing_deg - self.from_bearing_deg) % 360.0 != 0.0
        )

    def field(self, convergence_deg: float) -> FieldOfView:
        """The field of view of a station, its bearings counted from grid north there.

        convergence_deg : true bearing of grid north at the station
        """
        reach_m = self.viewing.reach_m
        if self.to_bearing_deg is None or not self._is_sector:
            return FieldOfView(reach_m, self.inner_m)
        sides = (self.from_bearing_deg - convergence_deg, self.to_bearing_deg - convergence_deg)
        return FieldOfView(reach_m, self.inner_m, *sides)


def check_bearing(option: str, bearing_deg: float | None) -> None:
    """Refuse what is no bearing.

    Raises
    ------
    CallError : beyond a full turn
    """
    if bearing_deg is not None and not -360 <= bearing_deg <= 360:
        raise CallError(f"{option} is {bearing_deg:g}", remedy="Give degrees from true north, 0 to 360")
