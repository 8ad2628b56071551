"""Kilograms of checkpoints: what a status for the instant of their doses says, however it came."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from burrline_service.actions import break_in, burrs, checkpoints, entries, report
from burrline_service.core.records import Caller
from burrline_service.store.database import Database
from service.actions.test_report import made_up_chain
from small_chain import DAY, HOUR, MINUTE, NOW, SECOND, a_run, fit, new_chain, send

DOSES = [
    {"distribution": {"kind": "percentiles", "d50_micrometres": 300.0 + off}} for off in (-4, 0, 4)
]
ODD = 7 * MINUTE + 3 * SECOND  # no run begins there


def measure(
    database: Database,
    caller: Caller,
    checkpoint_id: str,
    at: datetime,
    grinder_id: str,
    **more: Any,
) -> Any:
    fields = {"checkpoint_id": checkpoint_id, "ground_at": at, "method": "laser"}
    made, _ = checkpoints.add_checkpoint(
        database,
        caller,
        grinder_id=grinder_id,
        fields={**fields, "replicates": DOSES, **more},
        now=NOW,
    )
    return made


def test_kilograms_are_those_of_a_status_for_the_same_instant(database: Database) -> None:
    caller = made_up_chain(database)
    grinder_ids = ("bar-1", "bar-2", "quay-1", "quay-2")
    instants = [NOW - days * DAY - ODD for days in (61, 59, 45, 31, 29, 21, 19, 11, 9, 2, 1, 0)]
    met = set()
    for grinder_id in grinder_ids:
        for number, at in enumerate(instants):
            measure(database, caller, f"{grinder_id}-{number:02}", at, grinder_id)
    for grinder_id in grinder_ids:
        page = checkpoints.list_checkpoints(
            database, caller, grinder_id=grinder_id, limit=200, position=None, now=NOW
        )
        assert len(page.items) == len(instants)
        for listed in page.items:
            status = report.get_status(
                database, caller, grinder_id=grinder_id, as_of=listed.ground_at, now=NOW
            ).throughput
            assert (listed.burr_set_id, listed.burr_grams) == (
                status.burr_set_id,
                status.burr_grams,
            )
            met.add((listed.burr_set_id, grinder_id))
            alone = checkpoints.get_checkpoint(
                database, caller, checkpoint_id=listed.checkpoint_id, now=NOW
            )
            assert alone == listed
    assert {("set-1", "bar-1"), ("set-1", "quay-1"), ("set-1", "bar-2"), (None, "bar-1")} <= met


@pytest.fixture
def chain(database: Database) -> Caller:
    caller = new_chain(database, "bar-1", "bar-2")
    fit(database, caller, "bar-1", "set-1", NOW - 30 * DAY)
    send(
        database, caller, [a_run(n, NOW - 30 * DAY + n * 6 * HOUR, grams=500.0) for n in range(120)]
    )
    return caller


def test_a_tally_a_cleaning_period_and_a_correction_move_kilograms(
    database: Database, chain: Caller
) -> None:
    at = NOW - 10 * DAY - ODD

    def grams() -> float | None:
        found = checkpoints.get_checkpoint(database, chain, checkpoint_id="the-measured", now=NOW)
        return found.burr_grams

    measure(database, chain, "the-measured", at, "bar-1")
    count = 80  # four a day for twenty days, the last of them seven minutes too late
    assert grams() == 500.0 * count
    tally = {"grinder_id": "bar-1", "grams": 1200.0, "basis": "weighed_in"}
    tally |= {"from_at": NOW - 25 * DAY, "to_at": NOW - 24 * DAY}
    entries.add_tally(database, chain, fields=tally, now=NOW)
    assert grams() == 500.0 * count + 1200
    cleaning = {"from_at": NOW - 30 * DAY, "to_at": NOW - 29 * DAY, "purpose": "cleaning"}
    entries.set_period(database, chain, grinder_id="bar-1", fields=cleaning, now=NOW)
    assert grams() == 500.0 * (count - 4) + 1200  # the runs of that day state no purpose
    correction = {"grinder_id": "bar-1", "from_at": NOW - 15 * DAY, "to_at": NOW - 14 * DAY}
    correction |= {"is_void": True, "reason": "a cup on the scale"}
    entries.add_correction(database, chain, fields=correction, now=NOW)
    assert grams() == 500.0 * (count - 8) + 1200


def test_a_set_that_comes_back_is_seated_anew_and_goes_on(
    database: Database, chain: Caller
) -> None:
    measure(database, chain, "before-it-left", NOW - 20 * DAY - ODD, "bar-1")
    fit(database, chain, "bar-1", "set-2", NOW - 15 * DAY - ODD)
    measure(database, chain, "of-the-other", NOW - 14 * DAY - ODD, "bar-1")
    burrs.fit_burr_set(
        database,
        chain,
        grinder_id="bar-1",
        fields={"burr_set_id": "set-1", "fitted_at": NOW - 10 * DAY - ODD},
        now=NOW,
    )
    measure(database, chain, "after-it-came", NOW - 5 * DAY - ODD, "bar-1")
    answer = break_in.get_break_in(database, chain, grinder_id="bar-1", now=NOW)
    found = [one.checkpoint.checkpoint_id for one in answer.checkpoints]
    assert found == ["before-it-left", "after-it-came"]
    assert [one.checkpoint.burr_grams for one in answer.checkpoints] == [20_000.0, 40_000.0]
    assert {said.code for said in answer.cautions} >= {"reseated", "zero_unknown"}
    assert {one.reason.code for one in answer.checkpoints[1].compared if one.reason} == {"reseated"}


def test_a_zero_told_on_coming_back_is_the_zero_of_that_seating(
    database: Database, chain: Caller
) -> None:
    at = NOW - 12 * DAY - ODD
    measure(database, chain, "before-it-moved", at - DAY, "bar-1", setting=7.0)
    for task, zero in (("cleaning", 9.0), ("burrs_removed", None), ("alignment", 1.5)):
        care = {"task": task, "at": at, "zero_setting": zero}
        entries.record_care(database, chain, grinder_id="bar-1", fields=care, now=NOW)
    measure(database, chain, "after-it-moved", at + DAY, "bar-1", setting=8.0)
    answer = break_in.get_break_in(database, chain, grinder_id="bar-1", now=NOW)
    # cleaning is no seating, and two entries at one instant are one
    assert [one.is_joined for one in answer.checkpoints] == [True, True]
    assert {said.code for said in answer.cautions} == {"reseated", "zero_unknown"}
