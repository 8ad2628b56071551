"""What people are told about a break-in that nobody measured."""

from __future__ import annotations


def break_in_sentence(
    verdict: str,
    *,
    class_name: str,
    is_vague: bool,
    pre_treated: str,
    through_grams: float,
    enough_grams: float,
) -> str:
    """Say what a verdict on the expected break-in means, in kilograms.

    Parameters
    ----------
    verdict : str
        ``new_burrs``, ``within_expected_kilograms``, ``past_expected_kilograms``,
        ``prior_kilograms_unknown`` or ``run_kilograms_unknown``.
    class_name : str
        The class of burrs, in the plural.
    is_vague : bool
        Whether little is known about such burrs.
    pre_treated : str
        What was done to the set before: ``none``, ``factory``, ``outside`` or ``unknown``.
    through_grams, enough_grams : float
        Grams that went through, and grams expected to be enough, >= 0.

    Returns
    -------
    str
        One to three sentences.

    Raises
    ------
    KeyError
        A verdict that does not exist.

    Valid
    -----
    For people only: scripts read the verdict.

    Source
    ------
    Written here.

    Examples
    --------
    >>> break_in_sentence("new_burrs", class_name="64 mm flat burrs", is_vague=False,
    ...     pre_treated="none", through_grams=0.0, enough_grams=6900.0)
    'The burrs are new: by a rule of thumb 6.9 kg are enough for most 64 mm flat burrs.'
    """
    through, enough = _kilograms(through_grams), _kilograms(enough_grams)
    expected = f"by a rule of thumb {enough} are enough for most {class_name}"
    if is_vague:
        expected = f"there is little experience with {class_name}, at a guess {enough} are enough"
    text = {
        "new_burrs": f"The burrs are new: {expected}.",
        "within_expected_kilograms": f"{through} are through the burrs; {expected}.",
        "past_expected_kilograms": (
            f"{through} are through the burrs; {expected}. Only a measurement of the grind can "
            "tell whether they have settled."
        ),
        "prior_kilograms_unknown": (
            "It is not known how much went through the burrs before they were fitted here"
            + (f" (at least {through} in all)" if through_grams > 0 else "")
            + f"; {expected}. Measure the grind to see where they stand."
        ),
        "run_kilograms_unknown": (
            "Some runs came without grams, and the flow that would tell them is not known"
            f" (at least {through} are through the burrs); {expected}. Weigh a few runs, or "
            "measure the grind."
        ),
    }[verdict]
    if pre_treated == "factory":
        text += " The maker pre-treated this set, so it may need less; a measurement would tell."
    elif pre_treated == "outside":
        text += (
            " The set was broken in elsewhere; that counts only with the kilograms stated for it."
        )
    return text


def _kilograms(grams: float) -> str:
    kilograms = grams / 1000
    return f"{kilograms:.0f} kg" if kilograms >= 9.95 else f"{kilograms:.1f} kg"
