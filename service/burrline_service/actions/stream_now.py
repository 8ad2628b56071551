"""When the flow had steadied, for statuses: from a memo while that holds, else worked out.

Closed days alone bear on it. So a memo holds, run after run, until a day closes or something
changes before the first hour that is open: a fact of the grinder (``_basis``), or what its hours
add up to. That is told by revisions, with nothing to reset; an answer is the same with and
without memos.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from functools import partial
from hashlib import blake2b
from typing import NamedTuple

from ..core.stream_sessions import BIN_MG
from ..store import accounts, grinders, sites, stream_told
from ..store.database import Connection, Database
from ..store.stream_cells import Folded
from ..store.stream_told import Told
from ..store.tables import HOUR_MS
from ..store.types import to_instant, to_milliseconds
from . import asked
from .asked import Asked
from .counting import count
from .remembered import Remembered
from .stream import Days, keep_folded, seated, want_stream
from .through import through, want_through

RULE = 1
"""Count up when the same evidence may tell something else: memos of before do not hold then."""
FEWEST_MG = 5_000_000 - BIN_MG
"""With less through the set there is no verdict (``SHORTEST_SPAN_MG``)."""
LATE_MS = 30 * 60_000
"""More than any change reaches back that does not count up the early revision."""
GRINDERS_AT_ONCE = 5
FOR_EVER = datetime(9999, 1, 1, tzinfo=UTC)
Zones = tuple[tuple[datetime, str], ...]
TURNS = 40


TOLD: Remembered[Told] = Remembered(4096)
ZONES: Remembered[tuple[Zones, Days]] = Remembered(4096)


class Memo(NamedTuple):
    """What was worked out for a grinder, to be kept once the read is over."""

    told: Told | None
    folded: Folded | None


class _Place(NamedTuple):
    """What a verdict is about: a grinder, up to which hour, and all it goes by but runs."""

    one: Asked
    number: int
    open_hour: int
    basis: str

    @classmethod
    def of(cls, one: Asked, zones: Zones, days: Days) -> _Place:
        open_hour = days.open_hour(one.at_ms // HOUR_MS)
        known = tuple(row for row in zones if row[0] <= one.at)
        return cls(one, one.found.grinder_no, open_hour, _basis(one, days, open_hour, known))


def steadied_of(
    connection: Connection, account_no: int, each: Sequence[Asked], *, keeps: bool
) -> tuple[dict[int, datetime], list[Memo]]:
    """When the flow of these grinders had steadied, by number, where it had; and new memos.

    The counters must have counted what ``want_through`` names. ``keeps`` says that the instant
    is now, so that new memos are worth writing down; the process remembers them anyway.
    """
    asked_for = [one for one in each if _is_asked_for(one)]
    if not asked_for:
        return {}, []
    places = _places(connection, account_no, asked_for)
    told: dict[int, Told] = {}
    lacking: list[_Place] = []
    for place in places:
        memo = TOLD.get(connection.engine, (account_no, place.number, place.open_hour))
        if memo is not None and _holds(connection, account_no, place, memo):
            told[place.number] = memo
        else:
            lacking.append(place)
    made: list[Memo] = []
    if lacking:
        numbers = [place.number for place in lacking]
        memos = stream_told.of_grinders(connection, account_no, numbers)
        for place in lacking:
            memo = memos.get(place.number)
            if memo is None or not _holds(connection, account_no, place, memo):
                memo, folded = _worked_out(connection, account_no, place)
                made.append(Memo(memo, folded))
            told[place.number] = memo
            TOLD.put(connection.engine, (account_no, place.number, place.open_hour), memo)
    steadied = {
        number: to_instant(memo.steadied_ms)
        for number, memo in told.items()
        if memo.steadied_ms is not None
    }
    return steadied, made if keeps else [memo._replace(told=None) for memo in made]


def tell_stream(
    database: Database, *, now: datetime, is_stopping: Callable[[], bool] = lambda: False
) -> int:
    """Work out verdicts of the day that closed, before anybody asks; how many it were.

    At most ``TURNS`` times ``GRINDERS_AT_ONCE`` of an account.
    """
    count_made = 0
    before_hour = to_milliseconds(now) // HOUR_MS - 23  # the day of 24 hours ago closed
    for account in database.read(None, accounts.all_of_them):
        account_no = account.account_no
        told = partial(_tell, account_no=account_no, before_hour=before_hour, now=now)
        for _ in range(TURNS):
            memos = [] if is_stopping() else database.read(account_no, told)
            if not memos:
                break
            for memo in memos:
                keep_folded(database, account_no, memo.folded)
            database.write(account_no, partial(_put, account_no=account_no, memos=memos))
            count_made += len(memos)
    return count_made


def _tell(connection: Connection, account_no: int, before_hour: int, now: datetime) -> list[Memo]:
    numbers = stream_told.due(connection, account_no, open_hour=before_hour, limit=GRINDERS_AT_ONCE)
    if not numbers:
        return []
    found = grinders.by_nos(connection, account_no, numbers, as_of=now)
    each = asked.about(connection, account_no, list(found.values()), as_of=None, now=now)
    for one in each:
        want_through(one)
    count(connection, account_no, {stay.counter for one in each for stay in one.stays})
    _, memos = steadied_of(connection, account_no, each, keeps=True)
    # not asked again until another day
    nobody = Told(0, to_milliseconds(now) // HOUR_MS, "", -1, to_milliseconds(now), None)
    blank = set(numbers) - {one.found.grinder_no for one in each if _is_asked_for(one)}
    return memos + [Memo(nobody._replace(grinder_no=number), None) for number in sorted(blank)]


def keep(database: Database, account_no: int, memos: Sequence[Memo]) -> None:
    """Keep what was worked out, unless somebody else is writing."""
    for memo in memos:
        keep_folded(database, account_no, memo.folded)
    if memos:
        put = partial(_put, account_no=account_no, memos=memos)
        database.write_if_free(account_no, put)


def _put(connection: Connection, account_no: int, memos: Sequence[Memo]) -> None:
    for memo in memos:
        if memo.told is not None:
            stream_told.put(connection, account_no, memo.told)


def _is_asked_for(one: Asked) -> bool:
    return bool(one.stays) and through(one).grams_mg >= FEWEST_MG


def _places(connection: Connection, account_no: int, each: Sequence[Asked]) -> list[_Place]:
    found: dict[int, tuple[Zones, Days]] = {}
    unknown: list[Asked] = []
    for one in each:
        zones = ZONES.get(connection.engine, _revised(account_no, one))
        if zones is None:
            unknown.append(one)
        else:
            found[one.found.grinder_no] = zones
    if unknown:
        numbers = [one.found.grinder_no for one in unknown]
        read = sites.zones_of(connection, account_no, numbers, until=FOR_EVER)
        for one in unknown:
            known, is_of_one_site = read[one.found.grinder_no]
            zones = (tuple(known), Days(known))
            found[one.found.grinder_no] = zones
            if is_of_one_site:  # else a change of a site where it stood before would not be seen
                ZONES.put(connection.engine, _revised(account_no, one), zones)
    return [_Place.of(one, *found[one.found.grinder_no]) for one in each]


def _revised(account_no: int, one: Asked) -> tuple[int, ...]:
    found = one.found
    revisions = (found.grinder.revision, found.site.revision)
    return (account_no, found.grinder_no, found.site_no, *revisions)


def _holds(connection: Connection, account_no: int, place: _Place, memo: Told) -> bool:
    if (memo.open_hour, memo.basis) != (place.open_hour, place.basis):
        return False
    kept = place.one.marks.kept
    if kept.revision == memo.revision:
        return True
    if memo.revision > kept.revision:  # of somebody who already knows more
        return False
    made_late = memo.made_ms >= place.open_hour * HOUR_MS + LATE_MS
    if made_late and kept.early_revision <= memo.revision:
        return True
    return not stream_told.is_touched(
        connection,
        account_no,
        place.number,
        after_revision=memo.revision,
        to_hour=place.open_hour,
    )


def _basis(one: Asked, days: Days, open_hour: int, zones: Zones) -> str:
    """All that the verdict goes by but the runs here, as far as it lies before an hour."""
    open_ms, own = open_hour * HOUR_MS, one.stays[-1].counter
    known: list[object] = [RULE, days.of_hour(one.at_ms // HOUR_MS), zones]
    for stay in one.stays:
        if stay.from_ms < open_ms:
            place = stay.counter.grinder_no
            known.append((place, stay.from_ms, min(stay.to_ms, open_ms)))
            if place != own.grinder_no:  # from there come kilograms and seatings alone
                known.append(stay.counter.coffee(stay.from_ms, stay.to_ms).grams_mg)
    known += [
        (seating.at, seating.zero_setting)
        for seating in seated(one.stays)
        if to_milliseconds(seating.at) < open_ms
    ]
    known += [
        (period.period_id, period.from_ms, period.to_ms, sorted(period.values.items()))
        for period in own.periods
        if period.from_ms < open_ms
    ]
    known += [tallied for tallied in own.tallies if tallied[0].from_ms < open_ms]
    known += [(row.run_key, part) for row, part in own.restored if row.started_ms < open_ms]
    return blake2b(repr(known).encode(), digest_size=16).hexdigest()


def _worked_out(
    connection: Connection, account_no: int, place: _Place
) -> tuple[Told, Folded | None]:
    from .stream_told import stream_of  # with numpy: loaded when first there is need

    one = place.one
    want_stream(place.number, one.stays)
    count(connection, account_no, {stay.counter for stay in one.stays})
    found = stream_of(connection, account_no, one)
    steadied_at = None if found is None else found.steadied_at
    told = Told(
        grinder_no=place.number,
        open_hour=place.open_hour,
        basis=place.basis,
        revision=one.marks.kept.revision,
        made_ms=one.at_ms,
        steadied_ms=None if steadied_at is None else to_milliseconds(steadied_at),
    )
    return told, None if found is None else found.folded
