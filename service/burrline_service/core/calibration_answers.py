"""The records of how the dial moves the grind, of two burr sets beside each other, and of cups.

Limits are two-sided 95 % unless a name says otherwise; what is not known is None.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from .entered import Checkpoint
from .grind_answers import UNKNOWN, CurveAnswer, Said
from .settling_measures import Limits
from .stream_sentences import FlowSlope as FlowSlope


@dataclass(frozen=True)
class GradedAnswer:
    """A checkpoint as the calibration sees it."""

    checkpoint: Checkpoint
    is_used: bool
    left_out: tuple[Said, ...]


@dataclass(frozen=True)
class GrindSlopeAnswer:
    """How far one step of the dial moves D50 and fines, towards the coarser side."""

    log_d50_per_setting: Limits = UNKNOWN
    d50_micrometres_per_step: Limits = UNKNOWN
    fines_fraction_per_step: Limits = UNKNOWN


@dataclass(frozen=True)
class FlowSlopeAnswer:
    """How far one step of the dial moves the flow, towards the coarser side."""

    verdict: str
    sentence: str
    log_flow_per_setting: Limits = UNKNOWN
    grams_per_second_per_step: Limits = UNKNOWN


@dataclass(frozen=True)
class ReferenceAnswer:
    """What is to be brought back: asked for, or the first checkpoint that proved it settled."""

    basis: Literal["asked", "asked_checkpoint", "settled_checkpoint", "steadied_flow"]
    checkpoint_id: str | None
    d50_micrometres: float | None
    grams_per_second: float | None = None
    flow_basis: Literal["asked", "steadied_flow"] | None = None


@dataclass(frozen=True)
class RedialAnswer:
    """The setting that brings a response back, before and after rounding to the dial's steps.

    ``steps_count`` are whole steps from ``from_setting``, towards the coarser side. ``purge_grams``
    is what to grind away after the change before the grind is the new one.
    """

    response: Literal["d50", "flow"]
    verdict: str
    sentence: str
    from_setting: float | None = None
    exact_setting: Limits = UNKNOWN
    setting: float | None = None
    steps_count: int | None = None
    purge_grams: float | None = None


@dataclass(frozen=True)
class ShiftAnswer:
    """Better, or only coarser: the break-in as steps of the dial, and what is left beside them."""

    verdict: str
    sentence: str
    from_grams: float | None = None
    to_grams: float | None = None
    equal_steps: Limits = UNKNOWN
    log_d50_change: Limits = UNKNOWN
    fines_change: Limits = UNKNOWN
    fines_change_at_equal_d50: Limits = UNKNOWN


@dataclass(frozen=True)
class LadderAnswer:
    """Three settings to measure in one sitting, in this order; the last one is the usual one."""

    settings: tuple[float, ...]
    doses_count: int
    dose_grams: float
    purge_grams: float | None
    total_grams: float | None
    sentence: str


@dataclass(frozen=True)
class CalibrationAnswer:
    """How the dial of a grinder moves its grind with the burr set that is in."""

    grinder_id: str
    burr_set_id: str | None
    as_of: datetime
    verdict: str
    sentence: str
    burr_grams: float | None
    setting: float | None
    zero_setting: float | None
    step_setting: float | None
    coarser: str | None
    grind: GrindSlopeAnswer
    flow: FlowSlopeAnswer
    reference: ReferenceAnswer | None
    redials: tuple[RedialAnswer, ...]
    break_in_shift: ShiftAnswer
    ladder: LadderAnswer | None
    checkpoints: tuple[GradedAnswer, ...]
    cautions: tuple[Said, ...]


@dataclass(frozen=True)
class AtEqualD50:
    """Fines of a set at a given D50, and their change by break-in there."""

    verdict: str
    sentence: str
    fines_fraction: Limits = UNKNOWN
    fines_change: Limits = UNKNOWN
    less_first_fines_fraction: Limits = UNKNOWN


@dataclass(frozen=True)
class ComparedSet:
    """One burr set of a comparison."""

    burr_set_id: str
    burr_model: str | None
    geometry: str
    diameter_millimetres: float | None
    verdict: str
    sentence: str
    checkpoint_count: int
    tau_grams: Limits
    settles_at_grams: Limits
    d50_change_micrometres: Limits
    fines_change_fraction: Limits
    settled_d50_micrometres: Limits
    settled_fines_fraction: Limits
    at_equal_d50: AtEqualD50
    curve: CurveAnswer


@dataclass(frozen=True)
class SetComparison:
    """Burr sets side by side, in the order asked for."""

    as_of: datetime
    d50_micrometres: float | None
    sets: tuple[ComparedSet, ...]
    cautions: tuple[Said, ...]


@dataclass(frozen=True)
class SpreadAnswer:
    """How far shot times scatter at one setting and coffee, before or after settling."""

    cup_count: int
    group_count: int
    freedom_count: int
    mean_seconds: float | None
    sd_seconds: Limits


@dataclass(frozen=True)
class ShotTimesAnswer:
    """Shot times before and after the burrs were proven settled."""

    verdict: str
    sentence: str
    before: SpreadAnswer | None
    after: SpreadAnswer | None
    sd_ratio: Limits
    sd_difference_seconds: Limits
    kurtosis_ratio: float | None


@dataclass(frozen=True)
class ExtractionsAnswer:
    """Extraction yields of cups of one method."""

    cup_count: int
    mean_fraction: Limits
    sd_fraction: float | None


@dataclass(frozen=True)
class MethodAnswer:
    """Extraction by one brew method, before and after settling."""

    method: str
    before: ExtractionsAnswer | None
    after: ExtractionsAnswer | None
    change_fraction: Limits
    sentence: str


@dataclass(frozen=True)
class CupsLeftOut:
    """Cups that were not used for one of the two, and why."""

    use: Literal["extraction", "shot_seconds"]
    code: str
    cup_count: int
    sentence: str


@dataclass(frozen=True)
class CupsAnswer:
    """What the cups say beside the grind: evidence, never a verdict."""

    grinder_id: str
    burr_set_id: str | None
    as_of: datetime
    verdict: str
    sentence: str
    settled_at: datetime | None
    before_from: datetime | None
    after_from: datetime | None
    cup_count: int
    is_cut_off: bool
    shot_seconds: ShotTimesAnswer
    extraction: tuple[MethodAnswer, ...]
    left_out: tuple[CupsLeftOut, ...]
