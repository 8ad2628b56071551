"""The quick way from lines to runs is held to the schema: same runs, same lines taken, same errors.

``FAST_LINES_BATCHES`` says how many mutated batches a long run takes.
"""

from __future__ import annotations

import math
import os
import random
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from marshmallow import ValidationError

from burrline_service.api import runs
from burrline_service.api.batches import Kind, judge
from burrline_service.api.device_clock import DeviceClock
from burrline_service.api.fast_lines import plain_instant, plan_of, quick_runs
from burrline_service.api.instants import read_instant
from burrline_service.api.schemas_runs import NewRunSchema
from burrline_service.core.records import Run, RunOutcome

SCHEMA = NewRunSchema()
PLAN = plan_of(SCHEMA)
BATCH_COUNT = int(os.environ.get("FAST_LINES_BATCHES", "150"))
CLOCK = DeviceClock("17", 90_000.0)
LEAST = {"run_id": "bar-1-000001", "grinder_id": "bar-1", "grams": 18}
FULL: dict[str, Any] = {
    **LEAST,
    "started_at": "2026-07-06T07:41:12Z",
    "seconds": 7.4,
    "grams_basis": "weighed_in",
    "feed": "hopper",
    "energy_joules": 2100,
    "setting": -5,
    "rpm": 1400,
    "motor_celsius": 41.5,
    "ambient_celsius": -3,
    "purpose": "break_in",
    "coffee_lot": "lot-0712",
    "source": "scale-left",
}

INSTANTS = (
    "2026-07-06T07:41:12Z", "2026-07-06T07:41:12.3Z", "2026-07-06T07:41:12.345678+02:00",
    "2026-07-06T07:41:12.999999999-03:30", "2024-02-29T00:00:00Z", "2023-02-29T00:00:00Z",
    "2026-07-06T24:00:00Z", "2026-07-06T23:59:60Z", "2026-07-06T23:60:00Z", "2026-13-01T00:00:00Z",
    "2026-07-06T07:41:12", "20260706T074112Z", "2026-W28-1T07:41:12Z", "2026-07-06 07:41:12Z",
    "2026-07-06t07:41:12z", "2026-07-06T07:41Z", "2026-07-06T07:41:12,5Z", "2026-07-06T07:41:12.Z",
    "2026-07-06T07:41:12Z\n", " 2026-07-06T07:41:12Z", "2026-07-06T07:41:12+24:00",
    "2026-07-06T07:41:12+23:59", "2026-07-06T07:41:12-00:00", "2026-07-06T07:41:12+02",
    "2026-07-06T07:41:12+0200", "2026-07-06T07:41:12+02:00:30", "2026-07-06T07:41:12+02:60",
    "0000-01-01T00:00:00Z", "0001-01-01T00:00:00+05:00", "9999-12-31T23:59:59-05:00",
    "1899-12-31T23:59:59Z", "1900-01-01T00:00:00+10:00", "1901-01-01T00:00:00+10:00",
    "2998-12-31T23:59:59-10:00", "2999-12-31T00:00:00Z", "2999-12-31T00:00:00.001Z",
    "٢٠٢٦-07-06T07:41:12Z", "2026-07-06T07:41:1２Z", "-2026-07-06T07:41:12Z", "", "now",
)  # fmt: skip
NUMBERS = (
    0, -0.0, 0.0, -1, 1, True, False, 1.5, math.nan, math.inf, -math.inf, 10**400, -(10**400),
    1e308, 2**53, 2**53 - 1, -(2**53), 2**63, 5e-324, 50_000, 50_000.000001, 21_600, 21_600.0001,
    -40, 400,
    400.1, -40.1, 100_000, 100_001, 99_999_999_999, 99_999_999_999.5, 34_560_000, 34_560_001, "1.5",
    "1", "", "NaN", None, [], {}, [1],
)  # fmt: skip
TEXTS = (
    "bar-1", "bar-1\n", "\nbar-1", "Bar-1", "bar 1", "bar-１", "bár-1", "", "a", "a" * 64, "a" * 65,
    "a" * 7, "a" * 8, "a" * 100, "a" * 101, "a" * 128, "a" * 129, "a" * 200, "a" * 201, "-bar",
    "12345678", "x\ny\nz", "run:1.2_3", "\u2028", "\U0001f600", 7, 7.5, True, None, [], {},
    ["bar-1"],
)  # fmt: skip
WORDS = (
    "service", "Service", "service ", "cleaning", "weighed_out", "hopper", "single_dose", "", None,
    0, True, [], ["service"], {}, {"service": 1},
)  # fmt: skip
BREWS = ({"method": "espresso"}, {"method": "x"}, {}, [], None, "espresso", {"method": None})
LINES = (None, 7, "x", [], {}, [LEAST], True, math.nan)


