"""Duty over a past period: its highest trailing on-time with bounds, and on-time by the hour."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .interval_arrays import Floats, union_arrays
from .intervals import on_time_seconds


@dataclass(frozen=True)
class DutyPeak:
    """The highest on-time of any trailing cycle that ends in a period.

    ``at_seconds`` is the first instant at which it is reached. ``low_fraction`` takes unknown
    time as off, ``high_fraction`` as on; ``coverage_fraction`` is the known share of the period.
    """

    on_seconds: float
    at_seconds: float
    low_fraction: float
    high_fraction: float
    coverage_fraction: float


@dataclass(frozen=True)
class DutyHistory:
    """On-time and known time between edges: hour i lies between edges i and i + 1."""

    edges_seconds: Floats
    on_seconds: Floats
    covered_seconds: Floats
    low_fraction: Floats
    high_fraction: Floats


def duty_peak(
    starts_seconds: ArrayLike,
    ends_seconds: ArrayLike,
    covered_starts_seconds: ArrayLike,
    covered_ends_seconds: ArrayLike,
    *,
    cycle_seconds: float,
    low_seconds: float,
    high_seconds: float,
    possible_starts_seconds: ArrayLike = (),
    possible_ends_seconds: ArrayLike = (),
) -> DutyPeak:
    """Find the highest trailing on-time of a period, where it is reached, and its bounds.

    ``max over t in [low, high] of length(U in [t - W, t)) / W``; low: U = runs; high: U = runs,
    possible runs and all time that is not covered

    Parameters
    ----------
    starts_seconds, ends_seconds : array_like, shape (n,)
        Runs in s of any one clock; give those of one cycle before the period too.
    covered_starts_seconds, covered_ends_seconds : array_like, shape (m,)
        Stretches whose history is known, from one cycle before the period on; runs are known.
    cycle_seconds : float
        The rating's cycle W in s, > 0.
    low_seconds, high_seconds : float
        The period asked for, in s, low < high.
    possible_starts_seconds, possible_ends_seconds : array_like, shape (k,)
        Stretches in which it may have run (estimated times): they enter the high bound only.

    Returns
    -------
    DutyPeak
        On-time in s, its instant in s, low and high fraction, coverage of the period.

    Raises
    ------
    ValueError
        The cycle is not positive and finite, the period is empty, or intervals are malformed.

    Valid
    -----
    Exact, not sampled. On a plateau the first instant counts.

    Source
    ------
    IEC 60034-1, cyclic duration factor; its rolling maximum and bounds derived here, see test.

    Examples
    --------
    >>> duty_peak([480.0, 600.0], [600.0, 720.0], [-600.0], [1200.0], cycle_seconds=600.0,
    ...     low_seconds=0.0, high_seconds=1200.0)
    DutyPeak(on_seconds=240.0, at_seconds=720.0, low_fraction=0.4, high_fraction=0.4, \
coverage_fraction=1.0)
    """
    _check_period(low_seconds, high_seconds)
    if not 0 < cycle_seconds < math.inf:
        raise ValueError(f"cycle_seconds must be positive and finite, not {cycle_seconds}")
    first_seconds = low_seconds - cycle_seconds
    starts, ends = union_arrays(starts_seconds, ends_seconds)
    known_starts, known_ends = _together(
        starts, ends, *union_arrays(covered_starts_seconds, covered_ends_seconds)
    )
    gap_starts, gap_ends = _gaps(known_starts, known_ends, first_seconds, high_seconds)
    maybe_starts, maybe_ends = _together(
        *_together(starts, ends, gap_starts, gap_ends),
        *union_arrays(possible_starts_seconds, possible_ends_seconds),
    )
    on, at = _highest(starts, ends, cycle_seconds, low_seconds, high_seconds)
    high_on, _ = _highest(maybe_starts, maybe_ends, cycle_seconds, low_seconds, high_seconds)
    known = on_time_seconds(known_starts.tolist(), known_ends.tolist(), low_seconds, high_seconds)
    return DutyPeak(
        on_seconds=on,
        at_seconds=at,
        low_fraction=on / cycle_seconds,
        high_fraction=max(high_on, on) / cycle_seconds,
        coverage_fraction=min(known / (high_seconds - low_seconds), 1.0),
    )


def duty_history(
    starts_seconds: ArrayLike,
    ends_seconds: ArrayLike,
    covered_starts_seconds: ArrayLike,
    covered_ends_seconds: ArrayLike,
    edges_seconds: ArrayLike,
) -> DutyHistory:
    """Share the on-time and the known time of a history out between edges.

    ``on_i = length(U in [edge_i, edge_i+1));  low_i = on_i / T_i;
    high_i = (on_i + T_i - covered_i) / T_i``

    Parameters
    ----------
    starts_seconds, ends_seconds : array_like, shape (n,)
        Runs in s of any one clock.
    covered_starts_seconds, covered_ends_seconds : array_like, shape (m,)
        Stretches whose history is known; runs are known.
    edges_seconds : array_like, shape (k + 1,)
        Borders of the hours in s, ascending: local hours as POSIX s, say.

    Returns
    -------
    DutyHistory
        Arrays of shape (k,) beside the edges: on-time and known time in s, low and high fraction.

    Raises
    ------
    ValueError
        The edges are not one-dimensional, finite and ascending, or the intervals are malformed.

    Valid
    -----
    On-times add up to that of the whole exactly as far as sums of doubles do.

    Source
    ------
    IEC 60034-1, cyclic duration factor; bounds derived here, see test.

    Examples
    --------
    >>> duty_history([3500.0], [3700.0], [0.0], [5400.0], [0.0, 3600.0, 7200.0]).on_seconds
    array([100., 100.])
    """
    edges = np.asarray(edges_seconds, dtype=np.float64)
    if edges.ndim != 1 or not np.isfinite(edges).all() or (np.diff(edges) <= 0).any():
        raise ValueError("the edges must be one-dimensional, finite and ascending")
    starts, ends = union_arrays(starts_seconds, ends_seconds)
    known_starts, known_ends = _together(
        starts, ends, *union_arrays(covered_starts_seconds, covered_ends_seconds)
    )
    lengths = np.diff(edges)
    on = np.diff(_on_before(edges, starts, ends)) if edges.size else lengths
    known = np.diff(_on_before(edges, known_starts, known_ends)) if edges.size else lengths
    on, known = np.clip(on, 0.0, lengths), np.clip(known, 0.0, lengths)
    return DutyHistory(
        edges_seconds=edges,
        on_seconds=on,
        covered_seconds=known,
        low_fraction=on / lengths,
        high_fraction=np.minimum((on + lengths - known) / lengths, 1.0),
    )


def _highest(
    starts: Floats, ends: Floats, cycle: float, low: float, high: float
) -> tuple[float, float]:
    """The highest trailing on-time and the first instant of [low, high] that has it."""
    instants = np.unique(np.concatenate(([low, high], ends, starts + cycle)))
    instants = instants[(instants >= low) & (instants <= high)]
    on = _on_before(instants, starts, ends) - _on_before(instants - cycle, starts, ends)
    on = np.rint(on * 1e6) / 1e6  # plateaus are equal to the rounding of sums
    first = int(np.argmax(on))
    return float(min(max(on[first], 0.0), cycle)), float(instants[first])


def _on_before(instants: Floats, starts: Floats, ends: Floats) -> Floats:
    """On-time of disjoint ascending runs before each instant, from the first instant on."""
    if starts.size == 0:
        return np.zeros_like(instants)
    total = np.cumsum(ends - starts)
    knots = np.column_stack((starts, ends)).ravel()
    sums = np.column_stack((total - (ends - starts), total)).ravel()
    found: Floats = np.interp(instants, knots, sums)
    return found


def _together(starts: Floats, ends: Floats, *more: Floats) -> tuple[Floats, Floats]:
    return union_arrays(np.concatenate((starts, more[0])), np.concatenate((ends, more[1])))


def _gaps(starts: Floats, ends: Floats, low: float, high: float) -> tuple[Floats, Floats]:
    """What disjoint ascending intervals leave open of [low, high)."""
    gap_starts = np.clip(np.concatenate(([low], ends)), low, high)
    gap_ends = np.clip(np.concatenate((starts, [high])), low, high)
    is_gap = gap_ends > gap_starts
    return gap_starts[is_gap], gap_ends[is_gap]


def _check_period(low_seconds: float, high_seconds: float) -> None:
    if not (math.isfinite(low_seconds) and math.isfinite(high_seconds)):
        raise ValueError("the period's borders must be finite")
    if not low_seconds < high_seconds:
        raise ValueError(f"the period is empty: {low_seconds} to {high_seconds} s")
