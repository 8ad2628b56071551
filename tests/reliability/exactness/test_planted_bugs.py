"""The exactness test would notice: bugs of the kind it is for, planted one by one, are caught.

Each within a few times the histories of every day, so that a pass of the real test says something.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import seed
from hypothesis.stateful import run_state_machine_as_test

from burrline_service.actions import counting, history, ingest, reading_back, recording, standing
from burrline_service.core import corrections, grinds
from burrline_service.core.corrections import Correction, Effective
from burrline_service.core.records import PURPOSES
from burrline_service.core.tallies import Tally
from burrline_service.store import recount, run_inserts, run_rows, runs, sums
from burrline_service.store.database import Connection, Database
from burrline_service.store.row_columns import RowColumns, RunRow
from burrline_service.store.runs import VOIDED
from burrline_service.store.sums import Sums

from .budget import ASKED, PLANTED
from .facts import HOUR
from .machine import machine_on

Plant = pytest.MonkeyPatch


@pytest.fixture
def is_caught(database: Database) -> Callable[..., None]:
    """Run the histories of every day, or those that a number leads to; one of them must fail."""

    def check(seeded: int | None = None) -> None:
        machine = machine_on(database, is_cut_down=False)
        if seeded is not None and ASKED is None:
            machine = seed(seeded)(machine)
        with pytest.raises((AssertionError, ValueError)):  # the core refuses nonsense too
            run_state_machine_as_test(machine, settings=PLANTED)

    return check


pytestmark = pytest.mark.parametrize("database_kind", ["sqlite"], indirect=True)


def test_a_duplicate_counts_twice(is_caught: Callable[[], None], monkeypatch: Plant) -> None:
    real = ingest._add

    def planted(connection: Connection, caller: Any, sent: Any, *rest: Any) -> Any:
        outcomes = real(connection, caller, sent, *rest)
        again = [
            runs.by_key(connection, caller.account_no, run_rows.run_key_of(run.run_id))
            for run, outcome in zip(sent, outcomes, strict=True)
            if getattr(outcome, "outcome", "") == "duplicate"
        ]
        sums.add(connection, caller.account_no, [row for row in again if row is not None])
        return outcomes

    monkeypatch.setattr(ingest, "_add", planted)
    is_caught()


def test_a_void_subtracts_twice(is_caught: Callable[[], None], monkeypatch: Plant) -> None:
    real = recount.replace

    def planted(
        connection: Connection,
        account_no: int,
        grinder_no: int,
        *,
        before: Sequence[RunRow],
        after: Sequence[RunRow],
        is_shared: bool,
    ) -> None:
        real(connection, account_no, grinder_no, before=before, after=after, is_shared=is_shared)
        voided = [old for old, new in zip(before, after, strict=True) if new.left_out == VOIDED]
        sums.add(connection, account_no, voided, sign=-1)

    monkeypatch.setattr(recount, "replace", planted)
    is_caught()


def test_a_correction_is_applied_by_its_effective_start(
    is_caught: Callable[..., None], monkeypatch: Plant
) -> None:
    real = corrections.effective

    def planted(
        raw_started_ms: int,
        raw_grams_mg: int | None,
        source: str | None,
        applied: Iterable[Correction],
    ) -> Effective:
        applied = list(applied)
        moved_ms = real(raw_started_ms, raw_grams_mg, source, applied).started_ms
        made = real(moved_ms, raw_grams_mg, source, applied)
        return replace(made, started_ms=moved_ms)

    for room in (recount, reading_back):
        monkeypatch.setattr(room, "effective", planted)
    is_caught(7)  # by the first history; from 1 to 82 were needed with the numbers 1 to 8


def test_grams_of_both_devices_are_added(is_caught: Callable[[], None], monkeypatch: Plant) -> None:
    real = grinds.parts_of

    def planted(reported: Iterable[grinds.Reported]) -> dict[bytes, int | None]:
        given = {run.key: run for run in reported}
        return {
            key: part if part is None or given[key].grams_mg is None else part | grinds.COUNTS_GRAMS
            for key, part in real(given.values()).items()
        }

    monkeypatch.setattr(recount, "parts_of", planted)
    is_caught()


def test_the_second_factor_replaces_the_first(
    is_caught: Callable[[], None], monkeypatch: Plant
) -> None:
    real = corrections.effective

    def planted(
        raw_started_ms: int,
        raw_grams_mg: int | None,
        source: str | None,
        applied: Iterable[Correction],
    ) -> Effective:
        kept = list(applied)
        factors = [made for made in kept if made.grams_factor_ppm is not None]
        applying = [
            made
            for made in factors
            if made.correction_id in real(raw_started_ms, None, source, kept).correction_ids
        ]
        for made in applying[:-1]:
            kept[kept.index(made)] = replace(made, grams_factor_ppm=None)
        return real(raw_started_ms, raw_grams_mg, source, kept)

    for room in (recount, reading_back):
        monkeypatch.setattr(room, "effective", planted)
    is_caught()


def test_a_late_burr_set_misses_its_edge_hour(
    is_caught: Callable[[], None], monkeypatch: Plant
) -> None:
    real = counting.Counter._of_runs

    def planted(counter: counting.Counter, low_ms: int, high_ms: int) -> dict[int, Sums]:
        return real(counter, -(-low_ms // HOUR) * HOUR, high_ms)

    monkeypatch.setattr(counting.Counter, "_of_runs", planted)
    is_caught()


def test_an_hour_sum_forgets_the_purpose(is_caught: Callable[[], None], monkeypatch: Plant) -> None:
    real = sums.add

    def planted(
        connection: Connection, account_no: int, rows: Iterable[RunRow], *, sign: int = 1
    ) -> None:
        real(
            connection,
            account_no,
            [row._replace(purpose=PURPOSES.index("service")) for row in rows],
            sign=sign,
        )

    real_insert = run_inserts.add

    def planted_insert(connection: Connection, account_no: int, rows: RowColumns) -> list[int]:
        added = real_insert(connection, account_no, rows)
        counted = rows.taken(added).rows()
        real(connection, account_no, counted, sign=-1)
        planted(connection, account_no, counted)
        return added

    monkeypatch.setattr(sums, "add", planted)
    monkeypatch.setattr(run_inserts, "add", planted_insert)
    is_caught()


def test_as_of_counts_a_run_that_begins_later(
    is_caught: Callable[[], None], monkeypatch: Plant
) -> None:
    real = counting.Counter.__init__

    def planted(counter: counting.Counter, *rest: Any, end_ms: int, **named: Any) -> None:
        real(counter, *rest, end_ms=end_ms + 5_000, **named)

    monkeypatch.setattr(counting.Counter, "__init__", planted)
    is_caught()


def test_a_tally_is_rounded_per_piece(is_caught: Callable[[], None], monkeypatch: Plant) -> None:
    def planted(tally: Tally, low_ms: int, high_ms: int) -> int:
        overlap_ms = min(high_ms, tally.to_ms) - max(low_ms, tally.from_ms)
        return round(tally.grams_mg * max(0, overlap_ms) / (tally.to_ms - tally.from_ms))

    monkeypatch.setattr(counting, "share_mg", planted)
    is_caught()


def test_clipping_is_forgotten_for_a_run_in_progress(
    is_caught: Callable[[], None], monkeypatch: Plant
) -> None:
    monkeypatch.setattr(standing, "_still_to_come_ms", lambda asked, **since: 0)
    monkeypatch.setattr(history, "_last_running", lambda *arguments: [])
    is_caught()


# --- more of the kind ---------------------------------------------------------------------------


def test_as_of_believes_the_device_that_came_later(
    is_caught: Callable[[], None], monkeypatch: Plant
) -> None:
    monkeypatch.setattr(counting.recount, "parts_before", lambda *rest, **named: [])
    is_caught()


def test_a_run_that_comes_after_a_correction_escapes_it(
    is_caught: Callable[[], None], monkeypatch: Plant
) -> None:
    monkeypatch.setattr(recording, "_corrected", lambda *others: others[-1])
    is_caught()


def test_neighbours_of_a_voided_run_are_not_looked_at_again(
    is_caught: Callable[[], None], monkeypatch: Plant
) -> None:
    real = recount.replace

    def planted(*rest: Any, is_shared: bool, **named: Any) -> None:
        real(*rest, is_shared=False, **named)

    monkeypatch.setattr(recount, "replace", planted)
    is_caught()


def test_what_periods_say_of_the_purpose_is_not_heard(
    is_caught: Callable[[], None], monkeypatch: Plant
) -> None:
    monkeypatch.setattr(counting, "spans_of", lambda *arguments: [])
    is_caught()
