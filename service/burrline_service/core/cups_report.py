"""The cups of a grinder put together: extraction by method, shot times, before and after."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from .calibration_answers import (
    CupsAnswer,
    CupsLeftOut,
    ExtractionsAnswer,
    MethodAnswer,
    ShotTimesAnswer,
)
from .calibration_sentences import LEFT_OUT_CUPS, range_words
from .cup_spread import (
    common_kurtosis_ratio,
    compare_spreads,
    difference_limits,
    spread_answer,
)
from .cups import Cup, extraction_fraction, spread_of
from .grind_answers import UNKNOWN
from .quantiles import student_t_ratio
from .records import BREW_METHODS
from .settling_measures import TWO_SIDED_PROBABILITY, Limits, significant

VERDICTS = {
    "no_burr_set": "No burr set is in this grinder.",
    "no_cups": "No drink was recorded with the runs of this burr set in the time looked at.",
    "not_settled": (
        "The burrs are not proven settled, so there is no after to set against a before."
    ),
    "one_side_only": (
        "There are cups on one side of the proof alone, so nothing can be set side by side."
    ),
    "both_sides": "Cups before and after the burrs were proven settled, side by side: evidence.",
}


@dataclass(frozen=True)
class CupWindows:
    """The cups looked at, split at the proof that the set has settled, and since when."""

    before: tuple[Cup, ...] = ()
    after: tuple[Cup, ...] = ()
    before_from: datetime | None = None
    after_from: datetime | None = None
    settled_at: datetime | None = None
    is_cut_off: bool = False


def report_cups(
    windows: CupWindows, as_of: datetime, *, grinder_id: str, burr_set_id: str | None
) -> CupsAnswer:
    """Tell what the cups say, before and after the burrs were proven settled.

    ``extraction_fraction by method, spread_of espresso times, and both compared``

    Parameters
    ----------
    windows : CupWindows
        The cups.
    as_of : datetime
        Aware.
    grinder_id : str
        The grinder.
    burr_set_id : str or None
        The set that is in.

    Returns
    -------
    CupsAnswer
        Verdicts: ``both_sides``, ``one_side_only``, ``not_settled``, ``no_cups``,
        ``no_burr_set``.

    Raises
    ------
    ValueError
        A time is not finite.

    Valid
    -----
    A difference says nothing about its cause: coffee, water and people change as well.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2026, 5, 4, tzinfo=UTC)
    >>> report_cups(CupWindows(), at, grinder_id="bar-1", burr_set_id=None).verdict
    'no_burr_set'
    """
    verdict = "both_sides"
    if burr_set_id is None:
        verdict = "no_burr_set"
    elif not windows.before and not windows.after:
        verdict = "no_cups"
    elif windows.settled_at is None:
        verdict = "not_settled"
    elif not windows.before or not windows.after:
        verdict = "one_side_only"
    times, of_times = _times(windows, verdict)
    methods, of_yields = _methods(windows)
    left_out = [
        *(("extraction", code, count) for code, count in sorted(of_yields.items())),
        *(("shot_seconds", code, count) for code, count in sorted(of_times.items())),
    ]
    return CupsAnswer(
        grinder_id=grinder_id,
        burr_set_id=burr_set_id,
        as_of=as_of,
        verdict=verdict,
        sentence=VERDICTS[verdict],
        settled_at=windows.settled_at,
        before_from=windows.before_from,
        after_from=windows.after_from,
        cup_count=len(windows.before) + len(windows.after),
        is_cut_off=windows.is_cut_off,
        shot_seconds=times,
        extraction=methods,
        left_out=tuple(
            CupsLeftOut(
                "extraction" if use == "extraction" else "shot_seconds",
                code,
                count,
                LEFT_OUT_CUPS[code],
            )
            for use, code, count in left_out
        ),
    )


def _times(windows: CupWindows, verdict: str) -> tuple[ShotTimesAnswer, Counter[str]]:
    before, left_before = spread_of(windows.before)
    after, left_after = spread_of(windows.after)
    left_out = Counter(left_before) + Counter(left_after)
    known = [one for one in (before, after) if one is not None]
    kurtosis = common_kurtosis_ratio(known) if known else 3.0
    ratio = difference = UNKNOWN
    if before is not None and after is not None:
        code = "compared"
        ratio, difference = compare_spreads(before, after)
        sentence = (
            "At one setting and coffee, shot times scatter after settling by "
            f"{range_words(ratio, 'times what they did before', 1.0)}."
        )
        if ratio.best is None:
            sentence = "Shot times did not scatter at all before settling."
    elif known:
        code = verdict if verdict in ("not_settled", "one_side_only") else "one_side_only"
        sentence = VERDICTS[code]
    else:
        code = "too_few_shots"
        sentence = (
            "Too few espresso shots have their time and setting recorded; at least five at one "
            "setting and coffee are needed on each side."
        )
    answer = ShotTimesAnswer(
        verdict=code,
        sentence=sentence,
        before=spread_answer(before, kurtosis),
        after=spread_answer(after, kurtosis),
        sd_ratio=ratio,
        sd_difference_seconds=difference,
        kurtosis_ratio=significant(kurtosis) if known else None,
    )
    return answer, left_out


def _methods(windows: CupWindows) -> tuple[tuple[MethodAnswer, ...], Counter[str]]:
    left_out: Counter[str] = Counter()
    found = []
    for method in BREW_METHODS:
        sides = []
        for cups in (windows.before, windows.after):
            yields = []
            for cup in cups:
                if cup.method != method:
                    continue
                told = extraction_fraction(cup)
                if isinstance(told, str):
                    left_out[told] += 1
                else:
                    yields.append(told)
            sides.append(_extractions(yields))
        if sides[0] is None and sides[1] is None:
            continue
        change = UNKNOWN
        if sides[0] is not None and sides[1] is not None:
            change = difference_limits(sides[1].mean_fraction, sides[0].mean_fraction)
        found.append(MethodAnswer(method, sides[0], sides[1], change, _sentence(sides, change)))
    return tuple(found), left_out


def _extractions(yields: Sequence[float]) -> ExtractionsAnswer | None:
    count = len(yields)
    if not count:
        return None
    mean = math.fsum(yields) / count
    if count == 1:
        return ExtractionsAnswer(1, Limits(None, significant(mean), None), None)
    sd = math.sqrt(math.fsum((one - mean) ** 2 for one in sorted(yields)) / (count - 1))
    half = student_t_ratio(TWO_SIDED_PROBABILITY, count - 1) * sd / math.sqrt(count)
    limits = Limits(significant(mean - half), significant(mean), significant(mean + half))
    return ExtractionsAnswer(count, limits, significant(sd))


def _sentence(sides: Sequence[ExtractionsAnswer | None], change: Limits) -> str:
    if change.best is not None:
        return (
            "Mean extraction yield after settling less before: "
            f"{range_words(change, 'percentage points', 100.0)}."
        )
    when, side = ("before", sides[0]) if sides[0] is not None else ("after", sides[1])
    assert side is not None
    return f"Mean extraction yield {when} settling: {range_words(side.mean_fraction, '%', 100.0)}."