def of_schema(line: Any, clock: DeviceClock | None) -> Run | None:
    try:
        return runs.run_of(SCHEMA.load(line), clock)
    except ValidationError:
        return None


def looked_at(run: Run | None) -> str:
    """Everything of a run, kinds of numbers and of zero included."""
    return repr(run)


def answered(lines: Sequence[Any], clock: DeviceClock | None, *, is_quick: bool) -> Any:
    """What a batch answers, and the runs that it records."""
    kept: list[Run] = []

    def add(good: list[Run]) -> list[RunOutcome]:
        kept.extend(good)
        return [RunOutcome(run.run_id, "accepted") for run in good]

    kind = Kind(
        member="runs",
        id_name="run_id",
        record_of=lambda line: runs.run_of(SCHEMA.load(line), clock),
        conflict=lambda run_id: run_id,
        quickly=(lambda these: quick_runs(PLAN, these, clock)) if is_quick else None,
    )
    return judge(kind, lines, add), [looked_at(run) for run in kept]


def mutations() -> list[Callable[[random.Random, dict[str, Any]], Any]]:
    members = [name for name in SCHEMA.load_fields if name != "brew"]

    def put(values: Sequence[Any], names: Sequence[str]) -> Any:
        return lambda dice, line: {**line, dice.choice(names): dice.choice(values)}

    return [
        put(INSTANTS, ["started_at"]),
        put(NUMBERS, list(PLAN.numbers)),
        put(TEXTS, list(PLAN.texts)),
        put(WORDS, list(PLAN.words)),
        put(BREWS, ["brew"]),
        put((None,), [*members, "brew", "other"]),
        put((1, "x", None), ["other", "Grams", "run_id ", ""]),
        put((*NUMBERS, *TEXTS, *WORDS, *INSTANTS), members),
        lambda dice, line: {k: v for k, v in line.items() if k != dice.choice(members)},
        lambda dice, line: dict(dice.sample(list(line.items()), len(line))),
        lambda dice, line: {**line, "started_at": None, "uptime_seconds": 100.0, "boot_id": "17"},
        lambda dice, line: {**line, "started_at": None, "age_seconds": dice.choice((0, 1.5, -1))},
        lambda dice, line: dice.choice(LINES),
    ]


def a_batch(dice: random.Random) -> list[Any]:
    """Lines much like one another, a few of them spoilt, some in many ways."""
    base = dice.choice((LEAST, FULL))
    lines: list[Any] = []
    for number in range(dice.randrange(1, 30)):
        line = {**base, "run_id": f"bar-1-{number:06}", "grams": dice.randrange(1, 400) / 10}
        lines.append(line)
    for _ in range(dice.choice((0, 1, 1, 2, 5, 60))):
        place = dice.randrange(len(lines))
        if type(lines[place]) is dict:
            lines[place] = dice.choice(mutations())(dice, lines[place])
    return lines


def test_mutated_batches_come_to_the_same_by_both_ways() -> None:
    spoilt = quick = 0
    for number in range(BATCH_COUNT):
        dice = random.Random(number)
        lines, clock = a_batch(dice), dice.choice((None, CLOCK))
        answer = answered(lines, clock, is_quick=True)
        assert answer == answered(lines, clock, is_quick=False), f"batch {number}"
        spoilt += answer[0]["rejected"] > 0
        quick += any(run is not None for run in quick_runs(PLAN, lines, clock))
    assert spoilt > BATCH_COUNT // 4  # neither way was left out
    assert quick > BATCH_COUNT // 2


