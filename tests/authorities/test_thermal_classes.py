"""Thermal classes of insulation, one row each.

Source: IEC 60085 (thermal evaluation and designation): a class is named by its highest
temperature in degrees Celsius; letters as printed on plates. Rows 105 to 180 are as given by
makers' and distributors' public tables of the classes; the letter N of 200 is from memory.
"""

from __future__ import annotations

import pytest

from burrline_service.core.heat import CLASS_CELSIUS, class_limit_celsius
from burrline_service.core.records import THERMAL_CLASSES

CLASSES = {"A": 105, "E": 120, "B": 130, "F": 155, "H": 180, "N": 200}


@pytest.mark.parametrize("letter", CLASSES)
def test_a_class_is_limited_to_the_temperature_it_is_named_by(letter: str) -> None:
    assert class_limit_celsius(CLASSES[letter]) == CLASSES[letter]


def test_the_classes_a_plate_may_name_are_those_of_the_table_and_no_others() -> None:
    assert set(THERMAL_CLASSES) == set(CLASSES.values()) == set(CLASS_CELSIUS)


def test_coolant_rise_and_hot_spot_allowance_of_class_f_add_up_to_its_limit() -> None:
    # IEC 60034-1, resistance method: 40 °C coolant + 105 K rise + 10 K hot-spot allowance
    assert class_limit_celsius(155) == 40 + 105 + 10


@pytest.mark.parametrize(
    ("thermal_class", "rise_kelvin", "allowance_kelvin"),
    [(130, 80, 10), (155, 105, 10), (180, 125, 15)],
)
def test_no_permitted_rise_from_40_celsius_reaches_the_class_limit(
    thermal_class: int, rise_kelvin: float, allowance_kelvin: float
) -> None:
    # IEC 60034-1, limits of rise for AC windings (as printed in motor makers' manuals)
    assert class_limit_celsius(thermal_class) - 40 - rise_kelvin == allowance_kelvin
