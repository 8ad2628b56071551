"""What people are told about the dial, about burr sets beside each other, and about cups."""

from __future__ import annotations

from .calibration_answers import RedialAnswer
from .settling_measures import Limits

VERDICTS = {
    "calibrated": "The checkpoints tell how far a step of the dial moves the grind.",
    "no_burr_set": "No burr set is in this grinder, so there is nothing to calibrate.",
    "no_checkpoints": "No checkpoint of this burr set is recorded yet.",
    "setting_unrecorded": (
        "No checkpoint has its setting recorded. Without it nobody can tell the dial from the "
        "burrs' age."
    ),
    "too_few_checkpoints": "Too few checkpoints tell D50 and setting; a ladder of three is enough.",
    "one_setting_only": (
        "All checkpoints are at one setting, so they say nothing about what the dial does."
    ),
    "no_replicates": "The checkpoints have too few doses to tell how far one dose scatters.",
    "setting_confounded": (
        "The setting changed together with the burrs' age, so what the dial did cannot be told "
        "from what the kilograms did."
    ),
    "slope_unclear": (
        "The settings measured lie too close together for their scatter: the dial may as well do "
        "nothing. Measure settings that lie farther apart."
    ),
    # better or only coarser
    "one_age_only": (
        "All checkpoints are of one age of the burrs, so the change by break-in is not known."
    ),
    "no_fines": "The checkpoints do not tell the fines.",
    "shift_unclear": (
        "How far the break-in moved D50 cannot be bounded yet, so nothing can be said about the "
        "fines at an equal D50."
    ),
    # flow
    "flow_unknown": "The runs do not tell how the flow goes with the setting.",
    "flow_unclear": "The flow may as well not depend on the setting, as far as the runs tell.",
    # references
    "no_reference": (
        "There is nothing to go back to: no checkpoint has proven the burrs settled. Ask for a "
        "D50, or name a checkpoint."
    ),
    "reference_unusable": (
        "The checkpoint named does not measure the same thing as the latest one, or tells no D50; "
        "see why it was left out."
    ),
    # comparison
    "no_common_d50": "No set has a D50 to compare at.",
}
CAUTIONS = {
    "dial_contradicts_plate": (
        "The grind moved the other way than the grinder's plate says of the dial (coarser); the "
        "measured direction is used. Check `coarser`, and the settings entered."
    ),
    "step_unknown": (
        "The grinder's setting_step is not recorded: a step means one unit of the dial here, and "
        "proposed settings are not rounded."
    ),
    "retained_unknown": (
        "The grinder's retained_grams is not recorded. After every change some of what comes out "
        "is old grounds; grind it away before judging."
    ),
    "two_settings_only": (
        "Only two settings were measured, so nobody can see whether the grind goes straight with "
        "the dial between and beyond them."
    ),
    "outside_settings": (
        "The setting lies outside those that were measured; the dial may do something else there."
    ),
    "reseated_since": (
        "The burrs were out after the latest checkpoint; the dial may stand for another grind now. "
        "Measure one checkpoint of three doses first."
    ),
    "aged_since": (
        "More than a kilogram went through the burrs since the latest checkpoint, and its effect "
        "is not known from checkpoints of one age."
    ),
    "not_comparable": (
        "The sets were not measured in the same way (method, instrument, sieves, dispersant or the "
        "cut of the fines), so their fines are not set against each other."
    ),
    "lots_differ": "The sets were measured with different coffees, which grind differently.",
}
LEFT_OUT_CUPS = {
    "dose_not_weighed": "The dose was not weighed, or is counted by another device.",
    "tds_unknown": "Dissolved solids were not measured.",
    "drink_unknown": "The drink was not weighed.",
    "water_unknown": (
        "For immersion the water poured is needed: what the grounds retain is as strong as the cup."
    ),
    "impossible": "More came out of the coffee than there was, or a number is no mass at all.",
    "implausible": "A yield above 35 % is beyond what coffee gives up; TDS or a mass is wrong.",
    "setting_unknown": "The setting of the grinder was not recorded.",
    "seconds_unknown": "The time of the shot was not recorded.",
    "alone": "No other shot was made at its setting and with its coffee.",
}


