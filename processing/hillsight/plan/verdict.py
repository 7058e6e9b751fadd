"""What is found about a sighting, for files and pages: candidates, arguments, changes, the next question."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import shapely

    from hillsight.plan.statement import Sighting, Statement


NONE_OF_THESE = "none of these"
"""What the answer that is no candidate is called."""


@dataclass(frozen=True)
class Fact:
    """What a place shows of a matter that a statement or question is about.

    words : a clause without its subject's place, such as "the ground turns out of view at about 60 m"
    figure, unit : the figure it rests on; None where it rests on none
    geometry : in the terrain's grid, what it is about; None where there is nothing
    bearing_true_deg : where it lies from the place; None all round
    agrees : 0 to 1, how well the statement fits there; nan for a question
    absent : whether the thing does not show, and the words say why
    word : the answer of a sighting file that the words stand for; empty where it is hard to tell, or where
        the words are a figure
    """

    words: str
    figure: float | None = None
    unit: str = ""
    geometry: shapely.Geometry | None = None
    bearing_true_deg: float | None = None
    agrees: float = float("nan")
    absent: bool = False
    word: str = ""


@dataclass(frozen=True)
class Argument:
    """One statement weighed.

    number : in the sighting's order, from 1
    says : the statement in plain words
    evidence_class : ground_shape, water, unclassed or man_made
    role : decides, supports, against or tells_nothing, of the best candidate against the next
    times : how many times likelier it makes the best candidate than the next one; below 1 it speaks against
    sentence : the argument as an instructor would put it
    facts : of every candidate, in their order
    """

    number: int
    statement: Statement
    says: str
    evidence_class: str
    role: str
    times: float
    sentence: str
    facts: tuple[Fact, ...]


@dataclass(frozen=True)
class Weighed:
    """One candidate.

    prior : probability before anything was said; with that of none of them all priors add up to one
    probability : that the picture was taken there
    by_ground : the same without man-made features
    looks_true_deg, looks_plus_minus_deg : direction that fits best, and one standard deviation
    """

    station: str
    easting_m: float
    northing_m: float
    ground_height_m: float
    eye_level_m: float
    prior: float
    probability: float
    by_ground: float
    looks_true_deg: float
    looks_plus_minus_deg: float
    rank: int


@dataclass(frozen=True)
class Change:
    """What would become of the verdict if something were otherwise.

    about : what is changed, in words
    state : the verdict then
    station : the best candidate then
    probability : its probability then
    changes : whether the state or the best candidate is another
    none_probability : that it is none of them, then
    """

    about: str
    state: str
    station: str
    probability: float
    changes: bool
    none_probability: float = 0.0


@dataclass(frozen=True)
class NextQuestion:
    """An observation worth making next.

    part : where in the picture to look
    information_bits : expected information about the candidate
    expected : for each of the two likeliest candidates, its label and the likeliest answer in words
    """

    text: str
    part: str
    information_bits: float
    expected: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class MeasuredFit:
    """How what was measured on the photograph fits one candidate, camera and place summed over.

    times : how many times likelier it makes the best candidate than this one; 1 at the best itself
    heading_true_deg, tilt_deg, roll_deg, width_deg : of the camera that fits best; width between the sides
    *_plus_minus_deg : one standard deviation of each
    misfit_deg, misfit_px : root mean square of what the trace is off where the sky's edge is in view
    hidden_share : share of the trace that lies on something before the sky's edge
    bearing_true_deg, traced_deg, expected_deg : (n,) the trace as that camera has it: bearing, vertical
        angle, and that of the sky's edge there
    sentence : the same in plain words
    """

    station: str
    times: float
    heading_true_deg: float
    heading_plus_minus_deg: float
    tilt_deg: float
    tilt_plus_minus_deg: float
    roll_deg: float
    roll_plus_minus_deg: float
    width_deg: float
    width_plus_minus_deg: float
    misfit_deg: float
    misfit_px: float
    hidden_share: float
    sentence: str
    bearing_true_deg: tuple[float, ...] = ()
    traced_deg: tuple[float, ...] = ()
    expected_deg: tuple[float, ...] = ()


@dataclass(frozen=True)
class MeasuredEvidence:
    """What was measured on the photograph, as evidence.

    photograph : its file's name; says : what was measured, in words; lens : how its width is known
    fits : of the candidates, in their order
    set_aside : statements that were not counted, as the same was measured, in words
    """

    photograph: str
    says: str
    lens: str
    fits: tuple[MeasuredFit, ...]
    set_aside: tuple[str, ...] = ()


@dataclass(frozen=True)
class Verdict:
    """The whole answer.

    state : decided, undecided or none_fits
    candidates : in the order given; see ``best``
    none_probability : that the picture is from none of them
    ratio_to_next : how many times likelier the best is than the next; inf for one alone
    arguments : in order of trust and strength, those that speak against last
    headline : the verdict in a sentence; summary : a few more
    cautions : plain sentences
    decide_from : probability from which a candidate was decided for
    argued_against : the answer that the likeliest candidate is argued against, which may be none of these
    measured : what was measured on the photograph; None where nothing was
    """

    state: str
    sighting: Sighting
    candidates: tuple[Weighed, ...]
    none_probability: float
    ratio_to_next: float
    arguments: tuple[Argument, ...]
    headline: str
    changes: tuple[Change, ...] = ()
    questions: tuple[NextQuestion, ...] = ()
    cautions: tuple[str, ...] = field(default=())
    decide_from: float = 0.95
    argued_against: str = NONE_OF_THESE
    measured: MeasuredEvidence | None = None

    @property
    def best(self) -> Weighed:
        """The likeliest candidate."""
        return max(self.candidates, key=lambda one: one.probability)

    @property
    def next(self) -> Weighed | None:
        """The next likeliest; None where there is one alone."""
        ordered = sorted(self.candidates, key=lambda one: -one.probability)
        return ordered[1] if len(ordered) > 1 else None
