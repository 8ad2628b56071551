"""Mean diameters D[4,3] and D[3,2], and the modes of the density on a logarithmic axis."""

from __future__ import annotations

import math

import numpy as np

from .particles_curve import LEVEL_FRACTION, percentile_micrometres
from .particles_records import ClassedSample, Floats, Missing, Mode

OPEN_FRACTION = 0.005
"""With more than this in an open end (the pan, on the top sieve) no mean is given (our choice)."""
MODE_PROMINENCE_FRACTION = 0.05
"""A peak must rise this part of the highest one above the valley beside it (our choice)."""
FEWEST_PARTICLES_FOR_MODES_COUNT = 1_000
_STEPS_PER_DECADE = 10


def mean_micrometres(
    sample: ClassedSample,
) -> tuple[float | None, float | None, tuple[Missing, ...]]:
    """Work out the volume-weighted mean D[4,3] and the surface-weighted mean D[3,2].

    ``D[4,3] = sum(w x),  D[3,2] = 1 / sum(w / x),  x = sqrt(a b);  particles: sum(d**p)/sum(d**q)``

    Parameters
    ----------
    sample : ClassedSample
        A sample in classes, or of single particles.

    Returns
    -------
    tuple
        D[4,3] and D[3,2] in micrometres, each or None, and the reasons of the nulls.

    Valid
    -----
    Open ends of together at most 0.5 % are left out; with more the means are None, as no size is
    known there. Counts in classes: constant number density within each class, D[p,q] by ratio.

    Source
    ------
    ISO 9276-2 (moments; from memory, held to its log-normal example); ASTM E799 for counts.

    Examples
    --------
    >>> from .particles_records import ParticleList
    >>> from .particles_tables import classed_sample
    >>> big, fine, _ = mean_micrometres(classed_sample(ParticleList((1.0, 2.0, 3.0))))
    >>> round(big, 4), round(fine, 4)
    (2.7222, 2.5714)
    """
    if sample.diameter_micrometres is not None:
        d = sample.diameter_micrometres / sample.diameter_micrometres[-1]
        unit = float(sample.diameter_micrometres[-1])
        cubes = math.fsum(d**3)
        return unit * math.fsum(d**4) / cubes, unit * cubes / math.fsum(d**2), ()
    if sample.class_count is not None:
        return (*_of_counts(sample), ())
    open_fraction = sample.low_open_fraction + sample.high_open_fraction
    if open_fraction > OPEN_FRACTION:
        low, high = sample.curve.size_micrometres[0], sample.curve.size_micrometres[-1]
        places = []
        if sample.low_open_fraction > LEVEL_FRACTION:
            places.append(f"{100 * sample.low_open_fraction:.3g} % below {low:g} micrometres")
        if sample.high_open_fraction > LEVEL_FRACTION:
            places.append(f"{100 * sample.high_open_fraction:.3g} % above {high:g} micrometres")
        code = (
            "pan_without_lower_size"
            if sample.low_open_fraction > sample.high_open_fraction
            else "top_without_upper_size"
        )
        detail = f"The sample is open: {' and '.join(places)}, of unknown size."
        return (
            None,
            None,
            tuple(Missing(name, code, detail) for name in _MEAN_NAMES),
        )
    weights = sample.volume_fraction / math.fsum(sample.volume_fraction)
    mids = np.sqrt(sample.low_micrometres * sample.high_micrometres)
    return math.fsum(weights * mids), 1.0 / math.fsum(weights / mids), ()


_MEAN_NAMES = ("volume_mean_micrometres", "surface_mean_micrometres")


