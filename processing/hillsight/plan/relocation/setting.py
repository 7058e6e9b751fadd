"""What a sighting is weighed with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import geopandas

    from hillsight.plan.look.framing import Framing
    from hillsight.plan.look.looking import Looker
    from hillsight.plan.observer import Observer
    from hillsight.plan.picture.measuring import MarkedThings
    from hillsight.plan.picture.skyline_match import PictureSkyline
    from hillsight.plan.relocation.decision import Rules


@dataclass(frozen=True)
class Setting:
    """What a sighting is weighed with.

    things_frame : map features and landforms, as ``landform_features`` gives them
    declination_deg : None where no day is known
    elsewhere : how many places stand for none of the candidates
    elsewhere_within_m : how far about the candidates the picture may have been taken, if at none of them
    draws : of what is not known, in which each candidate is looked from; doubled up to twice where that is
        not enough
    measured : what was measured on the photograph; None where nothing was
    marked : the landmarks that were marked on it
    """

    looker: Looker
    things_frame: geopandas.GeoDataFrame
    framing: Framing
    observer: Observer
    rules: Rules
    declination_deg: float | None = None
    elsewhere: int = 360
    elsewhere_within_m: float = 2_000.0
    draws: int = 64
    measured: PictureSkyline | None = None
    marked: MarkedThings | None = None

    @property
    def spacing_m(self) -> float:
        """Spacing at which things are sampled."""
        return 2 * min(self.looker.terrain.spacing_x_m, self.looker.terrain.spacing_y_m)
