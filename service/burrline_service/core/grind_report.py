"""The break-in answer put together from the facts of one burr set."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import replace
from datetime import datetime
from itertools import pairwise

from .comparisons import compare_neighbours
from .grind_answers import (
    BreakInAnswer,
    CheckpointAnswer,
    ComparedAnswer,
    CurveAnswer,
    FitAnswer,
    ForecastAnswer,
    PriorAnswer,
    ResponseAnswer,
    Said,
)
from .grind_sentences import CAUTIONS, LEFT_OUT, NOT_COMPARED, difference_sentence
from .prior import EXPECTED_PROBABILITY, class_of, settling_grams
from .settling import Settling
from .settling_curve import curve_grams, draw_curves
from .settling_forecast import informed_class
from .settling_measures import Limits, ResponseFit, significant
from .settling_series import Series, within_variance
from .stage_facts import GrindFacts
from .stages import Standing, stage_at, stage_changes
from .stream_answers import StreamAnswer

LARGEST_UNWEIGHED_FRACTION = 0.05
"""Beyond this share of grams nobody weighed a caution is said (our choice, no source)."""

SMALLEST_GAP_GRAMS = 500.0
"""Kilograms of checkpoints so far ahead of the runs get a caution (our choice, no source)."""


def report_break_in(
    facts: GrindFacts,
    as_of: datetime,
    *,
    grinder_id: str,
    shown_grinder_ids: Collection[str],
    stream: StreamAnswer | None = None,
) -> BreakInAnswer:
    """Tell all there is to tell of a burr set's break-in at an instant.

    ``stage_at, draw_curves, compare_neighbours and stage_changes of the same facts``

    Parameters
    ----------
    facts : GrindFacts
        Of the set in the grinder.
    as_of : datetime
        Aware.
    grinder_id : str
        The grinder.
    shown_grinder_ids : collection of str
        Checkpoints made in other grinders count but are not listed.
    stream : StreamAnswer or None
        What ordinary runs tell of the flow; when it steadied stands in the facts.

    Returns
    -------
    BreakInAnswer
        The curve ends at the next checkpoint, or a quarter beyond the last one.

    Raises
    ------
    ValueError
        The instant is naive, or grams are negative or not finite.

    Valid
    -----
    As ``stage_at``.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2026, 5, 4, tzinfo=UTC)
    >>> report_break_in(
    ...     GrindFacts(None, None), at, grinder_id="bar-1", shown_grinder_ids=()
    ... ).verdict
    'no_burr_set'
    """
    standing = stage_at(facts, as_of)
    found, settling, burr_set = standing.break_in, standing.settling, facts.burr_set
    grams = facts.burr_grams
    prior_grams = None if burr_set is None else burr_set.prior_grams
    until = max(grams or 0.0, found.next_checkpoint_grams or 0.0)
    curves = draw_curves(settling, curve_grams(settling, until))
    return BreakInAnswer(
        grinder_id=grinder_id,
        burr_set_id=None if burr_set is None else burr_set.burr_set_id,
        as_of=as_of,
        stage=found.stage,
        basis=found.basis,
        verdict=found.verdict,
        sentence=found.sentence,
        findings=settling.findings if facts.checkpoints else (),
        settled_at=standing.settled_at,
        burr_grams=found.burr_grams,
        total_burr_grams=None if prior_grams is None or grams is None else prior_grams + grams,
        low_remaining_grams=found.low_remaining_grams,
        remaining_grams=found.remaining_grams,
        high_remaining_grams=found.high_remaining_grams,
        next_checkpoint_grams=found.next_checkpoint_grams,
        rated_life_grams=None if burr_set is None else burr_set.rated_life_grams,
        fit=_fit(settling),
        forecast=_forecast(facts, standing),
        checkpoints=_checkpoints(facts, standing, shown_grinder_ids),
        curve=CurveAnswer(curves.get("d50", ()), curves.get("fines", ())),
        cautions=_cautions(facts, standing),
        changes=stage_changes(facts, as_of),
        stream=stream,
    )


def _fit(settling: Settling) -> FitAnswer:
    judged = {response.name: response for response in settling.responses}
    found = {series.name: _response(series, judged.get(series.name)) for series in settling.series}
    nothing, unknown = FitAnswer(), ResponseAnswer()
    return FitAnswer(
        tau_grams=settling.tau_grams or nothing.tau_grams,
        settles_at_grams=settling.settles_at_grams or nothing.settles_at_grams,
        d50_micrometres=found.get("d50", unknown),
        fines_fraction=found.get("fines", unknown),
    )


def _response(series: Series, judged: ResponseFit | None) -> ResponseAnswer:
    dose_sd = math.sqrt(within_variance(series)[0]) if series.freedom_count else None
    scatter = ResponseAnswer(
        smallest_change_response=significant(series.change_response),
        sitting_sd_response=significant(series.session.sd_response),
        sitting_basis=series.session.basis,
        dose_sd_response=significant(dose_sd),
    )
    if judged is None:
        return scatter
    return replace(
        scatter,
        is_judged=True,
        start=judged.start,
        settled=judged.settled,
        remaining=judged.remaining,
        change=judged.change,
        least_to_come_response=judged.least_to_come_response,
        most_to_come_response=judged.most_to_come_response,
    )


def _forecast(facts: GrindFacts, standing: Standing) -> ForecastAnswer | None:
    burr_set, forecast = facts.burr_set, standing.forecast
    if burr_set is None:
        return None
    thumb = class_of(burr_set.geometry, burr_set.diameter_millimetres)
    informed = thumb if forecast is None else informed_class(thumb, facts.measured_sets)
    reach = math.exp(1.96 * informed.log_tau_sd)
    tau = Limits(
        significant(informed.tau_grams / reach),
        significant(informed.tau_grams),
        significant(informed.tau_grams * reach),
    )
    prior = PriorAnswer(
        class_name=informed.name,
        measured_set_count=0 if informed is thumb else len(facts.measured_sets),
        tau_grams=tau,
        enough_grams=float(round(settling_grams(informed, EXPECTED_PROBABILITY))),
    )
    if forecast is None:
        left = standing.break_in
        remaining = Limits(
            left.low_remaining_grams, left.remaining_grams, left.high_remaining_grams
        )
        nothing = Limits(None, None, None)
        return ForecastAnswer(prior, 0, None, tau, nothing, remaining, None, False)
    return ForecastAnswer(
        prior,
        standing.settling.checkpoint_count,
        forecast.response,
        forecast.tau_grams,
        forecast.settles_at_grams,
        forecast.remaining_grams,
        forecast.now_probability,
        forecast.is_prior_conflict,
    )


def _checkpoints(
    facts: GrindFacts, standing: Standing, shown_grinder_ids: Collection[str]
) -> tuple[CheckpointAnswer, ...]:
    joined = {row.checkpoint_id for row in standing.joined.rows}
    left_out: dict[str, list[Said]] = {}
    for item in standing.joined.left_out:
        said = Said(item.reason, LEFT_OUT[item.reason])
        left_out.setdefault(item.checkpoint_id, []).append(said)
    compared: dict[str, list[ComparedAnswer]] = {}
    for one in compare_neighbours(standing.joined.rows, facts.rule):
        answer = ComparedAnswer(
            one.response,
            one.before_checkpoint_id,
            one.difference,
            None if one.reason is None else Said(one.reason, NOT_COMPARED[one.reason]),
            difference_sentence(one),
        )
        compared.setdefault(one.checkpoint_id, []).append(answer)
    return tuple(
        CheckpointAnswer(
            checkpoint,
            checkpoint.checkpoint_id in joined,
            tuple(left_out.get(checkpoint.checkpoint_id, ())),
            tuple(compared.get(checkpoint.checkpoint_id, ())),
        )
        for checkpoint in sorted(facts.checkpoints, key=lambda c: (c.ground_at, c.checkpoint_id))
        if checkpoint.grinder_id in shown_grinder_ids
    )


def _cautions(facts: GrindFacts, standing: Standing) -> tuple[Said, ...]:
    codes = list(standing.joined.cautions)
    unweighed, grams = facts.burr_estimated_grams, facts.burr_grams or 0.0
    is_counted = any(c.burr_grams_basis == "runs" for c in facts.checkpoints)
    if is_counted and (unweighed is None or unweighed > LARGEST_UNWEIGHED_FRACTION * grams):
        codes.append("not_all_weighed")
    in_time = sorted(standing.joined.rows, key=lambda row: row.ground_at)
    if any(b.burr_grams < a.burr_grams for a, b in pairwise(in_time) if a.ground_at < b.ground_at):
        codes.append("kilograms_out_of_order")
    most = max((row.burr_grams for row in in_time), default=0.0)
    if most > grams + SMALLEST_GAP_GRAMS:
        codes.append("kilograms_ahead_of_runs")
    if standing.forecast is not None and standing.forecast.is_prior_conflict:
        codes.append("unlike_their_class")
    return tuple(Said(code, CAUTIONS[code]) for code in codes)
