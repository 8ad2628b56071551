"""The flow in answers: break-in, status and calibration agree, and memos change nothing."""

from __future__ import annotations

import json
import math
import random
from collections.abc import Callable
from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import delete, select

from burrline_service.actions import (
    break_in,
    burrs,
    calibration,
    checkpoints,
    entries,
    folding,
    ingest,
    places,
    report,
    stream_now,
    stream_told,
)
from burrline_service.core.grind_answers import BreakInAnswer
from burrline_service.core.records import Caller
from burrline_service.store.database import Connection, Database
from burrline_service.store.stream_tables import stream_told as told_table
from small_chain import (
    DAY,
    HOUR,
    MINUTE,
    NOW,
    a_run,
    fit,
    make_site,
    new_chain,
    send,
    status,
    status_text,
)
from steady_flow import DAYS, DOSE_GRAMS, FITTED_AT, SLOPE, steady_chain, steady_runs

ANY = frozenset({-1})


def told(
    database: Database, caller: Caller, as_of: datetime | None = None, now: datetime = NOW
) -> BreakInAnswer:
    return break_in.get_break_in(database, caller, grinder_id="bar-1", as_of=as_of, now=now)


def memo_of(database: Database, caller: Caller) -> Any:
    wanted = select(told_table).where(told_table.c.account_no == caller.account_no)
    return database.read(caller.account_no, lambda c: c.execute(wanted).first())


def forget(database: Database, caller: Caller) -> None:
    mine = delete(told_table).where(told_table.c.account_no == caller.account_no)
    database.write(caller.account_no, lambda c: c.execute(mine))
    forget_all()


def forget_all() -> None:
    """What the process remembers."""
    stream_now.TOLD.clear()
    stream_now.ZONES.clear()


