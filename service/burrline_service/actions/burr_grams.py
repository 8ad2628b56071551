"""Kilograms by an instant: how much had gone through the burr set when doses were ground.

Worked out whenever it is asked for, from the runs, tallies and fittings as they are known, so that
a late run or a mended date moves it. Many checkpoints are the same few statements as one.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

from ..core.burrs import end_of
from ..core.quality import FUTURE_SECONDS
from ..store import burr_sets, landmarks
from ..store.burr_sets import FittingRow
from ..store.database import Connection
from ..store.entries import EntryRow, doses_ms
from ..store.types import to_instant, to_milliseconds
from .counting import Counter, count, counters_of
from .fittings import entries_of

Ended = list[tuple[FittingRow, datetime | None]]


class Through(NamedTuple):
    """The set a checkpoint's doses were ground with, and the mean of what was through it by then.

    No grams where a dose was ground while another set, or none, was in.
    """

    burr_set_no: int | None = None
    burr_set_id: str | None = None
    grams: float | None = None


def with_ends(around: Sequence[FittingRow]) -> Ended:
    """Fittings, each with the end that counts."""
    entries = entries_of(list(around))
    return [(row, end_of(entry, entries)) for row, entry in zip(around, entries, strict=True)]


def stays_by(ended: Ended, grinder_no: int, at: datetime) -> Ended:
    """Of the set in the grinder at an instant, its stays begun by then; none without a set."""
    current = next(
        (
            row
            for row, ended_at in ended
            if row.grinder_no == grinder_no
            and row.fitted_at <= at
            and (ended_at is None or ended_at > at)
        ),
        None,
    )
    if current is None:
        return []
    return [
        (row, ended_at)
        for row, ended_at in ended
        if row.burr_set_no == current.burr_set_no and row.fitted_at <= at
    ]


def ends_ms(at: datetime, *, is_asked: bool) -> int:
    """Where counting runs stops for an answer: a little ahead of now where no instant is asked.

    A device whose clock runs a little ahead sees its run counted at once.
    """
    return to_milliseconds(at + timedelta(seconds=0 if is_asked else FUTURE_SECONDS)) + 1


def through_by(
    connection: Connection,
    account_no: int,
    rows: Sequence[EntryRow],
    *,
    at_ms: int,
    end_ms: int,
) -> list[Through]:
    """What was through the burrs at each checkpoint: of runs begun before a dose was ground.

    From every fact whose own time is at or before ``at_ms``, runs counted up to ``end_ms``.
    """
    if not rows:
        return []
    around = burr_sets.fittings_of_grinders(
        connection, account_no, {row.grinder_no for row in rows}
    )
    ended = {number: with_ends(fittings) for number, fittings in around.items()}
    asked = [_doses(row, ended[row.grinder_no]) for row in rows]
    counters = _counters(connection, account_no, asked, at_ms=at_ms, end_ms=end_ms)
    for doses in asked:
        for spans in doses.spans:
            for number, low_ms, high_ms in spans:
                counters[number].want(low_ms, high_ms)
    count(connection, account_no, counters.values())
    return [_through(row, doses, counters) for row, doses in zip(rows, asked, strict=True)]


Span = tuple[int, int, int]


class _Doses(NamedTuple):
    burr_set_no: int | None
    burr_set_id: str | None
    is_of_one_set: bool
    spans: list[list[Span]]


def _doses(row: EntryRow, ended: Ended) -> _Doses:
    here = stays_by(ended, row.grinder_no, to_instant(row.from_ms))
    if not here:
        return _Doses(None, None, False, [])
    of_set = here[0][0]
    spans: list[list[Span]] = []
    is_of_one_set = True
    if row.body.get("burr_grams") is None:
        for at_ms in doses_ms(row):
            stays = stays_by(ended, row.grinder_no, to_instant(at_ms))
            if not stays or stays[0][0].burr_set_no != of_set.burr_set_no:
                is_of_one_set = False
            spans.append([_span(*stay, at_ms) for stay in stays])
    return _Doses(of_set.burr_set_no, of_set.burr_set_id, is_of_one_set, spans)


def _span(row: FittingRow, ended_at: datetime | None, at_ms: int) -> Span:
    high_ms = at_ms if ended_at is None else min(at_ms, to_milliseconds(ended_at))
    return row.grinder_no, to_milliseconds(row.fitted_at), high_ms


def _counters(
    connection: Connection,
    account_no: int,
    asked: Sequence[_Doses],
    *,
    at_ms: int,
    end_ms: int,
) -> dict[int, Counter]:
    numbers = {number for doses in asked for spans in doses.spans for number, _, _ in spans}
    if not numbers:
        return {}
    marks = landmarks.of_grinders(
        connection, account_no, numbers, at_ms=at_ms, end_ms=end_ms, motor_from_ms=at_ms
    )
    shared = {number: mark.kept.is_shared and mark.goes_on for number, mark in marks.items()}
    return counters_of(connection, account_no, shared, at_ms=at_ms, end_ms=end_ms)


def _through(row: EntryRow, doses: _Doses, counters: dict[int, Counter]) -> Through:
    given: float | None = row.body.get("burr_grams")
    if given is not None or doses.burr_set_no is None or not doses.is_of_one_set:
        return Through(doses.burr_set_no, doses.burr_set_id, given)
    milligrams = [
        sum(counters[number].coffee(low_ms, high_ms).grams_mg for number, low_ms, high_ms in spans)
        for spans in doses.spans
    ]
    mean_mg = round(sum(milligrams) / len(milligrams))
    return Through(doses.burr_set_no, doses.burr_set_id, mean_mg / 1000)