def find_modes(sample: ClassedSample) -> tuple[tuple[Mode, ...], tuple[Missing, ...]]:
    """Find the classes in which the density on a logarithmic size axis peaks.

    ``q*_i = w_i / ln(b_i / a_i)``, a peak: higher than both neighbours, 5 % of the highest above
    the valley to any higher one

    Parameters
    ----------
    sample : ClassedSample
        A sample in classes, or of at least 1000 single particles (classed ten to the decade).

    Returns
    -------
    tuple
        The modes, the finest first, each with its class and the geometric middle of it as size;
        and why there is none.

    Valid
    -----
    A mode is known to its class and no better. A class beside an open end that holds anything
    is no peak: what lies beyond may be higher.

    Source
    ------
    ISO 9276-1, density q* on a logarithmic abscissa (from memory); the prominence is our choice.

    Examples
    --------
    >>> from .particles_records import ClassTable
    >>> from .particles_tables import classed_sample
    >>> modes, _ = find_modes(classed_sample(ClassTable((50, 100, 200, 400), (0.2, 0.7, 0.1))))
    >>> [round(mode.mode_micrometres, 1) for mode in modes]
    [141.4]
    """
    if sample.diameter_micrometres is not None:
        if sample.diameter_micrometres.size < FEWEST_PARTICLES_FOR_MODES_COUNT:
            detail = (
                f"{sample.diameter_micrometres.size} particles are too few for a density, "
                f"{FEWEST_PARTICLES_FOR_MODES_COUNT} are asked for."
            )
            return (), (Missing("modes", "too_few_particles", detail),)
        low, high, weights = _in_classes(sample)
    else:
        low, high = sample.low_micrometres, sample.high_micrometres
        weights = sample.volume_fraction
    if low.size < 2:
        detail = f"{low.size} closed classes have no peak among them."
        return (), (Missing("modes", "too_few_classes", detail),)
    density = weights / np.log(high / low)
    peaks = _peaks(
        density,
        sample.low_open_fraction > LEVEL_FRACTION,
        sample.high_open_fraction > LEVEL_FRACTION,
    )
    if not peaks:
        detail = "The density only rises towards an open end (the pan, the top sieve)."
        return (), (Missing("modes", "peak_in_open_end", detail),)
    return tuple(
        Mode(
            math.sqrt(float(low[first]) * float(high[last])),
            float(low[first]),
            float(high[last]),
            math.fsum(weights[first : last + 1]),
        )
        for first, last in peaks
    ), ()


def _of_counts(sample: ClassedSample) -> tuple[float, float]:
    """D[4,3] and D[3,2] of counts, constant number density within each class (ASTM E799)."""
    assert sample.class_count is not None
    counts = sample.class_count
    low, high = sample.low_micrometres, sample.high_micrometres
    if counts.size > low.size:  # a first class from 0 on is open on the curve only
        low = np.concatenate(([0.0], low))
        high = np.concatenate(([sample.curve.size_micrometres[0]], high))
    unit = float(high[-1])
    a, b = low / unit, high / unit

    def _moment(power: int) -> float:
        steps = np.sum([b**k * a ** (power - k) for k in range(power + 1)], axis=0)
        return math.fsum(counts * steps / (power + 1))

    return unit * _moment(4) / _moment(3), unit * _moment(3) / _moment(2)


def _in_classes(sample: ClassedSample) -> tuple[Floats, Floats, Floats]:
    """Single particles in ten classes to the decade, laid from their median on."""
    assert sample.diameter_micrometres is not None
    diameters = sample.diameter_micrometres
    median = percentile_micrometres(sample.curve, 0.5) or float(diameters[-1])
    steps = np.log10(diameters / median) * _STEPS_PER_DECADE
    first = math.floor(steps[0] + 0.5)
    places = np.floor(steps + 0.5).astype(np.int64) - first
    relative = (diameters / diameters[-1]) ** 3
    weights = np.bincount(places, weights=relative) / math.fsum(relative)
    edges = median * 10 ** ((np.arange(weights.size + 1) + first - 0.5) / _STEPS_PER_DECADE)
    return edges[:-1], edges[1:], weights


def _peaks(density: Floats, has_open_low: bool, has_open_high: bool) -> list[tuple[int, int]]:
    """First and last class of each peak that is prominent enough, in order of size."""
    n = density.size
    least = MODE_PROMINENCE_FRACTION * float(density.max())
    found = []
    first = 0
    while first < n:
        last = first
        while last + 1 < n and math.isclose(density[last + 1], density[first], rel_tol=1e-9):
            last += 1
        height = float(density[first])
        is_up = not has_open_low if first == 0 else density[first - 1] < height
        is_down = not has_open_high if last == n - 1 else density[last + 1] < height
        if height > 0 and is_up and is_down:
            found.append((first, last, height))
        first = last + 1
    return [
        (first, last)
        for first, last, height in found
        if height
        - max(
            _valley(density[:first][::-1], height, has_open_low),
            _valley(density[last + 1 :], height, has_open_high),
        )
        >= least
    ]


def _valley(outwards: Floats, height: float, is_open: bool) -> float:
    """The lowest density on the way to a higher one, or to the end; none beyond a closed end."""
    lowest = height
    for value in outwards:
        if value > height:
            return lowest
        lowest = min(lowest, float(value))
    return lowest if is_open else 0.0
