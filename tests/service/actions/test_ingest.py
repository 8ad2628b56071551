"""Runs come in once for ever, and the totals do not know in which order."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from burrline_service.actions import ingest, places, report
from burrline_service.core.errors import NotFound, RunConflict
from burrline_service.core.records import Brew, Caller, Run
from burrline_service.store.database import Database
from small_chain import (
    DAY,
    HOUR,
    MINUTE,
    NOW,
    SECOND,
    a_run,
    fit,
    make_grinder,
    make_site,
    new_chain,
    send,
    status,
    status_text,
)

SLOW = settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
BEGUN_AT = NOW - 3 * DAY
GRINDERS = ("bar-1", "bar-2")

milligrams = st.none() | st.integers(0, 40_000)
starts = st.integers(0, 3 * 86_400_000).map(lambda ms: BEGUN_AT + timedelta(milliseconds=ms))


@st.composite
def sent_runs(draw: st.DrawFn, most: int = 25) -> list[Run]:
    """Runs of two grinders over three days, placed by their own clock."""
    return [
        Run(
            run_id=f"run-{number:08d}",
            grinder_id=draw(st.sampled_from(GRINDERS)),
            started_at=draw(starts),
            seconds=draw(st.none() | st.integers(0, 60_000).map(lambda ms: ms / 1000)),
            grams=draw(milligrams.map(lambda mg: None if mg is None else mg / 1000)),
            grams_basis=draw(st.sampled_from(["weighed_out", "weighed_in", "target", "estimated"])),
            purpose=draw(st.sampled_from(["service", "break_in", "purge", "cleaning"])),
            motor_celsius=draw(st.none() | st.sampled_from([35.5, 61.0, 79.9])),
        )
        for number in range(draw(st.integers(1, most)))
    ]


def chain(database: Database) -> Caller:
    caller = new_chain(
        database, *GRINDERS, rated_duty={"kind": "intermittent", "duty_fraction": 0.25}
    )
    for grinder_id in GRINDERS:
        fit(
            database,
            caller,
            grinder_id,
            f"set-{grinder_id}",
            BEGUN_AT + DAY,
            diameter_millimetres=64.0,
        )
    return caller


def statuses(database: Database, caller: Caller) -> list[str]:
    return [
        status_text(status(database, caller, grinder_id, as_of=as_of))
        for grinder_id in GRINDERS
        for as_of in (None, NOW - DAY)
    ]


# --- exact totals ---------------------------------------------------------------------------------


def total_grams(runs: Sequence[Run], *, is_estimated: bool = False) -> Fraction:
    """Milligrams as whole numbers, summed as fractions; cleaning is no coffee."""
    return sum(
        (
            Fraction(round(run.grams * 1000), 1000)
            for run in runs
            if run.grams is not None
            and run.purpose != "cleaning"
            and (run.grams_basis == "estimated") is is_estimated
        ),
        Fraction(0),
    )


@SLOW
@given(runs=sent_runs(most=40))
def test_totals_are_the_nearest_numbers_to_the_exact_fractions(
    database: Database, runs: list[Run]
) -> None:
    caller = chain(database)
    assert set(send(database, caller, runs)) == {"accepted"}
    for grinder_id in GRINDERS:
        own = [run for run in runs if run.grinder_id == grinder_id]
        through = [run for run in own if run.started_at and run.started_at >= BEGUN_AT + DAY]
        found = status(database, caller, grinder_id).throughput
        assert found.grinder_grams == float(total_grams(own))
        assert found.burr_grams == float(total_grams(through))
        assert found.burr_run_count == sum(run.purpose != "cleaning" for run in through)
        on_time = sum(
            (Fraction(round((run.seconds or 0) * 1000), 1000) for run in own), Fraction(0)
        )
        running_on = sum(
            (
                max(
                    Fraction(0),
                    Fraction(round(((run.started_at or NOW) - NOW) / SECOND * 1000), 1000)
                    + Fraction(round((run.seconds or 0) * 1000), 1000),
                )
                for run in own
            ),
            Fraction(0),
        )
        assert found.grinder_run_seconds == float(on_time - running_on)


@SLOW
@given(runs=sent_runs(), data=st.data())
def test_order_batches_and_repeats_leave_every_status_byte_for_byte_the_same(
    database: Database, runs: list[Run], data: st.DataObject
) -> None:
    plain = chain(database)
    send(database, plain, runs)
    shuffled = chain(database)
    again = data.draw(st.lists(st.sampled_from(runs), max_size=10))
    left = data.draw(st.permutations([*runs, *again]))
    accepted = 0
    while left:
        size = data.draw(st.integers(1, len(left)))
        outcomes = send(database, shuffled, left[:size])
        assert set(outcomes) <= {"accepted", "duplicate"}
        accepted += outcomes.count("accepted")
        left = left[size:]
    assert accepted == len(runs)
    assert statuses(database, shuffled) == statuses(database, plain)


@SLOW
@given(runs=sent_runs(), data=st.data())
def test_a_voided_run_leaves_every_status_as_if_it_had_never_come(
    database: Database, runs: list[Run], data: st.DataObject
) -> None:
    gone = data.draw(st.lists(st.sampled_from(runs), unique_by=lambda run: run.run_id))
    gone_ids = {run.run_id for run in gone}
    caller, without = chain(database), chain(database)
    send(database, caller, runs)
    send(database, without, [run for run in runs if run.run_id not in gone_ids])
    for run in [*gone, *gone]:
        marked = ingest.void_run(database, caller, run_id=run.run_id, now=NOW)
        assert marked.voided_at == NOW
    assert statuses(database, caller) == statuses(database, without)
    if gone:
        assert set(send(database, caller, gone)) == {"duplicate"}
        assert statuses(database, caller) == statuses(database, without)


@SLOW
@given(runs=sent_runs(), hours_back=st.integers(0, 72), milliseconds=st.integers(-2, 2))
def test_an_answer_for_an_instant_is_that_of_a_service_given_only_what_was_then(
    database: Database, runs: list[Run], hours_back: int, milliseconds: int
) -> None:
    # instants on and beside a run's own start are the ones that could go wrong
    at = (runs[0].started_at or NOW) if hours_back % 2 else NOW - hours_back * HOUR
    at = min(at + timedelta(milliseconds=milliseconds), NOW)
    everything, until_then = new_chain(database, *GRINDERS), new_chain(database, *GRINDERS)
    send(database, everything, runs)
    send(database, until_then, [run for run in runs if run.started_at and run.started_at <= at])
    for caller in (everything, until_then):
        fit(database, caller, "bar-1", "old", BEGUN_AT)
    if at >= BEGUN_AT + DAY:
        fit(database, until_then, "bar-1", "new", BEGUN_AT + DAY)
    fit(database, everything, "bar-1", "new", BEGUN_AT + DAY)
    fit(database, everything, "bar-2", "old", NOW - MINUTE, is_new=False)
    if at >= NOW - MINUTE:
        fit(database, until_then, "bar-2", "old", NOW - MINUTE, is_new=False)
    for grinder_id in GRINDERS:
        whole, part = (
            status(database, caller, grinder_id, as_of=at) for caller in (everything, until_then)
        )
        assert status_text(whole) == status_text(part)


def test_a_run_in_progress_is_clipped_at_the_instant(database: Database) -> None:
    caller = new_chain(database)
    earlier = a_run(0, NOW - HOUR - MINUTE, grams=None, seconds=None, motor_celsius=45.0)
    send(database, caller, [earlier])
    send(database, caller, [a_run(1, NOW - HOUR, seconds=40.0, grams=90.0, motor_celsius=55.0)])
    amid = status(database, caller, as_of=NOW - HOUR + 15 * SECOND)
    assert amid.throughput.grinder_grams == 90.0
    assert amid.throughput.grinder_run_seconds == 15.0
    assert amid.duty.on_seconds == 15.0
    assert amid.motor.reading_celsius == 45.0
    ended = status(database, caller, as_of=NOW - HOUR + 40 * SECOND)
    assert ended.throughput.grinder_run_seconds == 40.0
    assert ended.motor.reading_celsius == 55.0
    before = status(database, caller, as_of=NOW - HOUR - timedelta(milliseconds=1))
    assert before.throughput.grinder_grams == 0.0
    assert before.throughput.last_run_at == NOW - HOUR - MINUTE


def test_a_run_by_a_clock_a_little_ahead_counts_at_once(database: Database) -> None:
    caller = new_chain(database)
    send(database, caller, [a_run(1, NOW + 2 * MINUTE)])
    found = status(database, caller).throughput
    assert (found.grinder_grams, found.grinder_run_seconds) == (18.0, 0.0)


# --- once ----------------------------------------------------------------------------------------


def test_the_same_content_is_a_duplicate_and_other_content_a_conflict(database: Database) -> None:
    caller = new_chain(database)
    first, other = a_run(1, NOW - HOUR), a_run(1, NOW - HOUR, grams=18.001)
    assert ingest.add_run(database, caller, run=first, now=NOW).outcome == "accepted"
    assert ingest.add_run(database, caller, run=first, now=NOW + DAY).outcome == "duplicate"
    with pytest.raises(RunConflict):
        ingest.add_run(database, caller, run=other, now=NOW)
    stored = report.get_run(database, caller, run_id=first.run_id, now=NOW).run
    assert stored == replace(first, purpose="service")
    assert status(database, caller).throughput.grinder_grams == 18.0


def test_within_one_batch_the_first_of_an_id_is_kept(database: Database) -> None:
    caller = new_chain(database)
    first, other = a_run(1, NOW - HOUR), a_run(1, NOW - HOUR, grams=99.0)
    lost = a_run(3, NOW, grinder_id="nowhere")
    batch = [first, other, a_run(2, NOW), first, lost]
    assert send(database, caller, batch) == [
        "accepted", "conflict", "accepted", "duplicate", "NotFound",
    ]  # fmt: skip
    assert status(database, caller).throughput.grinder_grams == 36.0


def test_an_id_is_taken_for_all_grinders_of_the_account_and_for_no_other_account(
    database: Database,
) -> None:
    caller, stranger = new_chain(database, *GRINDERS), new_chain(database)
    assert send(database, caller, [a_run(1, NOW)]) == ["accepted"]
    elsewhere = a_run(1, NOW, grinder_id="bar-2")
    assert send(database, caller, [elsewhere, a_run(2, NOW)]) == ["conflict", "accepted"]
    assert status(database, caller, "bar-2").throughput.grinder_grams == 0.0
    assert send(database, stranger, [a_run(1, NOW)]) == ["accepted"]


@pytest.mark.parametrize("run_id", [str(uuid.UUID(int=7)), "00000000-0000-0000-0000-00000000000A"])
def test_ids_that_look_alike_are_told_apart(database: Database, run_id: str) -> None:
    caller = new_chain(database)
    twins = [
        replace(a_run(1, NOW), run_id=text)
        for text in {run_id, run_id.upper() + "x", run_id.replace("-", "")}
    ]
    assert set(send(database, caller, twins)) == {"accepted"}
    found = report.list_runs(
        database, caller, grinder_id="bar-1", limit=10, position=None, now=NOW
    ).items
    assert {stored.run.run_id for stored in found} == {run.run_id for run in twins}


def test_a_run_told_by_its_age_comes_again_with_another_age(database: Database) -> None:
    caller = new_chain(database)
    assert send(database, caller, [a_run(1, age_seconds=60.0)]) == ["accepted"]
    assert send(database, caller, [a_run(1, age_seconds=960.0)], now=NOW + 15 * MINUTE) == [
        "duplicate"
    ]
    assert send(database, caller, [a_run(1, NOW - 50 * SECOND)], now=NOW) == ["duplicate"]
    stored = report.get_run(database, caller, run_id=a_run(1).run_id, now=NOW)
    assert stored.run.started_at == NOW - MINUTE
    assert stored.time_source == "age"


@pytest.mark.parametrize("device_at", [NOW + 6 * MINUTE, datetime(1970, 1, 1, tzinfo=NOW.tzinfo)])
def test_a_clock_that_cannot_be_right_leaves_the_time_of_receipt(
    database: Database, device_at: datetime
) -> None:
    caller = new_chain(database)
    run = a_run(1, device_at, seconds=8.0)
    outcome = ingest.add_run(database, caller, run=run, now=NOW)
    assert [finding.code for finding in outcome.findings][:1] == ["clock_suspect"]
    stored = report.get_run(database, caller, run_id=run.run_id, now=NOW)
    assert stored.time_source == "received"
    assert stored.run.started_at == NOW - 8 * SECOND
    found = status(database, caller)
    assert found.throughput.grinder_grams == 18.0
    assert found.duty.on_seconds == 0.0
    assert send(database, caller, [run], now=NOW + DAY) == ["duplicate"]


# --- what is kept beside the numbers -------------------------------------------------------------


def test_a_run_is_read_back_with_all_it_came_with(database: Database) -> None:
    caller = new_chain(database, hopper_grams=500.0)
    run = a_run(
        1,
        NOW - HOUR,
        grams=600.0,
        feed="hopper",
        coffee_lot="lot 12",
        brew=Brew("percolation", seconds=180.0, water_grams=9000.0),
        source="scale-left",
    )
    outcome = ingest.add_run(database, caller, run=run, now=NOW)
    stored = report.get_run(database, caller, run_id=run.run_id, now=NOW)
    assert stored.run == replace(run, purpose="service")
    assert stored.findings == outcome.findings
    assert {finding.code for finding in outcome.findings} >= {"over_hopper", "flow_implausible"}
    assert (stored.received_at, stored.voided_at) == (NOW, None)


def test_findings_are_judged_by_the_plate_of_the_runs_time_as_it_is_known_now(
    database: Database,
) -> None:
    caller = new_chain(database, hopper_grams=500.0)
    run = a_run(1, NOW - HOUR, seconds=None, grams=600.0, feed="hopper")
    outcome = ingest.add_run(database, caller, run=run, now=NOW)
    assert [finding.code for finding in outcome.findings] == ["over_hopper"]

    def change(effective_at: datetime) -> None:
        places.update_grinder(
            database,
            caller,
            grinder_id="bar-1",
            fields={"hopper_grams": 900.0, "effective_at": effective_at},
            if_match=frozenset({-1}),
            now=NOW,
        )

    def found() -> list[str]:
        stored = report.get_run(database, caller, run_id=run.run_id, now=NOW)
        return [finding.code for finding in stored.findings]

    change(NOW - timedelta(minutes=1))
    assert found() == ["over_hopper"]
    change(NOW - 2 * HOUR)
    assert found() == []


def test_sources_keep_their_names(database: Database) -> None:
    caller, other = new_chain(database), new_chain(database)
    named = [a_run(number, NOW, source=f"scale-{number % 3}") for number in range(9)]
    send(database, caller, named[:5])
    send(database, caller, named[5:])
    send(database, other, [a_run(1, NOW, source="scale-1")])
    page = report.list_runs(database, caller, grinder_id="bar-1", limit=20, position=None, now=NOW)
    found = {stored.run.run_id: stored.run.source for stored in page.items}
    assert found == {run.run_id: run.source for run in named}


@pytest.mark.parametrize("limit", [1, 3, 7, 50])
def test_pages_of_runs_are_in_order_and_hold_each_once(database: Database, limit: int) -> None:
    caller = new_chain(database)
    runs = [a_run(number, NOW - (number % 5) * MINUTE) for number in range(20)]
    send(database, caller, runs)
    ingest.void_run(database, caller, run_id=runs[3].run_id, now=NOW)

    def pages(**bounds: Any) -> list[str]:
        found: list[Any] = []
        position: tuple[Any, ...] | None = None
        while True:
            page = report.list_runs(
                database,
                caller,
                grinder_id="bar-1",
                limit=limit,
                position=position,
                now=NOW,
                **bounds,
            )
            found += page.items
            position = page.next_position
            if position is None:
                break
        starts = [stored.run.started_at for stored in found]
        assert starts == sorted(starts)
        return [stored.run.run_id for stored in found]

    assert sorted(pages()) == sorted(run.run_id for run in runs)
    bounded = pages(from_at=NOW - 3 * MINUTE, to_at=NOW - MINUTE)
    assert sorted(bounded) == sorted(
        run.run_id for number, run in enumerate(runs) if number % 5 in (2, 3)
    )


# --- reach ----------------------------------------------------------------------------------------


def test_a_bound_key_reaches_only_its_own_grinders(database: Database) -> None:
    caller = new_chain(database, "bar-1")
    make_site(database, caller, "harbour")
    make_grinder(database, caller, "bar-9", site_id="harbour")
    bound = replace(caller, site_ids=frozenset({"harbour"}))
    runs = [a_run(1, NOW), a_run(2, NOW, grinder_id="bar-9")]
    assert send(database, bound, runs) == ["NotFound", "accepted"]
    send(database, caller, runs)
    for act in (report.get_run, ingest.void_run):
        with pytest.raises(NotFound):
            act(database, bound, run_id=runs[0].run_id, now=NOW)
        act(database, bound, run_id=runs[1].run_id, now=NOW)


def test_a_stranger_finds_nothing(database: Database) -> None:
    caller, stranger = new_chain(database), new_chain(database)
    send(database, caller, [a_run(1, NOW)])
    for act in (report.get_run, ingest.void_run):
        with pytest.raises(NotFound):
            act(database, stranger, run_id=a_run(1).run_id, now=NOW)
    assert status(database, caller).throughput.grinder_grams == 18.0
