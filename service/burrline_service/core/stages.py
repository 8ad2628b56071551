"""The stage of a burr set at an instant, from all that is known of it by then.

A pure function of the facts: the same facts give the same stage, in whatever order they came. What
was proven settled stays so until a later checkpoint, or a confirmed drift, contradicts it. Another
burr set starts anew; another seating of the same one only shifts the level.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from typing import Literal

from .answers import BreakIn
from .joining import Joined
from .prior import BurrClass, class_of, expected_break_in
from .settling import Settling
from .settling_forecast import Forecast, forecast_settling, informed_class
from .settling_measures import Limits
from .settling_next import next_checkpoint_grams
from .settling_sentences import settling_sentence
from .stage_facts import KEPT_VERDICTS, Folded, GrindFacts, fold_checkpoints

Stage = Literal["unknown", "new", "breaking_in", "undecided", "settled", "drifting", "end_of_life"]


@dataclass(frozen=True, eq=False)
class Standing:
    """The stage with all it rests on; ``settled_at`` is when the doses of the call were ground."""

    break_in: BreakIn
    joined: Joined
    settling: Settling
    forecast: Forecast | None
    settled_at: datetime | None


@dataclass(frozen=True)
class StageChange:
    """The stage became another one; ``from_stage`` is None at the first."""

    at: datetime
    from_stage: Stage | None
    to_stage: Stage
    basis: str
    verdict: str
    burr_grams: float | None


def stage_at(facts: GrindFacts, as_of: datetime) -> Standing:
    """Tell the stage of a burr set at an instant, what it rests on, and what is left.

    ``life over -> end_of_life; settled and drifted -> drifting; settled and not contradicted ->
    settled; not settled -> breaking_in; undecided -> undecided; else what is expected``

    Parameters
    ----------
    facts : GrindFacts
        Checkpoints and seatings may reach beyond the instant: what lies after it does not count.
    as_of : datetime
        Aware.

    Returns
    -------
    Standing
        Basis ``measured`` when checkpoints decide, ``inferred`` when the flow or a drift does,
        ``expected`` else. What remains is what the checkpoints bound, 0 once settled; where they
        leave it open, the forecast from prior and checkpoints, unless they contradict the prior.

    Raises
    ------
    ValueError
        The instant is naive, or grams are negative or not finite.

    Valid
    -----
    A stream never overrides checkpoints, and an expectation never says settled. Rated life counts
    the kilograms that are certain.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> from datetime import UTC
    >>> stage_at(GrindFacts(None, None), datetime(2026, 5, 4, tzinfo=UTC)).break_in.stage
    'unknown'
    """
    if as_of.utcoffset() is None:
        raise ValueError("the instant must be aware (have an offset)")
    last = [Folded(), *fold_checkpoints(facts, as_of)][-1]
    settling = last.settling
    burr_set, grams = facts.burr_set, facts.burr_grams
    if burr_set is None or grams is None:
        expected = expected_break_in(burr_set, grams, facts.burr_estimated_grams)
        return Standing(expected, last.joined, settling, None, None)
    burr_class = class_of(burr_set.geometry, burr_set.diameter_millimetres)
    burr_class = informed_class(burr_class, facts.measured_sets)
    # checkpoints may lie ahead of what the runs count
    here = max(grams, settling.at_grams or 0.0)
    expected = expected_break_in(burr_set, here, facts.burr_estimated_grams)
    forecast = _forecast(settling, burr_class, here)
    stage, basis, verdict = _decided(facts, last, as_of, expected)
    remaining: tuple[float | None, float | None, float | None]
    remaining = (
        expected.low_remaining_grams,
        expected.remaining_grams,
        expected.high_remaining_grams,
    )
    following = expected.next_checkpoint_grams
    if stage in ("settled", "drifting", "end_of_life"):
        remaining = (0.0, 0.0, 0.0) if stage == "settled" and basis == "measured" else (None,) * 3
        following = grams if verdict in ("reseated", "drift_confirmed", "flow_steadied") else None
    elif forecast is not None:
        remaining = _left(settling, forecast, here)
        # a level that moved is measured again at once
        is_moved = verdict == "level_moved"
        following = here if is_moved else _following(settling, burr_class, here)
    sentence = expected.sentence
    if verdict != expected.verdict:
        sentence = settling_sentence(verdict, settling)
    low, best, high = map(_whole, remaining)
    break_in = BreakIn(stage, basis, verdict, sentence, grams, low, best, high, following)
    return Standing(break_in, last.joined, settling, forecast, last.settled_at)


def stage_changes(facts: GrindFacts, as_of: datetime) -> tuple[StageChange, ...]:
    """List when the stage of a burr set changed, as far as measurements can tell.

    ``fold of stage_at over the instants of checkpoints, steadied flow and confirmed drift``

    Parameters
    ----------
    facts : GrindFacts
        As for ``stage_at``.
    as_of : datetime
        Up to when, aware.

    Returns
    -------
    tuple of StageChange
        In the order of time; a checkpoint counts from when its doses were ground.

    Raises
    ------
    ValueError
        The instant is naive.

    Valid
    -----
    What only the kilograms let one expect changes without an event, as nothing was measured.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> from datetime import UTC
    >>> stage_changes(GrindFacts(None, None), datetime(2026, 5, 4, tzinfo=UTC))
    ()
    """
    if as_of.utcoffset() is None:
        raise ValueError("the instant must be aware (have an offset)")
    if facts.burr_set is None or facts.burr_grams is None:
        return ()
    instants = {c.ground_at for c in facts.checkpoints if c.ground_at <= as_of}
    streams = (facts.flow_steadied_at, facts.drift_confirmed_at)
    instants |= {at for at in streams if at is not None and at <= as_of}
    states = {c.ground_at: c for c in fold_checkpoints(facts, as_of)}
    changes: list[StageChange] = []
    state = Folded()
    known_grams = 0.0
    for at in sorted(instants):
        state = states.get(at, state)
        grams = state.settling.at_grams
        known_grams = known_grams if grams is None else max(known_grams, grams)
        # the grams of that instant are the checkpoint's own
        then = replace(facts, burr_grams=known_grams)
        expected = expected_break_in(facts.burr_set, known_grams, facts.burr_estimated_grams)
        stage, basis, verdict = _decided(then, state, at, expected)
        before = changes[-1].to_stage if changes else None
        if stage != before:
            changes.append(StageChange(at, before, stage, basis, verdict, grams))
    return tuple(changes)


# Kept like the verdicts, which are the same object for the same rows.
@lru_cache(maxsize=KEPT_VERDICTS)
def _forecast(settling: Settling, burr_class: BurrClass, here_grams: float) -> Forecast | None:
    return forecast_settling(settling, burr_class, current_grams=here_grams)


@lru_cache(maxsize=KEPT_VERDICTS)
def _following(settling: Settling, burr_class: BurrClass, here_grams: float) -> float | None:
    return next_checkpoint_grams(settling, burr_class, current_grams=here_grams)


def _decided(
    facts: GrindFacts, state: Folded, as_of: datetime, expected: BreakIn
) -> tuple[Stage, Literal["measured", "inferred", "expected"], str]:
    burr_set, grams = facts.burr_set, facts.burr_grams
    life = None if burr_set is None else burr_set.rated_life_grams
    if burr_set is not None and grams is not None and life is not None:
        least = burr_set.prior_grams
        least = burr_set.low_prior_grams or 0.0 if least is None else least
        if least + grams >= life:
            return "end_of_life", "expected", "rated_life_reached"
    settling, drift = state.settling, facts.drift_confirmed_at
    if state.settled_at is not None:
        if drift is not None and state.settled_at <= drift <= as_of:
            return "drifting", "inferred", "drift_confirmed"
        latest = max((row.ground_at for row in state.joined.rows), default=state.settled_at)
        if any(latest < seating.at <= as_of for seating in facts.seatings):
            return "settled", "measured", "reseated"
        is_now = settling.decision == "settled"
        return "settled", "measured", "settled" if is_now else "settled_before"
    if state.has_moved:
        return "undecided", "measured", "level_moved"
    if settling.decision == "not_settled":
        return "breaking_in", "measured", settling.verdict
    if settling.decision == "undecided":
        return "undecided", "measured", settling.verdict
    if facts.flow_steadied_at is not None and facts.flow_steadied_at <= as_of:
        return "settled", "inferred", "flow_steadied"
    if settling.checkpoint_count or state.joined.left_out:
        return expected.stage, "expected", settling.verdict
    return expected.stage, "expected", expected.verdict


def _left(
    settling: Settling, forecast: Forecast, here_grams: float
) -> tuple[float | None, float | None, float | None]:
    """What is left by what was measured; where that has no end, by the forecast."""
    measured = settling.settles_at_grams
    is_verdict = settling.decision != "not_enough_data"
    # the forecast knows neither that whole sittings differ nor that the class does not apply
    is_doubtful = "model_misfit" in settling.findings or forecast.is_prior_conflict
    left: list[float | None] = [*_numbers(forecast.remaining_grams)]
    if is_verdict and measured is not None and measured.high is not None:
        left = [None if at is None else max(0.0, at - here_grams) for at in _numbers(measured)]
    elif is_verdict and is_doubtful:
        low = None if measured is None else measured.low
        left = [None if low is None else max(0.0, low - here_grams), None, None]
    # only a measurement can say that nothing is left
    return left[0], left[1] or None, left[2] or None


def _numbers(limits: Limits) -> tuple[float | None, float | None, float | None]:
    return limits.low, limits.best, limits.high


def _whole(grams: float | None) -> float | None:
    return None if grams is None else float(round(grams))
