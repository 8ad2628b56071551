"""Corrections of runs: what a run counts for once the mistakes known about it are mended.

The raw numbers stay; a correction is a fact of its own, and no order of corrections matters.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

PPM = 1_000_000


@dataclass(frozen=True, slots=True)
class Correction:
    """A mistake of one grinder's devices over [from, to) of raw starts; ``to_ms`` None = open.

    ``source`` None means every source, an empty one the runs that name none.
    """

    correction_id: str
    source: str | None
    from_ms: int
    to_ms: int | None
    grams_offset_mg: int | None = None
    grams_factor_ppm: int | None = None
    clock_offset_ms: int | None = None
    is_void: bool = False

    def __post_init__(self) -> None:
        if self.to_ms is not None and self.to_ms <= self.from_ms:
            raise ValueError(f"the correction ends at {self.to_ms}, not after {self.from_ms} ms")
        if self.grams_factor_ppm is not None and self.grams_factor_ppm < 0:
            raise ValueError(f"grams cannot be multiplied by {self.grams_factor_ppm} ppm")


@dataclass(frozen=True, slots=True)
class Effective:
    """What a run counts for, and by which corrections, sorted by id."""

    started_ms: int
    grams_mg: int | None
    is_out: bool
    correction_ids: tuple[str, ...]


def effective(
    raw_started_ms: int,
    raw_grams_mg: int | None,
    source: str | None,
    corrections: Iterable[Correction],
) -> Effective:
    """Apply to a run all corrections in whose stretch its raw start lies.

    ``grams' = max(0, round(grams * product of factors + sum of offsets))``,
    ``started' = started + sum of clock offsets``, out if any of them says void

    Parameters
    ----------
    raw_started_ms : int
        Start as placed in time when it was received, in ms.
    raw_grams_mg : int or None
        Grams as sent, in mg, >= 0.
    source : str or None
        The device; None or empty for a run that names none.
    corrections : iterable of Correction
        Those of the run's grinder that are in force, in any order.

    Returns
    -------
    Effective
        Start in ms, grams in mg, whether the run is taken out, and the ids of what applied.

    Raises
    ------
    ValueError
        The grams are negative.

    Valid
    -----
    Exact: factors are rationals of 1 ppm, rounded once at the end, halves to the even milligram.
    Grams never fall below 0: what offsets take beyond that is clipped. Missing grams stay missing.
    The raw start decides which corrections apply, so a moved clock brings in no further ones.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> tared = Correction("c-1", "scale", 0, None, grams_offset_mg=-200)
    >>> scaled = Correction("c-2", None, 0, 60_000, grams_factor_ppm=1_010_000)
    >>> effective(5_000, 18_000, "scale", [scaled, tared])
    Effective(started_ms=5000, grams_mg=17980, is_out=False, correction_ids=('c-1', 'c-2'))
    >>> effective(70_000, 100, "scale", [scaled, tared]).grams_mg
    0
    """
    if raw_grams_mg is not None and raw_grams_mg < 0:
        raise ValueError(f"a run cannot have {raw_grams_mg} mg")
    applied = [c for c in corrections if _applies(c, raw_started_ms, source or "")]
    grams_mg = raw_grams_mg
    if grams_mg is not None and applied:
        numerator, denominator = grams_mg, 1
        for correction in applied:
            if correction.grams_factor_ppm is not None:
                numerator *= correction.grams_factor_ppm
                denominator *= PPM
        offset_mg = sum(correction.grams_offset_mg or 0 for correction in applied)
        grams_mg = max(0, _rounded(numerator + offset_mg * denominator, denominator))
    return Effective(
        started_ms=raw_started_ms + sum(correction.clock_offset_ms or 0 for correction in applied),
        grams_mg=grams_mg,
        is_out=any(correction.is_void for correction in applied),
        correction_ids=tuple(sorted(correction.correction_id for correction in applied)),
    )


def _applies(correction: Correction, raw_started_ms: int, source: str) -> bool:
    return (
        correction.from_ms <= raw_started_ms
        and (correction.to_ms is None or raw_started_ms < correction.to_ms)
        and correction.source in (None, source)
    )


def _rounded(numerator: int, denominator: int) -> int:
    """The nearest whole number to a fraction, a half to the even one."""
    whole, rest = divmod(numerator, denominator)
    return whole + (2 * rest > denominator or (2 * rest == denominator and whole % 2 == 1))
