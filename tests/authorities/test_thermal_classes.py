"""Thermal classes of insulation, one row each, and surfaces that burn.

Sources
-------
* IEC 60085 (thermal evaluation and designation): a class is named by its highest temperature in
  degrees Celsius; letters as printed on plates. 105 to 180 as in public tables of motor makers and
  distributors; N 200 and R 220 in one such table; 90 and 250 from memory.
* IEC 60034-1, limits of temperature rise of AC windings at 40 degC coolant, resistance method:
  80, 105, 125 K for 130, 155, 180 as printed in motor makers' manuals (totals under 120, 145 and
  165 degC); 105 and 120, and the row for outputs under 600 W, from memory.
* ISO 13732-1 (burn thresholds, from memory): bare metal 51 degC for 1 min, 48 for 10 min, 43 for
  8 h and more. A burn institute's table quoted in a public list on product safety: serious burn at
  49 degC after more than 5 min, at 55 about 30 s, at 60 under 5 s.
"""

from __future__ import annotations

import pytest

from burrline_service.core.records import THERMAL_CLASSES
from burrline_service.core.thermal_classes import (
    CLASSES,
    COOLANT_CELSIUS,
    TOUCH_CAUTION_CELSIUS,
    TOUCH_WARNING_CELSIUS,
    class_limit_celsius,
    hot_spot_kelvin,
    touch_caution,
)

LETTERS = {
    "Y": 90, "A": 105, "E": 120, "B": 130, "F": 155, "H": 180, "N": 200, "R": 220, None: 250,
}  # fmt: skip
RISES_KELVIN = {105: (60, 65), 120: (75, 75), 130: (80, 85), 155: (105, 110), 180: (125, 130)}
HOT_SPOTS_KELVIN = {105: (5, 0), 120: (5, 5), 130: (10, 5), 155: (10, 5), 180: (15, 10)}


@pytest.mark.parametrize("letter", LETTERS)
def test_a_class_is_limited_to_the_temperature_it_is_named_by(letter: str | None) -> None:
    thermal_class = LETTERS[letter]
    assert class_limit_celsius(thermal_class) == thermal_class
    assert CLASSES[thermal_class].letter == letter


def test_the_table_has_the_classes_of_the_standard_and_no_others() -> None:
    assert list(CLASSES) == sorted(LETTERS.values())


def test_a_plate_may_name_the_classes_motors_are_built_in() -> None:
    assert THERMAL_CLASSES == (105, 120, 130, 155, 180, 200)
    assert set(THERMAL_CLASSES) < set(CLASSES)


@pytest.mark.parametrize("thermal_class", CLASSES)
def test_every_row_says_how_well_each_of_its_numbers_is_known(thermal_class: int) -> None:
    row = CLASSES[thermal_class]
    assert (row.rise_kelvin is None) == (row.rise_basis is None)
    assert (row.small_rise_kelvin is None) == (row.small_rise_basis is None)
    assert (row.rise_kelvin, row.small_rise_kelvin) == RISES_KELVIN.get(thermal_class, (None, None))
    is_seen = thermal_class in {130, 155, 180}
    assert (row.rise_basis == "published") == is_seen
    assert row.small_rise_basis != "published"


@pytest.mark.parametrize("thermal_class", RISES_KELVIN)
def test_coolant_rise_and_hot_spot_allowance_add_up_to_the_limit(thermal_class: int) -> None:
    large, small = HOT_SPOTS_KELVIN[thermal_class]
    assert hot_spot_kelvin(thermal_class, is_small=False) == large
    assert hot_spot_kelvin(thermal_class, is_small=True) == small
    rise, small_rise = RISES_KELVIN[thermal_class]
    assert COOLANT_CELSIUS + rise + large == COOLANT_CELSIUS + small_rise + small == thermal_class


def test_no_allowance_is_made_up_where_no_rise_is_known() -> None:
    assert hot_spot_kelvin(200, is_small=False) is None
    assert hot_spot_kelvin(90, is_small=True) is None


@pytest.mark.parametrize("thermal_class", [0, 100, 156, 240])
def test_a_class_that_does_not_exist_is_refused(thermal_class: int) -> None:
    with pytest.raises(ValueError, match="none of"):
        class_limit_celsius(thermal_class)


def test_a_touched_surface_is_warned_of_from_the_burn_thresholds_on() -> None:
    assert (TOUCH_CAUTION_CELSIUS, TOUCH_WARNING_CELSIUS) == (48.0, 60.0)
    assert touch_caution(47.9, "housing") is None
    for celsius in (48.0, 59.9):
        sentence = touch_caution(celsius, "housing")
        assert sentence is not None
        assert "surface" in sentence
        assert "48" in sentence
    warning = touch_caution(60.0, "housing")
    assert warning is not None
    assert "Do not touch" in warning


@pytest.mark.parametrize("celsius", [20.0, 60.0, 150.0, float("nan")])
def test_a_winding_says_nothing_about_what_a_hand_can_reach(celsius: float) -> None:
    assert touch_caution(celsius, "winding") is None
    assert touch_caution(celsius, "none") is None
    assert touch_caution(float("nan"), "housing") is None
