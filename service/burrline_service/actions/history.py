"""Throughput over time: what went through a grinder hour by hour, day by day, week by week."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Literal

from ..core.answers import Bucket, History
from ..core.calendar import buckets
from ..core.coverage import covered, length_ms, open_spans
from ..core.duty import DEFAULT_CYCLE_SECONDS
from ..core.errors import Fault, Invalid
from ..core.records import PURPOSES, Caller
from ..core.throughput import estimated_grams, flow_grams_per_second
from ..store import grinders, landmarks, readings, stretches
from ..store.database import Connection, Database
from ..store.grinders import GrinderRow
from ..store.landmarks import Landmarks
from ..store.state import State
from ..store.sums import Sums
from ..store.tables import HOUR_MS
from ..store.types import to_instant, to_milliseconds
from . import reach
from .counting import CLEANING, Counter, count, counters_of, counts_seconds, total_of
from .on_time import PLACED, out_of_service
from .watched_time import watched_times

BUCKET_LIMIT = 1000
EARLIEST_AT = datetime(1973, 1, 1, tzinfo=UTC)
"""Before it some clocks ran by no quarter of an hour (Monrovia until 7 January 1972)."""
LENGTH = {"hour": timedelta(hours=1), "day": timedelta(days=1), "week": timedelta(weeks=1)}
DEFAULT_SPAN = {"hour": timedelta(days=2), "day": timedelta(days=30), "week": timedelta(weeks=26)}
Interval = tuple[int, int]


def get_throughput(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    by: Literal["hour", "day", "week"] | None = None,
    from_at: datetime | None = None,
    to_at: datetime | None = None,
    as_of: datetime | None = None,
    now: datetime,
) -> History:
    """Buckets by the clock of the grinder's site, from every fact up to an instant."""
    by = by or "day"
    at = now if as_of is None else as_of
    high_at = min(to_at or at, at)
    low_at = from_at or high_at - DEFAULT_SPAN[by]
    if low_at > high_at:
        raise Invalid(Fault("must not be later than to", parameter="from", place="query"))
    asked = {"from": from_at, "to": to_at, "as_of": as_of}
    early = [name for name, given in asked.items() if given is not None and given < EARLIEST_AT]
    if early:
        raise Invalid(
            *(Fault("must not be before 1973", parameter=name, place="query") for name in early)
        )

    def work(connection: Connection) -> History:
        found = reach.grinder_of(connection, caller, grinder_id, now=now)
        if as_of is not None:
            reach.check_instant(connection, caller, found, as_of=as_of, now=now)
            found = grinders.by_nos(connection, caller.account_no, [found.grinder_no], as_of=as_of)[
                found.grinder_no
            ]
        most = (high_at - low_at) // LENGTH[by]
        if most > BUCKET_LIMIT + 1:  # told before they are made: it could be millions
            raise _too_many(most)
        edges = buckets(low_at, high_at, by, found.site.time_zone)
        if len(edges) > BUCKET_LIMIT:
            raise _too_many(len(edges))
        at_ms = to_milliseconds(at)
        return History(
            grinder_id=grinder_id,
            time_zone=found.site.time_zone,
            by=by,
            as_of=to_instant(at_ms),
            buckets=_buckets(connection, caller.account_no, found, edges, at_ms=at_ms),
        )

    return database.read(caller.account_no, work)


def _too_many(count: int) -> Invalid:
    return Invalid(
        Fault(
            f"gives {count} buckets; ask for at most {BUCKET_LIMIT}",
            parameter="from",
            place="query",
        )
    )


def _buckets(
    connection: Connection,
    account_no: int,
    found: GrinderRow,
    edges: list[tuple[datetime, datetime]],
    *,
    at_ms: int,
) -> tuple[Bucket, ...]:
    if not edges:
        return ()
    number = found.grinder_no
    low_ms, high_ms = to_milliseconds(edges[0][0]), min(to_milliseconds(edges[-1][1]), at_ms)
    marks = landmarks.of_grinders(
        connection, account_no, [number], at_ms=at_ms, end_ms=at_ms + 1, motor_from_ms=at_ms
    )[number]
    shared = {number: marks.kept.is_shared and marks.goes_on}
    counter = counters_of(connection, account_no, shared, at_ms=at_ms, end_ms=at_ms + 1)[number]
    spans = [(to_milliseconds(start), to_milliseconds(end)) for start, end in edges]
    countable = [
        (_countable_ms(low, marks.kept), _countable_ms(high, marks.kept)) for low, high in spans
    ]
    for span in [(0, at_ms + 1), *countable]:
        counter.want(*span)
    count(connection, account_no, [counter])
    coffee = counter.coffee(0, at_ms + 1)
    grind = found.grinder.grind
    flow = flow_grams_per_second(
        coffee.paired_mg,
        coffee.paired_ms,
        None if grind is None else grind.expected_grams_per_second,
    )
    known = _known(connection, account_no, found, counter, marks, low_ms, high_ms)
    site = found.site
    opened = open_spans(
        edges[0][0], edges[-1][1], site.time_zone, site.opening_hours, frozenset(site.closed_days)
    )
    is_open = _clipped(opened, (low_ms, at_ms))
    last = _last_running(connection, account_no, found, counter, at_ms)
    return tuple(
        _bucket(
            counter.between(*counted),
            span,
            edge,
            flow,
            known,
            is_open,
            last,
        )
        for edge, span, counted in zip(edges, spans, countable, strict=True)
    )


