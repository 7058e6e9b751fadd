"""All layers by name, in the order in which the docs tell of them."""

from __future__ import annotations

from hillsight.schema.batch import BATCH_LAYERS
from hillsight.schema.cameras import CAMERA_LAYERS
from hillsight.schema.columns import Layer
from hillsight.schema.exercise import EXERCISE_LAYERS
from hillsight.schema.ground import GROUND_LAYERS
from hillsight.schema.landforms import LANDFORM_LAYERS
from hillsight.schema.panorama import PANORAMA_LAYERS
from hillsight.schema.picking import PICKING_LAYERS
from hillsight.schema.posts import POSTS_LAYERS
from hillsight.schema.search import SEARCH_LAYERS
from hillsight.schema.section import PROFILE_LAYERS
from hillsight.schema.things import THING_LAYERS
from hillsight.schema.verdict import VERDICT_LAYERS

LAYERS: dict[str, Layer] = {
    layer.name: layer
    for layer in (
        *GROUND_LAYERS,
        *THING_LAYERS,
        *LANDFORM_LAYERS,
        *PROFILE_LAYERS,
        *PANORAMA_LAYERS,
        *VERDICT_LAYERS,
        *PICKING_LAYERS,
        *CAMERA_LAYERS,
        *SEARCH_LAYERS,
        *EXERCISE_LAYERS,
        *POSTS_LAYERS,
        *BATCH_LAYERS,
    )
}
