"""The break-in answer put together: every set of checkpoints has one, every code its words."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from datetime import timedelta

from hypothesis import given, settings

from burrline_service.api.break_in_examples import BREAK_IN
from burrline_service.api.schemas_break_in import BreakInAnswerSchema
from burrline_service.core import joining
from burrline_service.core.comparisons import Comparison
from burrline_service.core.entered import Checkpoint
from burrline_service.core.grind_answers import BreakInAnswer
from burrline_service.core.grind_report import report_break_in
from burrline_service.core.grind_sentences import CAUTIONS, LEFT_OUT, difference_sentence
from burrline_service.core.replicates import compare_means
from burrline_service.core.settling_sentences import settling_sentence
from burrline_service.core.stages import GrindFacts, stage_at
from made_checkpoints import AT, checkpoint, checkpoint_sets
from service.core.test_stages import LATER, facts, life


def report(known: GrindFacts) -> BreakInAnswer:
    return report_break_in(known, LATER, grinder_id="bar-1", shown_grinder_ids={"bar-1"})


def numbers(value: object) -> list[float]:
    if isinstance(value, dict):
        return [one for inner in value.values() for one in numbers(inner)]
    if isinstance(value, list):
        return [one for inner in value for one in numbers(inner)]
    return [value] if isinstance(value, float) else []


@settings(max_examples=60, deadline=None)
@given(checkpoint_sets())
def test_whatever_was_measured_has_an_answer_of_finite_numbers(made: list[Checkpoint]) -> None:
    # what cannot be a number is refused where it is sent
    usable = tuple(c for c in made if c.burr_grams is None or math.isfinite(c.burr_grams))
    answer = report(replace(facts(), checkpoints=usable, burr_grams=12_000.0))
    body = BreakInAnswerSchema().dump(answer)
    fit = {name: body[name] for name in ("fit", "forecast", "curve", "changes")}
    assert all(math.isfinite(number) for number in numbers(fit))
    json.dumps(fit, allow_nan=False)
    assert answer.verdict and answer.sentence


def test_the_answer_says_what_the_stage_says() -> None:
    known = facts(life((0, 2, 5, 10, 20)))
    answer, stage = report(known), stage_at(known, LATER).break_in
    for name in ("stage", "basis", "verdict", "sentence", "remaining_grams"):
        assert getattr(answer, name) == getattr(stage, name)
    assert answer.curve.d50_micrometres[0].burr_grams == 0.0
    assert answer.curve.d50_micrometres[-1].burr_grams >= 20_000


def test_too_few_checkpoints_have_no_fit_but_tell_their_scatter() -> None:
    answer = report(facts(life((0, 5))))
    d50 = answer.fit.d50_micrometres
    assert (answer.fit.tau_grams.best, d50.is_judged, d50.settled.best) == (None, False, None)
    # doses at 296, 300, 304: their standard deviation is 4
    assert d50.dose_sd_response == 4.0
    assert d50.sitting_basis == "default"
    assert answer.curve.d50_micrometres == ()


def test_checkpoints_of_grinders_out_of_reach_count_and_are_not_listed() -> None:
    known = life((0, 2, 5, 10, 20))
    hidden = tuple(replace(one, grinder_id="bar-9") for one in known)
    answer = report(facts(hidden))
    assert (answer.checkpoints, answer.verdict) == ((), report(facts(known)).verdict)


def test_every_reason_and_caution_of_joining_has_its_words() -> None:
    told = joining.join_checkpoints.__doc__ or ""
    codes = set(
        re.findall(r"``([a-z0-9_]+)``", told.partition("Reasons:")[2].partition("Raises")[0])
    )
    of_the_report = {"not_all_weighed", "unlike_their_class"}
    of_the_report |= {"kilograms_out_of_order", "kilograms_ahead_of_runs"}
    assert codes == set(LEFT_OUT) | (set(CAUTIONS) - of_the_report)


def test_kilograms_that_fall_or_run_ahead_of_the_runs_are_a_caution() -> None:
    def codes(known: GrindFacts) -> list[str]:
        return [one.code for one in report(known).cautions]

    good = life((0, 2, 5, 10, 20))
    assert codes(facts(good)) == []
    assert codes(facts(good, burr_grams=19_600.0)) == []
    assert codes(facts(good, burr_grams=19_400.0)) == ["kilograms_ahead_of_runs"]
    assert codes(facts(life((0, 5, 2, 10, 20)))) == ["kilograms_out_of_order"]


def test_a_change_far_beyond_the_class_is_a_caution_and_the_fit_tells_what_is_left() -> None:
    answer = report(facts(life((0, 2, 4, 6, 8, 12), change=120.0)))
    fit, forecast = answer.fit.settles_at_grams, answer.forecast
    assert [one.code for one in answer.cautions] == ["unlike_their_class"]
    assert forecast is not None
    assert forecast.is_prior_conflict
    # counted from the last checkpoint at 12 kg, in whole grams
    assert fit.best is not None
    assert fit.high is not None
    assert answer.remaining_grams == round(fit.best - 12_000)
    assert answer.high_remaining_grams == round(fit.high - 12_000)
    assert answer.remaining_grams != round(forecast.remaining_grams.best or 0.0)


def test_what_was_not_weighed_is_a_caution_where_runs_tell_the_kilograms() -> None:
    known = facts(life((0, 5)), burr_grams=5_000.0, burr_estimated_grams=400.0)
    assert [one.code for one in report(known).cautions] == ["not_all_weighed"]
    few = replace(known, burr_estimated_grams=100.0)
    given_by_hand = replace(
        known, checkpoints=tuple(replace(c, burr_grams_basis="given") for c in known.checkpoints)
    )
    assert report(few).cautions == report(given_by_hand).cautions == ()


def test_no_change_shown_is_never_told_as_proof() -> None:
    same = compare_means((300.0, 301.0, 302.0), (300.0, 301.0, 302.5))
    words = difference_sentence(Comparison("b", "a", "d50", same, None))
    assert "does not prove there is none" in words
    rose = compare_means((300.0, 301.0, 302.0), (340.0, 341.0, 342.0))
    assert difference_sentence(Comparison("b", "a", "d50", rose, None)).startswith(
        "D50 rose by 40.0 µm"
    )
    once = compare_means((300.0,), (340.0,))
    assert "one dose" in difference_sentence(Comparison("b", "a", "fines", once, None))


def test_a_settled_sentence_bounds_what_may_come_by_more_than_nothing() -> None:
    settling = stage_at(facts(life((0, 5, 10, 20, 40), tau=2.0)), LATER).settling
    words = settling_sentence("settled", settling)
    assert "at most 0.0 " not in words
    assert "0.1 µm of median size" in words


def test_a_checkpoint_by_itself_leaves_the_set_as_expected() -> None:
    lone = checkpoint(0, ground_at=AT + timedelta(hours=1))
    assert report(facts((lone,))).basis == "expected"


def test_the_published_example_has_the_sentences_of_its_numbers() -> None:
    settling = stage_at(facts(life((0, 2, 5, 10, 20))), LATER).settling
    fit = BREAK_IN["fit"]
    names = {"d50": "d50_micrometres", "fines": "fines_fraction"}
    responses = tuple(
        replace(
            one,
            most_to_come_response=fit[names[one.name]]["most_to_come"],
            smallest_change_response=fit[names[one.name]]["smallest_change"],
        )
        for one in settling.responses
    )
    said = settling_sentence("settled", replace(settling, responses=responses))
    assert said == BREAK_IN["sentence"]
    for one in BREAK_IN["checkpoints"][0]["compared"]:
        told = one["difference"]
        numbers = (told["change"], told["low"], told["high"])
        sample = compare_means((1.0, 2.0), (2.0, 3.0))
        found = replace(
            sample,
            change_response=numbers[0],
            low_response=numbers[1],
            high_response=numbers[2],
            verdict=told["verdict"],
        )
        assert (
            difference_sentence(Comparison("b", "a", one["response"], found, None))
            == (one["sentence"])
        )