@pytest.fixture
def worked_out(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The grinders whose flow was worked out, one after the other."""
    numbers: list[int] = []
    then = stream_told.stream_of

    def telling(connection: Connection, account_no: int, one: Any) -> Any:
        numbers.append(one.found.grinder_no)
        return then(connection, account_no, one)

    monkeypatch.setattr(stream_told, "stream_of", telling)
    return numbers


def measure(database: Database, caller: Caller, at: datetime, number: int, d50: float) -> str:
    doses = [
        {"distribution": {"kind": "percentiles", "d50_micrometres": d50 + off}}
        for off in (-2.0, 0.0, 2.0)
    ]
    fields = {"checkpoint_id": f"c-{caller.account_no}-{number}", "ground_at": at,
              "method": "laser", "setting": 4.8, "replicates": doses}  # fmt: skip
    checkpoints.add_checkpoint(database, caller, grinder_id="bar-1", fields=fields, now=NOW)
    return str(fields["checkpoint_id"])


def test_a_steady_flow_makes_the_stage_settled_where_no_checkpoint_decides(
    database: Database,
) -> None:
    caller = steady_chain(database)
    answer, stream = told(database, caller), told(database, caller).stream
    assert stream is not None
    assert (answer.stage, answer.basis, answer.verdict) == ("settled", "inferred", "flow_steadied")
    assert (stream.verdict, answer.settled_at) == ("flow_steadied", None)
    assert stream.steadied_at is not None
    assert answer.changes[-1].at == stream.steadied_at
    # the day's last run begins at 27 x 9 minutes past noon: the last hour with runs ends at five
    assert stream.steadied_at.time().isoformat() == "17:00:00"
    assert stream.run_count == DAYS * 28
    assert (stream.session_count, stream.at_grams) == (DAYS, DAYS * 28 * DOSE_GRAMS)
    assert stream.left_out == ()
    now = stream.grams_per_second
    assert now.low < math.exp(0.9 + SLOPE * ((stream.setting or 0.0) - 4.8)) < now.high
    assert stream.log_flow_per_setting.low < SLOPE < stream.log_flow_per_setting.high
    of_step = stream.grams_per_second_per_step
    assert of_step.best == pytest.approx(
        0.1 * stream.log_flow_per_setting.best * now.best, rel=1e-6
    )
    assert status(database, caller).break_in == report_break_in_part(answer)
    (item,) = report.get_fleet(database, caller, limit=9, position=None, now=NOW).items
    assert item.break_in == status(database, caller).break_in
    # checkpoints go first, whether they were made before the call or after it
    called = stream.steadied_at
    for number, began in enumerate((FITTED_AT + HOUR, called + HOUR)):
        ids = [
            measure(database, caller, began + 2 * day * DAY, 4 * number + day, 300 + 40.0 * day)
            for day in range(4)
        ]
        contradicted = told(database, caller)
        assert (contradicted.stage, contradicted.basis) == ("breaking_in", "measured")
        assert contradicted.stream == stream
        assert status(database, caller).break_in == report_break_in_part(contradicted)
        for checkpoint_id in ids:
            checkpoints.void_checkpoint(database, caller, checkpoint_id=checkpoint_id, now=NOW)
    assert told(database, caller).verdict == "flow_steadied"


def report_break_in_part(answer: BreakInAnswer) -> Any:
    """What a status says of the same."""
    from burrline_service.core.answers import BreakIn

    return BreakIn(**{name: getattr(answer, name) for name in BreakIn.__dataclass_fields__})


@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_without_a_recorded_setting_nothing_is_concluded(
    database: Database, worked_out: list[int]
) -> None:
    caller = steady_chain(database, 12, setting=None)
    answer = told(database, caller)
    assert answer.stream is not None
    assert answer.stream.verdict == "setting_unrecorded"
    assert answer.stage != "settled"
    assert [(one.code, one.run_count) for one in answer.stream.left_out] == [
        ("setting_unrecorded", 12 * 28)
    ]
    # a period that is told later completes them
    fields = {"from_at": FITTED_AT, "setting": 4.8}
    entries.set_period(database, caller, grinder_id="bar-1", fields=fields, now=NOW)
    assert told(database, caller).stream.run_count == 12 * 28  # type: ignore[union-attr]
    # little through the set: no verdict is sought for a status
    worked_out.clear()
    few = new_chain(database)
    fit(database, few, "bar-1", f"set-{few.account_no}", FITTED_AT)
    send(database, few, steady_runs(3))
    status(database, few)
    assert worked_out == []
    assert told(database, few).stream.verdict == "too_few_sessions"  # type: ignore[union-attr]


def test_a_memo_holds_run_after_run_until_a_closed_day_changes(
    database: Database, worked_out: list[int]
) -> None:
    caller = steady_chain(database)
    first = status(database, caller)
    assert (len(worked_out), memo_of(database, caller) is not None) == (1, True)
    send(database, caller, [a_run(9001, NOW - MINUTE, grams=18.0)])
    second = status(database, caller)
    assert second.break_in.verdict == first.break_in.verdict == "flow_steadied"
    # late, but of today, and what never counted
    send(database, caller, [a_run(9002, NOW - 8 * HOUR, grams=18.0)])
    status(database, caller)
    assert len(worked_out) == 1
    # a run, a tally, a seating of a day that is closed
    for change in (
        lambda: send(database, caller, [a_run(9003, NOW - 3 * DAY, grams=18.0)]),
        lambda: ingest.void_run(database, caller, run_id="run-00000005", now=NOW),
        lambda: entries.record_care(
            database, caller, grinder_id="bar-1",
            fields={"task": "alignment", "at": NOW - 9 * DAY}, now=NOW,
        ),
    ):  # fmt: skip
        worked_out.clear()
        change()
        found = status(database, caller)
        assert len(worked_out) == 1
        assert found.break_in == report_break_in_part(told(database, caller))
    # the next day closes
    worked_out.clear()
    status(database, caller, now=NOW + DAY)
    assert stream_now.tell_stream(database, now=NOW + 2 * DAY) == 1
    status(database, caller, now=NOW + 2 * DAY)
    assert len(worked_out) == 2
    assert stream_now.tell_stream(database, now=NOW + 2 * DAY) == 0
    assert memo_of(database, caller).open_hour % 24 == 0  # Dublin, in winter


def history(database: Database, caller: Caller, dice: random.Random) -> list[Callable[[], object]]:
    """Changes of all kinds, most of them near the instant when a day closes."""
    midnight = NOW - NOW.hour * HOUR

    def at() -> datetime:
        days = dice.choice((0, 0, 0, 1, 5, 20))
        return midnight - days * DAY + dice.choice((-70, -9, -1, 0, 1, 9, 70)) * MINUTE

    def period() -> None:
        fields = {"from_at": at(), "purpose": dice.choice(("cleaning", "service"))}
        entries.set_period(database, caller, grinder_id="bar-1", fields=fields, now=NOW)

    def care() -> None:
        fields = {"task": "burrs_removed", "at": at(), "zero_setting": 0.1}
        entries.record_care(database, caller, grinder_id="bar-1", fields=fields, now=NOW)

    def tally() -> None:
        fields = {"grinder_id": "bar-1", "from_at": at() - 40 * DAY, "to_at": at(), "grams": 900.0,
                  "basis": "weighed_in"}  # fmt: skip
        entries.add_tally(database, caller, fields=fields, now=NOW)

    def correct() -> None:
        fields = {"grinder_id": "bar-1", "reason": "seen", "from_at": at(), "grams_factor": 1.02}
        entries.add_correction(database, caller, fields=fields, now=NOW)

    def run() -> None:
        one = steady_runs(1)[0]
        begun = at()
        received = dice.choice((midnight + 5 * MINUTE, midnight + 50 * MINUTE, NOW))
        found = a_run(dice.randrange(10**7), min(begun, received), grams=40.0, seconds=one.seconds,
                      setting=4.8, feed="hopper")  # fmt: skip
        send(database, caller, [found], now=received)

    def void() -> None:
        run_id = f"run-{dice.randrange(DAYS * 28):08d}"
        ingest.void_run(database, caller, run_id=run_id, now=NOW)

    def move() -> None:
        site_id = f"site-{dice.randrange(10**6)}"
        make_site(database, caller, site_id, time_zone="Pacific/Auckland")
        fields = {"site_id": site_id, "effective_at": at()}
        places.update_grinder(database, caller, grinder_id="bar-1", fields=fields, if_match=ANY,
                              now=NOW)  # fmt: skip

    def zone() -> None:
        fields = {"time_zone": dice.choice(("Europe/Oslo", "America/St_Johns")),
                  "effective_at": at()}  # fmt: skip
        places.update_site(database, caller, site_id="mill-lane", fields=fields, if_match=ANY,
                           now=NOW)  # fmt: skip

    def fitted() -> None:
        fields = {"fittings": [{"grinder_id": "bar-1", "fitted_at": at() - 8 * DAY}]}
        set_id = f"set-{caller.account_no}"
        burrs.update_burr_set(database, caller, burr_set_id=set_id, fields=fields, if_match=ANY,
                              now=NOW)  # fmt: skip

    kinds = [period, care, tally, correct, run, run, void, move, zone, fitted]
    dice.shuffle(kinds)
    return kinds


def test_statuses_are_the_same_with_and_without_memos(database: Database) -> None:
    caller = steady_chain(database)
    dice = random.Random(17)
    told_verdicts = set()
    instants = [NOW - NOW.hour * HOUR + minutes * MINUTE for minutes in (-20, 3, 40)] + [NOW]
    for change in history(database, caller, dice):
        for now in dice.sample(instants, 2):
            status(database, caller, now=now)  # leaves a memo of some instant
        change()
        now = dice.choice(instants)
        with_memo = status_text(status(database, caller, now=now))
        if dice.random() < 0.5:
            forget_all()  # the table alone
        again = status_text(status(database, caller, now=now))
        forget(database, caller)
        assert with_memo == again == status_text(status(database, caller, now=now))
        as_of = dice.choice(instants[:3])
        before = status_text(status(database, caller, as_of=as_of))
        forget(database, caller)
        found = status(database, caller, as_of=as_of)
        assert before == status_text(found)
        told_verdicts.add(found.break_in.verdict)
        assert found.break_in == report_break_in_part(told(database, caller, as_of))
    assert "flow_steadied" in told_verdicts


def test_at_an_instant_only_what_was_before_it_tells(database: Database) -> None:
    whole = steady_chain(database)
    entries.record_care(
        database, whole, grinder_id="bar-1", fields={"task": "alignment", "at": NOW - HOUR}, now=NOW
    )
    for at in (
        NOW - 14 * DAY,
        NOW - 13 * DAY + 11 * HOUR + 50 * MINUTE,
        NOW - 6 * DAY + 90 * MINUTE,
    ):
        before = new_chain(
            database,
            grind={"setting_step": 0.1, "coarser": "higher", "low_setting": 0.0,
                   "high_setting": 10.0},
        )  # fmt: skip
        fit(database, before, "bar-1", f"set-{before.account_no}", FITTED_AT,
            diameter_millimetres=98.0)  # fmt: skip
        send(database, before, [run for run in steady_runs() if run.started_at <= at])  # type: ignore[operator]
        if at.minute == 50:
            folding.fold_stream(database)
        texts = [
            json.dumps(asdict(told(database, caller, at).stream), default=str)  # type: ignore[call-overload]
            for caller in (whole, before)
        ]
        assert texts[0] == texts[1]
        stages = [status(database, caller, as_of=at).break_in for caller in (whole, before)]
        assert stages[0] == stages[1]


@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_the_dial_moves_the_flow_as_the_runs_tell(database: Database) -> None:
    caller = steady_chain(database)

    def found(**asked: Any) -> Any:
        return calibration.get_calibration(database, caller, grinder_id="bar-1", now=NOW, **asked)

    answer, stream = found(), told(database, caller).stream
    assert stream is not None
    assert answer.flow.verdict == "calibrated"
    assert answer.flow.log_flow_per_setting == stream.log_flow_per_setting
    assert (answer.reference.basis, answer.reference.flow_basis) == ("steadied_flow",) * 2
    assert answer.reference.grams_per_second == stream.settled_grams_per_second.best
    (stay,) = answer.redials
    assert (stay.response, stay.verdict, stay.from_setting) == ("flow", "stay", stream.setting)
    wanted = math.exp(0.9 + SLOPE * 2.0)  # as at 6.8
    turned = found(reference_grams_per_second=wanted)
    (turn,) = turned.redials
    assert (turned.reference.basis, turned.reference.flow_basis) == ("asked", "asked")
    assert (turn.response, turn.verdict) == ("flow", "turn")
    assert turn.exact_setting.low < 6.8 < turn.exact_setting.high
    # seated anew, and nobody told where the burrs touch: the dial reads otherwise
    fields = {"task": "burrs_removed", "at": NOW - timedelta(seconds=30)}
    entries.record_care(database, caller, grinder_id="bar-1", fields=fields, now=NOW)
    assert found().redials == ()
    assert told(database, caller).stream.setting is None  # type: ignore[union-attr]
