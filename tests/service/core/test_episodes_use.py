"""Low flow, silence and wrong clocks: pure folds, whatever the order of the facts."""

from __future__ import annotations

import random
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burrline_service.core.alert_settings import (
    ALWAYS,
    DEFAULT_RULES,
    DatedRules,
    patch_between,
    rules_in_force,
)
from burrline_service.core.episode_clock import HALF_HOUR_MS, Receipt, clock_episodes
from burrline_service.core.episode_facts import Episode
from burrline_service.core.episode_flow import FlowDay, FlowRun, flow_low_episodes
from burrline_service.core.episode_silent import DatedSite, silent_episodes, silent_from_ms
from burrline_service.core.episode_span import DAY_MS, judged
from burrline_service.core.nameplate import merged
from burrline_service.core.quiet_hours import quiet_until
from burrline_service.core.records import Site

CELL = (5000, 2)
HOUR_MS, MINUTE_MS = 3_600_000, 60_000
TODAY = 20_000
T0 = TODAY * DAY_MS + 8 * HOUR_MS
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def usual_days(flow: int = 2000, spread: int = 60, count: int = 40) -> list[FlowDay]:
    """Ten days at one flow; single runs lie ``spread`` above or below it, by halves."""
    squares = count * (flow**2 + spread**2)
    return [FlowDay(day, CELL, count, count * flow, squares) for day in range(TODAY - 10, TODAY)]


def runs(*flows: int, every_ms: int = 10 * MINUTE_MS, at_ms: int = T0) -> list[FlowRun]:
    return [FlowRun(at_ms + number * every_ms, flow, CELL) for number, flow in enumerate(flows)]


def test_a_clog_opens_with_the_median_of_five_and_closes_with_it() -> None:
    flows = [2000] * 6 + [1400] * 6 + [2000] * 6
    (held,) = flow_low_episodes(runs(*flows), usual_days(), ALWAYS, until_ms=T0 + DAY_MS)
    # the third low run makes the median of five low; the third good one makes it good again
    assert held.opened_at_ms == T0 + 8 * 10 * MINUTE_MS
    assert held.closed_at_ms == T0 + 14 * 10 * MINUTE_MS
    assert held.facts == {"flow_fraction": 0.7, "run_count": 5.0}


@pytest.mark.parametrize(
    "flows", [[2000] * 20, [1700] * 20, [2000, 2000, 900] * 6], ids=["usual", "a little", "single"]
)
def test_usual_scatter_opens_nothing(flows: list[int]) -> None:
    assert flow_low_episodes(runs(*flows), usual_days(), ALWAYS, until_ms=T0 + DAY_MS) == []


def test_a_grinder_whose_days_differ_needs_more_to_be_low() -> None:
    days = [
        FlowDay(day, CELL, 40, 40 * flow, 40 * flow**2)
        for day, flow in zip(range(TODAY - 10, TODAY), [1400, 2600] * 5, strict=True)
    ]
    assert flow_low_episodes(runs(*[1500] * 9), days, ALWAYS, until_ms=T0 + DAY_MS) == []


@pytest.mark.parametrize(
    "days", [[], usual_days()[:4], [d._replace(cell=(9, 2)) for d in usual_days()]]
)
def test_without_a_usual_flow_at_the_setting_nothing_is_judged(days: list[FlowDay]) -> None:
    assert flow_low_episodes(runs(*[500] * 9), days, ALWAYS, until_ms=T0 + DAY_MS) == []


def test_what_was_usual_before_another_set_says_nothing() -> None:
    fitted = [(TODAY - 3) * DAY_MS]
    found = flow_low_episodes(
        runs(*[1000] * 9), usual_days(), ALWAYS, until_ms=T0 + DAY_MS, fitted_ms=fitted
    )
    assert found == []


def test_low_flow_ends_a_day_after_the_last_run_that_showed_it() -> None:
    low = runs(*[1400] * 6)
    (held,) = flow_low_episodes(low, usual_days(), ALWAYS, until_ms=T0 + 3 * DAY_MS)
    assert held.closed_at_ms == low[-1].ended_ms + DAY_MS


def receipts(*lags_ms: int, source: int = 3, every_ms: int = 7 * MINUTE_MS) -> list[Receipt]:
    return [
        Receipt(source, T0 + number * every_ms - lag_ms, T0 + number * every_ms)
        for number, lag_ms in enumerate(lags_ms)
    ]


def test_a_clock_an_hour_behind_is_told_by_the_fifth_run() -> None:
    found = receipts(*[2 * HALF_HOUR_MS + 2_000] * 8, 2_000)
    (held,) = clock_episodes(found, ALWAYS, until_ms=T0 + DAY_MS)
    assert held.opened_at_ms == found[4].received_ms
    assert held.closed_at_ms == found[8].received_ms
    assert held.facts == {"behind_seconds": 3600.0}


