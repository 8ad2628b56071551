"""A distribution of any kind as classes of volume between sizes, and its cumulative curve."""

from __future__ import annotations

import math

import numpy as np

from .errors import SampleRefused
from .particles_class_traps import check_particles, class_findings
from .particles_curve import LEVEL_FRACTION, fit_curve
from .particles_records import ClassedSample, ClassTable, Floats, ParticleList, SieveTable
from .particles_sieve_traps import sieve_findings
from .particles_sieves import aperture_findings
from .records import Finding

FEW_CLASSES_COUNT = 4
"""Fewer classes with material than this are said (our choice)."""
NUMBERS_FOR_MEANS_COUNT, NUMBERS_FOR_PERCENTILES_COUNT = 6_000, 61_000
"""Particles for a volume mean and for percentiles like D90, within about 5 %, of a log-normal
number distribution with geometric standard deviation 1.6: ISO 13322-1:2004."""
LARGEST_SHARE_FRACTION = 0.01
"""A single particle with more of the volume than this is said (our choice)."""


def classed_sample(
    table: SieveTable | ClassTable | ParticleList, dose_grams: float | None = None
) -> ClassedSample:
    """Turn a table into volume fractions of ascending classes, open ends and a cumulative curve.

    ``w_i = m_i / sum(m);  counts: w_i ~ n_i (b**4 - a**4) / (4 (b - a));  particles: w_i ~ d**3``

    Parameters
    ----------
    table : SieveTable, ClassTable or ParticleList
        The sample as it was sent.
    dose_grams : float or None
        What went onto the sieves, in g, to balance the masses against.

    Returns
    -------
    ClassedSample
        Fractions sum to 1 with the open ends; findings of every check on the way.

    Raises
    ------
    SampleRefused
        Whatever ``sieve_findings``, ``class_findings`` and ``check_particles`` refuse, and
        ``all_in_pan``, ``all_on_top_sieve``, ``all_in_one_class``.

    Valid
    -----
    Particles of one density, so that mass is volume. Particles are spheres of their diameter.

    Source
    ------
    ISO 9276-1 for w and Q_3 (from memory); ASTM E799 for counts in classes, a constant number
    density within each (from memory, held to its example); ISO 13322-1:2004 for particle numbers.

    Examples
    --------
    >>> sample = classed_sample(SieveTable((400.0, 200.0), (5.0, 15.0, 5.0)))
    >>> sample.curve.undersize_fraction, sample.low_open_fraction
    (array([0.2, 0.8]), 0.2)
    """
    if isinstance(table, SieveTable):
        return _of_sieves(table, dose_grams)
    if isinstance(table, ClassTable):
        return _of_classes(table)
    return _of_particles(table)


def _of_sieves(table: SieveTable, dose_grams: float | None) -> ClassedSample:
    findings = list(sieve_findings(table, dose_grams))
    findings += aperture_findings(table.aperture_micrometres)
    sizes = np.array(table.aperture_micrometres)
    masses = np.array(table.retained_grams)
    pan, held = masses[-1], masses[:-1]
    if sizes[0] > sizes[-1]:
        sizes, held = sizes[::-1], held[::-1]
    # held[i] lies between sizes[i] and sizes[i + 1]; the last one on the top sieve
    parts = np.concatenate(([pan], held))
    pan_low, top_high = table.pan_low_micrometres, table.top_high_micrometres
    edges = np.concatenate(
        ([] if pan_low is None else [pan_low], sizes, [] if top_high is None else [top_high])
    )
    fractions = _fractions(parts)
    low_open = float(fractions[0]) if pan_low is None else 0.0
    high_open = float(fractions[-1]) if top_high is None else 0.0
    closed = fractions[pan_low is None : fractions.size - (top_high is None)]
    if low_open >= 1 - LEVEL_FRACTION:
        raise SampleRefused(
            "all_in_pan",
            f"Everything passed the finest sieve of {sizes[0]:g} micrometres: its size is unknown.",
            pointer="/retained_grams",
            numbers={"finest_micrometres": float(sizes[0])},
        )
    if high_open >= 1 - LEVEL_FRACTION:
        raise SampleRefused(
            "all_on_top_sieve",
            f"Everything stayed on the top sieve of {sizes[-1]:g} micrometres: its size is "
            "unknown.",
            pointer="/retained_grams",
            numbers={"coarsest_micrometres": float(sizes[-1])},
        )
    return _sample(edges, closed, low_open, high_open, findings, "/retained_grams")


