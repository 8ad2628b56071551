"""Kilograms without runs: a tally's grams, spread evenly over its stretch of time."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Tally:
    """So many grams went through over [from, to), nobody knows when exactly."""

    grams_mg: int
    from_ms: int
    to_ms: int

    def __post_init__(self) -> None:
        if self.to_ms <= self.from_ms:
            raise ValueError(f"the tally ends at {self.to_ms}, not after {self.from_ms} ms")
        if self.grams_mg < 0:
            raise ValueError(f"a tally cannot have {self.grams_mg} mg")


def share_mg(tally: Tally, low_ms: int, high_ms: int) -> int:
    """Give the grams of a tally that fall into a window, exact over any way to cut up time.

    ``share = F(high) - F(low),  F(t) = floor(grams * (t - from) / (to - from))``, t clipped

    Parameters
    ----------
    tally : Tally
        The tally.
    low_ms, high_ms : int
        The window [low, high) in ms, within or beyond the tally's stretch.

    Returns
    -------
    int
        Grams in mg, between 0 and those of the tally.

    Raises
    ------
    ValueError
        The window is reversed.

    Valid
    -----
    Shares of windows that tile the stretch add up to the tally, to the milligram; each is less
    than 1 mg off the even share.

    Source
    ------
    Definition made here (telescoping sum), see the test over any partition.

    Examples
    --------
    >>> week = Tally(1_000, 0, 7)
    >>> [share_mg(week, day, day + 1) for day in range(-1, 8)]
    [0, 142, 143, 143, 143, 143, 143, 143, 0]
    """
    if low_ms > high_ms:
        raise ValueError(f"the window is reversed: {low_ms} > {high_ms} ms")
    return _until_mg(tally, high_ms) - _until_mg(tally, low_ms)


def _until_mg(tally: Tally, at_ms: int) -> int:
    clipped = min(max(at_ms, tally.from_ms), tally.to_ms)
    return tally.grams_mg * (clipped - tally.from_ms) // (tally.to_ms - tally.from_ms)
