"""Sums by hour and day are exact, and the total over any interval is what counting gives."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from burrline_service.core.records import GRAMS_BASES, PURPOSES, TIME_SOURCES
from burrline_service.store import recount, run_inserts, state, sums, totals
from burrline_service.store.database import Connection, Database
from burrline_service.store.row_columns import RowColumns, RunRow
from burrline_service.store.runs import VOIDED
from burrline_service.store.sums import Sums
from burrline_service.store.tables import DAY_MS, HOUR_MS, SUM_NAMES
from small_chain import new_account

SLOW = settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
GRINDER_NO = 7
BEGINNING_MS = 20_000 * DAY_MS  # 2024-10-04
SPAN_MS = 4 * DAY_MS

# instants crowd at the borders of hours and days, where a sum may take a wrong turn
borders = st.builds(
    lambda hour, off: BEGINNING_MS + hour * HOUR_MS + off,
    st.integers(0, 96),
    st.sampled_from([-1, 0, 1]),
)
instants = borders | st.integers(BEGINNING_MS, BEGINNING_MS + SPAN_MS)


@st.composite
def rows(draw: st.DrawFn, most: int = 40) -> list[RunRow]:
    count = draw(st.integers(0, most))
    return [
        RunRow(
            run_key=number.to_bytes(16),
            run_id=None,
            grinder_no=GRINDER_NO,
            started_ms=draw(instants),
            on_ms=draw(st.none() | st.integers(0, 21_600_000)),
            grams_mg=draw(st.none() | st.integers(0, 50_000_000)),
            grams_basis=draw(st.integers(0, len(GRAMS_BASES) - 1)),
            feed=None,
            purpose=draw(st.integers(0, len(PURPOSES) - 1)),
            setting_milli=None,
            rpm=None,
            energy_joules=None,
            motor_decicelsius=None,
            ambient_decicelsius=None,
            time_source=draw(st.integers(0, len(TIME_SOURCES) - 1)),
            source_no=None,
            fingerprint=bytes(16),
            received_ms=BEGINNING_MS,
        )
        for number in range(count)
    ]


def counted(kept: Sequence[RunRow], low_ms: int, high_ms: int) -> dict[int, Sums]:
    """The definition, run by run, without any of the store's arithmetic."""
    totals: dict[int, dict[str, int]] = defaultdict(lambda: dict.fromkeys(SUM_NAMES, 0))
    for row in kept:
        if not low_ms <= row.started_ms < high_ms or row.voided_ms is not None:
            continue
        total, basis = totals[row.purpose], GRAMS_BASES[row.grams_basis]
        total["run_count"] += 1
        if row.on_ms is not None:
            total["on_ms"] += row.on_ms
        if row.grams_mg is not None:
            total["estimated_mg" if basis == "estimated" else "grams_mg"] += row.grams_mg
        if row.on_ms is None and row.grams_mg is not None:
            total["untimed_mg"] += row.grams_mg
        if row.grams_mg is None and row.on_ms is not None:
            total["ungrammed_ms"] += row.on_ms
        if None not in (row.on_ms, row.grams_mg) and basis in ("weighed_out", "weighed_in"):
            total["paired_mg"] += row.grams_mg or 0
            total["paired_ms"] += row.on_ms or 0
    return {purpose: Sums(**total) for purpose, total in totals.items()}


def keep(database: Database, account_no: int, kept: Sequence[RunRow]) -> None:
    def work(connection: Connection) -> None:
        sums.lock(connection, account_no, [GRINDER_NO])
        run_inserts.add(connection, account_no, RowColumns.of(kept))

    database.write(account_no, work)


@SLOW
@given(kept=rows(), bounds=st.lists(st.tuples(instants, instants), min_size=1, max_size=12))
def test_the_total_over_any_interval_is_what_counting_gives(
    database: Database, kept: list[RunRow], bounds: list[tuple[int, int]]
) -> None:
    account_no = new_account(database).account_no
    keep(database, account_no, kept)

    def work(connection: Connection) -> None:
        for low_ms, high_ms in [*bounds, (0, BEGINNING_MS + 2 * SPAN_MS)]:
            found = totals.between(
                connection, account_no, GRINDER_NO, low_ms=low_ms, high_ms=high_ms
            )
            assert found == counted(kept, low_ms, high_ms)

    database.read(account_no, work)


@SLOW
@given(kept=rows(most=20), data=st.data())
def test_taking_runs_out_leaves_the_sums_of_the_others(
    database: Database, kept: list[RunRow], data: st.DataObject
) -> None:
    gone = data.draw(st.lists(st.sampled_from(kept), unique=True) if kept else st.just([]))
    account_no = new_account(database).account_no
    keep(database, account_no, kept)

    def take_out(connection: Connection) -> None:
        out = [row._replace(voided_ms=BEGINNING_MS, left_out=VOIDED) for row in gone]
        recount.replace(connection, account_no, GRINDER_NO, before=gone, after=out, is_shared=False)
        recount.replace(connection, account_no, GRINDER_NO, before=out, after=out, is_shared=False)

    database.write(account_no, take_out)
    left = [row for row in kept if row not in gone]
    for low_ms, high_ms in [(0, BEGINNING_MS + 2 * SPAN_MS), (BEGINNING_MS + 1, BEGINNING_MS + 90)]:
        found = database.read(
            account_no,
            lambda connection, low=low_ms, high=high_ms: totals.between(
                connection, account_no, GRINDER_NO, low_ms=low, high_ms=high
            ),
        )
        nothing = Sums()
        assert {purpose: share for purpose, share in found.items() if share != nothing} == counted(
            left, low_ms, high_ms
        )


def test_an_empty_or_backward_interval_holds_nothing(database: Database) -> None:
    account_no = new_account(database).account_no
    for low_ms, high_ms in [(5, 5), (HOUR_MS, 0)]:
        found = database.read(
            account_no,
            lambda connection, low=low_ms, high=high_ms: totals.between(
                connection, account_no, GRINDER_NO, low_ms=low, high_ms=high
            ),
        )
        assert found == {}


def test_the_lock_counts_the_revision_of_each_grinder_once(database: Database) -> None:
    account_no = new_account(database).account_no

    def revisions(connection: Connection) -> list[int]:
        return [state.of_grinder(connection, account_no, no).revision for no in (1, 2, 3)]

    assert database.read(account_no, revisions) == [0, 0, 0]
    for nos in ([2, 1, 2], [1], []):
        database.write(
            account_no, lambda connection, nos=nos: sums.lock(connection, account_no, nos)
        )
    database.write(account_no, lambda connection: sums.hold(connection, account_no, [1, 2, 3]))
    assert database.read(account_no, revisions) == [2, 1, 0]
