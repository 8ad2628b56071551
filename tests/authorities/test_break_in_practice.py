"""What the trade tells of burr break-in: common practice, no source.

Large flat burrs (98 mm) move most in the first 5 kg, still measurably at 10 and 15, marginally at
20, then stay; smaller flat ones (64 mm) mostly within 5 kg; an 83 mm flat set needs much more than
a 55 mm one; small conical burrs change little or not at all. The class priors turn this into
numbers; these tests hold the numbers to the words. The smallest change that a measurement can show
is 3 % of D50 (ISO 13320-1:1999, 6.4, repeatability at x50, as quoted by instrument makers).
"""

from __future__ import annotations

import math

from burrline_service.core.prior import (
    FLAT_64,
    FLAT_98,
    SMALL_CONICAL,
    SMALLEST_CHANGE_FRACTION,
    class_of,
    settling_grams,
)

NOTICEABLE_CHANGE_FRACTION = 0.12  # of D50, a set that breaks in noticeably


def share_done(tau_grams: float, from_kilograms: float, to_kilograms: float) -> float:
    return math.exp(-1000 * from_kilograms / tau_grams) - math.exp(-1000 * to_kilograms / tau_grams)


def test_98_mm_flat_burrs_move_most_in_the_first_five_kilograms() -> None:
    first = share_done(FLAT_98.tau_grams, 0, 5)
    assert first > 0.5
    later = [share_done(FLAT_98.tau_grams, low, low + 5) for low in (5, 10, 15, 20)]
    assert [first, *later] == sorted([first, *later], reverse=True)


def test_98_mm_flat_burrs_still_have_a_measurable_way_to_go_at_ten_but_not_at_twenty() -> None:
    def left(kilograms: float) -> float:
        return NOTICEABLE_CHANGE_FRACTION * math.exp(-1000 * kilograms / FLAT_98.tau_grams)

    assert left(5) > SMALLEST_CHANGE_FRACTION
    assert left(20) < SMALLEST_CHANGE_FRACTION
    # the last step that is told of, 15 to 20 kg, is about one percent of D50: marginal
    step = NOTICEABLE_CHANGE_FRACTION * share_done(FLAT_98.tau_grams, 15, 20)
    assert 0.004 < step < 0.012


def test_98_mm_flat_burrs_are_expected_to_be_done_between_fifteen_and_twenty_kilograms() -> None:
    assert 15_000 < settling_grams(FLAT_98, 0.95) < 20_000


def test_64_mm_flat_burrs_do_most_of_it_within_five_kilograms() -> None:
    assert share_done(FLAT_64.tau_grams, 0, 5) > 0.8


def test_an_83_mm_flat_set_needs_much_more_than_a_55_mm_one() -> None:
    large, small = class_of("flat", 83.0), class_of("flat", 55.0)
    assert settling_grams(large, 0.95) > 2 * settling_grams(small, 0.95)


def test_small_conical_burrs_change_little_or_not_at_all() -> None:
    assert settling_grams(SMALL_CONICAL, 0.5) == 0  # most never had a change one could measure
    assert settling_grams(SMALL_CONICAL, 0.95) < 2_000