@pytest.mark.parametrize(
    "lags",
    [
        [2_000] * 9,
        [2 * HALF_HOUR_MS] * 4,
        [17 * MINUTE_MS] * 9,
        [HALF_HOUR_MS * (1 + number % 2) for number in range(9)],
        [48 * HALF_HOUR_MS + HALF_HOUR_MS] * 9,
    ],
    ids=["right", "only four", "some other lag", "a backlog", "more than a day"],
)
def test_other_lags_are_no_wrong_clock(lags: list[int]) -> None:
    assert clock_episodes(receipts(*lags), ALWAYS, until_ms=T0 + DAY_MS) == []


def test_a_backlog_that_comes_at_once_is_no_wrong_clock() -> None:
    backlog = [Receipt(3, T0 - HALF_HOUR_MS + n * 1000, T0) for n in range(9)]
    assert clock_episodes(backlog, ALWAYS, until_ms=T0 + DAY_MS) == []


WEEKDAYS = {day: [["08:00", "18:00"]] for day in ("mon", "tue", "wed", "thu", "fri")}
MONDAY = datetime(2026, 5, 4, tzinfo=UTC)
MONDAY_MS = int(MONDAY.timestamp() * 1000)


def site(hours: dict[str, list[list[str]]] | None = WEEKDAYS) -> list[DatedSite]:
    return [DatedSite(0, Site("mill-lane", "Mill Lane", "UTC", EPOCH, hours))]


def silences(*starts_ms: int, until_ms: int, **more: object) -> list[Episode]:
    given = {"sites": site(), "dated": ALWAYS, **more}
    ran = [(at_ms, at_ms) for at_ms in starts_ms]
    return silent_episodes(ran, until_ms=until_ms, **given)  # type: ignore[arg-type]


def test_silence_counts_opening_hours_only() -> None:
    last = MONDAY_MS + 17 * HOUR_MS
    # one hour of Monday, ten of Tuesday, five of Wednesday make sixteen
    opened = MONDAY_MS + 2 * DAY_MS + 13 * HOUR_MS
    (held,) = silences(last, until_ms=opened + HOUR_MS)
    assert (held.opened_at_ms, held.closed_at_ms) == (opened, None)
    assert silences(last, until_ms=opened - 1) == []
    assert silent_from_ms(last, site(), ALWAYS, within_ms=last + 9 * DAY_MS) == opened
    (held,) = silences(last, opened + 5 * HOUR_MS, until_ms=opened + DAY_MS)
    assert held.closed_at_ms == opened + 5 * HOUR_MS


def test_nobody_waits_for_a_grinder_that_is_not_there() -> None:
    last = MONDAY_MS + 17 * HOUR_MS
    opened = MONDAY_MS + 2 * DAY_MS + 13 * HOUR_MS
    gone = [(opened - HOUR_MS, opened + HOUR_MS)]
    (held,) = silences(last, until_ms=opened + DAY_MS, unavailable=gone)
    assert held.opened_at_ms == opened + 2 * HOUR_MS
    (held,) = silences(last, until_ms=opened + DAY_MS, unavailable=[(opened + 60, 2**53)])
    assert held.closed_at_ms == opened + 60


def test_a_site_without_opening_hours_is_never_silent() -> None:
    assert silences(MONDAY_MS, until_ms=MONDAY_MS + 90 * DAY_MS, sites=site(None)) == []


def test_silence_ends_where_a_site_tells_hours_no_longer() -> None:
    last = MONDAY_MS + 17 * HOUR_MS
    opened = MONDAY_MS + 2 * DAY_MS + 13 * HOUR_MS
    without = [*site(), DatedSite(opened + HOUR_MS, site(None)[0].site)]
    (held,) = silences(last, until_ms=opened + DAY_MS, sites=without)
    assert (held.opened_at_ms, held.closed_at_ms) == (opened, opened + HOUR_MS)


def test_changed_rules_leave_the_past_as_it_was() -> None:
    last = MONDAY_MS + 17 * HOUR_MS
    opened = MONDAY_MS + 2 * DAY_MS + 13 * HOUR_MS
    off = rules_in_force([[(opened + HOUR_MS, {"silent": {"is_on": False}})], [], []])
    (held,) = silences(last, until_ms=opened + DAY_MS, dated=off)
    assert (held.opened_at_ms, held.closed_at_ms) == (opened, opened + HOUR_MS)
    shorter = rules_in_force([[(opened - HOUR_MS, {"silent": {"open_seconds": 3600.0}})], [], []])
    (held,) = silences(last, until_ms=opened + DAY_MS, dated=shorter)
    assert held.opened_at_ms == opened - HOUR_MS


FLOWS = [2000] * 6 + [1400] * 9 + [2000] * 7 + [1300] * 5


