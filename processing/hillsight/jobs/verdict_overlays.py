"""For a verdict's report: the photograph laid over what each of the likeliest candidates sees."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.jobs.marked_picture import open_photograph
from hillsight.jobs.outputs import named
from hillsight.jobs.overlays import overlay_page
from hillsight.plan.picture.camera import Camera, Lens
from hillsight.plan.picture.marks import Marks
from hillsight.sheets.picture.overlay import OverlayThings
from hillsight.sight.viewing import Viewing

if TYPE_CHECKING:
    from hillsight.jobs.requests import RelocateRequest
    from hillsight.jobs.scene import Scene
    from hillsight.plan.relocation.relocation import Relocation
    from hillsight.sheets.paper.page import Page

#: Candidates that get a picture, the likeliest first.
_MOST = 4


def verdict_overlays(request: RelocateRequest, scene: Scene, found: Relocation) -> dict[str, Page]:
    """Pages by the candidate's label, likeliest first; none where nothing was measured.

    Raises
    ------
    HillsightError : the photograph or its marks cannot be read again
    """
    measured = found.verdict.measured
    if measured is None or request.photo is None or request.marks is None:
        return {}
    photograph = open_photograph(request.photo, request.most_megapixels)
    marks = Marks.read(request.marks)
    traces = [np.column_stack((line.x_px, line.y_px)) for line in (*marks.skyline, *marks.brow)]
    fits = {one.station: one for one in measured.fits}
    glances = {glance.label: glance for glance in found.glances}
    stations = {station.label: station for station in scene.inputs.stations}
    viewing = Viewing(request.eye_height, 0.0, 1.0, request.refraction)
    drawn = {}
    for one in sorted(found.verdict.candidates, key=lambda one: -one.probability)[:_MOST]:
        fit, glance = fits.get(one.station), glances.get(one.station)
        if fit is None or glance is None:
            continue
        lens = Lens.of_width(photograph.width_px, photograph.height_px, fit.width_deg)
        heading_grid_deg = (fit.heading_true_deg - glance.convergence_deg) % 360.0
        page = overlay_page(
            photograph.array(),
            Camera(lens, heading_grid_deg, fit.tilt_deg, fit.roll_deg),
            (glance.easting_m, glance.northing_m, glance.eye_level_m),
            stations[one.station],
            scene.inputs.terrain,
            scene.inputs.features,
            viewing,
            named(request.terrain),
            [fit.sentence],
            OverlayThings(traces=traces),
        )
        drawn[one.station] = page
    return drawn
