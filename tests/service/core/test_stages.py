"""The stage of a burr set, from all that is known by an instant."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burrline_service.core.entered import Checkpoint
from burrline_service.core.joining import Seating
from burrline_service.core.prior import expected_break_in
from burrline_service.core.records import BurrSet
from burrline_service.core.settling_forecast import MeasuredSet
from burrline_service.core.stages import GrindFacts, Standing, stage_at, stage_changes
from made_checkpoints import AT, checkpoint, checkpoint_sets

LATER = AT + timedelta(days=400)


def burr_set(**changes: Any) -> BurrSet:
    described: dict[str, Any] = {
        "burr_set_id": "north-98-a",
        "geometry": "flat",
        "created_at": AT,
        "diameter_millimetres": 98.0,
        "prior_grams": 0.0,
    }
    return BurrSet(**described | changes)


def life(
    kilograms: tuple[float, ...], tau: float = 6.0, change: float = 36.0, **changes: Any
) -> tuple[Checkpoint, ...]:
    """Checkpoints of a set with tau, one a day."""
    made = []
    for number, m in enumerate(kilograms):
        done = change * -math.expm1(-m / tau)
        d50 = tuple(300 + done + off for off in (-4.0, 0.0, 4.0))
        fines = tuple(0.14 - done / 900 + off for off in (-0.004, 0.0, 0.004))
        made.append(checkpoint(number, d50, fines, burr_grams=1000.0 * m, **changes))
    return tuple(made)


def facts(checkpoints: tuple[Checkpoint, ...] = (), **changes: Any) -> GrindFacts:
    grams = max((c.burr_grams or 0.0 for c in checkpoints), default=0.0)
    described: dict[str, Any] = {"burr_set": burr_set(), "burr_grams": grams}
    return GrindFacts(**described | {"checkpoints": checkpoints} | changes)


def told(standing: Standing) -> tuple[str, str, str]:
    found = standing.break_in
    return found.stage, found.basis, found.verdict


# --- without measurements -------------------------------------------------------------------------


def test_without_a_burr_set_the_stage_is_unknown() -> None:
    found = stage_at(GrindFacts(None, None), AT)
    assert told(found) == ("unknown", "expected", "no_burr_set")
    assert found.forecast is None


@pytest.mark.parametrize("grams", [0.0, 3_000.0, 40_000.0])
def test_without_checkpoints_it_is_what_one_may_expect(grams: float) -> None:
    found = stage_at(facts(burr_grams=grams), AT)
    assert found.break_in == expected_break_in(burr_set(), grams)
    assert found.settled_at is None


# --- measured -------------------------------------------------------------------------------------


def test_a_first_checkpoint_informs_the_forecast_and_leaves_the_expected_stage() -> None:
    found = stage_at(facts(life((0.0,))), LATER)
    assert told(found) == ("new", "expected", "too_few_checkpoints")
    assert found.forecast is not None
    assert found.break_in.next_checkpoint_grams == pytest.approx(5000, rel=0.2)
    assert "1 checkpoint counts so far" in found.break_in.sentence


def test_far_from_done_it_is_breaking_in() -> None:
    found = stage_at(facts(life((0, 2, 4, 6, 8), change=120.0)), LATER)
    assert told(found) == ("breaking_in", "measured", "not_settled")
    assert found.break_in.remaining_grams is not None
    assert found.break_in.remaining_grams > 0
    assert (found.break_in.next_checkpoint_grams or 0) > 8000


def test_when_the_data_cannot_tell_it_is_undecided() -> None:
    found = stage_at(facts(life((0, 4, 8, 12))), LATER)
    assert told(found)[:2] == ("undecided", "measured")
    assert (found.break_in.next_checkpoint_grams or 0) > 12_000


def at_levels(levels: dict[float, float], doses: int = 3) -> tuple[Checkpoint, ...]:
    """D50 by kilograms, the doses 2 um apart."""
    return tuple(
        checkpoint(
            n, tuple(d50 + 2.0 * k for k in range(doses)), (None,) * doses, burr_grams=1000.0 * m
        )
        for n, (m, d50) in enumerate(levels.items())
    )


def test_along_a_straight_line_beyond_the_class_only_the_least_is_told() -> None:
    found = stage_at(facts(at_levels({0: 600, 2: 650, 5: 700, 8: 750})), LATER)
    left, fit = found.break_in, found.settling.settles_at_grams
    assert fit is not None
    assert fit.low is not None
    assert told(found) == ("breaking_in", "measured", "not_settled")
    assert (left.remaining_grams, left.high_remaining_grams) == (None, None)
    assert left.low_remaining_grams == round(fit.low - 8_000)


def test_contradictory_checkpoints_leave_open_how_much_is_left() -> None:
    """The forecast knows no scatter of whole sittings and would say that nothing is."""
    found = stage_at(facts(at_levels({0: 300, 5: 330, 10: 310, 20: 350, 30: 290})), LATER)
    left = found.break_in
    assert found.forecast is not None
    assert found.forecast.remaining_grams.high == 0.0
    assert told(found)[0] == "undecided"
    assert (left.low_remaining_grams, left.remaining_grams, left.high_remaining_grams) == (
        None,
        None,
        None,
    )
    assert "scatter more than their doses explain" in left.sentence


def test_a_limit_beyond_half_the_size_is_no_number_to_frighten_with() -> None:
    """D50 bends from 600 to 648 um, so early that any slower curve fits as well."""
    early = at_levels({m: 600 + 60 * -math.expm1(-m / 2.5) for m in (0, 1, 2, 4)})
    found = stage_at(facts(early), LATER)
    assert (found.settling.responses[0].most_to_come_response or 0) > 300
    assert "Up to half the median size (D50) or more may still come" in found.break_in.sentence
    wild = tuple(
        checkpoint(n, (1000.0, 400.0, 600.0), (None,) * 3, burr_grams=m)
        for n, m in enumerate((0.0, 2e3, 5e3, 9e3))
    )
    said = stage_at(facts(wild), LATER).break_in.sentence
    assert "even a change by half could hide" in said


def test_still_moving_the_wrong_way_is_said() -> None:
    """D50 grows as it should, and the fines with it: 10 to 14.5 %."""
    rows = tuple(
        checkpoint(
            n,
            tuple(600 - 60 * math.expm1(-m / 6) + off for off in (-3.0, 0.0, 3.0)),
            tuple(0.1 + 0.005 * m + off for off in (-0.002, 0.0, 0.002)),
            burr_grams=1000.0 * m,
        )
        for n, m in enumerate((0, 2, 5, 9))
    )
    found = stage_at(facts(rows), LATER)
    assert told(found)[2] == "not_settled"
    assert "moves the wrong way" in found.break_in.sentence


def test_a_forecast_alone_never_says_that_nothing_is_left() -> None:
    flat = at_levels(dict.fromkeys((0.0, 2.0, 5.0, 8.0, 25.0, 60.0), 600.0), doses=1)
    found = stage_at(facts(flat), LATER)
    assert found.forecast is not None
    assert found.forecast.remaining_grams.best == 0.0
    assert found.break_in.stage != "settled"
    assert found.break_in.remaining_grams is None
    assert found.break_in.high_remaining_grams != 0


def test_kilograms_given_with_a_checkpoint_count_where_no_runs_are() -> None:
    known = facts(life((0, 5)), burr_grams=0.0)
    found = stage_at(known, LATER)
    assert found.break_in.stage == "breaking_in"
    assert stage_changes(known, LATER)[-1].to_stage == found.break_in.stage


def test_many_checkpoints_at_the_same_kilograms_are_told_apart_from_too_few() -> None:
    same = stage_at(facts(life((3, 3, 3, 3, 3))), LATER).break_in
    assert (
        "5 checkpoints count so far, all at the same kilograms (were all runs recorded?)"
        in same.sentence
    )
    three = stage_at(facts(life((0, 3, 3, 5))), LATER).break_in
    assert "4 checkpoints count so far, at 3 different kilograms" in three.sentence
    assert (
        "3 checkpoints count so far." in stage_at(facts(life((0, 3, 5))), LATER).break_in.sentence
    )


def test_proven_settled_nothing_is_left() -> None:
    found = stage_at(facts(life((0, 5, 10, 20, 40))), LATER)
    assert told(found) == ("settled", "measured", "settled")
    left = found.break_in
    assert (left.low_remaining_grams, left.remaining_grams, left.high_remaining_grams) == (0, 0, 0)
    assert left.next_checkpoint_grams is None
    assert found.settled_at == AT + timedelta(days=3)  # already at 20 kg


def test_used_burrs_of_unknown_past_can_be_proven_settled() -> None:
    used = life((100, 105, 110, 120, 140), tau=60.0, change=2.0)
    unknown = burr_set(prior_grams=None, pre_treated="outside")
    found = stage_at(facts(used, burr_set=unknown), LATER)
    assert told(found)[:2] == ("settled", "measured")


def test_what_lies_after_the_instant_does_not_count() -> None:
    known = facts(life((0, 5, 10, 20, 40)))
    day = AT + timedelta(days=3, hours=1)
    shorter = facts(life((0, 5, 10, 20)), burr_grams=40_000.0)
    assert stage_at(known, day).break_in == stage_at(shorter, LATER).break_in


def test_a_settled_set_stays_so_while_nothing_contradicts_it() -> None:
    """The lab changes its instrument: one point of a new kind tells nothing against it."""
    proven = life((0, 5, 10, 20, 40))
    other = checkpoint(5, (500.0, 501.0), (0.1, 0.1), burr_grams=45_000.0, instrument_id="new")
    found = stage_at(facts((*proven, other)), LATER)
    assert told(found) == ("settled", "measured", "settled_before")
    assert found.settled_at == AT + timedelta(days=3)


def test_a_grind_that_has_left_its_settled_level_is_no_longer_settled() -> None:
    proven = life((0, 5, 10, 20, 40))
    coarser = checkpoint(
        6, (396.0, 400.0, 404.0), (0.099, 0.1, 0.101), burr_grams=50_000.0
    )  # 64 micrometres above, with 10 that matter
    found = stage_at(facts((*proven, coarser)), LATER)
    assert told(found) == ("undecided", "measured", "level_moved")
    assert found.settled_at is None
    assert found.break_in.next_checkpoint_grams == 50_000.0  # it says: measure again


def test_fines_that_rose_by_more_than_matters_contradict_what_was_settled() -> None:
    """D50 stays, the fines go from 10 to 16 %: 6 points, with 1 that matters."""
    proven = life((0, 5, 10, 20, 40))
    for d50 in ((332.0, 336.0, 340.0), (None, None, None)):
        dusty = checkpoint(6, d50, (0.158, 0.16, 0.162), burr_grams=50_000.0)
        found = stage_at(facts((*proven, dusty)), LATER)
        assert told(found) == ("undecided", "measured", "level_moved")
    same = checkpoint(6, (332.0, 336.0, 340.0), (0.097, 0.1, 0.103), burr_grams=50_000.0)
    assert told(stage_at(facts((*proven, same)), LATER))[0] == "settled"


def test_a_voided_proof_proves_nothing() -> None:
    proven = life((0, 5, 10, 20, 40))
    mended = (*proven[:3], *(replace(c, voided_at=LATER) for c in proven[3:]))
    assert told(stage_at(facts(mended), LATER))[0] != "settled"


# --- seatings, drift, flow, life ------------------------------------------------------------------


def test_a_seating_after_the_proof_asks_for_one_checkpoint_that_confirms() -> None:
    proven = life((0, 5, 10, 20, 40))
    out = Seating(AT + timedelta(days=4, hours=3), zero_setting=1.0)
    found = stage_at(facts(proven, seatings=(out,), burr_grams=42_000.0), LATER)
    assert told(found) == ("settled", "measured", "reseated")
    assert found.break_in.next_checkpoint_grams == 42_000.0
    lower = checkpoint(5, (311.0, 315.0, 319.0), (0.11, 0.112, 0.114), burr_grams=42_000.0)
    again = stage_at(facts((*proven, lower), seatings=(out,)), LATER)
    assert told(again)[:2] == ("settled", "measured")
    assert again.break_in.verdict in ("settled", "settled_before")
    assert "reseated" in again.joined.cautions


def test_without_the_seating_the_same_lower_level_is_a_contradiction() -> None:
    proven = life((0, 5, 10, 20, 40))
    lower = checkpoint(5, (291.0, 295.0, 299.0), (0.11, 0.112, 0.114), burr_grams=42_000.0)
    assert told(stage_at(facts((*proven, lower)), LATER))[0] != "settled"


def test_a_confirmed_drift_after_the_proof_is_drifting() -> None:
    proven = life((0, 5, 10, 20, 40))
    at = AT + timedelta(days=30)
    known = facts(proven, drift_confirmed_at=at, burr_grams=60_000.0)
    assert told(stage_at(known, at)) == ("drifting", "inferred", "drift_confirmed")
    assert told(stage_at(known, at - timedelta(seconds=1)))[0] == "settled"
    early = facts(proven, drift_confirmed_at=AT + timedelta(days=1))
    assert told(stage_at(early, LATER))[0] == "settled"


def test_steadied_flow_infers_settled_only_while_checkpoints_cannot_judge() -> None:
    at = AT + timedelta(days=20)
    alone = facts(life((0, 5)), flow_steadied_at=at)
    assert told(stage_at(alone, LATER)) == ("settled", "inferred", "flow_steadied")
    assert stage_at(alone, LATER).break_in.remaining_grams is None
    measured = facts(life((0, 4, 8, 12)), flow_steadied_at=at)
    assert told(stage_at(measured, LATER))[:2] == ("undecided", "measured")
    assert told(stage_at(alone, at - timedelta(seconds=1)))[1] == "expected"


def test_a_set_past_its_rated_life_is_at_its_end() -> None:
    old = burr_set(rated_life_grams=1_000_000.0, prior_grams=990_000.0)
    assert told(stage_at(facts(burr_set=old, burr_grams=10_000.0), AT)) == (
        "end_of_life",
        "expected",
        "rated_life_reached",
    )
    assert told(stage_at(facts(burr_set=old, burr_grams=9_999.0), AT))[0] != "end_of_life"
    unknown = replace(old, prior_grams=None, low_prior_grams=500_000.0)
    assert told(stage_at(facts(burr_set=unknown, burr_grams=10_000.0), AT))[0] != "end_of_life"


# --- other sets -----------------------------------------------------------------------------------


def test_other_sets_of_the_model_move_the_forecast_and_never_the_verdict() -> None:
    slow = tuple(MeasuredSet(n, 20_000.0, 24_000.0, 28_000.0, 0.12) for n in "abc")
    plain = stage_at(facts(life((0, 5, 10))), LATER)
    better = stage_at(facts(life((0, 5, 10)), measured_sets=slow), LATER)
    assert plain.break_in.verdict == better.break_in.verdict
    assert (better.break_in.remaining_grams or 0) > (plain.break_in.remaining_grams or 0)
    proven = life((0, 5, 10, 20, 40))
    assert told(stage_at(facts(proven, measured_sets=slow), LATER))[0] == "settled"


def test_another_burr_set_starts_anew() -> None:
    """The facts are those of one set: a swap leaves the new set none of the old checkpoints."""
    swapped = burr_set(burr_set_id="north-98-b")
    found = stage_at(facts((), burr_set=swapped, burr_grams=0.0), LATER)
    assert told(found) == ("new", "expected", "new_burrs")


# --- events ---------------------------------------------------------------------------------------


def test_changes_of_stage_are_told_at_the_checkpoints_that_show_them() -> None:
    known = facts(life((0, 2, 4, 6, 8, 30, 60, 90, 120), change=120.0))
    changes = stage_changes(known, LATER)
    assert [c.to_stage for c in changes][:2] == ["new", "breaking_in"]
    assert changes[-1].to_stage == "settled"
    assert changes[0].from_stage is None
    for before, after in pairwise(changes):
        assert after.from_stage == before.to_stage != after.to_stage
        assert before.at < after.at
    assert changes[-1].basis == "measured"
    for change in changes:
        standing = stage_at(replace(known, burr_grams=change.burr_grams), change.at)
        assert told(standing) == (change.to_stage, change.basis, change.verdict)


def test_a_confirmed_drift_is_an_event_and_the_future_is_none() -> None:
    at = AT + timedelta(days=30)
    known = facts(life((0, 5, 10, 20, 40)), drift_confirmed_at=at)
    assert stage_changes(known, LATER)[-1].to_stage == "drifting"
    assert stage_changes(known, LATER)[-1].at == at
    assert stage_changes(known, at - timedelta(seconds=1))[-1].to_stage == "settled"
    assert stage_changes(known, AT - timedelta(days=1)) == ()


@given(checkpoint_sets(), st.floats(min_value=0, max_value=2e5), st.integers(0, 10))
@settings(max_examples=60, deadline=None)
def test_any_set_of_checkpoints_has_a_stage_and_never_an_exception(
    made: list[Checkpoint], grams: float, days: int
) -> None:
    seatings = (Seating(AT + timedelta(days=2, hours=1), 1.0),)
    known = facts(tuple(made), burr_grams=grams, seatings=seatings)
    found = stage_at(known, AT + timedelta(days=days))
    assert found.break_in.sentence
    following = found.break_in.next_checkpoint_grams
    assert following is None or following >= grams
    if found.break_in.stage == "settled":
        assert found.settled_at is not None
    stage_changes(known, AT + timedelta(days=days))


@given(st.permutations(range(6)), st.integers(0, 6))
@settings(max_examples=25, deadline=None)
def test_the_order_of_facts_changes_nothing(order: list[int], days: int) -> None:
    made = life((0, 4, 8, 14, 25, 40), tau=5.0)
    seatings = tuple(Seating(AT + timedelta(days=d, hours=1), float(d)) for d in (1, 3))
    one = facts(made, seatings=seatings)
    other = facts(tuple(made[place] for place in order), seatings=seatings[::-1])
    as_of = AT + timedelta(days=days)
    assert stage_at(one, as_of).break_in == stage_at(other, as_of).break_in
    assert stage_changes(one, as_of) == stage_changes(other, as_of)


def test_every_stage_has_its_sentence() -> None:
    at = AT + timedelta(days=30)
    proven = life((0, 5, 10, 20, 40))
    standings = [
        stage_at(facts(proven), LATER),
        stage_at(facts(proven, drift_confirmed_at=at), LATER),
        stage_at(facts(life((0, 5)), flow_steadied_at=at), LATER),
        stage_at(facts(life((0, 2, 4, 6, 8), change=120.0)), LATER),
        stage_at(facts(burr_set=burr_set(rated_life_grams=1.0), burr_grams=5.0), LATER),
    ]
    sentences = {standing.break_in.sentence for standing in standings}
    assert len(sentences) == 5
    assert all(sentence.endswith(".") for sentence in sentences)


def test_naive_instants_are_refused() -> None:
    naive = datetime(2026, 5, 4)  # noqa: DTZ001
    with pytest.raises(ValueError, match="aware"):
        stage_at(facts(), naive)
    with pytest.raises(ValueError, match="aware"):
        stage_changes(facts(), naive)