@settings(max_examples=25)
@given(st.randoms(use_true_random=False), st.integers(0, 4 * HOUR_MS))
def test_no_order_and_no_repeat_changes_an_episode(chance: random.Random, after_ms: int) -> None:
    until_ms = T0 + after_ms
    facts = {
        "flow": runs(*FLOWS),
        "days": usual_days(),
        "clock": receipts(*[HALF_HOUR_MS + 900] * 9, 2_000, 1_000, *[HALF_HOUR_MS] * 7),
    }
    starts = [(T0 + number * 3 * DAY_MS, T0 + number * 3 * DAY_MS) for number in range(5)]
    wanted = (
        flow_low_episodes(facts["flow"], facts["days"], ALWAYS, until_ms=until_ms),
        clock_episodes(facts["clock"], ALWAYS, until_ms=until_ms),
        silent_episodes(starts, site(), ALWAYS, until_ms=until_ms + 20 * DAY_MS),
    )
    for found in (*facts.values(), starts):
        chance.shuffle(found)
    # what is not there yet does not matter, nor does a silence's start told twice
    known = [run for run in facts["flow"] if run.ended_ms <= until_ms]
    assert wanted == (
        flow_low_episodes(known, facts["days"], ALWAYS, until_ms=until_ms),
        clock_episodes(facts["clock"] + facts["clock"][:3], ALWAYS, until_ms=until_ms),
        silent_episodes(starts + starts[:2], site(), ALWAYS, until_ms=until_ms + 20 * DAY_MS),
    )


@settings(max_examples=25)
@given(st.integers(0, 26), st.integers(0, 60))
def test_an_instant_goes_by_the_two_days_before_it_alone(number: int, gap_hours: int) -> None:
    """Older runs neither open nor close anything that holds now."""
    every = runs(*FLOWS, every_ms=gap_hours * 6 * MINUTE_MS + MINUTE_MS)
    until_ms = every[number].ended_ms + HOUR_MS
    near = [run for run in every if run.ended_ms > until_ms - 2 * DAY_MS]
    days = [*usual_days(), *(d._replace(day=d.day + 10) for d in usual_days())]
    is_open = [
        any(
            one.closed_at_ms is None
            for one in flow_low_episodes(some, days, ALWAYS, until_ms=until_ms)
        )
        for some in (every, near)
    ]
    assert is_open[0] == is_open[1]


# --- rules ---------------------------------------------------------------------------------------


def test_grinder_beats_site_beats_account_and_null_inherits_again() -> None:
    account = [(10, {"long_run": {"longest_run_seconds": 300.0}, "quiet_hours": {"sun": []}})]
    of_site = [(20, {"long_run": {"longest_run_seconds": 200.0}})]
    grinder = [(30, {"long_run": {"longest_run_seconds": 100.0}}), (40, {"long_run": None})]
    dated = rules_in_force([account, of_site, grinder])
    assert [(at, r["long_run"]["longest_run_seconds"]) for at, r in dated] == [
        (0, 600.0), (10, 300.0), (20, 200.0), (30, 100.0), (40, 200.0)
    ]  # fmt: skip
    assert dated[-1].rules["long_run"]["is_on"] is True


def test_quiet_hours_hold_all_but_alerts() -> None:
    night = {"mon": [["22:00", "06:00"]]}
    at = datetime(2026, 5, 4, 21, 30, tzinfo=UTC)  # 23:30 in Berlin
    asked = {"quiet_hours": night, "time_zone": "Europe/Berlin"}
    for severity in ("notice", "caution"):
        ends = quiet_until(at, severity=severity, **asked)  # type: ignore[arg-type]
        assert ends == datetime(2026, 5, 5, 4, 0, tzinfo=UTC)
    assert quiet_until(at, severity="alert", **asked) is None  # type: ignore[arg-type]
    assert quiet_until(at.replace(hour=12), severity="notice", **asked) is None  # type: ignore[arg-type]


def test_a_minimum_duration_opens_later_or_not_at_all() -> None:
    rules = {**DEFAULT_RULES, "long_run": {"is_on": True, "minimum_seconds": 60.0}}
    dated = [DatedRules(0, rules)]
    long, short = (Episode("long_run", "caution", 0, end, {}) for end in (90_000, 50_000))
    assert [one.opened_at_ms for one in judged([long, short], dated, until_ms=99_000)] == [60_000]
    open_one = Episode("long_run", "caution", 0, None, {})
    assert judged([open_one], dated, until_ms=59_999) == []
    assert len(judged([open_one], dated, until_ms=60_000)) == 1


JSON = st.recursive(
    st.integers(0, 3), lambda inner: st.dictionaries(st.sampled_from("abc"), inner), max_leaves=6
)


@settings(max_examples=60)
@given(st.dictionaries(st.sampled_from("abc"), JSON), st.dictionaries(st.sampled_from("abc"), JSON))
def test_the_patch_between_two_documents_makes_the_second(
    before: dict[str, object], after: dict[str, object]
) -> None:
    assert merged(before, patch_between(before, after)) == after
