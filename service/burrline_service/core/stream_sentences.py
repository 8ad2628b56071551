"""What ordinary runs tell of the flow, and how people are told."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

from .settling_measures import Limits

SMALLEST_CHANGE_RATIO = 0.03
"""A change of the flow by so much does not matter (our choice, as for D50)."""
UNKNOWN = Limits(None, None, None)

Decision = Literal["steadied", "changing", "undecided", "not_enough_data"]


@dataclass(frozen=True)
class FlowSlope:
    """What a stream of runs tells of flow and setting: natural logarithms of grams per second.

    ``best_ratio`` and ``sd_ratio`` are the change per unit of the dial and its standard deviation.
    ``log_flow_ratio`` is the flow now at ``setting``, None while it is not known.
    """

    best_ratio: float
    sd_ratio: float
    freedom_count: int
    setting: float | None = None
    log_flow_ratio: float | None = None
    log_flow_sd_ratio: float = 0.0
    covariance_ratio: float = 0.0


@dataclass(frozen=True)
class Stream:
    """What ordinary runs tell of a burr set, by the end of its last closed day.

    Days are numbered like ``date.toordinal``. The call is ``steadied_session``, the day whose close
    was the third in a row; it stands whatever the last day alone would say. Ratios are of the
    logarithm of the flow: 0.03 is 3 %. Limits are two-sided 95 %; ``least_to_come_ratio`` and
    ``most_to_come_ratio`` one-sided 97.5 %, for tau up to 30 kg. ``reference_setting``, and
    the setting of ``setting_slope``, count from where the burrs touch, if that is known;
    ``reference_seating`` counts how often they had been out by then. ``setting_slope_sd_ratio`` is
    at the best tau, what ``setting_slope`` has holds for any tau that is believed.
    """

    decision: Decision
    verdict: str
    cautions: tuple[str, ...] = ()
    steadied_session: int | None = None
    steadied_grams: float | None = None
    last_session: int | None = None
    at_grams: float | None = None
    first_grams: float | None = None
    sessions_count: int = 0
    grinds_count: int = 0
    closes_in_row_count: int = 0
    levels_count: int = 0
    reference_setting: float | None = None
    flow_grams_per_second: Limits = UNKNOWN
    settled_grams_per_second: Limits = UNKNOWN
    tau_grams: Limits = UNKNOWN
    least_to_come_ratio: float | None = None
    most_to_come_ratio: float | None = None
    smallest_change_ratio: float = SMALLEST_CHANGE_RATIO
    setting_slope_ratio: float | None = None
    setting_slope_sd_ratio: float | None = None
    setting_slope: FlowSlope | None = None
    reference_seating: int | None = None
    session_sd_ratio: float | None = None
    grind_sd_ratio: float | None = None
    left_out: tuple[tuple[str, int], ...] = ()


CAUTIONS: Mapping[str, str] = {
    "moves_again": (
        "Since it was called steady the flow has changed by more than what does not matter: check "
        "seating and setting, and measure the grind."
    ),
    "setting_never_moved": (
        "The recorded setting never moved. If it was moved without a record, the flow looks steady "
        "whatever the burrs do."
    ),
    "lot_unrecorded": (
        "The coffee lot is not recorded everywhere: another lot may look like a change of the flow."
    ),
    "several_levels": (
        "Doses, lots, motor speeds or devices differ; each has a level of its own, and only what "
        "changes within them counts."
    ),
    "seated_anew": (
        "The burrs were out in between. The level from then on is another one; the kilograms go on."
    ),
    "beyond_reach": (
        "Runs later than 150 kg after the first tell of wear, not of settling, and are not used."
    ),
}

LEFT_OUT: Mapping[str, str] = {
    "cancelled": "Voided, or taken out by a correction.",
    "clock_unknown": "Placed in time only by when it was received.",
    "two_devices": "One grind that two devices reported.",
    "not_timed": "No seconds were measured.",
    "not_weighed_out": "The coffee that came out was not weighed.",
    "single_dosed": "Fed by single doses, not from the hopper.",
    "not_service": "A purge, a cleaning or a measurement.",
    "dose_too_small": "Less than 5 g.",
    "flow_implausible": "Below 0.1 or above 20 g/s.",
    "burrs_out": "In an hour in which burrs came, left or were seated anew.",
    "changed_in_hour": "In an hour in which the setting, lot or feed told for it changed.",
    "feed_unrecorded": "Nobody recorded whether it came from the hopper.",
    "setting_unrecorded": "Nobody recorded the setting.",
}


def stream_sentence(stream: Stream) -> str:
    """Say what the runs tell about the flow, for a person.

    ``verdict -> one to three sentences``

    Parameters
    ----------
    stream : Stream
        What was found.

    Returns
    -------
    str
        Sentences.

    Raises
    ------
    KeyError
        A verdict that does not exist.

    Valid
    -----
    For people only: scripts read the verdict.

    Source
    ------
    Made here.

    Examples
    --------
    >>> stream_sentence(Stream("not_enough_data", "no_evidence"))[:44]
    'No run so far tells how fast the burrs grind'
    """
    most, least = stream.most_to_come_ratio, stream.least_to_come_ratio
    matters = f"changes up to {_percent(stream.smallest_change_ratio)} do not matter"
    up_to = (
        "how much is still to come is open"
        if most is None
        else (f"up to {_percent(most, math.ceil)} may still come")
    )
    days = "1 day" if stream.sessions_count == 1 else f"{stream.sessions_count} days"
    return {
        "flow_steadied": (
            f"The flow has steadied{_where(stream)}: at one setting hardly any change is still to "
            f"come (97.5 %, for any time constant up to 30 kg; {matters}). This is inferred from "
            "ordinary runs; only a measurement of the grind can prove that the burrs have "
            "settled."
        ),
        "not_steady": (
            "The flow is still changing at the same setting: at least "
            f"{_percent(least or 0.0, math.floor)} is still to come (97.5 %; {matters})."
        ),
        "undecided": (
            f"The runs cannot tell yet whether the flow has steadied: {up_to} (97.5 %; {matters})."
        ),
        "steady_so_far": (
            f"The flow looks steady, {up_to} (97.5 %; {matters}). It counts once three closes of a "
            "day in a row, a kilogram or more apart, say so; "
            f"{stream.closes_in_row_count} did so far."
        ),
        "setting_confounded": (
            "The setting followed the kilograms so closely that its effect cannot be told from "
            "the burrs'. Grind a few doses each at three neighbouring settings on one day, with a "
            "purge in between, and record the setting."
        ),
        "setting_unrecorded": (
            "The setting is not recorded. A barista who keeps the shots alike by the setting makes "
            "the flow look steady whatever the burrs do, so nothing is concluded. Record the "
            "setting with the runs, or tell it for a period."
        ),
        "feed_unrecorded": (
            "Nobody recorded whether the runs came from the hopper or from single doses, and only "
            "those from a hopper tell the flow. Record the feed with the runs, or tell it for a "
            "period."
        ),
        "no_evidence": (
            "No run so far tells how fast the burrs grind: that takes coffee from the hopper, "
            "weighed as it comes out, with measured seconds and a recorded setting."
        ),
        "too_few_sessions": (
            f"Runs of {days} tell about the flow; a verdict needs ten days or more, as whole days "
            "differ."
        ),
        "too_little_span": (
            "The runs that tell about the flow lie within too few kilograms: a verdict needs 5 kg "
            "or more."
        ),
        "too_few_repeats": (
            "Hardly any two runs are alike in day, kilograms and setting, so how far one run "
            "scatters cannot be told."
        ),
        "too_many_changes": (
            "Lots, doses, devices or seatings changed so often that too little is left to tell a "
            "change of the burrs from them."
        ),
    }[stream.verdict]


def next_sentence(stream: Stream) -> str:
    """Say what to do next, for a person.

    ``verdict -> a sentence``

    Parameters
    ----------
    stream : Stream
        What was found.

    Returns
    -------
    str
        A sentence or two.

    Raises
    ------
    KeyError
        A verdict that does not exist.

    Valid
    -----
    For people only: scripts read the verdict.

    Source
    ------
    Made here.

    Examples
    --------
    >>> next_sentence(Stream("undecided", "steady_so_far"))
    'Go on as usual, and record the setting whenever it is moved.'
    """
    if "moves_again" in stream.cautions:
        return "Check seating and setting, then measure the grind with a checkpoint."
    measure = "Measure the grind with a checkpoint: three doses, ground cool, at one setting."
    usual = "Go on as usual, and record the setting whenever it is moved."
    record = "Record feed and setting with the runs, or tell them once for a period."
    return {
        "flow_steadied": measure,
        "not_steady": usual,
        "undecided": f"{usual} A checkpoint tells more.",
        "steady_so_far": usual,
        "setting_confounded": (
            "Grind a few doses each at three neighbouring settings on one day, with a purge in "
            "between, and record the setting."
        ),
        "setting_unrecorded": record,
        "feed_unrecorded": record,
        "no_evidence": (
            "Send what each dose weighs and how long it took; record feed and setting with the "
            "runs, or tell them once for a period."
        ),
        "too_few_sessions": usual,
        "too_little_span": usual,
        "too_few_repeats": (
            "Keep doses, and the setting within a day, alike for a while: repeated doses tell how "
            "far one scatters."
        ),
        "too_many_changes": (
            "Keep lot, dose and device the same for a week or two, or measure the grind with "
            "checkpoints."
        ),
    }[stream.verdict]


def _where(stream: Stream) -> str:
    at = stream.steadied_grams
    return "" if at is None else f" at {at / 1000:.1f} kg"


def _percent(ratio: float, rounded: Callable[[float], int] | None = None) -> str:
    """Of the flow; limits are rounded away from what is certain."""
    percent = 100 * ratio
    if rounded is None:
        return f"{percent:.3g} %"
    return f"{rounded(10 * percent) / 10:g} %" if percent < 100 else "100 % or more"
