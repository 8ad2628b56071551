"""What people are told about a break-in that was measured."""

from __future__ import annotations

import math

from .settling import Settling
from .settling_measures import ResponseFit
from .settling_series import FEWEST_CHECKPOINTS_COUNT

_NAMES = {"d50": "median size (D50)", "fines": "fines"}


def settling_sentence(verdict: str, settling: Settling) -> str:
    """Say what a verdict of the checkpoints means, with the numbers it rests on.

    ``verdict -> one to three sentences``

    Parameters
    ----------
    verdict : str
        A code of ``assess_settling``, or ``settled_before`` (an earlier call that nothing
        contradicts), ``reseated`` (settled, and the burrs were out since), ``level_moved``,
        ``drift_confirmed``, ``flow_steadied`` or ``rated_life_reached``.
    settling : Settling
        The checkpoints.

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
    >>> from burrline_service.core.settling import assess_settling
    >>> settling_sentence("too_few_checkpoints", assess_settling([]))[:19]
    'No checkpoint so fa'
    """
    most = _listed(settling, "most")
    least = _listed(settling, "least")
    bound = "for any time constant up to 30 kg"
    count = settling.checkpoint_count
    text = {
        "settled": (
            f"The burrs have settled: at most {most} may still come (95 %, {bound}); "
            f"changes up to {_listed(settling, 'matters')} do not matter."
        ),
        "settled_before": (
            "The burrs were measured as settled, and no later checkpoint contradicts it."
        ),
        "reseated": (
            "The burrs were measured as settled and have been out since. Kilograms go on; one "
            "checkpoint of three doses would confirm the new level."
        ),
        "not_settled": (
            f"The burrs are still breaking in: at least {least} is still to come (95 %); "
            f"changes up to {_listed(settling, 'matters')} do not matter."
        ),
        "undecided": (
            f"The checkpoints cannot tell yet: up to {most} may still come (95 %, {bound}); "
            f"changes up to {_listed(settling, 'matters')} do not matter."
        ),
        "too_few_checkpoints": (
            ("No checkpoint so far counts." if not count else f"{_counted(settling)}.")
            + " A verdict needs at least four at different kilograms, alike in setting, coffee and "
            "instrument, with two doses each or more; best at the start and about 5, 10 and 20 kg "
            "later, sooner for small burrs."
        ),
        "no_replicates": (
            "The checkpoints have too few doses to tell how far one dose scatters. Measure at "
            "least two, better three doses each time."
        ),
        "no_measurable_change": (
            "No change could be measured, so there is no time constant to tell. "
            + (
                "The points scatter so much that even a change by half could hide in them."
                if any(_is_boundless(r, r.most_change_response) for r in settling.responses)
                else "Any change since the first checkpoint is below "
                f"{_listed(settling, 'change')} (95 %, {bound})."
            )
        ),
        "bend_not_visible": (
            "The grind is still moving along a straight line, or too noisy to see it bend: "
            f"{_tau(settling)}; how far it will go, the checkpoints cannot tell yet. Up to {most} "
            f"may still come (95 %, {bound})."
        ),
        "settled_before_first_check": (
            "Most of the change came before the second checkpoint, so how fast it was is unknown. "
            f"Up to {most} may still come (95 %, {bound})."
        ),
        "model_misfit": (
            "The points scatter more than their doses explain: whole sittings differ, or the burrs "
            f"wear in two phases. The limits are widened by that; up to {most} may still come "
            "(95 %)."
        ),
        "unexpected_direction": (
            "The grind gets finer, or the fines rise, with the kilograms. Burrs that break in do "
            "the opposite: check alignment, sampling and instrument."
        ),
        "noise_too_large_for_delta": _noise(settling),
        "level_moved": (
            "The grind was measured as settled, and has moved by more than the change that "
            "matters since. Check seating, alignment and setting, and measure again."
        ),
        "drift_confirmed": (
            "The burrs had settled, and the grind has been drifting since. Measure it to see how "
            "far."
        ),
        "flow_steadied": (
            "The flow has steadied, which suggests that the burrs have settled. Only a measurement "
            "of the grind can prove it."
        ),
        "rated_life_reached": (
            "The burrs have ground what they are rated for: plan their replacement."
        ),
    }[verdict]
    is_told = verdict in ("settled", "undecided", "not_settled", "no_measurable_change")
    if is_told and "model_misfit" in settling.findings:
        text += " The points scatter more than their doses explain; the limits are widened by that."
    is_wrong_way = "unexpected_direction" in settling.findings
    if verdict == "not_settled" and is_wrong_way:
        text += " It moves the wrong way: check alignment, sampling and instrument."
    if verdict == "settled" and is_wrong_way:
        text += " It moved the wrong way before: check alignment, sampling and instrument."
    return text


def _listed(settling: Settling, which: str) -> str:
    parts = [_amount(response, which) for response in settling.responses]
    known = [part for part in parts if part is not None]
    return " and ".join(known) if known else "an unknown change"


def _amount(response: ResponseFit, which: str) -> str | None:
    size = {
        "most": response.most_to_come_response,
        "least": response.least_to_come_response,
        "change": response.most_change_response,
        "matters": response.smallest_change_response,
    }[which]
    if size is None or (which == "least" and size <= response.smallest_change_response):
        return None
    if which == "most" and _is_boundless(response, size):
        return f"half the {_NAMES[response.name]} or more"
    # limits are rounded away from what is certain
    of = "" if which == "matters" else f" of {_NAMES[response.name]}"
    if response.name == "d50":
        return f"{_rounded(10 * size, which) / 10:.1f} µm{of}"
    return f"{_rounded(1e4 * size, which) / 100:.2f} percentage points{of}"


def _is_boundless(response: ResponseFit, size_response: float | None) -> bool:
    """Whether a limit is so far out that its number would only frighten (our choice: half)."""
    start = response.start.best
    return size_response is not None and start is not None and size_response > abs(start) / 2


def _rounded(steps_ratio: float, which: str) -> int:
    if which == "matters":
        return round(steps_ratio)
    if which == "least":
        return math.floor(steps_ratio + 1e-9)
    return math.ceil(steps_ratio - 1e-9)


def _tau(settling: Settling) -> str:
    low = None if settling.tau_grams is None else settling.tau_grams.low
    if not low:
        return "its time constant is unknown"
    return f"its time constant is at least {low / 1000:.1f} kg"


def _noise(settling: Settling) -> str:
    doses = settling.needed_replicates_count
    start = "The measurements scatter as much as the change that matters."
    if doses is None:
        return (
            f"{start} More doses alone would not help, as whole sittings differ; measure farther "
            "out, with a control dose of a reserved lot each time."
        )
    return f"{start} Measure at least {doses} doses each time, or farther out."


def _counted(settling: Settling) -> str:
    """How many checkpoints count; those left out are listed with their reasons elsewhere."""
    count = settling.checkpoint_count
    places = max((series.distinct_count for series in settling.series), default=count)
    told = "1 checkpoint counts so far" if count == 1 else f"{count} checkpoints count so far"
    if count >= FEWEST_CHECKPOINTS_COUNT and places < FEWEST_CHECKPOINTS_COUNT:
        where = "all at the same kilograms" if places == 1 else f"at {places} different kilograms"
        told += f", {where} (were all runs recorded?)"
    return told
