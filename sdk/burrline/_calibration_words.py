"""The dial, burr sets side by side, and cups, as lines for a terminal."""

from __future__ import annotations

from burrline._break_in_words import kilograms, table
from burrline._show_entries import instant_words
from burrline.models import Calibration, ComparedSet, Cups, Limits, Method, SetComparison

Rows = list[tuple[str, str]]


def calibration_lines(answer: Calibration) -> str:
    """What a step does, how to go back, and what to measure where that cannot be told."""
    step = "a step" if answer.setting_step is None else f"a step of {answer.setting_step:g}"
    through = "no burr set is in"
    if answer.burr_set_id is not None:
        through = f"burr set {answer.burr_set_id}, {kilograms(answer.burr_grams)} through it"
    rows: Rows = [
        (answer.grinder_id, through),
        ("verdict", f"{answer.verdict}: {answer.sentence}"),
    ]
    grind = answer.grind
    for name, limits, unit, factor in (
        ("D50", grind.d50_micrometres_per_step, "um", 1.0),
        ("fines", grind.fines_fraction_per_step, "% points", 100.0),
        ("flow", answer.flow.grams_per_second_per_step, "g/s", 1.0),
    ):
        if limits.best is not None:
            rows.append((name, f"{numbers(limits, unit, factor)} for {step} coarser"))
    if answer.flow.verdict == "flow_unclear":
        rows.append(("flow", answer.flow.sentence))
    rows += [("go back" if not place else "", one.sentence)
             for place, one in enumerate(answer.redials)]  # fmt: skip
    if answer.verdict in ("calibrated", "slope_unclear"):
        rows.append(("break-in", answer.break_in_shift.sentence))
    if answer.ladder is not None:
        rows.append(("measure", answer.ladder.sentence))
    left_out = [
        f"{one.checkpoint_id}: {said.sentence}"
        for one in answer.checkpoints
        for said in one.left_out
    ]
    rows += [("left out" if not place else "", text) for place, text in enumerate(left_out)]
    rows += _heed([one.sentence for one in answer.cautions])
    return table(rows)


def comparison_lines(answer: SetComparison) -> str:
    """Each set in a few lines, the others set against the first."""
    rows: Rows = []
    for one in answer.sets:
        rows += _set_rows(one)
    rows += _heed([one.sentence for one in answer.cautions])
    return table(rows)


def cups_lines(answer: Cups) -> str:
    """What the cups say, as evidence."""
    rows: Rows = [
        (answer.grinder_id, f"{_cups(answer.cup_count)} looked at"),
        ("verdict", f"{answer.verdict}: {answer.sentence}"),
    ]
    if answer.settled_at is not None:
        rows.append(("settled", f"proven with the doses ground {instant_words(answer.settled_at)}"))
    times = answer.shot_seconds
    rows.append(("shot times", times.sentence))
    for name, side in (("  before", times.before), ("  after", times.after)):
        if side is not None:
            mean = "?" if side.mean_seconds is None else f"{side.mean_seconds:.1f}"
            sd = numbers(side.sd_seconds, "s", 1.0)
            rows.append((name, f"{side.cup_count} shots of {mean} s, standard deviation {sd}"))
    for method in answer.extraction:
        rows.append((method.method, _method_words(method)))
    rows += [
        ("left out" if not place else "", f"{_cups(one.cup_count)} ({one.use}): {one.sentence}")
        for place, one in enumerate(answer.left_out)
    ]
    return table(rows)


def numbers(limits: Limits, unit: str, factor: float) -> str:
    """A number with its limits.

    >>> numbers(Limits(low=None, best=0.02, high=0.03), "%", 100.0)
    '2 % (95 %: ? to 3)'
    """
    low, best, high = (
        "?" if one is None else f"{factor * one:.3g}"
        for one in (limits.low, limits.best, limits.high)
    )
    return f"{best} {unit} (95 %: {low} to {high})"


def _set_rows(one: ComparedSet) -> Rows:
    named = "" if one.burr_model is None else f"{one.burr_model}, "
    size = "" if one.diameter_millimetres is None else f"{one.diameter_millimetres:g} mm "
    rows: Rows = [
        (one.burr_set_id, f"{named}{size}{one.geometry}, {one.checkpoint_count} checkpoints"),
        ("  verdict", f"{one.verdict}: {one.sentence}"),
    ]
    if one.tau_grams.best is not None:
        rows.append(("  tau", numbers(one.tau_grams, "kg", 0.001)))
    if one.d50_change_micrometres.best is not None:
        rows.append(("  D50", f"{numbers(one.d50_change_micrometres, 'um', 1.0)} by break-in"))
    there = one.at_equal_d50
    rows.append(("  fines", there.sentence))
    if there.less_first_fines_fraction.best is not None:
        less = numbers(there.less_first_fines_fraction, "% points", 100.0)
        rows.append(("", f"{less} against the first set"))
    return rows


def _method_words(method: Method) -> str:
    counts = [
        f"{_cups(side.cup_count)} {when}"
        for when, side in (("before", method.before), ("after", method.after))
        if side is not None
    ]
    return f"{method.sentence} ({', '.join(counts)})"


def _cups(count: int) -> str:
    return "1 cup" if count == 1 else f"{count} cups"


def _heed(sentences: list[str]) -> Rows:
    return [("heed" if not place else "", text) for place, text in enumerate(sentences)]
