"""The house colours: declared once for pictures and for the styles of map layers.

Chosen here so that the states of ground keep apart under the three kinds of colour blindness and, by their
lightness alone, in grey print: visible is lightest, then unknown, uncertain, hidden. The tests hold both.
"""

from __future__ import annotations

PAPER = "#FDFBF5"  # page, halos of labels, hollow marks
INK = "#14121A"  # letters, skyline, outlines

# States of ground, from light to dark.
VISIBLE = "#F3DF9B"  # straw
UNKNOWN = "#B9B4C4"  # ash lilac
UNCERTAIN = "#C2703D"  # rust
HIDDEN = "#34406B"  # slate blue

# Dead ground by depth, shallow to deep: slate blue from pale to dark.
DEPTHS = ("#A9B8D8", "#7389BC", "#455A93", "#1F2850")

# Lines where ground turns out of view; the skyline is ink.
BROW = "#8E1F5C"  # bilberry
CREST = "#449A86"  # lichen green

# Map features by the trust they deserve.
GROUND_SHAPE = "#432509"  # peat
WATER = "#2360A8"
MAN_MADE = "#C4503F"  # brick
UNCLASSED = "#777482"

# Backdrop of pictures.
CONTOUR = "#6F5133"
CONTOUR_NAME = "#6E5638"
BLANK = "#FFFFFF"
LAND = "#E9E3D2"  # ground below the skyline: paper, a shade darker

# Small print, leaders, and names on water, dark enough to read.
QUIET = "#4A4756"
LEADER = "#6C6878"
WATER_NAME = "#1D5288"
WATER_PALE = "#B9CDE6"  # the middle of rivers

# Landforms, besides ridges (peat) and valley lines (water). Kinds of lines differ in pattern too.
SPUR = "#C57800"  # bracken
RE_ENTRANT = "#009D5E"  # moss
BREAK = "#893769"  # heather
LEVEL = "#B2C170"  # pasture
LEVEL_EDGE = "#5F6E26"
STEEP = ("#EDCDCC", "#D18F8E", "#9E5452", "#612827")  # red rock, from gentle to steep

STATES = {"visible": VISIBLE, "unknown": UNKNOWN, "uncertain": UNCERTAIN, "hidden": HIDDEN}
CREST_ROLES = {"skyline": INK, "brow": BROW, "crest": CREST}
EVIDENCE_CLASSES = {
    "ground_shape": GROUND_SHAPE,
    "water": WATER,
    "man_made": MAN_MADE,
    "unclassed": UNCLASSED,
}

LANDFORM_LINES = {
    "ridges": GROUND_SHAPE,
    "valley_lines": WATER,
    "spurs": SPUR,
    "re_entrants": RE_ENTRANT,
    "breaks_of_slope": BREAK,
}

ALL_COLOURS = frozenset(
    {PAPER, INK, *STATES.values(), *DEPTHS, *CREST_ROLES.values(), *EVIDENCE_CLASSES.values(), CONTOUR}
    | {*LANDFORM_LINES.values(), LEVEL, LEVEL_EDGE, *STEEP}
)

# Drawn views: ground from shade to full light, haze and sky, what covers the ground.
VIEW_SHADE = "#35374B"  # slate
VIEW_GROUND = "#BDB18F"  # dry grass
VIEW_LIGHT = "#FCF4DC"  # cream
VIEW_HAZE = "#DCE3EB"
VIEW_SKY = "#BCCDE0"
VIEW_WOODS = "#7E8C62"
VIEW_WATER = "#86ABCB"
