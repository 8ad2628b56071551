"""The verdict of the checkpoints: every set gets one, and nothing but the set decides it."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from burrline_service.core.joining import Row, join_checkpoints
from burrline_service.core.settling import Settling, assess_settling
from burrline_service.core.settling_curve import curve_grams, draw_curves
from burrline_service.core.settling_findings import needed_replicates
from burrline_service.core.settling_fit import believed, bounds_to_come, fit_series
from burrline_service.core.settling_profile import GRID_GRAMS, conditional_values, profile_curve
from burrline_service.core.settling_sentences import settling_sentence
from burrline_service.core.settling_series import Rule, example_series, make_series
from made_checkpoints import checkpoint, checkpoint_sets

AT = datetime(2026, 5, 4, 8, tzinfo=UTC)
DECISIONS = {"settled", "not_settled", "undecided", "not_enough_data"}
CODES = {
    "settled", "not_settled", "undecided", "too_few_checkpoints", "no_replicates",
    "no_measurable_change", "bend_not_visible", "settled_before_first_check", "model_misfit",
    "unexpected_direction", "noise_too_large_for_delta",
}  # fmt: skip


def row(number: int, kilograms: float, d50: Any = (), fines: Any = (), **changes: Any) -> Row:
    made = Row(f"c{number:03d}", AT, 1000 * kilograms, tuple(d50), tuple(fines), None, 0)
    return replace(made, **changes)


def curve(
    kilograms: tuple[float, ...], tau: float, change: float = 36.0, start: float = 300.0
) -> list[Row]:
    """Three doses about the curve, the fines a ninth of a percent point per micrometre below."""
    rows = []
    for number, m in enumerate(kilograms):
        done = change * -math.expm1(-m / tau)
        fines = 0.14 - done / 900
        rows.append(
            row(
                number,
                m,
                [start + done + off for off in (-4.0, 0.0, 4.0)],
                [fines + off for off in (-0.004, 0.0, 0.004)],
            )
        )
    return rows


def flattened(found: Any) -> Any:
    """All that a verdict tells, arrays as lists, to be compared byte by byte."""
    if isinstance(found, np.ndarray):
        return found.tolist()
    if is_dataclass(found) and not isinstance(found, type):
        return {f.name: flattened(getattr(found, f.name)) for f in fields(found)}
    if isinstance(found, tuple | list):
        return [flattened(item) for item in found]
    return found


# --- the plain cases ------------------------------------------------------------------------------


def test_far_out_a_burr_set_is_settled() -> None:
    found = assess_settling(curve((0, 5, 10, 20, 30), 6.0))
    assert (found.decision, found.verdict) == ("settled", "settled")
    assert found.at_grams == 30_000
    assert {response.name for response in found.responses} == {"d50", "fines"}


def test_early_on_it_is_not_settled() -> None:
    # within 8 kg a set with tau 6 has most of a quarter of its change before it
    found = assess_settling(curve((0, 2, 4, 6, 8), 6.0, change=120.0))
    assert (found.decision, found.verdict) == ("not_settled", "not_settled")
    d50 = found.responses[0]
    assert d50.least_to_come_response is not None
    assert d50.least_to_come_response > d50.smallest_change_response


def test_the_origin_is_the_first_checkpoint_so_that_used_burrs_can_be_proven_too() -> None:
    fresh = assess_settling(curve((0, 5, 10, 20, 30), 6.0))
    used = assess_settling([replace(r, burr_grams=r.burr_grams + 250_000) for r in
                            curve((0, 5, 10, 20, 30), 6.0)])  # fmt: skip
    assert used.decision == fresh.decision == "settled"
    assert used.tau_grams == fresh.tau_grams
    assert used.at_grams == 280_000
    assert used.settles_at_grams is not None
    assert fresh.settles_at_grams is not None
    assert used.settles_at_grams.best == pytest.approx((fresh.settles_at_grams.best or 0) + 250_000)


def test_settled_ahead_of_the_last_checkpoint_is_a_weaker_word() -> None:
    rows = curve((0, 4, 8, 12, 16), 6.0)
    now = assess_settling(rows)
    ahead = assess_settling(rows, current_grams=60_000)
    assert now.decision == ahead.decision != "settled"
    assert (now.is_settled_extrapolated, ahead.is_settled_extrapolated) == (False, True)


def test_no_difference_between_the_last_two_is_never_enough() -> None:
    """Two equal noisy points at the end of a slow curve: the naive rule would call it settled."""
    rows = curve((0, 5, 10, 15), 15.0)
    rows.append(row(9, 17.0, rows[-1].d50_micrometres, rows[-1].fines_fraction))
    assert assess_settling(rows).decision != "settled"


def test_a_response_that_was_given_up_does_not_hold_the_verdict_back() -> None:
    rows = curve((0, 5, 10, 15, 20, 30), 6.0)
    rows = [*rows[:4], *(replace(r, fines_fraction=()) for r in rows[4:])]
    found = assess_settling(rows)
    assert [response.name for response in found.responses] == ["d50"]
    assert found.at_grams == 30_000


def test_fines_alone_give_a_verdict_and_are_named() -> None:
    rows = [replace(r, d50_micrometres=()) for r in curve((0, 5, 10, 20, 40), 6.0)]
    found = assess_settling(rows)
    assert [response.name for response in found.responses] == ["fines"]
    assert found.decision == "settled"
    assert "fines" in settling_sentence(found.verdict, found)


def test_responses_that_contradict_each_other_are_judged_each_on_its_own() -> None:
    fast, slow = curve((0, 5, 10, 15, 20, 30), 2.0), curve((0, 5, 10, 15, 20, 30), 25.0)
    mixed = [
        replace(a, fines_fraction=tuple(f - 0.08 * (-math.expm1(-a.burr_grams / 25e3)) for f in
                b.fines_fraction))
        for a, b in zip(fast, slow, strict=True)
    ]  # fmt: skip
    found = assess_settling(mixed, Rule(d50_session_fraction=0.002, fines_session_fraction=0.0005))
    assert not found.is_shared
    assert found.decision != "settled"


# --- limits of what data can tell -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "code"),
    [
        ([], "too_few_checkpoints"),
        (curve((0,), 6.0), "too_few_checkpoints"),
        (curve((0, 5, 10), 6.0), "too_few_checkpoints"),
        (curve((5, 5, 5, 5, 5), 6.0), "too_few_checkpoints"),
        ([replace(r, d50_micrometres=r.d50_micrometres[:1], fines_fraction=())
          for r in curve((0, 5, 10, 15, 20), 6.0)], "no_replicates"),
        ([row(n, 5.0 * n, (300.0, 300.0, 300.0)) for n in range(6)], "settled"),
        ([row(n, 5.0 * n, (0.0, 0.0, 0.0)) for n in range(6)], None),
        ([row(n, 5.0 * n, (-300.0 - n, -301.0 - n)) for n in range(6)], None),
        ([row(n, 1e-6 * n, (300.0, 301.0)) for n in range(6)], "too_few_checkpoints"),
        ([row(n, 1e5 * n, (300.0 + n, 301.0)) for n in range(6)], None),
        ([row(n, 5.0 * n, (), (1.0, 0.0)) for n in range(6)], None),
    ],
)  # fmt: skip
def test_every_odd_set_gets_its_verdict(rows: list[Row], code: str | None) -> None:
    found = assess_settling(rows)
    assert found.verdict in CODES
    assert found.decision in DECISIONS
    if code is not None:
        assert found.verdict == code
    assert settling_sentence(found.verdict, found)


def test_values_that_are_no_numbers_are_left_out_before_the_verdict() -> None:
    odd = [checkpoint(n, (300.0 + n, float("nan"), 301.0 + n)) for n in range(6)]
    joined = join_checkpoints(odd)
    assert len(joined.left_out) == 6
    assert assess_settling(joined.rows).verdict in CODES


def test_points_that_scatter_more_than_doses_explain_are_a_misfit() -> None:
    offs = (0.0, 30.0, -25.0, 40.0, -30.0, 20.0)
    rows = [row(n, 5.0 * n, (300 + off, 301 + off, 302 + off)) for n, off in enumerate(offs)]
    found = assess_settling(rows)
    assert "model_misfit" in found.findings
    assert found.responses[0].birge_ratio > 5
    assert found.decision != "settled"


def test_a_grind_that_gets_finer_is_pointed_out() -> None:
    found = assess_settling(curve((0, 5, 10, 20, 30), 6.0, change=-60.0))
    assert "unexpected_direction" in found.findings


def test_noise_above_the_change_that_matters_asks_for_so_many_doses() -> None:
    offs = (-20.0, 0.0, 20.0)
    rows = [row(n, 5.0 * n, [300 + 3 * n + off for off in offs]) for n in range(5)]
    found = assess_settling(rows)
    assert found.decision == "undecided"
    assert "noise_too_large_for_delta" in found.findings
    doses = found.needed_replicates_count
    assert doses is not None
    # the rule of the answer, checked on either side of it
    (series,) = found.series
    t = 1.8124611228  # Student's t, 95 %, 10 degrees of freedom, any table
    within = series.within_squares / series.freedom_count

    def hides(n: int) -> bool:
        return bool(
            t * math.sqrt(2 * (series.session.sd_response**2 + within / n))
            >= series.change_response
        )

    assert hides(doses - 1)
    assert not hides(doses)


def test_no_number_of_doses_helps_against_sittings_that_differ() -> None:
    series = example_series()
    loose = replace(series, session=replace(series.session, sd_response=8.0))
    assert needed_replicates(loose) is None


def test_the_bound_grows_with_the_noise_of_sittings() -> None:
    rows = curve((0, 5, 10, 20, 30), 6.0)
    bounds = [
        assess_settling(rows, Rule(d50_session_fraction=s)).responses[0].most_to_come_response
        for s in (0.0, 0.01, 0.02, 0.04)
    ]
    assert bounds == sorted(bounds)  # type: ignore[type-var]


# --- other lots, other seatings -------------------------------------------------------------------


def test_a_level_step_leaves_kilograms_and_tau_alone() -> None:
    plain = curve((0, 5, 10, 15, 20, 25, 30), 6.0)
    moved = [
        replace(
            r,
            d50_micrometres=tuple(v - 20 for v in r.d50_micrometres),
            seating_count=1,
        )
        if r.burr_grams > 17_000
        else r
        for r in plain
    ]
    rule = Rule(d50_change_micrometres=9.0, d50_session_micrometres=3.0)
    found = assess_settling([replace(r, fines_fraction=()) for r in moved], rule)
    assert found.tau_grams is not None
    assert found.tau_grams.low is not None
    assert found.tau_grams.low <= 6000 <= (found.tau_grams.high or math.inf)
    # read at the level of the latest seating: 336 less 20
    assert found.responses[0].settled.low is not None
    assert found.responses[0].settled.low < 316 < (found.responses[0].settled.high or math.inf)
    without = assess_settling([replace(r, fines_fraction=(), seating_count=0) for r in moved], rule)
    assert "model_misfit" in without.findings
    assert "model_misfit" not in found.findings


def test_a_lot_of_its_own_at_each_checkpoint_tells_nothing() -> None:
    rows = [replace(r, coffee_lot=f"lot-{n}") for n, r in enumerate(curve((0, 5, 10, 15, 20), 6.0))]
    assert assess_settling(rows).verdict == "too_few_checkpoints"


def test_a_control_dose_of_the_old_lot_ties_two_lots_together() -> None:
    """At 15 kg both lots are ground: the step is then known, and later points count in full."""
    old = [replace(r, coffee_lot="a") for r in curve((0, 5, 10, 15), 6.0)]
    new = [
        replace(r, coffee_lot="b", checkpoint_id=f"n{r.checkpoint_id}",
                d50_micrometres=tuple(v + 12 for v in r.d50_micrometres))
        for r in curve((15, 20, 30), 6.0)
    ]  # fmt: skip
    tied = assess_settling([*old, *new])
    loose = assess_settling([*old, *new[1:]])
    narrow, wide = (found.responses[0].most_to_come_response or math.inf for found in (tied, loose))
    assert narrow < wide


# --- the fit itself -------------------------------------------------------------------------------


@given(
    st.lists(st.floats(min_value=250, max_value=400), min_size=5, max_size=9),
    st.floats(min_value=0.5, max_value=30),
)
def test_each_conditional_fit_is_weighted_least_squares(values: list[float], sd: float) -> None:
    grams = np.arange(len(values)) * 4000.0
    spread = np.full(len(values), sd) * (1 + np.arange(len(values)) % 3)
    step = (grams > 9000).astype(float)
    columns = np.column_stack([np.ones(len(values)), step])
    fit = profile_curve(grams, np.array(values), spread, levels_count=columns)
    for place in (0, 100, 160, 240, 320):
        grown = -np.expm1(-grams / GRID_GRAMS[place])
        design = np.column_stack([columns, grown]) / spread[:, None]
        target = np.array(values) / spread
        solved, *_ = np.linalg.lstsq(design, target, rcond=None)
        rest = float(((target - design @ solved) ** 2).sum())
        assert float(fit.misfit_ratio[place]) == pytest.approx(rest, rel=1e-6, abs=1e-9)
        value, _ = conditional_values(fit, np.array(grown[1]))
        assert float(value[place]) == pytest.approx(
            float(solved[0] + solved[2] * grown[1]), rel=1e-5
        )


def test_standard_deviations_are_those_of_the_normal_equations() -> None:
    grams = np.array([0.0, 5e3, 1e4, 2e4])
    sd = np.array([1.0, 2.0, 1.5, 1.0])
    fit = profile_curve(grams, np.array([300.0, 318.0, 329.0, 335.0]), sd)
    for place in (40, 140, 200):
        grown = -np.expm1(-grams / GRID_GRAMS[place])
        design = np.column_stack([np.ones(4), grown]) / sd[:, None]
        covariance = np.linalg.inv(design.T @ design)
        assert float(fit.change_sd_response[place]) == pytest.approx(math.sqrt(covariance[1, 1]))
        for g in (0.0, 0.4, 1.0):
            _, found = conditional_values(fit, np.array(g))
            arm = np.array([1.0, g])
            assert float(found[place]) == pytest.approx(math.sqrt(arm @ covariance @ arm))


def test_limits_are_where_the_profile_likelihood_crosses_its_limit() -> None:
    """By brute force: fix what remains at 20 kg, minimise over all else, compare."""
    fit = believed(fit_series([example_series()]).fits[0])
    _, most = bounds_to_come(fit, 20_000.0)
    series, limit = fit.series, fit.base_ratio + 1.8124611228**2
    weight = 1 / series.sd_response**2

    def least_misfit(to_come: float) -> float:
        best = math.inf
        for tau in fit.profile.tau_grams:
            change = to_come * math.exp(20_000.0 / tau)
            rest = series.means_response - change * -np.expm1(-series.grams / tau)
            start = float((weight * rest).sum() / weight.sum())
            best = min(best, float((weight * (rest - start) ** 2).sum()))
        return best

    assert least_misfit(most) == pytest.approx(limit, rel=1e-6)
    assert least_misfit(most * 1.01) > limit > least_misfit(most * 0.99)


# --- the drawn curve ------------------------------------------------------------------------------


def test_the_band_holds_the_curve_and_agrees_with_the_limits_at_the_start() -> None:
    found = assess_settling(curve((0, 5, 10, 20, 30), 6.0))
    drawn = draw_curves(found, curve_grams(found, 40_000.0))
    assert set(drawn) == {"d50", "fines"}
    for points in drawn.values():
        assert len(points) == 61
        for point in points:
            assert point.low_response is not None
            assert point.low_response <= (point.best_response or 0) <= (point.high_response or 0)
    first, d50 = drawn["d50"][0], found.responses[0]
    assert (first.low_response, first.high_response) == (d50.start.low, d50.start.high)
    assert drawn["d50"][-1].burr_grams == 40_000.0


def test_nothing_is_drawn_before_the_first_checkpoint_or_without_a_fit() -> None:
    found = assess_settling(curve((10, 15, 20, 30, 40), 6.0))
    assert [p.burr_grams for p in draw_curves(found, [0.0, 10_000.0])["d50"]] == [10_000.0]
    assert draw_curves(assess_settling(curve((0, 5), 6.0)), [0.0]) == {}
    with pytest.raises(ValueError, match="finite"):
        draw_curves(found, [math.nan])


# --- whatever is sent -----------------------------------------------------------------------------


@given(checkpoint_sets())
@settings(max_examples=150, deadline=None)
def test_any_set_of_checkpoints_gets_a_verdict_and_never_an_exception(made: list[Any]) -> None:
    joined = join_checkpoints(made)
    found = assess_settling(joined.rows, current_grams=50_000.0)
    assert found.verdict in CODES
    assert found.decision in DECISIONS
    assert settling_sentence(found.verdict, found)
    draw_curves(found, curve_grams(found, 50_000.0)[::20])
    if found.decision == "settled":
        for response in found.responses:
            assert response.most_to_come_response is not None
            assert response.most_to_come_response < response.smallest_change_response


@st.composite
def plain_rows(draw: st.DrawFn) -> list[Row]:
    count = draw(st.integers(4, 8))
    steps = draw(st.lists(st.integers(1, 8), min_size=count, max_size=count))
    kilograms = np.cumsum(steps)
    doses = st.lists(st.integers(2700, 3900), min_size=2, max_size=4)
    return [
        row(
            n,
            float(kilograms[n]),
            [v / 10 for v in draw(doses)],
            [v / 1000 for v in draw(st.lists(st.integers(60, 160), min_size=2, max_size=4))],
        )
        for n in range(count)
    ]


@given(plain_rows(), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_the_order_of_checkpoints_and_doses_changes_no_byte(rows: list[Row], dice: Any) -> None:
    made = [
        checkpoint(n, r.d50_micrometres, (None,) * len(r.d50_micrometres), burr_grams=r.burr_grams)
        for n, r in enumerate(rows)
    ]
    turned = [replace(c, replicates=tuple(dice.sample(c.replicates, len(c.replicates))))
              for c in made]  # fmt: skip
    dice.shuffle(turned)
    one = assess_settling(join_checkpoints(made).rows)
    other = assess_settling(join_checkpoints(turned).rows)
    assert repr(flattened(one)) == repr(flattened(other))


def close(a: float | None, b: float | None, factor: float, shift: float = 0.0) -> bool:
    if a is None or b is None:
        return a is b
    return math.isclose(a * factor + shift, b, rel_tol=1e-6, abs_tol=1e-6 * factor)


@given(plain_rows(), st.sampled_from([0.5, 1.7, 3.0]))
@settings(max_examples=40, deadline=None)
def test_another_unit_of_size_scales_every_answer(rows: list[Row], factor: float) -> None:
    rows = [replace(r, fines_fraction=()) for r in rows]
    one = assess_settling(rows)
    other = assess_settling(
        [replace(r, d50_micrometres=tuple(factor * v for v in r.d50_micrometres)) for r in rows]
    )
    assume(one.responses)
    assert (one.decision, one.findings) == (other.decision, other.findings)
    assert one.tau_grams == other.tau_grams
    a, b = one.responses[0], other.responses[0]
    assert close(a.most_to_come_response, b.most_to_come_response, factor)
    assert close(a.settled.low, b.settled.low, factor)
    assert close(a.start.high, b.start.high, factor)


@given(plain_rows(), st.sampled_from([-200.0, 50.0, 1000.0]))
@settings(max_examples=40, deadline=None)
def test_a_shift_of_all_sizes_shifts_levels_and_leaves_changes(
    rows: list[Row], shift: float
) -> None:
    rule = Rule(d50_change_micrometres=9.0, d50_session_micrometres=3.0)
    rows = [replace(r, fines_fraction=()) for r in rows]
    one = assess_settling(rows, rule)
    other = assess_settling(
        [replace(r, d50_micrometres=tuple(v + shift for v in r.d50_micrometres)) for r in rows],
        rule,
    )
    assume(one.responses)
    assert (one.decision, one.findings) == (other.decision, other.findings)
    a, b = one.responses[0], other.responses[0]
    assert close(a.most_to_come_response, b.most_to_come_response, 1.0)
    assert close(a.start.low, b.start.low, 1.0, shift)


@given(st.floats(min_value=3, max_value=15), st.floats(min_value=30, max_value=60))
@settings(max_examples=40, deadline=None)
def test_other_kilograms_scale_tau(tau: float, change: float) -> None:
    """Ten times the kilograms on a grid of 80 steps a decade: tau moves by 80 places."""
    rows = curve((0, 3, 8, 15, 26), tau, change)
    one = assess_settling(rows).tau_grams
    other = assess_settling([replace(r, burr_grams=r.burr_grams * 10) for r in rows]).tau_grams
    assert one is not None
    assert other is not None
    assert one.low is not None
    assert other.low == pytest.approx(10 * one.low, rel=1e-6)


def test_a_settling_is_made_of_numbers_that_are_finite_or_absent() -> None:
    found = assess_settling(curve((0, 1, 2, 3), 40.0))
    assert isinstance(found, Settling)
    told = [found.tau_grams, *(r.settled for r in found.responses)]
    for limits in told:
        if limits is not None:
            for value in (limits.low, limits.best, limits.high):
                assert value is None or math.isfinite(value)
    assert make_series([], "fines", Rule(), origin_grams=0.0) is None