ANYTHING = st.recursive(
    st.sampled_from((*NUMBERS, *TEXTS, *WORDS, *INSTANTS))
    | st.integers()
    | st.floats()
    | st.text(),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(), inner, max_size=2),
    max_leaves=3,
)
MEMBERS = st.dictionaries(
    st.sampled_from([*SCHEMA.load_fields, "other"]), ANYTHING, min_size=1, max_size=3
)


@settings(max_examples=max(100, BATCH_COUNT))
@given(
    st.lists(st.tuples(st.sampled_from((LEAST, FULL)), MEMBERS), min_size=1, max_size=4),
    st.sampled_from((None, CLOCK)),
)
def test_any_members_come_to_the_same_by_both_ways(
    drawn: list[tuple[dict[str, Any], dict[str, Any]]], clock: DeviceClock | None
) -> None:
    lines = [{**base, **members} for base, members in drawn]
    assert answered(lines, clock, is_quick=True) == answered(lines, clock, is_quick=False)


@pytest.mark.parametrize("name", [*SCHEMA.load_fields, "other"])
def test_every_odd_value_of_every_member_comes_to_the_same(name: str) -> None:
    """Alone, and as the last of lines that are taken together."""
    for value in (*NUMBERS, *TEXTS, *WORDS, *INSTANTS, *BREWS):
        line = {**FULL, name: value}
        for lines in ([line], [{**FULL, name: FULL.get(name, value)}, line]):
            expected = [looked_at(of_schema(one, CLOCK)) for one in lines]
            for one, known, quick in zip(
                lines, expected, quick_runs(PLAN, lines, CLOCK), strict=True
            ):
                assert quick is None or looked_at(quick) == known, one


@pytest.mark.parametrize("text", INSTANTS)
def test_a_plain_instant_is_the_one_that_is_read_with_care(text: str) -> None:
    at = plain_instant(text)
    assert at is None or (at == read_instant(text) and at.tzinfo is UTC)


@given(
    st.integers(0, 34_712_668_799_999_999),  # microseconds from 1900 to 2999
    st.integers(-1439, 1439),
    st.integers(0, 9),
)
def test_any_instant_written_plainly_is_read_alike(
    microseconds: int, offset_minutes: int, digit_count: int
) -> None:
    local = datetime(1900, 1, 1, tzinfo=UTC) + timedelta(microseconds=microseconds)
    hours, minutes = divmod(abs(offset_minutes), 60)
    sign = "-" if offset_minutes < 0 else "+"
    fraction = "" if digit_count == 0 else "." + f"{local.microsecond:06}789"[:digit_count]
    text = f"{local:%Y-%m-%dT%H:%M:%S}{fraction}{sign}{hours:02}:{minutes:02}"
    at = plain_instant(text)
    assert at == read_instant(text) if at is not None else local.year in (1900, 2999)


def test_common_lines_do_take_the_quick_way() -> None:
    """Else the comparison above would say nothing, and nothing would be quick."""
    for line in (LEAST, FULL, {**FULL, "purpose": None, "source": None}):
        assert list(quick_runs(PLAN, [line])) == [of_schema(line, None)] != [None]
    old = {**LEAST, "age_seconds": 30}
    booted = {**LEAST, "boot_id": "17", "uptime_seconds": 86_400}
    made = quick_runs(PLAN, [old, booted], CLOCK)
    assert [run and run.age_seconds for run in made] == [30.0, 3600.0]


def test_every_member_but_the_drink_has_its_checks() -> None:
    kept = {*PLAN.numbers, *PLAN.texts, *PLAN.words, *PLAN.instants}
    assert set(SCHEMA.load_fields) - kept == {"brew"}
    assert PLAN.required == {"run_id", "grinder_id"}


def test_a_run_made_quickly_is_a_run_like_any_other() -> None:
    (made,) = quick_runs(PLAN, [FULL])
    told = {**SCHEMA.load(FULL)}
    assert made == Run(**told)
    assert hash(made) == hash(Run(**told))
    assert vars(made) == vars(Run(**told))
    with pytest.raises(AttributeError):
        made.grams = 1.0  # type: ignore[misc,union-attr]
    assert made is not None
    assert made.started_at is not None
    assert made.started_at == datetime(2026, 7, 6, 7, 41, 12, tzinfo=UTC)
