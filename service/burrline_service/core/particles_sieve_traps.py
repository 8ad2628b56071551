"""What is wrong with a table of sieve masses: refused by name, with the numbers, never guessed."""

from __future__ import annotations

import math

from .errors import SampleRefused
from .particles_checks import (
    CLOSEST_RATIO,
    LARGEST_VALUE,
    check_size,
    check_sizes,
    check_values,
    is_cumulative,
)
from .particles_records import SieveTable
from .records import Finding

BALANCE_FINDING_FRACTION = 0.01
"""Loss or gain in sieving that is said: our choice, for 25 g; AASHTO T 27 asks 0.3 %
of aggregates (from memory)."""
BALANCE_REFUSAL_FRACTION = 0.03
"""Sieved masses may exceed the dose by at most this (our choice); a loss is only said."""


def sieve_findings(table: SieveTable, dose_grams: float | None = None) -> tuple[Finding, ...]:
    """Judge a table of sieve masses: refuse what cannot be read, say what is doubtful.

    ``n apertures, all rising or all falling; n + 1 masses >= 0, the pan's last; sum = dose``

    Parameters
    ----------
    table : SieveTable
        The table as it was sent.
    dose_grams : float or None
        What went onto the stack, in g.

    Returns
    -------
    tuple of Finding
        ``apertures_ascending``, ``perhaps_cumulative``, ``mass_balance_off``; often none.

    Raises
    ------
    SampleRefused
        ``no_apertures``, ``size_out_of_range``, ``aperture_repeated``, ``apertures_not_ordered``,
        ``pan_missing``, ``mass_count``, ``negative_value``, ``value_out_of_range``, ``no_mass``,
        ``bad_dose``, ``cumulative_for_retained``, ``percent_for_grams``,
        ``more_sieved_than_dosed``, ``bound_out_of_place``.

    Valid
    -----
    Without a dose, percent of the sample in place of grams cannot be seen, and changes nothing.

    Source
    ------
    Defined here; the limits of the mass balance are our choice.

    Examples
    --------
    >>> sieve_findings(SieveTable((400.0, 200.0), (5.0, 15.0, 4.6)), 25.0)[0].code
    'mass_balance_off'
    """
    apertures, masses = table.aperture_micrometres, table.retained_grams
    n = len(apertures)
    is_ascending = check_sizes(apertures, "aperture", "/aperture_micrometres", 1)
    if len(masses) == n:
        raise SampleRefused(
            "pan_missing",
            f"{n} sieves need {n + 1} masses, the pan's last, but {n} are given. Add what lay in "
            "the pan (0 if it was empty); if the last mass is the pan's, one sieve has none.",
            pointer="/retained_grams",
            numbers={"needed": n + 1, "found": n},
        )
    if len(masses) != n + 1:
        raise SampleRefused(
            "mass_count",
            f"{n} sieves need {n + 1} masses, the pan's last, but {len(masses)} are given.",
            pointer="/retained_grams",
            numbers={"needed": n + 1, "found": len(masses)},
        )
    check_values(masses, "retained_grams")
    total = math.fsum(masses)
    low, high = table.pan_low_micrometres, table.top_high_micrometres
    _check_bound(low, 0.0, min(apertures), "pan_low_micrometres")
    _check_bound(high, max(apertures), math.inf, "top_high_micrometres")
    findings = []
    if is_ascending and n > 1:
        findings.append(
            Finding(
                "apertures_ascending",
                "The sieves are listed finest first; each mass was read beside its sieve and the "
                f"last one, {masses[-1]:g} g, as the pan's.",
            )
        )
    if dose_grams is not None:
        findings += _balance(masses, total, dose_grams)
    if dose_grams is None and n >= 3 and is_cumulative(masses):
        findings.append(
            Finding(
                "perhaps_cumulative",
                f"The masses only ever {'rise' if masses[-1] > masses[0] else 'fall'} over "
                f"{n + 1} classes: check that they are what each sieve held, not running sums.",
            )
        )
    return tuple(findings)


def _check_bound(bound: float | None, above: float, below: float, name: str) -> None:
    if bound is None:
        return
    check_size(name.removesuffix("_micrometres").replace("_", " "), bound, f"/{name}")
    if not above * CLOSEST_RATIO <= bound <= below / CLOSEST_RATIO:
        raise SampleRefused(
            "bound_out_of_place",
            f"{name} is {bound:g}, which is not beyond the sieves.",
            pointer=f"/{name}",
            numbers={"bound_micrometres": bound},
        )


def _balance(masses: tuple[float, ...], total: float, dose_grams: float) -> list[Finding]:
    if not 0 < dose_grams <= LARGEST_VALUE:
        raise SampleRefused(
            "bad_dose", f"dose_grams must be positive, not {dose_grams:g}.",
            numbers={"dose_grams": dose_grams},
        )  # fmt: skip
    off_fraction = (total - dose_grams) / dose_grams
    numbers = {"total_grams": total, "dose_grams": dose_grams}
    if off_fraction > BALANCE_REFUSAL_FRACTION:
        extremes = (masses[0], masses[-1], masses[-2])
        if is_cumulative(masses[:-1]) and any(
            abs(mass - dose_grams) <= BALANCE_REFUSAL_FRACTION * dose_grams for mass in extremes
        ):
            raise SampleRefused(
                "cumulative_for_retained",
                f"The masses only ever rise or fall and reach the dose of {dose_grams:g} g "
                "themselves: these are running sums. Send what each sieve held.",
                pointer="/retained_grams", numbers=numbers,
            )  # fmt: skip
        if abs(total - 100) <= 1:
            raise SampleRefused(
                "percent_for_grams",
                f"The masses sum to {total:g}, the dose is {dose_grams:g} g: these look like "
                "percent. Send grams, or leave the dose out.",
                pointer="/retained_grams", numbers=numbers,
            )  # fmt: skip
        raise SampleRefused(
            "more_sieved_than_dosed",
            f"{total:g} g lay on the sieves, {100 * off_fraction:.1f} % more than the dose of "
            f"{dose_grams:g} g.",
            pointer="/retained_grams", numbers=numbers,
        )  # fmt: skip
    if abs(off_fraction) > BALANCE_FINDING_FRACTION:
        return [
            Finding(
                "mass_balance_off",
                f"{total:g} g of a dose of {dose_grams:g} g were found again on the sieves "
                f"({100 * off_fraction:+.1f} %).",
            )
        ]
    return []
