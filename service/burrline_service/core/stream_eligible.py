"""Which runs are evidence about the flow, and the cells of the hours they fall into.

Only what was weighed out of a hopper-fed grinder over measured seconds, by one device, tells how
fast the burrs grind. All others are left out, with the reason counted. What a run does not say
itself (setting, lot, feed, purpose ...) may be told by a period; that is looked up when cells are
read, so such runs are kept apart here and not judged by it.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable
from typing import NamedTuple

from .records import FEEDS, GRAMS_BASES, PURPOSES, TIME_SOURCES
from .stream_cells import MICRO, UNSTATED, StreamCell, merge_cells

HOUR_MS = 3_600_000

REASONS = (
    "",  # evidence
    "cancelled",  # voided, or a correction says that it was none
    "clock_unknown",  # placed in time by when it was received
    "two_devices",  # one grind that two devices report
    "not_timed",  # no seconds measured
    "not_weighed_out",  # no grams, or not the weight of what came out
    "single_dosed",  # not from a hopper
    "not_service",  # purge, cleaning, measurement
    "dose_too_small",  # less than ``SMALLEST_DOSE_MG``
    "flow_implausible",  # outside ``FLOW_GRAMS_PER_SECOND``
)
"""Why a run is left out, by the number a cell keeps; the first that holds. Only ever added to."""

EVIDENCE_PURPOSES = frozenset({"service", "break_in", "dial_in"})
SMALLEST_DOSE_MG = 5_000
DOSE_EDGES_MG = tuple(round(SMALLEST_DOSE_MG * 2 ** (step / 4)) for step in range(54))
"""Dose classes begin here: four to a doubling, from 5 g on (our choice, no source). They are only
what cells are kept by; which of them are one size is decided when cells are read."""
FLOW_GRAMS_PER_SECOND = (0.1, 20.0)
"""Outside of this no grinder grinds (our choice, no source)."""
RPM_STEP = 50
"""Motor speeds are kept to the nearest so much (our choice): a sensor's flicker is no new speed."""

_WEIGHED_OUT = GRAMS_BASES.index("weighed_out")
_SINGLE_DOSE = FEEDS.index("single_dose")
_RECEIVED = TIME_SOURCES.index("received")
EVIDENCE_PURPOSE_NOS = frozenset(PURPOSES.index(name) for name in EVIDENCE_PURPOSES)


class StreamRun(NamedTuple):
    """A run as far as the flow is concerned, in stored units (see the table of runs).

    ``grams_mg`` and ``started_ms`` are what counts after all corrections; ``part`` is None for a
    run that is alone in its grind; ``left_out`` is 0 unless voided or corrected away.
    """

    started_ms: int
    on_ms: int | None
    grams_mg: int | None
    grams_basis: int
    feed: int | None = None
    purpose: int = UNSTATED
    setting_milli: int | None = None
    rpm: int | None = None
    source_no: int | None = None
    coffee_lot: str | None = None
    time_source: int = 0
    left_out: int = 0
    part: int | None = None


def reason_left_out(run: StreamRun) -> str:
    """Say why a run is no evidence about the flow.

    ``evidence iff not cancelled, own clock, one device, on > 0, weighed out, not single dosed,
    service-like, grams >= 5 g, 0.1 <= grams / seconds <= 20``

    Parameters
    ----------
    run : StreamRun
        As stored.

    Returns
    -------
    str
        One of ``REASONS``, empty for evidence.

    Raises
    ------
    Nothing.

    Valid
    -----
    By what the run says itself; an unstated feed or purpose is judged when cells are read.

    Source
    ------
    Definition made here; that only weighed, timed, hopper-fed grinds tell the flow is common
    practice, no source.

    Examples
    --------
    >>> reason_left_out(StreamRun(0, 8_000, 18_000, 0)), reason_left_out(StreamRun(0, None, 1, 0))
    ('', 'not_timed')
    """
    if run.left_out:
        return "cancelled"
    if run.time_source == _RECEIVED:
        return "clock_unknown"
    if run.part is not None:
        return "two_devices"
    if not run.on_ms:
        return "not_timed"
    if run.grams_mg is None or run.grams_basis != _WEIGHED_OUT:
        return "not_weighed_out"
    if run.feed == _SINGLE_DOSE:
        return "single_dosed"
    if run.purpose != UNSTATED and run.purpose not in EVIDENCE_PURPOSE_NOS:
        return "not_service"
    if run.grams_mg < SMALLEST_DOSE_MG:
        return "dose_too_small"
    low, high = FLOW_GRAMS_PER_SECOND
    if not low * run.on_ms <= run.grams_mg <= high * run.on_ms:
        return "flow_implausible"
    return ""


def dose_class(grams_mg: int) -> int:
    """Give the class of a dose: how many of the edges it reaches.

    ``class = #{edge : edge <= grams};  edge_j = 5 g * 2^(j / 4)``

    Parameters
    ----------
    grams_mg : int
        The dose in mg.

    Returns
    -------
    int
        0 (too small to tell anything) to 54.

    Raises
    ------
    Nothing.

    Valid
    -----
    Any dose.

    Source
    ------
    Our choice, no source: see ``DOSE_EDGES_MG``.

    Examples
    --------
    >>> [dose_class(mg) for mg in (4_999, 5_000, 9_000, 18_000, 60_000, 50_000_000)]
    [0, 1, 4, 8, 15, 54]
    """
    return bisect_right(DOSE_EDGES_MG, grams_mg)


def fold_runs(runs: Iterable[StreamRun]) -> tuple[StreamCell, ...]:
    """Fold all runs of some hours into the cells of these hours.

    ``u = round(10^6 ln(grams / seconds));  n, sum u, sum u^2, sum grams by key``

    Parameters
    ----------
    runs : iterable of StreamRun
        In any order, those left out too: they are counted by reason.

    Returns
    -------
    tuple of StreamCell
        As ``merge_cells`` orders them; the hours of the runs can be told apart in them.

    Raises
    ------
    Nothing.

    Valid
    -----
    Exact and without an order: the cells of a union of runs are the merged cells of its parts.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> shots = [StreamRun(3_600_000, 8_000, 18_000, 0, 0, 0, 4_800)] * 2
    >>> [(cell.hour, cell.count, cell.sum_micro) for cell in fold_runs(shots)]
    [(1, 2, 1621860)]
    """
    return merge_cells(map(_cell, runs))


def _cell(run: StreamRun) -> StreamCell:
    hour = run.started_ms // HOUR_MS
    reason = REASONS.index(reason_left_out(run))
    if reason or run.grams_mg is None or not run.on_ms:
        return StreamCell(hour, reason, None, 0, None, None, None, None, UNSTATED, 1, 0, 0, 0)
    micro = round(MICRO * math.log(run.grams_mg / run.on_ms))
    return StreamCell(
        hour=hour,
        left_out=0,
        setting_milli=run.setting_milli,
        dose_class=dose_class(run.grams_mg),
        rpm=None if run.rpm is None else (run.rpm + RPM_STEP // 2) // RPM_STEP * RPM_STEP,
        source_no=run.source_no,
        coffee_lot=run.coffee_lot,
        feed=run.feed,
        purpose=run.purpose,
        count=1,
        sum_micro=micro,
        sum_squares_micro=micro * micro,
        grams_mg=run.grams_mg,
    )