def redial_sentence(redial: RedialAnswer) -> str:
    """Say how to turn the dial to bring a response back, and what to grind away then.

    ``verdict of redial -> one or two sentences``

    Parameters
    ----------
    redial : RedialAnswer
        With its numbers.

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
    For people only: scripts read the numbers.

    Source
    ------
    Made here.

    Examples
    --------
    >>> redial_sentence(RedialAnswer("d50", "stay", "", 5.0, Limits(4.9, 5.1, 5.2), 5.0, 0))
    'The dial is where D50 is back already, to half a step (95 %: 4.9 to 5.2).'
    """
    name = "D50" if redial.response == "d50" else "the flow"
    limits = redial.exact_setting
    range_text = "no limits" if limits.low is None or limits.high is None else (
        f"95 %: {limits.low:.4g} to {limits.high:.4g}"
    )  # fmt: skip
    purge = (
        "Grind away what the grinder retains first."
        if redial.purge_grams is None
        else f"Grind away {redial.purge_grams:g} g first."
    )
    best = "?" if limits.best is None else f"{limits.best:.4g}"
    setting = "?" if redial.setting is None else f"{redial.setting:g}"
    steps = abs(redial.steps_count or 0)
    way = "coarser" if (redial.steps_count or 0) > 0 else "finer"
    turn = f" ({steps} {'step' if steps == 1 else 'steps'} {way})" if steps else ""
    return {
        "stay": (
            f"The dial is where {name} is back already, to half a step ({range_text})."
        ),
        "turn": f"Setting {setting}{turn} brings {name} back ({range_text}). {purge}",
        "beyond_dial": (
            f"Setting {best} would bring {name} back ({range_text}), which is beyond the dial."
        ),
        "slope_unclear": (
            f"The best guess is setting {best}, but it has no limits on one side or both: the "
            "dial's effect is not known well enough to propose a setting."
        ),
        "no_reference": VERDICTS["no_reference"],
        "reference_unusable": VERDICTS["reference_unusable"],
    }[redial.verdict]  # fmt: skip


def shift_sentence(verdict: str, steps: Limits, change: Limits) -> str:
    """Say whether broken-in burrs grind better, or only coarser.

    ``verdict of shift_by_break_in -> one or two sentences``

    Parameters
    ----------
    verdict : str
        A code of ``shift_by_break_in``.
    steps : Limits
        The break-in as steps of the dial.
    change : Limits
        Change of the fines at an equal D50.

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
    For people only.

    Source
    ------
    Made here.

    Examples
    --------
    >>> shift_sentence("one_age_only", Limits(None, None, None), Limits(None, None, None))[:35]
    'All checkpoints are of one age of t'
    """
    if verdict in VERDICTS:
        return VERDICTS[verdict]
    moved = f"The break-in did what {range_words(steps, 'steps of the dial', 1.0)} would do"
    fines = f"{range_words(change, 'percentage points', 100.0)} of fines at an equal D50"
    return {
        "only_coarser": (
            f"{moved}; beside that the fines changed by {fines}: less than matters. The grind got "
            "coarser, not better."
        ),
        "fewer_fines": f"{moved}; beside that fines became fewer, by {fines}.",
        "more_fines": f"{moved}; beside that fines became more, by {fines}.",
        "undecided": f"{moved}; whether the fines changed beside that is open: {fines}.",
    }[verdict]


def range_words(limits: Limits, unit: str, factor_ratio: float) -> str:
    """Write a number with its limits.

    ``best unit (95 %: low to high)``

    Parameters
    ----------
    limits : Limits
        The number.
    unit : str
        What to write behind it.
    factor_ratio : float
        What to multiply by before.

    Returns
    -------
    str
        Words.

    Raises
    ------
    TypeError
        A limit is no number.

    Valid
    -----
    For people only.

    Source
    ------
    Made here.

    Examples
    --------
    >>> range_words(Limits(-0.02, -0.012, None), "percentage points", 100.0)
    '-1.2 percentage points (95 %: -2 to ?)'
    """
    low, best, high = (
        "?" if one is None else f"{factor_ratio * one:.3g}"
        for one in (limits.low, limits.best, limits.high)
    )
    return f"{best} {unit} (95 %: {low} to {high})"
