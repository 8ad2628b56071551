"""Thermal classes of winding insulation with their limits, and what hot surfaces do to a hand.

Each row says how well its number is known. Classes hold for the winding only: a housing lags
behind it and stays far cooler.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Basis = Literal["published", "from memory"]
Body = Literal["winding", "housing", "none"]

COOLANT_CELSIUS = 40.0
"""Coolant temperature from which permitted rises count (IEC 60034-1)."""


@dataclass(frozen=True)
class ThermalClass:
    """One class: its limit, and permitted average rises (resistance method) above 40 degC.

    ``rise_kelvin`` holds for AC windings of machines up to 200 kW, ``small_rise_kelvin`` for
    those under 600 W and for unventilated or encapsulated ones; None = the standard has none or
    no text was found. ``letter`` is as printed on plates; 250 has none.
    """

    limit_celsius: float
    letter: str | None
    limit_basis: Basis
    letter_basis: Basis
    rise_kelvin: float | None = None
    rise_basis: Basis | None = None
    small_rise_kelvin: float | None = None
    small_rise_basis: Basis | None = None


CLASSES: dict[int, ThermalClass] = {
    90: ThermalClass(90.0, "Y", "from memory", "from memory"),
    105: ThermalClass(
        105.0, "A", "published", "published", 60.0, "from memory", 65.0, "from memory"
    ),
    120: ThermalClass(
        120.0, "E", "published", "published", 75.0, "from memory", 75.0, "from memory"
    ),
    130: ThermalClass(130.0, "B", "published", "published", 80.0, "published", 85.0, "from memory"),
    155: ThermalClass(
        155.0, "F", "published", "published", 105.0, "published", 110.0, "from memory"
    ),
    180: ThermalClass(
        180.0, "H", "published", "published", 125.0, "published", 130.0, "from memory"
    ),
    200: ThermalClass(200.0, "N", "published", "published"),
    220: ThermalClass(220.0, "R", "published", "published"),
    250: ThermalClass(250.0, None, "from memory", "from memory"),
}
"""Thermal class -> its row. Limits and letters: IEC 60085; rises: IEC 60034-1, table of limits of
temperature rise. ``published`` = as printed in public tables and manuals of motor makers that
quote the standard; ``from memory`` = not seen in print while writing this. Some regional practice
calls 240 "S"; the number on the plate counts, not the letter."""

TOUCH_CAUTION_CELSIUS = 48.0
"""Bare metal held for 10 minutes burns from here on (ISO 13732-1, from memory)."""
TOUCH_WARNING_CELSIUS = 60.0
"""Bare metal burns within 5 s from here on (time-to-burn table of a burn institute, quoted in a
public mailing list on product safety; ISO 13732-1 gives 65 to 70 for one second, from memory)."""


def class_limit_celsius(thermal_class: int) -> float:
    """Give the highest winding temperature of a thermal class of insulation.

    ``T_limit = class``, the class being named by its temperature

    Parameters
    ----------
    thermal_class : int
        90, 105, 120, 130, 155, 180, 200, 220 or 250.

    Returns
    -------
    float
        Limit in degrees Celsius of the hottest spot of the winding.

    Raises
    ------
    ValueError
        The class is none of these.

    Valid
    -----
    For the winding only; a housing stays far cooler.

    Source
    ------
    IEC 60085, thermal classes.

    Examples
    --------
    >>> class_limit_celsius(155)
    155.0
    """
    return _row(thermal_class).limit_celsius


def hot_spot_kelvin(thermal_class: int, *, is_small: bool) -> float | None:
    """Give what a class leaves between the permitted average rise and the hottest spot.

    ``allowance = limit - 40 - rise``

    Parameters
    ----------
    thermal_class : int
        A class of the table.
    is_small : bool
        Under 600 W of output, unventilated or encapsulated.

    Returns
    -------
    float or None
        Allowance in K; None where no permitted rise is known.

    Raises
    ------
    ValueError
        The class is not in the table.

    Valid
    -----
    A winding's average is measured by its resistance; a sensor at one spot may be anywhere
    between average and hottest, so the class itself is no promise for the average.

    Source
    ------
    IEC 60034-1, limits of temperature rise at 40 degC coolant; arithmetic.

    Examples
    --------
    >>> hot_spot_kelvin(155, is_small=False)
    10.0
    """
    row = _row(thermal_class)
    rise_kelvin = row.small_rise_kelvin if is_small else row.rise_kelvin
    return None if rise_kelvin is None else row.limit_celsius - COOLANT_CELSIUS - rise_kelvin


def touch_caution(celsius: float, body: Body) -> str | None:
    """Say what a temperature of a reachable surface means for a hand.

    ``T >= 60: warning;  T >= 48: caution;  else nothing``

    Parameters
    ----------
    celsius : float
        Temperature in degrees Celsius.
    body : str
        Where it was measured: ``housing``, ``winding`` or ``none``.

    Returns
    -------
    str or None
        A sentence about the surface; None below 48 degrees and for anything but a housing.

    Valid
    -----
    Bare metal, the least favourable surface. A winding says nothing about what a hand can reach.

    Source
    ------
    ISO 13732-1, contact with hot surfaces: 48 degC for 10 min (from memory); 60 degC: under 5 s.

    Examples
    --------
    >>> touch_caution(50.0, "housing")
    'The surface is at 50 °C: bare metal from 48 °C burns when held for minutes.'
    >>> touch_caution(50.0, "winding") is None
    True
    """
    if body != "housing" or not celsius >= TOUCH_CAUTION_CELSIUS:
        return None
    if celsius >= TOUCH_WARNING_CELSIUS:
        return (
            f"The surface is at {celsius:.0f} °C: bare metal from 60 °C burns within seconds. "
            "Do not touch it."
        )
    return f"The surface is at {celsius:.0f} °C: bare metal from 48 °C burns when held for minutes."


def _row(thermal_class: int) -> ThermalClass:
    if thermal_class not in CLASSES:
        raise ValueError(f"thermal class {thermal_class} is none of {sorted(CLASSES)}")
    return CLASSES[thermal_class]
