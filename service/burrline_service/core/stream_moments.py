"""Sums over the cells of each day: all that the fit of the flow ever reads.

Days are added up from the first on, so that the evidence as it stood at the close of any day is
one row of these sums, and a fit costs the same however many grinds there were.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from .settling_profile import GRID_GRAMS, LARGEST_TAU_GRAMS, Floats
from .stream_cells import MICRO
from .stream_sessions import BIN_MG, Close, SessionCell, Sessions

SMALLEST_TAU_GRAMS = 250.0
"""What is over sooner is over within the first cell (our choice)."""
TAU_GRAMS: Floats = GRID_GRAMS[
    (GRID_GRAMS >= SMALLEST_TAU_GRAMS) & (GRID_GRAMS <= LARGEST_TAU_GRAMS)
]
_SHORT_MG = 1e6  # milligrams in a kilogram


@dataclass(frozen=True, eq=False)
class Moments:
    """Weighted sums of G days over P columns and the K decays exp(-m / tau).

    Every grind weighs 1. The columns are level, steps (``steps_of``) and setting; u is the
    logarithm of the flow less ``origin_ratio``. Names with ``day_`` are sums of one day each,
    ``_squares`` sums of products within days over all days up to it; ``within_squares`` and
    ``within_count`` are the squares within cells and their freedom, likewise.
    """

    sessions: tuple[int, ...]
    names: tuple[object, ...]
    grinds_count: Floats
    day_columns_ratio: Floats
    day_decay_ratio: Floats
    day_decay_squared_ratio: Floats
    day_u_ratio: Floats
    columns_squares: Floats
    columns_u_squares: Floats
    columns_decay_squares: Floats
    decay_squares: Floats
    decay_u_squares: Floats
    u_squares: Floats
    within_squares: Floats
    within_count: tuple[int, ...]
    cells_count: tuple[int, ...]
    low_setting: Floats
    high_setting: Floats
    origin_ratio: float


def sum_moments(
    cells: Sequence[SessionCell],
    *,
    origin_mg: int,
    reference_milli: int,
) -> Moments:
    """Sum the cells by day: a column each for the level, its steps and the setting.

    ``t_g = sum over the cells of day g of n x,  S_xy = sum over all cells of n x (y - the day's
    mean of y)``

    Parameters
    ----------
    cells : sequence of SessionCell
        In their order, at least one.
    origin_mg : int
        Milligrams through the burrs from which the decays count.
    reference_milli : int
        The setting from which settings count.

    Returns
    -------
    Moments
        Over the grid of tau from 0.25 to 30 kg.

    Raises
    ------
    ValueError
        There is no cell.

    Valid
    -----
    Columns may depend on each other: the fit leaves out what does.

    Source
    ------
    Derived here: weighted least squares with a random level per day needs no more.

    Examples
    --------
    >>> cell = SessionCell(1, 0, 4800, 0, 2, None, None, None, 2, 10, 52, 2_000_000)
    >>> moments = sum_moments([cell], origin_mg=0, reference_milli=4800)
    >>> moments.sessions, moments.grinds_count, moments.within_squares * 1e12
    ((1,), array([2.]), array([2.]))
    """
    if not cells:
        raise ValueError("there is no cell")
    sessions = tuple(dict.fromkeys(cell.session for cell in cells))
    rank = {session: place for place, session in enumerate(sessions)}
    at = np.array([rank[cell.session] for cell in cells])
    count = np.array([cell.grinds_count for cell in cells], dtype=np.float64)
    kilograms = np.array(
        [
            (c.sum_twice_place_mg - 2 * origin_mg * c.grinds_count) / (2 * c.grinds_count)
            for c in cells
        ]
    )
    decay = np.exp(-kilograms / _SHORT_MG / (TAU_GRAMS[:, None] / 1000.0)).T
    total, grinds = sum(cell.sum_micro for cell in cells), sum(cell.grinds_count for cell in cells)
    origin = total // grinds
    u = np.array([(c.sum_micro - origin * c.grinds_count) / c.grinds_count for c in cells]) / MICRO
    setting = np.array([(c.setting_milli - reference_milli) / 1000.0 for c in cells])
    names, columns = _columns(cells, setting)
    weighted = columns * count[:, None]
    by_day = np.searchsorted(at, np.arange(len(sessions)))

    within = [
        (c.grinds_count * c.sum_squares_micro - c.sum_micro**2) / c.grinds_count for c in cells
    ]
    grinds_of_day = np.add.reduceat(count, by_day)
    day_columns = np.add.reduceat(weighted, by_day, axis=0)
    day_decay = np.add.reduceat(decay * count[:, None], by_day, axis=0)
    day_u = np.add.reduceat(u * count, by_day)
    mean_u = (day_u / grinds_of_day)[:, None]
    shared_u = _running(by_day, (u * count)[:, None] * u[:, None]) - (
        day_u[:, None] * mean_u
    ).cumsum(axis=0)
    freedom = np.array([c.grinds_count - 1 for c in cells])
    return Moments(
        sessions=sessions,
        names=names,
        grinds_count=grinds_of_day,
        day_columns_ratio=day_columns,
        day_decay_ratio=day_decay,
        day_decay_squared_ratio=day_decay * day_decay,
        day_u_ratio=day_u,
        columns_squares=_products(weighted, columns, by_day),
        columns_u_squares=_running(by_day, weighted * u[:, None])
        - (day_columns * mean_u).cumsum(axis=0),
        columns_decay_squares=_products(weighted, decay, by_day),
        decay_squares=_running(by_day, decay * decay * count[:, None])
        - (day_decay * day_decay / grinds_of_day[:, None]).cumsum(axis=0),
        decay_u_squares=_running(by_day, decay * (u * count)[:, None])
        - (day_decay * mean_u).cumsum(axis=0),
        u_squares=shared_u[:, 0],
        within_squares=_running(by_day, np.array(within) / MICRO**2),
        within_count=tuple(map(int, _running(by_day, freedom))),
        cells_count=tuple(map(int, _running(by_day, np.ones(len(cells))))),
        low_setting=np.minimum.accumulate(np.minimum.reduceat(setting, by_day)),
        high_setting=np.maximum.accumulate(np.maximum.reduceat(setting, by_day)),
        origin_ratio=origin / MICRO,
    )


def _running(by_day: npt.NDArray[np.int_], values: Floats) -> Floats:
    """Sums over the days up to each."""
    found: Floats = np.add.reduceat(values, by_day, axis=0).cumsum(axis=0)
    return found


def _products(weighted: Floats, other: Floats, by_day: npt.NDArray[np.int_]) -> Floats:
    """Products of all columns with all others within days, summed over the days up to each."""
    found = np.empty((len(by_day), weighted.shape[1], other.shape[1]))
    borders = [*by_day.tolist(), len(weighted)]
    total = np.zeros(found.shape[1:])
    for day, (low, high) in enumerate(pairwise(borders)):
        mine, theirs, count = weighted[low:high], other[low:high], weighted[low:high, 0]
        # less the day's mean before, as a difference of sums would keep fewer digits
        total += mine.T @ (theirs - (count @ theirs) / count.sum())
        found[day] = total
    return found


def _columns(cells: Sequence[SessionCell], setting: Floats) -> tuple[tuple[object, ...], Floats]:
    """A level, a step for each seating, dose class, rpm, source and lot but the first; setting."""
    names: list[object] = ["level"]
    found = [np.ones(len(cells))]
    for labels in zip(*map(steps_of, cells), strict=True):
        ranks = {step: rank for rank, step in enumerate(dict.fromkeys(labels))}
        mine = np.array([ranks[step] for step in labels])
        for step, rank in list(ranks.items())[1:]:
            names.append(step)
            found.append((mine == rank).astype(np.float64))
    names.append("setting")
    found.append(setting)
    return tuple(names), np.stack(found, axis=1)


def example_sessions() -> Sessions:
    """Make up the evidence of twelve days of 1 kg, for examples.

    ``u = 0.9 - 0.15 exp(-m / 6 kg) + 0.04 (s - 4.8)``, and a little noise

    Returns
    -------
    Sessions
        With two settings each day.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> found = example_sessions()
    >>> len(found.cells), found.closes[-1]
    (24, Close(session=739012, to_mg=12000000))
    """
    cells, closes = [], []
    for day in range(12):
        for half in range(2):
            place_mg = 1_000_000 * day + BIN_MG * half + BIN_MG // 2
            decay = 0.15 * math.exp(-place_mg / 6e6)
            setting_milli = 4_800 - 200 * ((day + half) % 2)
            u = 0.9 - decay + 0.04 * (setting_milli - 4_800) / 1000 + 0.002 * math.sin(7 * day)
            total, spread = 25 * round(MICRO * u), 60_000
            squares = total * total // 25 + 24 * spread**2
            cells.append(
                SessionCell(
                    739_001 + day, 2 * day + half, setting_milli, 0, 2, None, None, None,
                    25, total, squares, 25 * 2 * place_mg,
                )
            )  # fmt: skip
        closes.append(Close(739_001 + day, 1_000_000 * (day + 1)))
    return Sessions(tuple(cells), tuple(closes))


def steps_of(cell: SessionCell) -> tuple[tuple[str, object], ...]:
    """Say what a cell's level depends on, beside the setting and the kilograms.

    ``level = sum of the steps of seating, dose class, rpm, source and lot``

    Parameters
    ----------
    cell : SessionCell
        A cell.

    Returns
    -------
    tuple of tuples
        The name and value of each step.

    Raises
    ------
    Nothing.

    Valid
    -----
    What is unrecorded has a step of its own.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> cell = SessionCell(1, 0, 4800, 0, 2, 1400, None, "K-7", 2, 10, 52, 2_000_000)
    >>> steps_of(cell)[1:3], steps_of(cell)[4]
    ((('dose', 2), ('rpm', 1400)), ('lot', 'K-7'))
    """
    return (
        ("seating", cell.seating),
        ("dose", cell.dose_class),
        ("rpm", cell.rpm),
        ("source", cell.source_no),
        ("lot", cell.coffee_lot),
    )
