"""Episodes in which a grinder gives less than its own flow of the last weeks: a clog, mostly.

What is usual is told by days: for each setting and class of dose the flow of every day, and how
much single runs differ within one. A day that is odd in itself moves no median.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from statistics import median
from typing import NamedTuple

from .alert_settings import DatedRules, rules_at
from .episode_facts import Episode
from .episode_span import DAY_MS, Told, episodes_from, held_spans, while_on

BASE_DAYS = 28
FEWEST_DAYS = 5
"""Days with enough runs that a baseline needs (our choice, no source)."""
FEWEST_RUNS = 3
"""Runs that a day needs to count as one."""
DEVIATIONS = 3.0
MAD_TO_SD = 1.4826
"""For a normal distribution, 1 / 0.6745."""
MEDIAN_TO_MEAN = 1.2533
"""The standard error of a median over that of a mean, sqrt(pi / 2), for normal noise."""
DOSE_BOUNDS_MG = (4_000, 12_000, 28_000, 80_000, 250_000)
"""Doses of one class are alike enough to compare their flow (our choice, no source)."""

Cell = tuple[int | None, int]


class FlowRun(NamedTuple):
    """A run with weighed grams and measured seconds; its cell is its setting and class of dose."""

    ended_ms: int
    milligrams_per_second: int
    cell: Cell


class FlowDay(NamedTuple):
    """The runs of one cell on one day (UTC, days since 1970): how many, their flow, its square."""

    day: int
    cell: Cell
    run_count: int
    flow_sum: int
    flow_square_sum: int


class Usual(NamedTuple):
    """What is usual in a cell: flow, how days differ and how single runs do (both of ln flow)."""

    milligrams_per_second: float
    day_deviation_fraction: float
    run_deviation_fraction: float


def usual_flows(days: Iterable[FlowDay], day: int) -> dict[Cell, Usual]:
    """Tell what flow is usual on a day, from the four weeks before it.

    ``usual = median of the days' means; day_deviation = 1.4826 MAD of their ln; run_deviation =
    median of the days' sd / mean``

    Parameters
    ----------
    days : iterable of FlowDay
        In any order, each cell and day once; others than the 28 before are not looked at.
    day : int
        The day in question, days since 1970.

    Returns
    -------
    dict
        By cell, where at least 5 days had 3 runs or more.

    Raises
    ------
    Nothing.

    Valid
    -----
    Sums are whole numbers, so no order matters.

    Source
    ------
    Median and MAD as robust location and scale (common practice); by days: defined here.

    Examples
    --------
    >>> days = [FlowDay(day, (5000, 2), 3, 6000, 12_000_000) for day in range(10, 16)]
    >>> tuple(usual_flows(days, 16)[5000, 2])
    (2000.0, 0.0, 0.0)
    """
    by_cell: dict[Cell, list[tuple[float, float]]] = defaultdict(list)
    for one in days:
        if day - BASE_DAYS <= one.day < day and one.run_count >= FEWEST_RUNS and one.flow_sum > 0:
            mean = one.flow_sum / one.run_count
            squares = one.flow_square_sum * one.run_count - one.flow_sum**2
            variance = max(0, squares) / (one.run_count * (one.run_count - 1))
            by_cell[one.cell].append((mean, math.sqrt(variance) / mean))
    usual = {}
    for cell, found in by_cell.items():
        if len(found) >= FEWEST_DAYS:
            middle = median(mean for mean, _ in found)
            off = median(abs(math.log(mean / middle)) for mean, _ in found)
            usual[cell] = Usual(middle, MAD_TO_SD * off, median(sd for _, sd in found))
    return usual


def flow_low_episodes(
    runs: Sequence[FlowRun],
    days: Sequence[FlowDay],
    dated: Sequence[DatedRules],
    *,
    until_ms: int,
    fitted_ms: Sequence[int] = (),
) -> list[Episode]:
    """Fold runs into the episodes in which a grinder's flow was well below what is usual for it.

    ``r_i = ln(usual / flow_i) / max(-ln(1 - drop), 3 sd);  shows: median of the last n r >= 1;
    releases: <= release``; sd^2 = day_deviation^2 + (1.2533 run_deviation)^2 / n

    Parameters
    ----------
    runs : sequence of FlowRun
        In any order, from 48 h before the first instant of interest on.
    days : sequence of FlowDay
        What was usual: the four weeks before each day with runs.
    dated : sequence of DatedRules
        ``flow_low`` is read of each, as of each run.
    until_ms : int
        The instant of the answer, POSIX ms; runs that end later do not exist yet.
    fitted_ms : sequence of int
        When burr sets were fitted, POSIX ms: a run is held to the days after the last before it.

    Returns
    -------
    list of Episode
        Ascending, severity ``caution``. Facts: ``flow_fraction``, the lowest median of flow over
        usual flow, and ``run_count``.

    Raises
    ------
    Nothing.

    Valid
    -----
    The last n runs are those within 24 h whose cell has a usual flow. What a run shows holds for
    24 h unless a later one releases it; nothing else is remembered. A day's own runs never enter
    what is usual on it.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> flow_low_episodes([], [], [DatedRules(0, {"flow_low": {"is_on": True}})], until_ms=5)
    []
    """
    measured = _measured(runs, days, dated, until_ms=until_ms, fitted_ms=fitted_ms)
    if not any(one[1] >= 1 for one in measured):
        return []  # no median of them shows it either
    told: list[Told] = []
    fractions: list[tuple[int, float]] = []
    for number, (ended_ms, _, _, count, release) in enumerate(measured, 1):
        window = measured[max(0, number - count) : number]
        last = [one for one in window if ended_ms - one[0] < DAY_MS]
        if len(last) == count:
            middle = median(one[1] for one in last)
            told.append(Told(ended_ms, middle >= 1, middle <= release))
            fractions.append((ended_ms, math.exp(-median(one[2] for one in last))))

    def _made(opened_ms: int, closed_ms: int | None) -> Episode:
        end_ms = until_ms if closed_ms is None else closed_ms
        within = [part for at_ms, part in fractions if opened_ms <= at_ms <= end_ms]
        count = rules_at(dated, opened_ms)["flow_low"]["run_count"]
        facts = {"flow_fraction": round(min(within, default=1.0), 6), "run_count": float(count)}
        return Episode("flow_low", "caution", opened_ms, closed_ms, facts)

    spans = while_on(held_spans(told), "flow_low", dated)
    return episodes_from(spans, _made, until_ms=until_ms)


def may_be_low(
    runs: Sequence[FlowRun],
    days: Sequence[FlowDay],
    dated: Sequence[DatedRules],
    *,
    since_ms: int,
    until_ms: int,
    fitted_ms: Sequence[int] = (),
) -> bool:
    """Tell from the latest runs alone whether any from an instant on may show low flow.

    ``no, where all r_i < 1 and n - 1 of them come before since``: a median of such is below 1

    Parameters
    ----------
    runs : sequence of FlowRun
        All from some instant on, in any order.
    days, dated : sequence
        As for ``flow_low_episodes``.
    since_ms : int
        What ended before this instant, POSIX ms, was judged already.
    until_ms : int
        The instant of the answer, POSIX ms.
    fitted_ms : sequence of int
        As for ``flow_low_episodes``.

    Returns
    -------
    bool
        False = no run from ``since_ms`` on shows it; True = that is not certain.

    Raises
    ------
    Nothing.

    Valid
    -----
    As ``flow_low_episodes``.

    Source
    ------
    Derived here: that function's rule.

    Examples
    --------
    >>> may_be_low([], [], [DatedRules(0, {"flow_low": {"is_on": True}})], since_ms=0, until_ms=5)
    False
    """
    measured = _measured(runs, days, dated, until_ms=until_ms, fitted_ms=fitted_ms)
    new = [one for one in measured if one[0] >= since_ms]
    if not new:
        return False
    needed = max(one[3] for one in new) - 1
    return len(measured) - len(new) < needed or any(one[1] >= 1 for one in measured)


def _measured(
    runs: Sequence[FlowRun],
    days: Sequence[FlowDay],
    dated: Sequence[DatedRules],
    *,
    until_ms: int,
    fitted_ms: Sequence[int],
) -> list[tuple[int, float, float, int, float]]:
    """Of each run that has a usual flow: end, r, ln(usual / flow), n and the release."""
    ordered = sorted(
        (run for run in runs if run.ended_ms <= until_ms and run.milligrams_per_second > 0),
        key=lambda run: (run.ended_ms, run.milligrams_per_second, run.cell[0] or -1, run.cell[1]),
    )
    usual: dict[tuple[int, int], Mapping[Cell, Usual]] = {}
    bars: dict[tuple[int, int, Cell, int], float] = {}
    is_always = len(dated) == 1
    rule = dated[0].rules["flow_low"]
    measured: list[tuple[int, float, float, int, float]] = []
    for run in ordered:
        if not is_always:
            rule = rules_at(dated, run.ended_ms)["flow_low"]
        day = run.ended_ms // DAY_MS
        first = max((at // DAY_MS + 1 for at in fitted_ms if at <= run.ended_ms), default=0)
        if (day, first) not in usual:
            usual[day, first] = usual_flows((one for one in days if one.day >= first), day)
        base = usual[day, first].get(run.cell)
        if base is None or not rule["is_on"]:
            continue
        key = (day, first, run.cell, id(rule))
        bar = bars.get(key)
        if bar is None:
            variance = (
                base.day_deviation_fraction**2
                + (MEDIAN_TO_MEAN * base.run_deviation_fraction) ** 2 / rule["run_count"]
            )
            drop = -math.log1p(-rule["drop_fraction"])
            bar = bars[key] = max(drop, DEVIATIONS * math.sqrt(variance))
        off = math.log(base.milligrams_per_second / run.milligrams_per_second)
        release: float = rule["release_fraction"]
        measured.append((run.ended_ms, off / bar, off, rule["run_count"], release))
    return measured
