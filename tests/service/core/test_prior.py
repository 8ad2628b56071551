"""Break-in by expectation: quantiles against another integral and against drawn burrs."""

from __future__ import annotations

import math
import random
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from burrline_service.core.answers import BreakIn
from burrline_service.core.prior import (
    FLAT_64,
    FLAT_98,
    SMALL_CONICAL,
    VAGUE,
    BurrClass,
    class_of,
    expected_break_in,
    settling_grams,
)
from burrline_service.core.records import BurrSet

CLASSES = (FLAT_98, FLAT_64, SMALL_CONICAL, VAGUE, class_of("flat", 83.0), class_of("flat", 55.0))
PROBABILITIES = (0.025, 0.5, 0.8, 0.95, 0.975)
MADE_AT = datetime(2026, 5, 4, 12, tzinfo=UTC)


def burr_set(**changes: Any) -> BurrSet:
    described: dict[str, Any] = {
        "burr_set_id": "north-98-a",
        "geometry": "flat",
        "created_at": MADE_AT,
        "diameter_millimetres": 98.0,
        "prior_grams": 0.0,
    }
    return BurrSet(**described | changes)


def judged(burr_grams: float, **changes: Any) -> BreakIn:
    return expected_break_in(burr_set(**changes), burr_grams)


# --- the quantile ---------------------------------------------------------------------------------


def settled_probability(burr_class: BurrClass, grams: float) -> float:
    """The same probability summed the other way round: over the change, not over tau."""

    def density(change: float) -> float:
        limit = grams / math.log(change / 0.03)  # tau must lie below it
        below = norm.cdf(math.log(limit / burr_class.tau_grams) / burr_class.log_tau_sd)
        return float(2 * norm.pdf(change, scale=burr_class.change_fraction) * below)

    never = 2 * norm.cdf(0.03, scale=burr_class.change_fraction) - 1
    rest, _ = quad(
        density, 0.03 * (1 + 1e-12), 10 * burr_class.change_fraction, epsabs=1e-11, limit=400
    )
    return float(never + rest)


@pytest.mark.parametrize("burr_class", CLASSES, ids=lambda burr_class: burr_class.name)
@pytest.mark.parametrize("probability", PROBABILITIES)
def test_a_quantile_agrees_with_an_independent_integral(
    burr_class: BurrClass, probability: float
) -> None:
    grams = settling_grams(burr_class, probability)
    if grams == 0:
        assert 2 * norm.cdf(0.03, scale=burr_class.change_fraction) - 1 >= probability
    else:
        assert settled_probability(burr_class, grams) == pytest.approx(probability, abs=1e-6)


@pytest.mark.parametrize("burr_class", CLASSES, ids=lambda burr_class: burr_class.name)
def test_of_many_drawn_burrs_the_right_share_has_settled_by_the_quantile(
    burr_class: BurrClass,
) -> None:
    dice, count = random.Random(20260504), 20_000
    drawn = []
    for _ in range(count):
        tau = burr_class.tau_grams * math.exp(burr_class.log_tau_sd * dice.gauss(0, 1))
        change = abs(dice.gauss(0, burr_class.change_fraction))
        drawn.append(max(0.0, tau * math.log(change / 0.03)) if change > 0 else 0.0)
    for probability in (0.5, 0.95, 0.975):
        grams = settling_grams(burr_class, probability)
        if grams == 0:
            continue
        share = sum(needed <= grams for needed in drawn) / count
        # five standard errors of a share of 20 000 draws
        assert abs(share - probability) < 5 * math.sqrt(probability * (1 - probability) / count)


@given(st.sampled_from(CLASSES), st.floats(0.001, 0.998), st.floats(1e-6, 0.001))
def test_more_certainty_never_takes_fewer_kilograms(
    burr_class: BurrClass, probability: float, more: float
) -> None:
    assert settling_grams(burr_class, probability + more) >= settling_grams(burr_class, probability)


@given(st.floats(40, 119), st.floats(0.1, 1))
def test_a_larger_flat_set_of_the_power_law_is_slower(diameter: float, more: float) -> None:
    smaller, larger = class_of("flat", diameter), class_of("flat", diameter + more)
    if {smaller, larger} & {FLAT_98, FLAT_64}:
        return  # the two sizes of which more is known step out of the line
    assert larger.tau_grams > smaller.tau_grams


