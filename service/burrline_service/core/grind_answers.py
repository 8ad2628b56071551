"""The record of how far a burr set has broken in, with all it rests on.

Limits are two-sided 95 % unless a name says otherwise; what is not known is None.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING

from .entered import Checkpoint
from .replicates import Difference
from .settling_curve import CurvePoint
from .settling_measures import Limits
from .stages import StageChange

if TYPE_CHECKING:
    from .stream_answers import StreamAnswer

UNKNOWN = Limits(None, None, None)


@dataclass(frozen=True)
class Said:
    """Something to know, as a code for a program and as a sentence for a person."""

    code: str
    sentence: str


@dataclass(frozen=True)
class ResponseAnswer:
    """One response of the grind: D50 in micrometres, or fines as a fraction.

    ``least_to_come`` and ``most_to_come`` are the one-sided 95 % bounds that the verdict rests on;
    ``is_judged`` says that this response is part of the verdict.
    """

    is_judged: bool = False
    start: Limits = UNKNOWN
    settled: Limits = UNKNOWN
    remaining: Limits = UNKNOWN
    change: Limits = UNKNOWN
    least_to_come_response: float | None = None
    most_to_come_response: float | None = None
    smallest_change_response: float | None = None
    sitting_sd_response: float | None = None
    sitting_basis: str | None = None
    dose_sd_response: float | None = None


@dataclass(frozen=True)
class FitAnswer:
    """The curve ``y(m) = settled + (start - settled) exp(-m / tau)`` through the checkpoints."""

    tau_grams: Limits = UNKNOWN
    settles_at_grams: Limits = UNKNOWN
    d50_micrometres: ResponseAnswer = field(default_factory=ResponseAnswer)
    fines_fraction: ResponseAnswer = field(default_factory=ResponseAnswer)


@dataclass(frozen=True)
class PriorAnswer:
    """What is believed of such burrs before this set is measured.

    ``measured_set_count`` is how many other sets of the same model that rests on, 0 where it is a
    rule of thumb for the shape and size.
    """

    class_name: str
    measured_set_count: int
    tau_grams: Limits
    enough_grams: float


@dataclass(frozen=True)
class ForecastAnswer:
    """Prior and checkpoints together; ``response`` is None while it is the prior alone."""

    prior: PriorAnswer
    checkpoint_count: int
    response: str | None
    tau_grams: Limits
    settles_at_grams: Limits
    remaining_grams: Limits
    settled_probability: float | None
    is_prior_conflict: bool


@dataclass(frozen=True)
class ComparedAnswer:
    """What changed since the checkpoint before, in one response."""

    response: str
    before_checkpoint_id: str
    difference: Difference | None
    reason: Said | None
    sentence: str


@dataclass(frozen=True)
class CheckpointAnswer:
    """A checkpoint as the verdict sees it."""

    checkpoint: Checkpoint
    is_joined: bool
    left_out: tuple[Said, ...]
    compared: tuple[ComparedAnswer, ...]


@dataclass(frozen=True)
class CurveAnswer:
    """Points on the fitted curve with its band, for drawing."""

    d50_micrometres: tuple[CurvePoint, ...] = ()
    fines_fraction: tuple[CurvePoint, ...] = ()


@dataclass(frozen=True)
class BreakInAnswer:
    """How far the burr set that is in a grinder has broken in."""

    grinder_id: str
    burr_set_id: str | None
    as_of: datetime
    stage: str
    basis: str
    verdict: str
    sentence: str
    findings: tuple[str, ...]
    settled_at: datetime | None
    burr_grams: float | None
    total_burr_grams: float | None
    low_remaining_grams: float | None
    remaining_grams: float | None
    high_remaining_grams: float | None
    next_checkpoint_grams: float | None
    rated_life_grams: float | None
    fit: FitAnswer
    forecast: ForecastAnswer | None
    checkpoints: tuple[CheckpointAnswer, ...]
    curve: CurveAnswer
    cautions: tuple[Said, ...]
    changes: tuple[StageChange, ...]
    stream: StreamAnswer | None = None
