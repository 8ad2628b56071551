"""A run's shape, and a batch whose lines are judged one by one."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from marshmallow import ValidationError

from burrline_service.api import runs
from burrline_service.api.batches import LARGEST_BATCH_COUNT
from burrline_service.api.device_clock import DeviceClock
from burrline_service.api.schemas_run_batches import RunBatchSchema
from burrline_service.api.schemas_runs import NewRunSchema
from burrline_service.core.errors import NotFound
from burrline_service.core.records import (
    Brew,
    Caller,
    Run,
    RunOutcome,
    Watched,
)

NOW = datetime(2026, 7, 6, 9, 10, tzinfo=UTC)
CALLER = Caller(1, frozenset({"runs:write"}), "k")
LEAST = {"run_id": "bar-1-000001", "grinder_id": "bar-1", "grams": 18.2}


def load(**more: Any) -> dict[str, Any]:
    loaded: dict[str, Any] = NewRunSchema().load({**LEAST, **more})
    return loaded


def faults(**more: Any) -> dict[str, Any]:
    with pytest.raises(ValidationError) as caught:
        load(**more)
    messages = caught.value.messages
    assert isinstance(messages, dict)
    return messages


def test_a_run_becomes_its_record() -> None:
    run = runs.run_of(
        load(
            started_at="2026-07-06T10:41:12+02:00",
            seconds=7,
            purpose="dial_in",
            brew={"method": "espresso", "seconds": 27.5},
            feed=None,
        )
    )
    assert run == Run(
        run_id="bar-1-000001",
        grinder_id="bar-1",
        started_at=datetime(2026, 7, 6, 8, 41, 12, tzinfo=UTC),
        seconds=7.0,
        grams=18.2,
        purpose="dial_in",
        brew=Brew(method="espresso", seconds=27.5),
    )


def test_what_is_left_out_has_the_records_defaults() -> None:
    assert runs.run_of(load()) == Run(run_id="bar-1-000001", grinder_id="bar-1", grams=18.2)


@pytest.mark.parametrize("member", ["run_id", "grinder_id", "grams_basis"])
def test_some_members_cannot_be_null(member: str) -> None:
    assert faults(**{member: None}) == {member: ["must not be null"]}


def test_a_run_tells_seconds_or_grams() -> None:
    assert faults(grams=None) == {"_schema": ["needs at least one of seconds and grams"]}
    assert load(grams=None, seconds=0)["seconds"] == 0.0


def test_a_run_tells_its_start_in_one_way() -> None:
    at = "2026-07-06T08:41:12Z"
    assert faults(started_at=at, age_seconds=3) == {
        "age_seconds": ["cannot stand beside started_at"]
    }
    assert faults(age_seconds=3, uptime_seconds=4, boot_id="17") == {
        "uptime_seconds": ["cannot stand beside age_seconds"]
    }
    assert faults(started_at=at, uptime_seconds=4, boot_id="17") == {
        "uptime_seconds": ["cannot stand beside started_at"]
    }
    assert faults(uptime_seconds=4) == {"boot_id": ["is required beside uptime_seconds"]}
    assert load(started_at=at, age_seconds=None, boot_id="17")["age_seconds"] is None
    assert load(age_seconds=0)["age_seconds"] == 0.0


@pytest.mark.parametrize(
    ("clock", "age_seconds"),
    [
        (DeviceClock("17", 4000.0), 3.75),
        (DeviceClock("17", 3996.25), 0.0),
        (DeviceClock("17", 3996.0), None),  # it would not have started yet
        (DeviceClock("18", 4000.0), None),  # of another boot nothing is known
        (DeviceClock("17", 4000.0 + 400 * 86_400), None),  # no device holds a run so long
        (None, None),
    ],
)
def test_a_device_without_a_clock_tells_an_age_by_its_uptime(
    clock: DeviceClock | None, age_seconds: float | None
) -> None:
    run = runs.run_of(load(boot_id="17", uptime_seconds=3996.25), clock)
    expected = Run(run_id="bar-1-000001", grinder_id="bar-1", grams=18.2, age_seconds=age_seconds)
    assert run == expected


def test_a_clock_in_the_headers_changes_no_run_that_tells_its_time_itself() -> None:
    at = "2026-07-06T08:41:12Z"
    clock = DeviceClock("17", 4000.0)
    told = runs.run_of(load(started_at=at, boot_id="17"), clock)
    assert told == runs.run_of(load(started_at=at))
    assert runs.run_of(load(age_seconds=5), clock).age_seconds == 5


# The bounds of what is possible; all within them is kept, however implausible.
@pytest.mark.parametrize(
    ("member", "low", "high", "step"),
    [
        ("seconds", 0, 21_600, 0.001),
        ("grams", 0, 50_000, 0.001),
        ("motor_celsius", -40, 400, 0.1),
        ("ambient_celsius", -40, 400, 0.1),
        ("age_seconds", 0, 400 * 86_400, 0.001),
        ("uptime_seconds", 0, 99_999_999_999, 0.001),
        ("energy_joules", 0, 1e9, 0.001),
        ("setting", -1e5, 1e5, 0.001),
        ("rpm", 0, 1e5, 0.001),
    ],
)
def test_the_impossible_is_refused(member: str, low: float, high: float, step: float) -> None:
    assert load(boot_id="17", **{member: low})[member] == low
    assert load(boot_id="17", **{member: high})[member] == high
    for beyond in (low - step, high + step, 1e308, -1e308, "5", True, [5]):
        assert list(faults(boot_id="17", **{member: beyond})) == [member]


@pytest.mark.parametrize(
    ("member", "value"),
    [
        ("run_id", "short"),
        ("run_id", "x" * 129),
        ("run_id", "with space"),
        ("run_id", "bar-1-000001\n"),
        ("grinder_id", "Bar"),
        ("purpose", "fun"),
        ("grams_basis", "guessed"),
        ("feed", "spoon"),
        ("coffee_lot", "x" * 201),
        ("source", ""),
        ("boot_id", ""),
        ("boot_id", "x" * 65),
        ("brew", {"method": "magic"}),
        ("brew", {"seconds": 5}),
        ("brew", []),
        ("received_at", "2026-07-06T08:41:12Z"),
        ("account_no", 1),
    ],
)
def test_wrong_and_unknown_members_are_refused(member: str, value: Any) -> None:
    assert list(faults(**{member: value})) == [member]


# --- batches -----------------------------------------------------------------------------------


class Ingest:
    """What was recorded, by the rules of the real one: once per id, grinder bar-1 only."""

    def __init__(self) -> None:
        self.kept: dict[str, Run] = {}
        self.watched: list[Watched | None] = []

    def add_runs(
        self, database: Any, caller: Caller, *, runs: list[Run], watched: Watched | None, now: Any
    ) -> list[Any]:
        self.watched.append(watched)
        return [self.add(run) for run in runs]

    def add(self, run: Run) -> Any:
        if run.grinder_id != "bar-1":
            return NotFound("grinder", run.grinder_id)
        first = self.kept.setdefault(run.run_id, run)
        if first is run:
            return RunOutcome(run.run_id, "accepted")
        return RunOutcome(run.run_id, "duplicate" if first == run else "conflict")


@pytest.fixture
def ingest(monkeypatch: pytest.MonkeyPatch) -> Ingest:
    found = Ingest()
    monkeypatch.setattr(runs.ingest, "add_runs", found.add_runs)
    return found


def test_each_line_has_its_outcome_and_a_bad_one_blocks_none(ingest: Ingest) -> None:
    lines = [
        LEAST,
        7,
        {**LEAST, "run_id": "bar-1-000002"},
        LEAST,
        {**LEAST, "grams": 3},
        {**LEAST, "run_id": "bar-9-000001", "grinder_id": "bar-9"},
        {"run_id": "bar-1-000003", "grinder_id": "bar-1", "seconds": -1, "x/y": 1},
        None,
        {**LEAST, "run_id": "bar-1-000004"},
    ]
    found = runs.add_runs(None, CALLER, fields={"runs": lines}, now=NOW)
    problems = found.pop("problems")
    assert found == {
        "received": 9, "accepted": 3, "duplicates": 1, "conflicts": 1, "rejected": 4
    }  # fmt: skip
    assert list(ingest.kept) == ["bar-1-000001", "bar-1-000002", "bar-1-000004"]
    assert [(one["index"], one["run_id"], one["outcome"]) for one in problems] == [
        (1, None, "rejected"),
        (4, "bar-1-000001", "conflict"),
        (5, "bar-9-000001", "rejected"),
        (6, "bar-1-000003", "rejected"),
        (7, None, "rejected"),
    ]
    pointers = [[error["pointer"] for error in one["errors"]] for one in problems]
    assert pointers == [
        ["#/runs/1"],
        ["#/runs/4/run_id"],
        ["#/runs/5/grinder_id"],
        ["#/runs/6/seconds", "#/runs/6/x~1y"],
        ["#/runs/7"],
    ]


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 60_000) | st.floats(-5, 1e6) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=4), inner),
    max_leaves=4,
)
GOOD_LINES = st.builds(
    lambda number, grams: {**LEAST, "run_id": f"bar-1-{number:06}", "grams": grams},
    st.integers(0, 5),
    st.integers(0, 2),
)
LINES = (
    GOOD_LINES
    | st.builds(
        lambda line, member, value: {**line, member: value},
        GOOD_LINES,
        st.sampled_from(["grams", "seconds", "run_id", "grinder_id", "brew", "other"]),
        JSON_VALUES,
    )
    | JSON_VALUES
)


@given(st.lists(LINES, max_size=8))
def test_the_counts_add_up_and_every_line_not_kept_is_explained(lines: list[Any]) -> None:
    ingest = Ingest()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(runs.ingest, "add_runs", ingest.add_runs)
        found = runs.add_runs(None, CALLER, fields={"runs": lines}, now=NOW)
    outcomes = ("accepted", "duplicates", "conflicts", "rejected")
    assert found["received"] == len(lines) == sum(found[outcome] for outcome in outcomes)
    assert len(ingest.kept) == found["accepted"]
    assert len(found["problems"]) == found["conflicts"] + found["rejected"]
    assert all(problem["errors"] for problem in found["problems"])
    json.dumps(found, allow_nan=False)


def test_a_batch_is_an_array_of_so_many_lines_and_no_more() -> None:
    schema = RunBatchSchema()
    lines = [None] * LARGEST_BATCH_COUNT
    assert schema.load({"runs": lines}) == {"runs": lines}
    assert schema.load({"runs": []}) == {"runs": []}
    for wrong in ({"runs": [*lines, None]}, {"runs": {}}, {"runs": None}, {}, {"runs": [], "x": 1}):
        with pytest.raises(ValidationError):
            schema.load(wrong)


FROM, UNTIL = "2026-07-06T05:00:00Z", "2026-07-06T09:00:00Z"


def test_a_batch_tells_what_was_watched_even_where_nothing_ran(ingest: Ingest) -> None:
    span = {
        "from_at": datetime(2026, 7, 6, 5, tzinfo=UTC),
        "until_at": NOW.replace(hour=9, minute=0),
    }
    fields = RunBatchSchema().load({"runs": [], "watched_from": FROM, "watched_until": UNTIL})
    assert runs.add_runs(None, CALLER, fields=fields, now=NOW)["received"] == 0
    named = RunBatchSchema().load(
        {
            "runs": [LEAST],
            "watched_from": FROM,
            "watched_until": UNTIL,
            "watched_grinder_ids": ["bar-1", "bar-2"],
        }
    )
    runs.add_runs(None, CALLER, fields=named, now=NOW)
    assert ingest.watched == [Watched(**span), Watched(**span, grinder_ids=("bar-1", "bar-2"))]
    runs.add_runs(None, CALLER, fields={"runs": []}, now=NOW)
    assert len(ingest.watched) == 2


@pytest.mark.parametrize(
    ("members", "wrong"),
    [
        ({"watched_from": FROM}, "watched_until"),
        ({"watched_until": UNTIL}, "watched_from"),
        ({"watched_grinder_ids": ["bar-1"]}, "watched_from"),
        ({"watched_from": FROM, "watched_until": FROM}, "watched_until"),
        ({"watched_from": UNTIL, "watched_until": FROM}, "watched_until"),
        ({"watched_from": FROM, "watched_until": "noon"}, "watched_until"),
        (
            {"watched_from": FROM, "watched_until": UNTIL, "watched_grinder_ids": ["a", "a"]},
            "watched_grinder_ids",
        ),
    ],
)
def test_a_watched_time_has_two_ends_in_order(members: dict[str, Any], wrong: str) -> None:
    with pytest.raises(ValidationError) as caught:
        RunBatchSchema().load({"runs": [], **members})
    assert isinstance(caught.value.messages, dict)
    assert list(caught.value.messages) == [wrong]
