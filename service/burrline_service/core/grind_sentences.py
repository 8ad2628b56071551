"""What people are told about checkpoints: why one was left out, what to heed, what changed."""

from __future__ import annotations

from .comparisons import Comparison

LEFT_OUT = {
    "grinder_changed": (
        "Ground in another grinder than the latest checkpoint; another machine grinds differently."
    ),
    "method_changed": "Measured by another method than the latest checkpoint.",
    "instrument_changed": "Measured with another instrument than the latest checkpoint.",
    "sieve_set_changed": "Measured with another set of sieves than the latest checkpoint.",
    "dispersant_changed": "Dispersed in something else than the latest checkpoint.",
    "fines_cut_changed": (
        "Its fines are finer than another size than the latest checkpoint's; only its D50 counts."
    ),
    "rpm_changed": "Ground at another burr speed than the latest checkpoint, or one is unknown.",
    "setting_changed": (
        "Ground at another setting than the latest checkpoint. Measure at one and the same setting."
    ),
    "setting_unknown": (
        "Its setting, or the latest checkpoint's, was not recorded, so they cannot be compared."
    ),
    "kilograms_unusable": (
        "How much had gone through the burrs by then is not known: one of its doses was ground "
        "while another set, or none, was in."
    ),
    "no_usable_values": "It tells neither a plausible D50 nor the fines.",
    "values_left_out": "Some of its doses have no plausible value; the others count.",
}
CAUTIONS = {
    "coffee_lot_changed": (
        "The coffee changed between checkpoints: each lot gets a level of its own, which takes a "
        "checkpoint's worth of proof. Keep one reserved lot for all of them."
    ),
    "reseated": (
        "The burrs were out between checkpoints: each seating gets a level of its own. Kilograms "
        "and the curve go on."
    ),
    "zero_unknown": (
        "Where the burrs touch was not recorded for every seating (zero_setting), so settings "
        "before and after cannot be compared."
    ),
    "setting_not_recorded": (
        "No setting was recorded with the checkpoints; they are taken to be at one and the same."
    ),
    "adjusted_for_setting": "Checkpoints at another setting were adjusted to the latest one's.",
    "not_all_weighed": (
        "Part of what went through the burrs was never weighed and does not count in the "
        "kilograms of the checkpoints."
    ),
    "unlike_their_class": (
        "These burrs change farther, or at another pace, than others of their kind; trust the "
        "checkpoints more than the forecast."
    ),
    "kilograms_out_of_order": (
        "A later checkpoint has fewer kilograms than an earlier one. Kilograms only grow: check "
        "when the doses were ground and the kilograms given, and void what is wrong."
    ),
    "kilograms_ahead_of_runs": (
        "A checkpoint was given more kilograms than the recorded runs and tallies count. What is "
        "left counts from the checkpoint; record what is missing."
    ),
}
NOT_COMPARED = {
    "coffee_lot_changed": "The coffee is another than at the checkpoint before.",
    "reseated": "The burrs were out since the checkpoint before.",
}


def difference_sentence(comparison: Comparison) -> str:
    """Say what changed since the checkpoint before, with its interval, and what that proves.

    ``verdict of compare_means -> one sentence``

    Parameters
    ----------
    comparison : Comparison
        Of one response.

    Returns
    -------
    str
        A sentence; where no change was shown it says that this proves nothing.

    Raises
    ------
    KeyError
        A reason that does not exist.

    Valid
    -----
    For people only: scripts read the numbers.

    Source
    ------
    Made here.

    Examples
    --------
    >>> difference_sentence(Comparison("b", "a", "d50", None, "reseated"))
    'D50 cannot be compared: The burrs were out since the checkpoint before.'
    """
    name = "D50" if comparison.response == "d50" else "Fines"
    if comparison.difference is None:
        return f"{name} cannot be compared: {NOT_COMPARED[comparison.reason or '']}"
    found = comparison.difference
    change = _amount(comparison.response, found.change_response)
    if found.low_response is None or found.high_response is None:
        return f"{name} {change}; with one dose each time nobody can tell how sure that is."
    low, high = (
        _amount(comparison.response, limit).partition(" ")[0]
        for limit in (found.low_response, found.high_response)
    )
    limits = f"95 %: {low} to {high}"
    if found.verdict == "no_change_shown":
        return (
            f"{name} {change} ({limits}): no change is shown, which does not prove there is none."
        )
    return f"{name} {found.verdict} by {change.lstrip('+-')} ({limits})."


def _amount(response: str, value: float) -> str:
    if response == "d50":
        return f"{value:+.1f} µm"
    return f"{100 * value:+.2f} percentage points"