def _of_classes(table: ClassTable) -> ClassedSample:
    findings = list(class_findings(table))
    edges = np.array(table.edge_micrometres)
    is_counted = table.count is not None
    values = np.array(table.count if table.count is not None else table.volume_fraction)
    if edges[0] > edges[-1]:
        edges, values = edges[::-1], values[::-1]
    low, high = edges[:-1], edges[1:]
    # the mean of x**3 within each class, times 4
    cubes = (high + low) * (high**2 + low**2)
    fractions = _fractions(values * cubes if is_counted else values)
    low_open = 0.0
    if low[0] == 0:
        low_open, fractions_closed, edges = float(fractions[0]), fractions[1:], edges[1:]
    else:
        fractions_closed = fractions
    particle_count = None
    if is_counted:
        particle_count = int(values.sum())
        findings += _number_findings(particle_count)
    if low_open >= 1 - LEVEL_FRACTION:
        raise SampleRefused(
            "all_in_one_class",
            f"Everything lies below {edges[0]:g} micrometres, in one class.",
            pointer="/count" if is_counted else "/volume_fraction",
            numbers={"high_micrometres": float(edges[0])},
        )
    pointer = "/count" if is_counted else "/volume_fraction"
    sample = _sample(edges, fractions_closed, low_open, 0.0, findings, pointer)
    if not is_counted:
        return sample
    return ClassedSample(
        sample.low_micrometres,
        sample.high_micrometres,
        sample.volume_fraction,
        low_open,
        0.0,
        sample.curve,
        sample.findings,
        class_count=values,
        particle_count=particle_count,
    )


def _of_particles(table: ParticleList) -> ClassedSample:
    check_particles(table)
    diameters = np.sort(np.array(table.diameter_micrometres))
    volumes = (diameters / diameters[-1]) ** 3
    findings = _number_findings(diameters.size)
    share = 1.0 / math.fsum(volumes)
    if diameters.size > 1 and share > LARGEST_SHARE_FRACTION:
        findings.append(
            Finding(
                "largest_particle_weighs",
                f"The largest particle alone holds {100 * share:.2g} % of the volume; D90 and "
                "the means hang on it.",
            )
        )
    # diameters written alike are one size
    is_last = np.append(diameters[1:] / diameters[:-1] > 1 + 1e-9, True)
    undersize = np.minimum(np.cumsum(volumes) / math.fsum(volumes), 1.0)[is_last]
    undersize[-1] = 1.0
    sizes = diameters[is_last]
    nothing = np.zeros(0)
    return ClassedSample(
        nothing,
        nothing,
        nothing,
        0.0,
        0.0,
        fit_curve(sizes, undersize, is_stepped=True),
        tuple(findings),
        particle_count=int(diameters.size),
        diameter_micrometres=diameters,
    )


def _sample(
    edges: Floats,
    fractions: Floats,
    low_open: float,
    high_open: float,
    findings: list[Finding],
    pointer: str,
) -> ClassedSample:
    """Classes between edges with what lies outside them, refused when only one holds anything."""
    filled = np.flatnonzero(fractions > LEVEL_FRACTION)
    if filled.size == 1 and fractions[filled[0]] >= 1 - LEVEL_FRACTION:
        low, high = float(edges[filled[0]]), float(edges[filled[0] + 1])
        raise SampleRefused(
            "all_in_one_class",
            f"Everything lies between {low:g} and {high:g} micrometres, in one class: where in it "
            "is unknown.",
            pointer=pointer,
            numbers={"low_micrometres": low, "high_micrometres": high},
        )
    filled_count = filled.size + (low_open > LEVEL_FRACTION) + (high_open > LEVEL_FRACTION)
    if filled_count < FEW_CLASSES_COUNT:
        findings.append(
            Finding(
                "few_classes",
                f"Only {filled_count} classes hold anything: what lies within a class is "
                "interpolated over wide steps.",
            )
        )
    undersize = np.concatenate(([0.0], np.cumsum(fractions))) + low_open
    undersize = np.minimum(undersize, 1.0)
    if high_open <= LEVEL_FRACTION:
        undersize[undersize >= 1 - LEVEL_FRACTION] = 1.0
    return ClassedSample(
        edges[:-1],
        edges[1:],
        fractions,
        low_open,
        high_open,
        fit_curve(edges, undersize),
        tuple(findings),
    )


def _fractions(parts: Floats) -> Floats:
    """Parts of their sum, with dust below the rounding of sums taken as nothing."""
    fractions = parts / math.fsum(parts)
    fractions[fractions < LEVEL_FRACTION] = 0.0
    return np.asarray(fractions / math.fsum(fractions))


def _number_findings(particle_count: int) -> list[Finding]:
    """What ISO 13322-1 says about a number of particles."""
    if particle_count < NUMBERS_FOR_MEANS_COUNT:
        return [
            Finding(
                "too_few_particles",
                f"{particle_count} particles were measured; ISO 13322-1 takes about "
                f"{NUMBERS_FOR_MEANS_COUNT} for a mean and {NUMBERS_FOR_PERCENTILES_COUNT} for "
                "percentiles by volume.",
            )
        ]
    if particle_count < NUMBERS_FOR_PERCENTILES_COUNT:
        return [
            Finding(
                "few_particles",
                f"{particle_count} particles were measured; enough for a mean, but ISO 13322-1 "
                f"takes about {NUMBERS_FOR_PERCENTILES_COUNT} for percentiles by volume.",
            )
        ]
    return []
