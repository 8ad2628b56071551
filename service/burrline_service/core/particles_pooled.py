"""Replicate doses of one checkpoint taken together."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from .particles_records import Missing, PooledSizes, SampleSizes

_Reading = Callable[[SampleSizes], float | None]


def pool_sizes(samples: Sequence[SampleSizes]) -> PooledSizes:
    """Take the sizes of replicate samples together, logarithmically; their fines plainly.

    ``ln D = mean(ln D_i),  s = sqrt(sum((ln D_i - ln D)**2) / (n - 1)),  fines = mean(fines_i)``

    Parameters
    ----------
    samples : sequence of SampleSizes, shape (n,)
        The replicates, at least one, all with one fines cut.

    Returns
    -------
    PooledSizes
        Geometric mean sizes in micrometres, mean span and fines, and the standard deviations of
        ln D50 and of the fines between replicates. A number that one of them lacks is None.

    Raises
    ------
    ValueError
        No sample, or samples with different cuts.

    Valid
    -----
    A mean over part of the replicates would hide which were left out, so there is none. Standard
    deviations take two replicates; they say nothing about session effects.

    Source
    ------
    Derived here: ln D, as sizes scatter in proportion; sample standard deviation by definition.

    Examples
    --------
    >>> from .particles_finished import finished_sizes
    >>> from .particles_records import Percentiles
    >>> one, two = (finished_sizes(Percentiles(d50_micrometres=d), 100.0) for d in (300.0, 432.0))
    >>> round(pool_sizes([one, two]).d50_micrometres, 9)
    360.0
    """
    if not samples:
        raise ValueError("need at least one sample")
    cut = samples[0].fines_cut_micrometres
    if any(sample.fines_cut_micrometres != cut for sample in samples):
        raise ValueError("the samples have different fines cuts")
    missing: list[Missing] = []

    def _every(name: str, read: _Reading) -> list[float] | None:
        values = [value for sample in samples if (value := read(sample)) is not None]
        if len(values) == len(samples):
            return values
        detail = f"{len(samples) - len(values)} of {len(samples)} replicates have no such number."
        missing.append(Missing(name, "missing_in_replicate", detail))
        return None

    d10 = _every("d10_micrometres", lambda sample: sample.d10_micrometres)
    d50 = _every("d50_micrometres", lambda sample: sample.d50_micrometres)
    d90 = _every("d90_micrometres", lambda sample: sample.d90_micrometres)
    span = _every("span", lambda sample: sample.span)
    fines = _every("fines_fraction", lambda sample: sample.fines_fraction)
    if len(samples) < 2:
        detail = "One replicate shows no scatter; measure at least two doses."
        missing += [
            Missing(name, "one_replicate", detail) for name in ("d50_log_sd", "fines_sd_fraction")
        ]
    return PooledSizes(
        len(samples),
        _geometric_mean(d10),
        _geometric_mean(d50),
        _geometric_mean(d90),
        _mean(span),
        _mean(fines),
        cut,
        _sd(None if d50 is None else [math.log(size) for size in d50]),
        _sd(fines),
        tuple(missing),
    )


def _mean(values: list[float] | None) -> float | None:
    return None if values is None else math.fsum(values) / len(values)


def _geometric_mean(values: list[float] | None) -> float | None:
    if values is None:
        return None
    return math.exp(math.fsum(math.log(value) for value in values) / len(values))


def _sd(values: list[float] | None) -> float | None:
    if values is None or len(values) < 2:
        return None
    mean = math.fsum(values) / len(values)
    return math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))
