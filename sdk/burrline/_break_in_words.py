"""How far burrs have broken in, and checkpoints, as lines for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from burrline._show_entries import instant_words
from burrline.models import (
    BreakInAnswer,
    Checkpoint,
    CheckpointWithSamples,
    Limits,
    MeasuredCheckpoint,
    PooledSizes,
)

STAGES = {
    "unknown": "unknown",
    "new": "new",
    "breaking_in": "still breaking in",
    "undecided": "undecided",
    "settled": "settled",
    "drifting": "drifting",
    "end_of_life": "at the end of its rated life",
}
BASES = {
    "measured": "measured",
    "inferred": "inferred, not measured",
    "expected": "expected, not measured",
}


def break_in_lines(answer: BreakInAnswer) -> str:
    """The verdict in a few lines, and each checkpoint in one."""
    rows = [
        (answer.grinder_id, _through(answer)),
        ("stage", f"{STAGES.get(answer.stage, answer.stage)} ({BASES[answer.basis]})"),
        ("verdict", f"{answer.verdict}: {answer.sentence}"),
    ]
    if answer.settled_at is not None:
        rows.append(("proven", f"with the doses ground {instant_words(answer.settled_at)}"))
    if answer.stage not in ("settled", "unknown", "drifting", "end_of_life"):
        rows.append(("left", _left(answer)))
    if answer.burr_set_id is not None:
        rows.append(("next", _next(answer)))
    tau = answer.fit.tau_grams
    if tau.low is not None or tau.high is not None:
        rows.append(("tau", f"{_range(tau)} (95 %; after three tau 95 % of the change is done)"))
    rows += [
        ("checkpoint" if not place else "", _checkpoint_words(one))
        for place, one in enumerate(answer.checkpoints)
    ]
    rows += _flow_rows(answer)
    rows += [
        ("heed" if not place else "", one.sentence) for place, one in enumerate(answer.cautions)
    ]
    return table(rows)


def table(rows: Sequence[tuple[str, str]]) -> str:
    width = max(len(name) for name, _ in rows)
    return "\n".join(f"{name.ljust(width)}  {text}" for name, text in rows)


def checkpoint_line(checkpoint: Checkpoint | CheckpointWithSamples) -> str:
    """A checkpoint in one line."""
    if checkpoint.burr_set_id is None:
        through = "no burr set was in"
    else:
        through = f"{checkpoint.burr_set_id} at {kilograms(checkpoint.burr_grams)}"
        through += " (given)" if checkpoint.burr_grams_basis == "given" else ""
    setting = "" if checkpoint.setting is None else f", setting {checkpoint.setting:g}"
    lot = "" if checkpoint.coffee_lot is None else f", {checkpoint.coffee_lot}"
    voided = ""
    if checkpoint.voided_at is not None:
        voided = f" (voided {instant_words(checkpoint.voided_at)})"
    return (
        f"{checkpoint.checkpoint_id}: {instant_words(checkpoint.ground_at)}, {through}{setting}"
        f"{lot}, {checkpoint.method}: {_sizes(checkpoint.pooled)}{voided}"
    )


def _checkpoint_words(one: MeasuredCheckpoint) -> str:
    words = f"{kilograms(one.burr_grams)} {one.checkpoint_id}: {_sizes(one.pooled)}"
    if not one.is_joined:
        words += " - left out"
    for said in one.left_out:
        words += f". {said.sentence.rstrip('.')}"
    for compared in one.compared:
        words += f". {compared.sentence.rstrip('.')}"
    return words


def _sizes(pooled: PooledSizes) -> str:
    doses = "1 dose" if pooled.replicate_count == 1 else f"{pooled.replicate_count} doses"
    parts = []
    if pooled.d50_micrometres is not None:
        parts.append(f"D50 {pooled.d50_micrometres:.1f} um")
    if pooled.fines_fraction is not None:
        cut = pooled.fines_cut_micrometres
        parts.append(f"{100 * pooled.fines_fraction:.1f} % finer than {cut:g} um")
    return f"{', '.join(parts) or 'no sizes'} ({doses})"


def _through(answer: BreakInAnswer) -> str:
    if answer.burr_set_id is None:
        return "no burr set is in"
    words = f"burr set {answer.burr_set_id}, {kilograms(answer.burr_grams)} through it"
    if answer.total_burr_grams is not None and answer.total_burr_grams != answer.burr_grams:
        words += f", {kilograms(answer.total_burr_grams)} with what went before"
    return words


def _flow_rows(answer: BreakInAnswer) -> list[tuple[str, str]]:
    """What ordinary runs tell of the flow."""
    stream = answer.stream
    if stream is None:
        return []
    rows = [("flow", f"{stream.verdict}: {stream.sentence}")]
    now, slope = stream.grams_per_second, stream.grams_per_second_per_step
    if now.best is not None:
        setting = "" if stream.setting is None else f" at setting {stream.setting:g}"
        rows.append(("", f"{_numbers(now)} g/s{setting} (95 %)"))
    if slope.best is not None:
        rows.append(("", f"{_numbers(slope)} g/s for a step coarser (95 %)"))
    if stream.run_count:
        span = f"{kilograms(stream.from_grams)} to {kilograms(stream.at_grams)}"
        days = "1 day" if stream.session_count == 1 else f"{stream.session_count} days"
        runs = "1 run" if stream.run_count == 1 else f"{stream.run_count} runs"
        rows.append(("", f"from {runs} on {days}, {span} through the set"))
    rows += [("", f"{one.run_count} left out. {one.sentence}") for one in stream.left_out]
    rows += [("", one.sentence) for one in stream.cautions]
    rows.append(("", stream.next))
    return rows


def _numbers(limits: Limits) -> str:
    """A number with its limits, where there are any."""
    low, high = ("?" if at is None else f"{at:.3g}" for at in (limits.low, limits.high))
    return f"{limits.best:.3g} ({low} to {high})"


def _left(answer: BreakInAnswer) -> str:
    left = Limits(
        low=answer.low_remaining_grams,
        best=answer.remaining_grams,
        high=answer.high_remaining_grams,
    )
    if not left.low and left.best is None and left.high is None:
        return "nobody can tell how much"
    forecast = None if answer.forecast is None else answer.forecast.remaining_grams
    ahead = Limits(low=None, best=None, high=None) if forecast is None else forecast
    numbers = ((left.low, ahead.low), (left.best, ahead.best), (left.high, ahead.high))
    if any(one is not None and abs(one - (other or 0.0)) > 1 for one, other in numbers):
        return f"{_range(left)} (95 %, measured; forecast from such burrs: {_range(ahead)})"
    rests = "checkpoints and such burrs" if answer.checkpoints else "such burrs"
    return f"{_range(left)} (95 %, a forecast from {rests})"


def _next(answer: BreakInAnswer) -> str:
    due, now = answer.next_checkpoint_grams, answer.burr_grams
    if due is None or now is None:
        return "no further checkpoint is needed"
    # kilograms given with a checkpoint may be ahead of the recorded runs
    joined = (one.burr_grams for one in answer.checkpoints if one.is_joined)
    now = max(now, *(grams for grams in joined if grams is not None), 0.0)
    if due - now < 5:
        return "a checkpoint now tells most: three doses of 25 g, ground cool, at one setting"
    return f"checkpoint at {kilograms(due)}, after {kilograms(due - now)} more"


def _range(limits: Limits) -> str:
    best = "" if limits.best is None else f"about {kilograms(limits.best)}, "
    low = "0 kg" if limits.low is None else kilograms(limits.low)
    if limits.high is None:
        return f"{best}at least {low}" if limits.low else f"{best}no limit is known"
    return f"{best}between {low} and {kilograms(limits.high)}"


def kilograms(grams: float | None) -> str:
    """Grams in words: two digits below 10 kg.

    >>> kilograms(0.0), kilograms(3480.0), kilograms(48211.6), kilograms(None)
    ('0 kg', '3.5 kg', '48 kg', '? kg')
    """
    if grams is None:
        return "? kg"
    if grams == 0:
        return "0 kg"
    return f"{grams / 1000:.1f} kg" if grams < 9950 else f"{grams / 1000:.0f} kg"
