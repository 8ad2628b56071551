"""Extraction yields and ratios of scatter, held to published numbers."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest
from scipy import stats

from burrline_service.core.cup_spread import compare_spreads, sd_limits
from burrline_service.core.cups import Cup, Spread, extraction_fraction
from burrline_service.core.quantiles import f_probability

AT = datetime(2026, 5, 4, tzinfo=UTC)


def test_a_filter_brew_of_the_classical_strength_has_the_classical_yield() -> None:
    """Lockhart: strength near 1.25 %, yield near 20 % (quoted in Liang, Chan and Ristenpart 2021,
    Scientific Reports 11, 6904, introduction, read); 55 g to a litre, of which the grounds retain
    about twice their mass (common practice, no source)."""
    cup = Cup(AT, "percolation", 55.0, beverage_grams=1000.0 - 2.1 * 55, tds_fraction=0.0125)
    found = extraction_fraction(cup)
    assert isinstance(found, float)
    assert found == pytest.approx(0.20, abs=0.005)


def test_fifteen_grams_and_a_cup_of_240_at_135_hundredths_give_216_thousandths() -> None:
    """A public worked example (read): 15 g, 240 g in the cup, 1.35 % -> 21.6 %."""
    cup = Cup(AT, "percolation", 15.0, beverage_grams=240.0, tds_fraction=0.0135)
    assert extraction_fraction(cup) == pytest.approx(0.216, abs=1e-12)


@pytest.mark.parametrize("ratio", [8.0, 12.0, 16.0, 22.0])
def test_an_immersion_yields_the_same_at_every_ratio_of_water(ratio: float) -> None:
    """Liang, Chan and Ristenpart 2021, abstract (read): the yield of a full immersion is about 21 %
    whatever the ratio of water to coffee, its strength nearly inverse to that ratio. The strength
    here is the balance's: what is dissolved over water and dissolved."""
    dissolved = 0.21 * 18.0
    water = ratio * 18.0
    cup = Cup(
        AT, "immersion", 18.0, water_grams=water, tds_fraction=dissolved / (water + dissolved)
    )
    assert extraction_fraction(cup) == pytest.approx(0.21, abs=1e-12)
    assert cup.tds_fraction == pytest.approx(0.21 / ratio, rel=0.03)


def test_the_ratio_of_two_scatters_is_that_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.9, JAHANMI2.DAT (read): s 65.54909 and 61.85425 of 240 each,
    F 1.123037, its probability 0.814808 and not significant at 5 %."""
    one = Spread(240, 1, 239, 0.0, 61.85425, 3.0)
    other = Spread(240, 1, 239, 0.0, 65.54909, 3.0)
    ratio, _ = compare_spreads(one, other)
    assert ratio.best is not None
    assert ratio.best**2 == pytest.approx(1.123037, abs=5e-7)
    assert f_probability(ratio.best**2, 239, 239) == pytest.approx(0.814808, abs=5e-7)
    assert ratio.low is not None and ratio.high is not None
    assert ratio.low < 1 < ratio.high
    # the limits are where the same test would just reject
    for limit, probability in ((ratio.low, 0.975), (ratio.high, 0.025)):
        assert stats.f.cdf((ratio.best / limit) ** 2, 239, 239) == pytest.approx(
            probability, abs=1e-8
        )


@pytest.mark.parametrize("freedom", [4, 9, 60, 400])
def test_limits_of_a_scatter_are_those_of_chi_square(freedom: int) -> None:
    found = sd_limits(Spread(freedom + 1, 1, freedom, 27.0, 2.0, 3.0), 3.0)
    for limit, probability in ((found.low, 0.975), (found.high, 0.025)):
        wanted = 2.0 * math.sqrt(freedom / stats.chi2.ppf(probability, freedom))
        assert limit == pytest.approx(wanted, rel=1e-6)
