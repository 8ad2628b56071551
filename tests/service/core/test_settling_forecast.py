"""Forecasts: a posterior against brute force, other sets' experience, the next checkpoint."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy.stats import norm

from burrline_service.core.joining import Row
from burrline_service.core.prior import FLAT_64, FLAT_98, SMALL_CONICAL, VAGUE, BurrClass
from burrline_service.core.settling import assess_settling
from burrline_service.core.settling_forecast import (
    MeasuredSet,
    forecast_instants,
    forecast_settling,
    informed_class,
)
from burrline_service.core.settling_measures import Limits
from burrline_service.core.settling_next import next_checkpoint_grams
from burrline_service.core.settling_posterior import PriorScales, make_posterior
from burrline_service.core.settling_quantiles import settled_probability, settling_quantiles
from burrline_service.core.settling_series import Series, example_series

AT = datetime(2026, 5, 4, 8, tzinfo=UTC)


def curve(kilograms: tuple[float, ...], tau: float, change: float = 36.0) -> list[Row]:
    made = []
    for number, m in enumerate(kilograms):
        level = 300 + change * -math.expm1(-m / tau)
        d50 = (level - 4, level, level + 4)
        made.append(Row(f"c{number}", AT, 1000.0 * m, d50, (), None, 0))
    return made


# --- the posterior --------------------------------------------------------------------------------


def brute_force(series: Series, burr_class: BurrClass, at_grams: float) -> tuple[float, float]:
    """P(settled) and the mean settled value, the start and the change integrated out by the
    multivariate normal density of the means instead of by conjugate algebra."""
    scales = PriorScales(300.0, 90.0, 6.0, 30.0)
    total = inside = settled = 0.0
    for j in range(25):
        sigma = scales.usual_scatter_response * 4 ** ((j - 12) / 12)
        noise = np.diag(series.session.sd_response**2 + sigma**2 / series.replicates_count)
        of_sigma = -(series.freedom_count + 4) * math.log(sigma)
        of_sigma -= (series.within_squares + 4 * 36.0) / (2 * sigma**2)
        for k in range(0, 321, 4):
            tau = 100.0 * 10 ** (k / 80)
            g = -np.expm1(-series.grams / tau)
            design = np.column_stack([np.ones(len(g)), g])
            prior = np.diag([90.0**2, 30.0**2])
            covariance = noise + design @ prior @ design.T
            z = series.means_response - np.array([300.0, 0.0]) @ design.T
            inverse = np.linalg.inv(covariance)
            log = of_sigma - 0.5 * (z @ inverse @ z + np.linalg.slogdet(covariance)[1])
            gain = prior @ design.T @ inverse
            mean = np.array([300.0, 0.0]) + gain @ z
            left = prior - gain @ design @ prior
            density = sum(
                0.5 * norm.pdf(math.log(tau), math.log(c.tau_grams), c.log_tau_sd)
                for c in (burr_class, VAGUE)
            )
            weight = math.exp(log + 200.0) * density
            edge, sd = 9.0 * math.exp(at_grams / tau), math.sqrt(left[1, 1])
            total += weight
            inside += weight * (norm.cdf((edge - mean[1]) / sd) - norm.cdf((-edge - mean[1]) / sd))
            settled += weight * (mean[0] + mean[1])
    return inside / total, settled / total


def test_the_posterior_agrees_with_an_integral_by_another_algebra() -> None:
    series = example_series()
    posterior = make_posterior(series, FLAT_98, scales=PriorScales(300.0, 90.0, 6.0, 30.0))
    probability, settled = brute_force(series, FLAT_98, 12_000.0)
    # the brute force takes every fourth tau
    assert settled_probability(posterior, 12_000.0) == pytest.approx(probability, abs=2e-4)
    mean = float((posterior.weight_probability * posterior.settled_response).sum())
    assert mean == pytest.approx(settled, abs=0.02)


def test_a_level_step_in_the_posterior_is_a_wide_unknown() -> None:
    """One more point at a level of its own tells next to nothing."""
    rows = curve((0, 5, 10), 6.0)
    lone = replace(
        rows[0], checkpoint_id="z", burr_grams=15_000.0, d50_micrometres=(310.0,), seating_count=1
    )
    with_step = assess_settling([*rows, lone]).series[0]
    plain = assess_settling(rows).series[0]
    one, other = (make_posterior(s, FLAT_98) for s in (plain, with_step))
    a, b = settled_probability(one, 10_000.0), settled_probability(other, 10_000.0)
    # the change that matters is 3 % of the current D50, so compare at one and the same
    same = replace(other, smallest_change_response=one.smallest_change_response)
    assert settled_probability(same, 10_000.0) == pytest.approx(a, abs=0.02)
    assert b < a


def test_quantiles_are_where_the_probability_is_reached() -> None:
    posterior = make_posterior(example_series(), FLAT_98)
    for wanted in (0.05, 0.5, 0.9, 0.975):
        (grams,) = settling_quantiles(posterior, (wanted,))
        assert settled_probability(posterior, grams) == pytest.approx(wanted, abs=1e-6)


def test_a_set_that_needs_nothing_has_its_quantile_at_the_origin() -> None:
    rows = curve((3, 8, 13, 20), 1.0, change=0.0)
    posterior = make_posterior(assess_settling(rows).series[0], SMALL_CONICAL)
    assert settling_quantiles(posterior, (0.05,)) == (3000.0,)


def test_without_information_the_forecast_is_that_of_the_class() -> None:
    """One checkpoint tells the level, and nothing of tau or of the change."""
    settling = assess_settling(curve((0,), 6.0))
    found = forecast_settling(settling, FLAT_98, current_grams=0.0)
    assert found is not None
    assert found.tau_grams.best == pytest.approx(6200, rel=0.05)
    assert found.class_probability == pytest.approx(0.5, abs=0.01)


def test_more_checkpoints_narrow_the_forecast() -> None:
    widths = []
    for count in (1, 3, 5):
        rows = curve((0, 5, 10, 15, 20), 6.0)[:count]
        found = forecast_settling(assess_settling(rows), FLAT_98, current_grams=0.0)
        assert found is not None
        widths.append((found.settles_at_grams.high or 0) - (found.settles_at_grams.low or 0))
    assert widths == sorted(widths, reverse=True)


def test_what_is_left_counts_from_now_and_is_never_negative() -> None:
    settling = assess_settling(curve((0, 5, 10, 15, 20), 6.0))
    early = forecast_settling(settling, FLAT_98, current_grams=0.0)
    late = forecast_settling(settling, FLAT_98, current_grams=90_000.0)
    assert early is not None
    assert late is not None
    assert early.remaining_grams == early.settles_at_grams
    assert late.remaining_grams == Limits(0.0, 0.0, 0.0)
    assert late.now_probability > early.now_probability
    with pytest.raises(ValueError, match="finite"):
        forecast_settling(settling, FLAT_98, current_grams=math.nan)


def test_burrs_that_do_not_behave_like_their_class_are_pointed_out() -> None:
    slow = assess_settling(curve((0, 5, 10, 20, 40, 60), 20.0, change=60.0))
    for burr_class, is_odd in ((FLAT_64, True), (VAGUE, False)):
        found = forecast_settling(slow, burr_class, current_grams=60_000.0)
        assert found is not None
        assert found.is_prior_conflict is is_odd


@pytest.mark.parametrize(("change", "is_odd"), [(30.0, False), (120.0, True), (-120.0, True)])
def test_a_change_of_unusual_size_is_pointed_out(change: float, is_odd: bool) -> None:
    """The class lets 95 of 100 sets change by less than 20 %, at 300 um 59 um."""
    known = assess_settling(curve((0, 2, 5, 8, 12, 20), 6.5, change=change))
    found = forecast_settling(known, FLAT_98, current_grams=20_000.0)
    assert found is not None
    assert found.is_prior_conflict is is_odd


def test_fines_alone_give_a_forecast_and_nothing_gives_none() -> None:
    rows = [
        replace(r, d50_micrometres=(), fines_fraction=(0.14 - 0.01 * n, 0.141 - 0.01 * n))
        for n, r in enumerate(curve((0, 5, 10), 6.0))
    ]
    found = forecast_settling(assess_settling(rows), FLAT_98, current_grams=10_000.0)
    assert found is not None
    assert found.response == "fines"
    assert forecast_settling(assess_settling([]), FLAT_98, current_grams=0.0) is None


# --- other sets of the same model -----------------------------------------------------------------


def measured(tau: float, name: str, width: float = 1.5, change: float = 0.1) -> MeasuredSet:
    return MeasuredSet(name, tau / width, tau, tau * width, change)


def test_two_sets_change_nothing_and_three_do() -> None:
    sets = [measured(11_000.0, "a"), measured(12_000.0, "b"), measured(13_000.0, "c")]
    assert informed_class(FLAT_98, sets[:2]) is FLAT_98
    found = informed_class(FLAT_98, sets)
    assert 10_500 < found.tau_grams < 12_500
    assert found.log_tau_sd < FLAT_98.log_tau_sd


def test_sets_without_limits_do_not_count() -> None:
    open_ended = MeasuredSet("c", 3000.0, 6000.0, math.inf, 0.1)
    sets = [measured(6000.0, "a"), measured(6000.0, "b"), open_ended]
    assert informed_class(FLAT_98, sets) is FLAT_98


def test_the_update_is_that_of_normal_distributions() -> None:
    """Exact sets (no error) that agree: their spread is the least one, 0.25."""
    sets = [MeasuredSet(n, 9000.0, 9000.0, 9000.0, 0.1) for n in "abcd"]
    found = informed_class(FLAT_98, sets)
    precision = 1 / 0.5**2 + 4 / 0.25**2
    middle = (math.log(6500) / 0.5**2 + 4 * math.log(9000) / 0.25**2) / precision
    assert math.log(found.tau_grams) == pytest.approx(middle)
    assert found.log_tau_sd == pytest.approx(math.sqrt(0.25**2 + 1 / precision))
    assert found.change_fraction == pytest.approx(0.1)


def test_other_sets_move_a_forecast_but_no_verdict() -> None:
    rows = curve((0, 5, 10), 12.0)
    settling = assess_settling(rows)
    slow = informed_class(FLAT_98, [measured(12_000.0, n) for n in "abc"])
    plain = forecast_settling(settling, FLAT_98, current_grams=10_000.0)
    better = forecast_settling(settling, slow, current_grams=10_000.0)
    assert plain is not None
    assert better is not None
    assert (better.settles_at_grams.best or 0) > (plain.settles_at_grams.best or 0)
    assert assess_settling(rows).verdict == settling.verdict


def test_order_of_sets_changes_no_digit_and_endless_changes_are_refused() -> None:
    sets = [measured(5000.0 + 900 * i, str(i), 1.2 + i / 10) for i in range(5)]
    assert informed_class(VAGUE, sets) == informed_class(VAGUE, sets[::-1])
    with pytest.raises(ValueError, match="finite"):
        informed_class(VAGUE, [measured(5e3, n, change=math.nan) for n in "abc"])


# --- until when -----------------------------------------------------------------------------------


def test_kilograms_become_instants_at_the_pace_of_late() -> None:
    low, best, high = forecast_instants(
        Limits(0.0, 14_000.0, 42_000.0), now=AT, usage_grams=28_000.0, usage_days=14.0
    )
    assert (low, best, high) == (AT, AT + timedelta(days=7), AT + timedelta(days=21))


def test_without_a_pace_only_nothing_left_is_an_instant() -> None:
    limits = Limits(0.0, 1000.0, None)
    assert forecast_instants(limits, now=AT, usage_grams=0.0, usage_days=7.0) == (AT, None, None)
    assert forecast_instants(limits, now=AT, usage_grams=1e-3, usage_days=7.0)[1] is None
    with pytest.raises(ValueError, match="pace"):
        forecast_instants(limits, now=AT, usage_grams=-1.0, usage_days=7.0)
    with pytest.raises(ValueError, match="aware"):
        forecast_instants(limits, now=datetime(2026, 5, 4), usage_grams=1.0, usage_days=1.0)  # noqa: DTZ001


# --- the next checkpoint --------------------------------------------------------------------------


def test_the_first_checkpoints_are_spread_over_what_such_burrs_need() -> None:
    """98 mm flat burrs: at about 0, 5, 10 and 20 kg (common practice, no source)."""
    places = [0.0]
    for wanted in (5_000, 10_000, 20_000):
        rows = curve(tuple(g / 1000 for g in places), 6.0)
        found = next_checkpoint_grams(assess_settling(rows), FLAT_98, current_grams=places[-1])
        assert found == pytest.approx(wanted, rel=0.15)
        places.append(float(wanted))


def test_a_settled_set_needs_no_further_checkpoint() -> None:
    settled = assess_settling(curve((0, 5, 10, 20, 40), 6.0))
    assert settled.decision == "settled"
    assert next_checkpoint_grams(settled, FLAT_98, current_grams=40_000.0) is None


@pytest.mark.parametrize("tau", [4.0, 8.0, 14.0])
def test_measured_as_expected_the_next_checkpoint_decides(tau: float) -> None:
    """Follow the advice with a true curve: a verdict of settled comes within a few visits."""
    places = [0.0, 4.0, 8.0, 12.0]
    visits = 0
    while True:
        found = assess_settling(curve(tuple(places), tau))
        if found.decision == "settled":
            break
        following = next_checkpoint_grams(found, FLAT_98, current_grams=1000 * places[-1])
        assert following is not None
        assert following > 1000 * places[-1]
        places.append(following / 1000)
        visits += 1
        assert visits <= 4
    assert visits >= 1
    assert 36 * math.exp(-places[-1] / tau) < 0.03 * 336


def test_the_next_checkpoint_never_lies_in_the_past() -> None:
    undecided = assess_settling(curve((0, 4, 8, 12), 9.0))
    assert undecided.decision != "settled"
    found = next_checkpoint_grams(undecided, FLAT_98, current_grams=33_333.0)
    assert found is not None
    assert found >= 33_333.0
    with pytest.raises(ValueError, match="finite"):
        next_checkpoint_grams(undecided, FLAT_98, current_grams=math.inf)
