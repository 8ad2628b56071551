"""Finished percentiles off an instrument: held against each other, given on as they are."""

from __future__ import annotations

import math
from itertools import pairwise

from .errors import SampleRefused
from .particles_checks import check_size
from .particles_records import (
    DEFAULT_FINES_CUT_MICROMETRES,
    Missing,
    Percentiles,
    SampleSizes,
)
from .records import Finding

CONTRADICTION_FRACTION = 0.01
"""Fines may disagree with the percentiles beside them by this much (our choice: rounding)."""


def finished_sizes(percentiles: Percentiles, fines_cut_micrometres: float) -> SampleSizes:
    """Take finished percentiles as they are, when they can belong to one distribution.

    ``D10 <= D50 <= D90,  0 <= fines <= 1``

    Parameters
    ----------
    percentiles : Percentiles
        What the instrument gave.
    fines_cut_micrometres : float
        The cut asked for in micrometres; fines given below another one are not converted.

    Returns
    -------
    SampleSizes
        The given sizes, the span where all three are there, the fines where their cut is the one
        asked for; each null has its reason.

    Raises
    ------
    SampleRefused
        ``nothing_given``, ``size_out_of_range``, ``percentiles_not_ordered``,
        ``percent_for_fraction``, ``fraction_out_of_range``, ``cut_without_fines``.

    Valid
    -----
    Fines without a cut are taken to be below 100 micrometres, with a finding.

    Source
    ------
    Defined here; the span is the instruments' convention.

    Examples
    --------
    >>> finished_sizes(Percentiles(200.0, 400.0, 700.0), 100.0).span
    1.25
    """
    d10, d50, d90 = (
        percentiles.d10_micrometres,
        percentiles.d50_micrometres,
        percentiles.d90_micrometres,
    )
    fines, given_cut = percentiles.fines_fraction, percentiles.fines_cut_micrometres
    if d50 is None and fines is None:
        raise SampleRefused(
            "nothing_given", "Give at least d50_micrometres or fines_fraction.", pointer=""
        )
    named = (("d10", d10), ("d50", d50), ("d90", d90), ("fines_cut", given_cut))
    for name, size in named:
        if size is not None:
            check_size(name, size, f"/{name}_micrometres")
    given = [(name, size) for name, size in named[:3] if size is not None]
    for (low_name, low), (high_name, high) in pairwise(given):
        if low > high:
            raise SampleRefused(
                "percentiles_not_ordered",
                f"{low_name} {low:g} is above {high_name} {high:g} micrometres.",
                pointer=f"/{low_name}_micrometres",
                numbers={"low_micrometres": low, "high_micrometres": high},
            )
    findings: list[Finding] = []
    missing = [
        Missing(f"{name}_micrometres", "not_given", f"{name.upper()} was not given.")
        for name, size in named[:3]
        if size is None
    ]
    if fines is None:
        if given_cut is not None:
            raise SampleRefused(
                "cut_without_fines",
                "fines_cut_micrometres is given without fines_fraction.",
                pointer="/fines_cut_micrometres",
            )
        missing.append(Missing("fines_fraction", "not_given", "The fines were not given."))
    else:
        _check_fraction(fines)
        if given_cut is None:
            findings.append(
                Finding(
                    "fines_cut_assumed",
                    "No cut was given with the fines; "
                    f"{DEFAULT_FINES_CUT_MICROMETRES:g} micrometres is assumed.",
                )
            )
        cut = DEFAULT_FINES_CUT_MICROMETRES if given_cut is None else given_cut
        findings += _contradictions(fines, cut, ((0.1, d10), (0.5, d50), (0.9, d90)))
        if not math.isclose(cut, fines_cut_micrometres, rel_tol=1e-9):
            missing.append(
                Missing(
                    "fines_fraction",
                    "other_cut",
                    f"The fines given are those below {cut:g} micrometres, not "
                    f"{fines_cut_micrometres:g}.",
                )
            )
            fines = None
    span = None
    if d10 is not None and d50 is not None and d90 is not None:
        span = (d90 - d10) / d50
    else:
        missing.append(Missing("span", "needs_percentiles", "D10, D50 and D90 make the span."))
    return SampleSizes(
        d10, d50, d90, span, fines, fines_cut_micrometres, tuple(missing), tuple(findings)
    )


def _check_fraction(fines: float) -> None:
    if 1 < fines <= 100:
        raise SampleRefused(
            "percent_for_fraction",
            f"fines_fraction is {fines:g}: a fraction is at most 1. Divide percent by 100.",
            pointer="/fines_fraction",
            numbers={"fines_fraction": fines},
        )
    if not 0 <= fines <= 1:
        raise SampleRefused(
            "fraction_out_of_range",
            f"fines_fraction must lie within 0 to 1, not {fines:g}.",
            pointer="/fines_fraction",
            numbers={"fines_fraction": fines},
        )


def _contradictions(
    fines: float, cut: float, given: tuple[tuple[float, float | None], ...]
) -> list[Finding]:
    return [
        Finding(
            "fines_contradict_percentiles",
            f"{100 * fines:.3g} % below {cut:g} micrometres does not go with "
            f"{100 * passing:g} % below {size:g}.",
        )
        for passing, size in given
        if size is not None
        and (
            (cut <= size and fines > passing + CONTRADICTION_FRACTION)
            or (cut >= size and fines < passing - CONTRADICTION_FRACTION)
        )
    ]