@pytest.mark.parametrize(("diameter", "known"), [(98.0, FLAT_98), (64.0, FLAT_64)])
def test_the_power_law_meets_the_sizes_it_was_drawn_through(
    diameter: float, known: BurrClass
) -> None:
    beside = class_of("flat", diameter + 0.6)
    assert beside.log_tau_sd > known.log_tau_sd
    assert beside.tau_grams == pytest.approx(known.tau_grams, rel=0.03)


@pytest.mark.parametrize("probability", [0.0, 1.0, -0.1, 1.1, math.nan])
def test_a_probability_outside_its_range_is_refused(probability: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        settling_grams(FLAT_98, probability)


# --- the class ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("geometry", "diameter", "expected"),
    [
        ("flat", 98.0, FLAT_98),
        ("flat", 97.5, FLAT_98),
        ("flat", 64.5, FLAT_64),
        ("flat", None, VAGUE),
        ("flat", 30.0, VAGUE),
        ("flat", 200.0, VAGUE),
        ("conical", None, SMALL_CONICAL),
        ("conical", 40.0, SMALL_CONICAL),
        ("conical", 71.0, VAGUE),
        ("other", 64.0, VAGUE),
        ("other", None, VAGUE),
    ],
)
def test_shape_and_size_choose_the_class(
    geometry: str, diameter: float | None, expected: BurrClass
) -> None:
    assert class_of(geometry, diameter) == expected


@pytest.mark.parametrize("diameter", [0.0, -64.0, math.nan, math.inf])
def test_an_impossible_diameter_is_refused(diameter: float) -> None:
    with pytest.raises(ValueError, match="diameter_millimetres"):
        class_of("flat", diameter)


# --- the stage ------------------------------------------------------------------------------------


def test_without_a_set_nothing_is_known_and_nothing_is_made_up() -> None:
    found = expected_break_in(None, None)
    assert (found.stage, found.verdict) == ("unknown", "no_burr_set")
    assert (found.burr_grams, found.low_remaining_grams, found.remaining_grams) == (
        None,
        None,
        None,
    )
    assert (found.high_remaining_grams, found.next_checkpoint_grams) == (None, None)


def test_a_set_goes_from_new_through_breaking_in_to_undecided() -> None:
    enough = settling_grams(FLAT_98, 0.95)
    stages = [
        judged(grams).stage for grams in (0.0, 0.005 * enough, 5000.0, enough - 1, enough, 1e6)
    ]
    assert stages == ["new", "new", "breaking_in", "breaking_in", "undecided", "undecided"]


def test_what_went_through_before_counts_and_the_checkpoint_is_told_in_tracked_grams() -> None:
    found = judged(2000.0, prior_grams=6000.0)
    enough = settling_grams(FLAT_98, 0.95)
    assert found.stage == "breaking_in"
    assert found.next_checkpoint_grams == pytest.approx(enough - 6000, abs=1)
    assert found.high_remaining_grams == pytest.approx(settling_grams(FLAT_98, 0.975) - 8000, abs=1)
    assert found.remaining_grams is None  # the middle of the expectation is passed
    assert "8.0 kg" in found.sentence


def test_past_the_expected_kilograms_a_measurement_is_asked_for_now() -> None:
    found = judged(25_000.0)
    assert found.verdict == "past_expected_kilograms"
    assert found.next_checkpoint_grams == 25_000.0
    assert (found.remaining_grams, found.high_remaining_grams) == (None, None)
    assert "measurement" in found.sentence


def test_with_unknown_kilograms_before_the_stage_stays_open_and_the_bounds_stay_honest() -> None:
    found = judged(1000.0, prior_grams=None)
    assert (found.stage, found.verdict) == ("undecided", "prior_kilograms_unknown")
    assert (found.low_remaining_grams, found.remaining_grams) == (0.0, None)
    assert found.high_remaining_grams == pytest.approx(settling_grams(FLAT_98, 0.975) - 1000, abs=1)
    assert found.next_checkpoint_grams == 1000.0


