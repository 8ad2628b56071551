"""Many grinders at once: a page asks as often as one status, and says the same of each."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from sqlalchemy import Engine, event

from burrline_service.actions import alerting, entries, history, readings, report
from burrline_service.actions.checkpoints import add_checkpoint
from burrline_service.core.answers import Status
from burrline_service.core.entered import Reading
from burrline_service.core.records import Caller
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

BUSY = {"kind": "intermittent", "on_seconds": 60.0, "cycle_seconds": 240.0}
LONG = {"kind": "short_time", "on_seconds": 1800.0}
TO_COME = "run-to-come"
HOUSING = {"sensor": "housing", "limit_celsius": 80.0}


@contextmanager
def counted() -> Iterator[list[str]]:
    """The statements executed meanwhile."""
    statements: list[str] = []

    def note(connection: object, cursor: object, statement: str, *rest: object) -> None:
        statements.append(statement)

    event.listen(Engine, "before_cursor_execute", note)
    try:
        yield statements
    finally:
        event.remove(Engine, "before_cursor_execute", note)


def count_of(act: Callable[[], object]) -> int:
    with counted() as statements:
        act()
    return len(statements)


def page(database: Database, caller: Caller, *, limit: int = 200) -> tuple[Status, ...]:
    found = report.get_fleet(database, caller, limit=limit, position=None, now=NOW)
    return tuple(found.items)


def made_up_chain(database: Database) -> Caller:
    """Grinders in two zones with all that bears on a status, sets that moved between them too."""
    caller = new_chain(database, "bar-1", "bar-2", "idle", rated_duty=BUSY, motor=HOUSING)
    make_site(database, caller, "quay", time_zone="Asia/Kolkata")
    make_grinder(database, caller, "quay-1", site_id="quay", rated_duty=LONG)
    make_grinder(database, caller, "quay-2", site_id="quay", motor={"sensor": "winding"})
    for grinder_id, set_id, days, is_new in (
        ("bar-1", "set-1", 60, True),
        ("bar-2", "set-2", 60, True),
        ("quay-1", "set-1", 30, False),  # leaves bar-1 empty
        ("bar-1", "set-2", 20, False),  # and this one bar-2
        ("quay-2", "set-3", 10, True),
        ("bar-2", "set-1", 1, False),
    ):
        at = NOW - days * DAY - 7 * MINUTE
        fit(database, caller, grinder_id, set_id, at, is_new=is_new)
    runs = []
    for place, grinder_id in enumerate(("bar-1", "bar-2", "quay-1", "quay-2")):
        for number in range(40):
            at = NOW - number * (2 * place + 3) * (13 * HOUR + 17 * MINUTE) - place * SECOND
            runs.append(
                a_run(
                    1000 * place + number,
                    at,
                    grinder_id=grinder_id,
                    purpose=(None, "cleaning", "dial_in")[number % 3],
                    motor_celsius=45.0 + number,
                )
            )
    # one over its rating now, one on for eleven minutes, one told by two devices, one running
    runs += [a_run(9000 + n, NOW - n * 40 * SECOND, seconds=35.0) for n in range(1, 6)]
    runs.append(a_run(9100, NOW - 11 * MINUTE, grinder_id="quay-1", seconds=660.0))
    for source in ("scale", "plug"):
        weighed = {"grams": 17.5, "seconds": 8.0} if source == "scale" else {"grams": None}
        number = 9200 + len(source)
        runs.append(a_run(number, NOW - HOUR, grinder_id="quay-2", source=source, **weighed))
    assert set(send(database, caller, runs)) == {"accepted"}
    sent = [
        Reading("bar-2", "reading-1", at=NOW - 5 * MINUTE, motor_celsius=83.0),
        Reading("bar-2", "reading-2", at=NOW - 2 * MINUTE, motor_celsius=81.5),
        *(
            Reading("idle", f"reading-9{n}", at=NOW - n * MINUTE, is_running=True, run_id=TO_COME)
            for n in range(3)
        ),
    ]
    taken = readings.add_readings(database, caller, sent=sent, now=NOW)
    assert [getattr(one, "outcome", one) for one in taken] == ["accepted"] * len(sent)
    tally = {"tally_id": "t-1", "grinder_id": "quay-2", "grams": 900.0, "basis": "weighed_out"}
    times = {"from_at": NOW - 3 * DAY, "to_at": NOW - 2 * DAY}
    entries.add_tally(database, caller, fields={**tally, **times}, now=NOW)
    told = {"from_at": NOW - 12 * DAY, "to_at": NOW - 4 * DAY - MINUTE, "purpose": "dial_in"}
    entries.set_period(database, caller, grinder_id="bar-1", fields=told, now=NOW)
    return caller


def test_each_status_of_a_page_is_the_one_that_is_asked_for_alone(database: Database) -> None:
    caller = made_up_chain(database)
    found = page(database, caller)
    assert [one.grinder_id for one in found] == ["bar-1", "bar-2", "idle", "quay-1", "quay-2"]
    for one in found:
        assert status_text(one) == status_text(status(database, caller, one.grinder_id))
    kinds = {one.grinder_id: [alert.kind for alert in one.alerts] for one in found}
    assert kinds["bar-1"] == ["duty_exceeded"]
    assert kinds["bar-2"] == ["motor_overheat"]
    assert kinds["quay-1"] == ["long_run"]
    assert kinds["idle"] == ["duty_exceeded"]
    assert kinds["quay-2"] == []
    sets = {one.grinder_id: one.throughput.burr_set_id for one in found}
    assert sets == {
        "bar-1": "set-2", "bar-2": "set-1", "idle": None, "quay-1": None, "quay-2": "set-3",
    }  # fmt: skip
    assert found[2].duty.on_seconds == 120.0  # by the readings of a run that has not come


def test_a_set_takes_its_kilograms_along_whoever_else_is_on_the_page(database: Database) -> None:
    caller = made_up_chain(database)
    (bar_2,) = (one for one in page(database, caller) if one.grinder_id == "bar-2")
    coffee = sum(
        18.0
        for place, low_days, high_days in ((0, 60, 30), (2, 30, 1), (1, 1, -1))
        for number in range(40)
        if number % 3 != 1  # not cleaning
        and low_days * DAY + 7 * MINUTE
        >= number * (2 * place + 3) * (13 * HOUR + 17 * MINUTE) + place * SECOND
        > high_days * DAY + 7 * MINUTE
    )
    # bar-1 had it first, then quay-1, whose long run is of today and after it
    assert bar_2.throughput.burr_grams == coffee


def test_a_page_takes_as_many_statements_as_one_status(database: Database) -> None:
    caller = new_chain(database, *(f"g-{number}" for number in range(30)), rated_duty=BUSY)
    for number in range(30):
        fit(database, caller, f"g-{number}", f"set-{number}", NOW - 30 * DAY)
    send(database, caller, [a_run(n, NOW - n * HOUR, grinder_id=f"g-{n % 30}") for n in range(90)])
    alone = count_of(lambda: status(database, caller, "g-7"))
    assert alone <= 12
    assert count_of(lambda: page(database, caller)) == alone
    assert count_of(lambda: page(database, caller, limit=5)) == alone


def test_checkpoints_cost_a_page_the_same_few_statements_as_a_status(database: Database) -> None:
    caller = new_chain(database, *(f"g-{number}" for number in range(12)), rated_duty=BUSY)
    for number in range(12):
        fit(database, caller, f"g-{number}", f"set-{number}", NOW - 30 * DAY)
    bare = count_of(lambda: page(database, caller))
    for number in range(6):
        measured = {
            "ground_at": NOW - 2 * DAY,
            "method": "laser",
            "replicates": [{"distribution": {"kind": "percentiles", "d50_micrometres": 300.0}}],
        }
        add_checkpoint(database, caller, grinder_id=f"g-{number}", fields=measured, now=NOW)
    assert count_of(lambda: status(database, caller, "g-8")) == bare  # it has none
    alone = count_of(lambda: status(database, caller, "g-3"))
    assert count_of(lambda: page(database, caller)) == alone
    assert bare < alone <= bare + 8


def test_throughput_and_alerts_take_no_more_statements_for_longer(database: Database) -> None:
    caller = made_up_chain(database)

    def over(days: int) -> int:
        return count_of(
            lambda: history.get_throughput(
                database, caller, grinder_id="bar-1", by="hour", from_at=NOW - days * DAY, now=NOW
            )
        )

    assert over(1) == over(40) <= 11

    def alerts(**of: str) -> int:
        return count_of(
            lambda: alerting.list_alerts(
                database,
                caller,
                limit=50,
                position=None,
                now=NOW,
                **of,  # type: ignore[arg-type]
            )
        )

    # beside the forecasts, which are made for each warm motor by itself
    assert alerts() <= alerts(grinder_id="bar-1") + 26
