"""Woven-wire test sieves of 4.75 mm and finer: ASTM E11 and ISO 565 / ISO 3310-1.

Openings and tolerances are those of ASTM E11-17 and ISO 3310-1:2016 as an open-source library
(fluids) has them; neither standard was opened. Each row is held to its series and to the tolerance
formula in the tests. Older texts print 841, 420, 149 and 74 micrometres for No. 20, 40, 100
and 200: such apertures are taken as they are, with a finding.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from .records import Finding

SAME_SIEVE_FRACTION = 0.001
"""An aperture this close to a standard one is that one."""


@dataclass(frozen=True)
class Sieve:
    """A standard sieve: ``tolerance_micrometres`` is what its average opening may be off by."""

    standard: Literal["ASTM E11", "ISO 3310-1"]
    designation: str
    aperture_micrometres: float
    tolerance_micrometres: float


ASTM_E11 = tuple(
    Sieve("ASTM E11", f"No. {number}", aperture, tolerance)
    for number, aperture, tolerance in (
        (4, 4750.0, 150.0),
        (5, 4000.0, 127.0),
        (6, 3350.0, 107.0),
        (7, 2800.0, 90.0),
        (8, 2360.0, 76.0),
        (10, 2000.0, 65.0),
        (12, 1700.0, 56.0),
        (14, 1400.0, 46.0),
        (16, 1180.0, 40.0),
        (18, 1000.0, 34.0),
        (20, 850.0, 29.1),
        (25, 710.0, 24.7),
        (30, 600.0, 21.2),
        (35, 500.0, 18.0),
        (40, 425.0, 15.5),
        (45, 355.0, 13.3),
        (50, 300.0, 11.5),
        (60, 250.0, 9.9),
        (70, 212.0, 8.7),
        (80, 180.0, 7.6),
        (100, 150.0, 6.6),
        (120, 125.0, 5.8),
        (140, 106.0, 5.2),
        (170, 90.0, 4.6),
        (200, 75.0, 4.1),
        (230, 63.0, 3.7),
        (270, 53.0, 3.4),
        (325, 45.0, 3.1),
        (400, 38.0, 2.9),
        (450, 32.0, 2.7),
        (500, 25.0, 2.5),
        (635, 20.0, 2.3),
    )
)
"""ASTM E11 sieves, coarsest first."""

ISO_3310_1 = tuple(
    Sieve("ISO 3310-1", f"{aperture:g} um", aperture, tolerance)
    for aperture, tolerance in (
        (4750.0, 140.0),
        (4500.0, 130.0),
        (4000.0, 110.0),
        (3550.0, 100.0),
        (3350.0, 100.0),
        (3150.0, 90.0),
        (2800.0, 80.0),
        (2500.0, 70.0),
        (2360.0, 70.0),
        (2240.0, 70.0),
        (2000.0, 60.0),
        (1800.0, 50.0),
        (1700.0, 50.0),
        (1600.0, 50.0),
        (1400.0, 40.0),
        (1250.0, 40.0),
        (1180.0, 40.0),
        (1120.0, 30.0),
        (1000.0, 30.0),
        (900.0, 28.0),
        (850.0, 26.0),
        (800.0, 25.0),
        (710.0, 22.0),
        (630.0, 20.0),
        (600.0, 19.0),
        (560.0, 18.0),
        (500.0, 16.0),
        (450.0, 15.0),
        (425.0, 14.0),
        (400.0, 13.0),
        (355.0, 12.0),
        (315.0, 11.0),
        (300.0, 10.0),
        (280.0, 10.0),
        (250.0, 8.9),
        (224.0, 8.1),
        (212.0, 7.8),
        (200.0, 7.4),
        (180.0, 6.8),
        (160.0, 6.3),
        (150.0, 6.0),
        (140.0, 5.7),
        (125.0, 5.2),
        (112.0, 4.8),
        (106.0, 4.7),
        (100.0, 4.5),
        (90.0, 4.2),
        (80.0, 3.9),
        (75.0, 3.7),
        (71.0, 3.6),
        (63.0, 3.4),
        (56.0, 3.2),
        (53.0, 3.1),
        (50.0, 3.0),
        (45.0, 2.8),
        (40.0, 2.7),
        (38.0, 2.6),
        (36.0, 2.6),
        (32.0, 2.4),
        (25.0, 2.2),
        (20.0, 2.1),
    )
)
"""ISO 3310-1 sieves of all three series and the R10 tail, coarsest first."""


ISO_565_R20_3 = (
    4000.0, 2800.0, 2000.0, 1400.0, 1000.0, 710.0, 500.0, 355.0, 250.0, 180.0, 125.0, 90.0,
    63.0, 45.0,
)  # fmt: skip
"""The principal series R20/3 of ISO 565, micrometres."""
ISO_565_R40_3 = (
    4750.0, 4000.0, 3350.0, 2800.0, 2360.0, 2000.0, 1700.0, 1400.0, 1180.0, 1000.0, 850.0,
    710.0, 600.0, 500.0, 425.0, 355.0, 300.0, 250.0, 212.0, 180.0, 150.0, 125.0, 106.0, 90.0,
    75.0, 63.0, 53.0, 45.0, 38.0,
)  # fmt: skip
"""The supplementary series R40/3 of ISO 565, micrometres."""
ISO_565_R20 = (
    4500.0, 4000.0, 3550.0, 3150.0, 2800.0, 2500.0, 2240.0, 2000.0, 1800.0, 1600.0, 1400.0,
    1250.0, 1120.0, 1000.0, 900.0, 800.0, 710.0, 630.0, 560.0, 500.0, 450.0, 400.0, 355.0,
    315.0, 280.0, 250.0, 224.0, 200.0, 180.0, 160.0, 140.0, 125.0, 112.0, 100.0, 90.0, 80.0,
    71.0, 63.0, 56.0, 50.0, 45.0, 40.0, 36.0,
)  # fmt: skip
"""The supplementary series R20 of ISO 565, micrometres."""
ISO_565_R10 = (
    36.0, 32.0, 25.0, 20.0,
)  # fmt: skip
"""The series R10 below 36 micrometres, from that sieve on of ISO 565, micrometres."""


def standard_sieves(aperture_micrometres: float) -> tuple[Sieve, ...]:
    """Name the standard sieves that have an aperture.

    ``abs(w / w_standard - 1) <= 0.001``

    Parameters
    ----------
    aperture_micrometres : float
        The aperture w in micrometres.

    Returns
    -------
    tuple of Sieve
        At most one of each standard; none where no standard has it.

    Valid
    -----
    Sieves of 4750 micrometres and finer.

    Source
    ------
    ASTM E11-17 and ISO 3310-1:2016 at second hand (the fluids library).

    Examples
    --------
    >>> [sieve.designation for sieve in standard_sieves(150.0)]
    ['No. 100', '150 um']
    """
    return tuple(
        sieve
        for sieve in (*ASTM_E11, *ISO_3310_1)
        if math.isclose(
            sieve.aperture_micrometres, aperture_micrometres, rel_tol=SAME_SIEVE_FRACTION
        )
    )


def aperture_findings(aperture_micrometres: Sequence[float]) -> tuple[Finding, ...]:
    """Say which apertures of a stack no standard has; they are used as they are.

    ``w not in ASTM E11 and not in ISO 3310-1``

    Parameters
    ----------
    aperture_micrometres : sequence of float, shape (n,)
        The apertures in micrometres.

    Returns
    -------
    tuple of Finding
        One ``aperture_not_standard`` that lists them, or none.

    Valid
    -----
    Only sieves between 20 and 4750 micrometres are judged.

    Source
    ------
    ASTM E11-17 and ISO 3310-1:2016 at second hand (the fluids library).

    Examples
    --------
    >>> aperture_findings([841.0, 425.0])[0].detail
    'No ASTM E11 or ISO 3310-1 sieve has an aperture of 841 micrometres; used as given.'
    """
    strange = [
        f"{aperture:g}"
        for aperture in aperture_micrometres
        if 19.9 <= aperture <= 4750.5 and not standard_sieves(aperture)
    ]
    if not strange:
        return ()
    return (
        Finding(
            "aperture_not_standard",
            f"No ASTM E11 or ISO 3310-1 sieve has an aperture of {', '.join(strange[:10])} "
            "micrometres; used as given.",
        ),
    )
