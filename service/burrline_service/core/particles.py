"""The sizes in a grind sample: D10, D50, D90, span and fines, and all else one sample tells.

A number that the sample does not hold is None, with the reason beside it; nothing is extrapolated.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from .errors import SampleRefused
from .particles_curve import LEVEL_FRACTION, percentile_micrometres, undersize_fraction
from .particles_finished import finished_sizes
from .particles_fits import fit_log_normal, fit_rosin_rammler, missing_fits
from .particles_means import find_modes, mean_micrometres
from .particles_records import (
    DEFAULT_FINES_CUT_MICROMETRES,
    ClassedSample,
    Curve,
    Distribution,
    Missing,
    ParticleList,
    Percentiles,
    SampleSizes,
    SampleSummary,
)
from .particles_tables import classed_sample
from .records import Finding

WIDE_STEP_RATIO = 2.0
"""Fines interpolated between sizes further apart than this ratio are said (our choice)."""
PERHAPS_MILLIMETRES = 10.0
"""A median below this many micrometres is no coffee: perhaps it was millimetres (our choice)."""
_OF_DISTRIBUTIONS = (
    "modes",
    "volume_mean_micrometres",
    "surface_mean_micrometres",
    "rosin_rammler",
    "log_normal",
)
_PERCENTILES = ((0.1, "d10_micrometres"), (0.5, "d50_micrometres"), (0.9, "d90_micrometres"))


def measure_sample(
    distribution: Distribution,
    *,
    dose_grams: float | None = None,
    fines_cut_micrometres: float = DEFAULT_FINES_CUT_MICROMETRES,
) -> SampleSizes:
    """Work out D10, D50, D90, span and fines of one sample.

    ``span = (D90 - D10) / D50,  fines = Q(cut)``

    Parameters
    ----------
    distribution : Distribution
        Sieve masses, classes, single particles or finished percentiles.
    dose_grams : float or None
        The dose in g; sieve masses are balanced against it.
    fines_cut_micrometres : float
        The size in micrometres below which grounds count as fines.

    Returns
    -------
    SampleSizes
        Sizes in micrometres, span and fines as fractions; each null has its reason.

    Raises
    ------
    SampleRefused
        ``bad_cut``, and whatever reading the distribution refuses.

    Valid
    -----
    Volume weighted. Percentiles in the pan or above the top sieve are None.

    Source
    ------
    ISO 9276-1 for x_p,3 and Q_3 (from memory); the span is the instruments' convention.

    Examples
    --------
    >>> from .particles_records import ClassTable
    >>> sizes = measure_sample(ClassTable((50.0, 100.0, 200.0, 400.0), (0.1, 0.4, 0.5)))
    >>> sizes.d10_micrometres, sizes.d50_micrometres, sizes.fines_fraction
    (100.0, 200.0, 0.1)
    """
    _check_cut(fines_cut_micrometres)
    if isinstance(distribution, Percentiles):
        return finished_sizes(distribution, fines_cut_micrometres)
    return _sizes(classed_sample(distribution, dose_grams), fines_cut_micrometres)


def summarize(
    distribution: Distribution,
    *,
    dose_grams: float | None = None,
    fines_cut_micrometres: float = DEFAULT_FINES_CUT_MICROMETRES,
) -> SampleSummary:
    """Tell all that one distribution holds: sizes, modes, means, fitted laws, and what is doubtful.

    ``D10, D50, D90, span, Q(cut); modes of q*(ln x); D[4,3], D[3,2]; R(x), Phi(ln x)``

    Parameters
    ----------
    distribution : Distribution
        Sieve masses, classes, single particles or finished percentiles.
    dose_grams : float or None
        The dose in g; sieve masses are balanced against it.
    fines_cut_micrometres : float
        The size in micrometres below which grounds count as fines.

    Returns
    -------
    SampleSummary
        Every number or None with its reason; ``missing`` and ``findings`` hold those of the
        sizes too.

    Raises
    ------
    SampleRefused
        ``bad_cut``, and whatever reading the distribution refuses.

    Valid
    -----
    As each part says: ``mean_micrometres``, ``find_modes``, ``fit_rosin_rammler``.

    Source
    ------
    ISO 9276-1, 9276-2 and 9276-5, ISO 13322-1:2004, each at second hand or from memory.

    Examples
    --------
    >>> from .particles_records import ClassTable
    >>> summary = summarize(ClassTable((50.0, 100.0, 200.0, 400.0), (0.2, 0.6, 0.2)))
    >>> round(summary.volume_mean_micrometres, 3), summary.mean_method
    (155.563, 'geometric_mid')
    """
    _check_cut(fines_cut_micrometres)
    if isinstance(distribution, Percentiles):
        sizes = finished_sizes(distribution, fines_cut_micrometres)
        why = "Finished percentiles do not hold the distribution."
        missing = tuple(Missing(name, "only_percentiles", why) for name in _OF_DISTRIBUTIONS)
        return SampleSummary(
            "percentiles",
            sizes,
            "as_given",
            (),
            None,
            None,
            None,
            (),
            (),
            None,
            (*sizes.missing, *missing),
            sizes.findings,
        )
    sample = classed_sample(distribution, dose_grams)
    sizes = _sizes(sample, fines_cut_micrometres)
    modes, no_modes = find_modes(sample)
    volume_mean, surface_mean, no_means = mean_micrometres(sample)
    rosin_rammler, log_normal = fit_rosin_rammler(sample.curve), fit_log_normal(sample.curve)
    fits = {"rosin_rammler": rosin_rammler, "log_normal": log_normal}
    no_fits = [one for one in missing_fits(sample.curve) if not fits[one.name]]
    is_list = isinstance(distribution, ParticleList)
    return SampleSummary(
        distribution.kind,
        sizes,
        "particle_steps" if is_list else "pchip_ln_size",
        modes,
        volume_mean,
        surface_mean,
        None
        if volume_mean is None
        else "particle_sums"
        if is_list
        else "geometric_mid"
        if sample.class_count is None
        else "uniform_number",
        rosin_rammler,
        log_normal,
        sample.particle_count,
        (*sizes.missing, *no_modes, *no_means, *no_fits),
        sizes.findings,
    )


def _check_cut(fines_cut_micrometres: float) -> None:
    if not 0 < fines_cut_micrometres < math.inf:
        raise SampleRefused(
            "bad_cut",
            f"fines_cut_micrometres must be positive and finite, not {fines_cut_micrometres:g}.",
            numbers={"fines_cut_micrometres": fines_cut_micrometres},
        )


def _sizes(sample: ClassedSample, cut: float) -> SampleSizes:
    curve = sample.curve
    missing: list[Missing] = []
    found: list[float | None] = []
    for passing, name in _PERCENTILES:
        size = percentile_micrometres(curve, passing)
        if size is None:
            missing.append(_out_of_reach(curve, passing, name))
        found.append(size)
    d10, d50, d90 = found
    span = None
    if d10 is not None and d50 is not None and d90 is not None:
        span = (d90 - d10) / d50
    else:
        missing.append(Missing("span", "needs_percentiles", "D10, D50 and D90 make the span."))
    fines = undersize_fraction(curve, cut)
    if fines is None:
        missing.append(_cut_out_of_reach(curve, cut))
    findings = [*sample.findings, *_size_findings(curve, cut, fines, d50)]
    return SampleSizes(d10, d50, d90, span, fines, cut, tuple(missing), tuple(findings))


def _out_of_reach(curve: Curve, passing: float, name: str) -> Missing:
    sizes, undersizes = curve.size_micrometres, curve.undersize_fraction
    if sizes.size == 1:
        return Missing(name, "one_size", f"Only one size, {sizes[0]:g} micrometres, was measured.")
    if passing < undersizes[0]:
        detail = (
            f"{100 * undersizes[0]:.3g} % passed the finest size, {sizes[0]:g} micrometres: the "
            f"percentile lies somewhere below."
        )
        return Missing(name, "below_finest_size", detail)
    detail = (
        f"{100 * (1 - undersizes[-1]):.3g} % stayed above the coarsest size, {sizes[-1]:g} "
        "micrometres: the percentile lies somewhere above."
    )
    return Missing(name, "above_coarsest_size", detail)


def _cut_out_of_reach(curve: Curve, cut: float) -> Missing:
    sizes = curve.size_micrometres
    is_low = cut < sizes[0]
    detail = f"The cut of {cut:g} micrometres lies " + (
        f"below the finest size, {sizes[0]:g}." if is_low else f"above the coarsest, {sizes[-1]:g}."
    )
    return Missing(
        "fines_fraction", "cut_below_finest_size" if is_low else "cut_above_coarsest_size", detail
    )


def _size_findings(
    curve: Curve, cut: float, fines: float | None, d50: float | None
) -> Sequence[Finding]:
    sizes, undersizes = curve.size_micrometres, curve.undersize_fraction
    found = []
    above = int((sizes < cut).sum())
    if fines is not None and not curve.is_stepped and 0 < above < sizes.size:
        low, high = float(sizes[above - 1]), float(sizes[above])
        is_between = not math.isclose(high, cut, rel_tol=1e-9)
        if is_between and high / low > WIDE_STEP_RATIO and undersizes[above] > LEVEL_FRACTION:
            found.append(
                Finding(
                    "fines_interpolated",
                    f"The fines below {cut:g} micrometres are interpolated between "
                    f"{low:g} and {high:g}.",
                )
            )
    if not curve.is_stepped:
        for passing, name in _PERCENTILES:
            level = sizes[abs(undersizes - passing) <= LEVEL_FRACTION]
            if level.size > 1:
                found.append(
                    Finding(
                        "percentile_in_gap",
                        f"Nothing lies between {level[0]:g} and {level[-1]:g} micrometres; "
                        f"{name.partition('_')[0].upper()} is their geometric middle.",
                    )
                )
    if d50 is not None and d50 < PERHAPS_MILLIMETRES:
        found.append(
            Finding(
                "perhaps_millimetres",
                f"A median of {d50:g} micrometres is very fine for ground coffee: were the sizes "
                "millimetres?",
            )
        )
    return found