def test_stated_bounds_of_the_kilograms_before_narrow_what_may_remain() -> None:
    open_ended = judged(1000.0, prior_grams=None)
    bounded = judged(1000.0, prior_grams=None, low_prior_grams=4000.0, high_prior_grams=9000.0)
    assert open_ended.high_remaining_grams is not None
    assert bounded.high_remaining_grams == open_ended.high_remaining_grams - 4000
    surely_past = judged(1000.0, prior_grams=None, low_prior_grams=30_000.0)
    assert surely_past.verdict == "past_expected_kilograms"


@pytest.mark.parametrize(
    ("pre_treated", "said"), [("factory", "pre-treated"), ("outside", "elsewhere")]
)
def test_a_treatment_before_is_mentioned(pre_treated: str, said: str) -> None:
    assert said in judged(1000.0, pre_treated=pre_treated).sentence
    assert said not in judged(1000.0, pre_treated="none").sentence


def test_little_experience_is_admitted() -> None:
    assert "little experience" in judged(1000.0, geometry="other").sentence


@given(
    st.sampled_from(["flat", "conical", "other"]),
    st.none() | st.floats(10, 250),
    st.none() | st.floats(0, 1e6),
    st.floats(0, 1e7),
    st.sampled_from(["none", "factory", "outside", "unknown"]),
)
def test_expectation_alone_never_settles_a_set_and_its_limits_are_ordered(
    geometry: str, diameter: float | None, prior: float | None, grams: float, pre_treated: str
) -> None:
    found = judged(
        grams,
        geometry=geometry,
        diameter_millimetres=diameter,
        prior_grams=prior,
        pre_treated=pre_treated,
    )
    assert found.basis == "expected"
    assert found.stage in {"new", "breaking_in", "undecided"}
    assert found.next_checkpoint_grams is not None
    assert found.next_checkpoint_grams >= grams
    if found.stage == "undecided":
        assert found.remaining_grams is None
    assert found.remaining_grams != 0  # an expectation cannot say that nothing is left
    is_past = found.verdict == "past_expected_kilograms"
    assert (found.high_remaining_grams is None) == is_past
    limits = (found.low_remaining_grams, found.remaining_grams, found.high_remaining_grams)
    known = [limit for limit in limits if limit is not None]
    assert known == sorted(known)
    assert known[0] >= 0


@given(st.floats(0, 50_000), st.floats(0, 50_000))
def test_grinding_on_never_leaves_more_to_go(grams: float, more: float) -> None:
    before, after = judged(grams), judged(grams + more)
    if after.stage == "undecided":  # nobody says how many are left, and it stays so
        assert after.high_remaining_grams is None
    else:
        assert before.high_remaining_grams is not None
        assert after.high_remaining_grams is not None
        assert after.high_remaining_grams <= before.high_remaining_grams


@pytest.mark.parametrize("grams", [-1.0, math.nan, math.inf, None])
def test_grams_that_cannot_be_are_refused(grams: float | None) -> None:
    with pytest.raises(ValueError, match="burr_grams"):
        expected_break_in(burr_set(), grams)


@pytest.mark.parametrize("field", ["prior_grams", "low_prior_grams", "high_prior_grams"])
def test_negative_grams_before_tracking_are_refused(field: str) -> None:
    with pytest.raises(ValueError, match=field):
        judged(0.0, **{field: -1.0})


def test_estimated_grams_move_the_expectation_but_not_the_high_limit() -> None:
    plug_only = expected_break_in(burr_set(), 0.0, 19_000.0)
    assert (plug_only.stage, plug_only.verdict) == ("undecided", "past_expected_kilograms")
    weighed = expected_break_in(burr_set(), 4000.0)
    partly = expected_break_in(burr_set(), 1000.0, 3000.0)
    assert partly.stage == "breaking_in"
    assert partly.remaining_grams == weighed.remaining_grams
    assert weighed.high_remaining_grams is not None
    assert partly.high_remaining_grams == weighed.high_remaining_grams + 3000


def test_runs_nobody_can_weigh_leave_the_stage_open() -> None:
    found = expected_break_in(burr_set(), 1000.0, None)
    assert (found.stage, found.verdict) == ("undecided", "run_kilograms_unknown")
    assert found.remaining_grams is None
    assert "1.0 kg" in found.sentence
