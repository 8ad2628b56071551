"""Cups: yields that cannot be are left out, and limits of scatters widen with their tails."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burrline_service.core.cup_spread import compare_spreads
from burrline_service.core.cups import Cup, extraction_fraction, spread_of
from burrline_service.core.cups_report import CupWindows, report_cups
from burrline_service.core.records import BREW_METHODS

AT = datetime(2026, 5, 4, tzinfo=UTC)
SHOT = Cup(AT, "espresso", 18.0, 27.0, 36.0, None, 0.1, 5.0, "lot-7")


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"dose_grams": None}, "dose_not_weighed"),
        ({"tds_fraction": None}, "tds_unknown"),
        ({"beverage_grams": None}, "drink_unknown"),
        ({"method": "immersion"}, "water_unknown"),
        ({"dose_grams": 0.0}, "impossible"),
        ({"tds_fraction": 1.0}, "impossible"),
        ({"beverage_grams": 0.0}, "impossible"),
        ({"tds_fraction": 0.6}, "impossible"),  # 21.6 g out of 18 g
        ({"tds_fraction": 0.2}, "implausible"),  # 40 %
    ],
)
def test_a_yield_that_cannot_be_is_left_out_with_its_reason(
    changes: dict[str, object], code: str
) -> None:
    assert extraction_fraction(replace(SHOT, **changes)) == code  # type: ignore[arg-type]


@settings(max_examples=30)
@given(
    method=st.sampled_from(BREW_METHODS),
    dose=st.floats(1, 100),
    drink=st.floats(1, 2000),
    tds=st.floats(0, 0.99),
    factor=st.floats(0.1, 10),
)
def test_a_yield_is_a_share_and_knows_no_size_of_brew(
    method: str, dose: float, drink: float, tds: float, factor: float
) -> None:
    cup = Cup(AT, method, dose, beverage_grams=drink, water_grams=drink, tds_fraction=tds)
    larger = replace(
        cup, dose_grams=factor * dose, beverage_grams=factor * drink, water_grams=factor * drink
    )
    found, other = extraction_fraction(cup), extraction_fraction(larger)
    if isinstance(found, float) and isinstance(other, float):
        assert 0 <= found <= 0.35
        assert other == pytest.approx(found, rel=1e-9, abs=1e-12)


def shots(seconds: list[float], **changes: object) -> list[Cup]:
    return [
        replace(SHOT, seconds=one, at=AT + number * timedelta(hours=1), **changes)  # type: ignore[arg-type]
        for number, one in enumerate(seconds)
    ]


def test_shots_scatter_about_the_mean_of_their_own_setting_and_coffee() -> None:
    """Two settings, 20 and 30 s: in each the squares are 2, with two degrees of freedom."""
    cups = shots([19.0, 20.0, 21.0]) + shots([29.0, 30.0, 31.0], setting=4.5)
    cups += shots([50.0], setting=9.0)
    cups += shots([28.0, 29.0], setting=None) + shots([0.0])
    found, left_out = spread_of(cups)
    assert found is not None
    assert (found.cup_count, found.group_count, found.freedom_count) == (6, 2, 4)
    assert found.sd_seconds == pytest.approx(1.0)
    assert found.mean_seconds == pytest.approx(25.0)
    assert left_out == {"alone": 1, "setting_unknown": 2, "seconds_unknown": 1}
    random.Random(3).shuffle(cups)
    assert spread_of(cups) == (found, left_out)


def test_heavy_tails_widen_the_limits_and_light_ones_do_not_narrow_them() -> None:
    even = [25.0 + number % 5 for number in range(40)]
    wild = [27.0 + (12.0 if number % 20 == 0 else 0.0) + number % 2 for number in range(40)]
    flat, _ = spread_of(shots(even))
    tailed, _ = spread_of(shots(wild))
    assert flat is not None and tailed is not None
    assert flat.kurtosis_ratio < 3 < tailed.kurtosis_ratio
    one, _ = compare_spreads(flat, flat)
    normal, _ = compare_spreads(replace(flat, kurtosis_ratio=3.0), flat)
    assert one == normal
    two, _ = compare_spreads(tailed, tailed)
    assert one.low is not None and two.low is not None
    assert two.low < one.low < 1
    nothing, difference = compare_spreads(replace(flat, sd_seconds=0.0), flat)
    assert (nothing.best, difference.best) == (None, pytest.approx(flat.sd_seconds))


def test_the_sd_ratio_of_like_shots_covers_one() -> None:
    """A tiny simulation: normal shots of one scatter, 95 % limits of the ratio about 1."""
    dice = random.Random(6)
    held = 0
    for _ in range(100):
        spreads = [spread_of(shots([dice.gauss(27, 1.5) for _ in range(12)]))[0] for _ in range(2)]
        assert spreads[0] is not None and spreads[1] is not None
        ratio, _ = compare_spreads(spreads[0], spreads[1])
        assert ratio.low is not None and ratio.high is not None
        held += ratio.low <= 1 <= ratio.high
    assert held >= 89  # three standard deviations below 95 of 100


def test_the_report_says_which_side_is_missing() -> None:
    made = tuple(shots([26.0, 27.0, 28.0, 27.0, 26.0]))
    proof = AT - timedelta(days=1)
    for windows, verdict, times in (
        (CupWindows(), "no_cups", "too_few_shots"),
        (CupWindows(before=made), "not_settled", "not_settled"),
        (CupWindows(after=made, settled_at=proof), "one_side_only", "one_side_only"),
        (CupWindows(before=made, after=made, settled_at=proof), "both_sides", "compared"),
    ):
        found = report_cups(windows, AT, grinder_id="bar-1", burr_set_id="north-98-a")
        assert (found.verdict, found.shot_seconds.verdict) == (verdict, times)
        assert found.sentence and found.shot_seconds.sentence