def _countable_ms(edge_ms: int, kept: State) -> int:
    """Where a bucket is cut: amid an hour without single runs, at its end, so that none is lost."""
    if kept.archived_before is None or edge_ms >= to_milliseconds(kept.archived_before):
        return edge_ms
    return -(-edge_ms // HOUR_MS) * HOUR_MS


def _bucket(
    by_purpose: dict[int, Sums],
    span: Interval,
    edge: tuple[datetime, datetime],
    flow: float | None,
    known: list[Interval],
    is_open: list[Interval],
    running: list[Interval],
) -> Bucket:
    coffee = total_of(by_purpose, only_coffee=True)
    everything = total_of(by_purpose)
    still_to_come_ms = sum(
        overhang for started_ms, overhang in running if span[0] <= started_ms < span[1]
    )
    return Bucket(
        from_at=edge[0],
        to_at=edge[1],
        grams=coffee.grams_mg / 1000,
        estimated_grams=estimated_grams(coffee.estimated_mg, coffee.ungrammed_ms, flow),
        cleaning_grams=by_purpose.get(CLEANING, Sums()).grams_mg / 1000,
        run_count=everything.run_count,
        run_seconds=(everything.on_ms - still_to_come_ms) / 1000,
        grams_by_purpose={
            PURPOSES[purpose]: share.grams_mg / 1000
            for purpose, share in sorted(by_purpose.items())
            if share.grams_mg
        },
        open_seconds=length_ms(_clipped(is_open, span)) / 1000,
        covered_seconds=length_ms(_both(_clipped(known, span), is_open)) / 1000,
    )


def _known(
    connection: Connection,
    account_no: int,
    found: GrinderRow,
    counter: Counter,
    marks: Landmarks,
    low_ms: int,
    high_ms: int,
) -> list[Interval]:
    """When it is known, run by run, what the grinder did."""
    number = found.grinder_no
    told = readings.watched_since(connection, account_no, {number: low_ms}, until_ms=high_ms)
    watched = watched_times(
        connection, account_no, told.get(number, []), marks=marks, counter=counter
    )
    ran: list[Interval] = []
    # else runs lie within what is covered anyway
    if watched or counter.tallies:
        reaching = stretches.reaching(connection, account_no, {number: low_ms}, to_ms=high_ms)
        ran = [
            (stretch.started_ms, stretch.started_ms + stretch.on_ms)
            for stretch in reaching.get(number, [])
            if stretch.on_ms is not None and stretch.time_source in PLACED
        ]
    return covered(
        low_ms,
        max(low_ms, high_ms),
        first_known_ms=marks.first_ms if marks.kept.archived_before is None else 0,
        watched=watched,
        ran=ran,
        unknown=[(tally.from_ms, tally.to_ms) for tally, _, _ in counter.tallies],
        out_of_service=out_of_service(found.grinder, high_ms),
    )


def _last_running(
    connection: Connection,
    account_no: int,
    found: GrinderRow,
    counter: Counter,
    at_ms: int,
) -> list[Interval]:
    """Starts of the runs in progress at the instant, with what of their time is still to come."""
    restored = {row.run_key: part for row, part in counter.restored}
    since = {found.grinder_no: at_ms - round(DEFAULT_CYCLE_SECONDS * 1000)}
    reaching = stretches.reaching(connection, account_no, since, to_ms=at_ms + 1)
    return [
        (stretch.started_ms, stretch.started_ms + stretch.on_ms - at_ms)
        for stretch in reaching.get(found.grinder_no, [])
        if stretch.on_ms is not None
        and stretch.started_ms + stretch.on_ms > at_ms
        and counts_seconds(restored.get(stretch.run_key, stretch.part))
    ]


def _clipped(intervals: list[Interval], span: Interval) -> list[Interval]:
    return [
        (max(low, span[0]), min(high, span[1]))
        for low, high in intervals
        if low < span[1] and high > span[0]
    ]


def _both(these: list[Interval], those: list[Interval]) -> list[Interval]:
    """Where two lists of disjoint intervals overlap."""
    return [piece for span in those for piece in _clipped(these, span)]
