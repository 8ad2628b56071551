"""Coverage, millisecond by millisecond, and opening hours, minute by minute of a scanned clock."""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burrline_service.core.coverage import WEEKDAYS, covered, length_ms, open_spans

Intervals = list[tuple[int, int]]
interval_lists = st.lists(
    st.tuples(st.integers(-20, 60), st.integers(0, 25)).map(lambda pair: (pair[0], sum(pair))),
    max_size=5,
)


def instants(intervals: Intervals) -> set[int]:
    return {at for low, high in intervals for at in range(low, high)}


def is_tidy(intervals: Intervals) -> bool:
    return all(low < high for low, high in intervals) and all(
        left[1] < right[0] for left, right in pairwise(intervals)
    )


# --- coverage -------------------------------------------------------------------------------------


@settings(max_examples=400)
@given(
    st.integers(-30, 60),
    st.integers(0, 60),
    st.none() | st.integers(-30, 70),
    st.just([]) | interval_lists,
    interval_lists,
    interval_lists,
    interval_lists,
)
def test_each_millisecond_is_covered_by_the_rule_as_it_is_said(
    low: int,
    width: int,
    first: int | None,
    watched: Intervals,
    ran: Intervals,
    unknown: Intervals,
    out: Intervals,
) -> None:
    found = covered(
        low,
        low + width,
        first_known_ms=first,
        watched=watched,
        ran=ran,
        unknown=unknown,
        out_of_service=out,
    )
    expected = set()
    known, hidden, idle = instants([*ran, *watched]), instants(unknown), instants(out)
    for at in range(low, low + width):
        is_silence_known = len(watched) == 0 and first is not None and at >= first
        is_idle = at not in hidden and (at in idle or is_silence_known)
        if is_idle or at in known:
            expected.add(at)
    assert instants(found) == expected
    assert is_tidy(found)
    assert length_ms(found) == len(expected)


@given(st.tuples(*[interval_lists] * 4), st.randoms(use_true_random=False))
def test_the_order_of_intervals_changes_no_coverage(
    lists: tuple[Intervals, ...], dice: random.Random
) -> None:
    def of(watched: Intervals, ran: Intervals, unknown: Intervals, out: Intervals) -> Intervals:
        return covered(
            -30,
            90,
            first_known_ms=0,
            watched=watched,
            ran=ran,
            unknown=unknown,
            out_of_service=out,
        )

    assert of(*(dice.sample(intervals, len(intervals)) for intervals in lists)) == of(*lists)


@given(interval_lists)
def test_what_is_covered_twice_has_its_length_once(intervals: Intervals) -> None:
    assert length_ms(iter(intervals)) == len(instants(intervals))


def facts(**given_facts: Any) -> dict[str, Any]:
    nothing: dict[str, Any] = {
        "first_known_ms": None, "watched": [], "ran": [], "unknown": [], "out_of_service": []
    }  # fmt: skip
    return nothing | given_facts


def test_nothing_is_known_before_the_first_run() -> None:
    assert covered(0, 100, **facts()) == []
    assert covered(0, 100, **facts(first_known_ms=100)) == []
    assert covered(0, 100, **facts(first_known_ms=30)) == [(30, 100)]
    assert covered(0, 100, **facts(first_known_ms=-5)) == [(0, 100)]


def test_a_stretch_watched_outside_the_window_makes_silence_in_it_tell_nothing() -> None:
    watched = facts(first_known_ms=0, watched=[(500, 600)], ran=[(40, 45)])
    assert covered(0, 100, **watched) == [(40, 45)]


def test_a_tally_hides_even_time_out_of_service_but_no_run_and_nothing_watched() -> None:
    known = facts(unknown=[(0, 100)], out_of_service=[(0, 50)], ran=[(10, 12)], watched=[(70, 80)])
    assert covered(0, 100, **known) == [(10, 12), (70, 80)]


def test_each_of_several_tallies_hides_its_own_time() -> None:
    known = facts(first_known_ms=0, unknown=[(60, 70), (10, 20), (30, 40)])
    assert covered(0, 65, **known) == [(0, 10), (20, 30), (40, 60)]


def test_intervals_that_meet_are_one_and_empty_ones_are_none() -> None:
    known = facts(watched=[(0, 0)], ran=[(10, 20), (20, 30), (40, 40)])
    assert covered(0, 100, **known) == [(10, 30)]


def test_an_empty_window_is_not_covered() -> None:
    assert covered(5, 5, **facts(first_known_ms=0)) == []
    assert length_ms([]) == 0


@pytest.mark.parametrize("name", ["watched", "ran", "unknown", "out_of_service"])
def test_a_reversed_interval_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="ends at 4 before its start 5"):
        covered(0, 10, **facts(**{name: [(5, 4)]}))
    with pytest.raises(ValueError, match="ends at 4 before its start 5"):
        length_ms([(5, 4)])


def test_a_reversed_window_is_refused() -> None:
    with pytest.raises(ValueError, match="reversed: 2 > 1"):
        covered(2, 1, **facts())


# --- opening hours --------------------------------------------------------------------------------

MINUTE_MS = 60_000
# a zone and a day near which its clock does something odd, or nothing at all
PLACES = [
    ("UTC", date(2026, 5, 4)),
    ("Asia/Kathmandu", date(2026, 5, 4)),
    ("Europe/Berlin", date(2024, 3, 31)),
    ("Europe/Berlin", date(2024, 10, 27)),
    ("America/New_York", date(2024, 3, 10)),
    ("America/New_York", date(2024, 11, 3)),
    ("America/Sao_Paulo", date(2018, 11, 4)),
    ("America/Sao_Paulo", date(2018, 2, 18)),
    ("America/Havana", date(2024, 11, 3)),
    ("America/St_Johns", date(2010, 11, 7)),
    ("Australia/Lord_Howe", date(2024, 4, 7)),
    ("Australia/Lord_Howe", date(2024, 10, 6)),
    ("Pacific/Apia", date(2011, 12, 30)),
]
clock_times = st.one_of(
    st.sampled_from(["00:00", "00:30", "01:59", "02:00", "02:30", "03:00", "03:15", "23:59"]),
    st.tuples(st.integers(0, 23), st.integers(0, 59)).map(lambda hm: f"{hm[0]:02}:{hm[1]:02}"),
)
weeks = st.dictionaries(
    st.sampled_from(WEEKDAYS), st.lists(st.tuples(clock_times, clock_times), max_size=2)
)


@cache
def clock(zone: str, day: date) -> list[tuple[int, datetime]]:
    """Every minute from four days before to five after, and what the wall clock shows."""
    start = datetime(day.year, day.month, day.day, tzinfo=UTC) - timedelta(days=4)
    minutes = [start + timedelta(minutes=minute) for minute in range(9 * 24 * 60)]
    return [
        (round(at.timestamp() * 1000), at.astimezone(ZoneInfo(zone)).replace(tzinfo=None))
        for at in minutes
    ]


def first_shown(zone: str, near: date, day: date, text: str) -> int:
    """The first minute at which the wall clock has come to a time or past it."""
    wanted = datetime.fromisoformat(f"{day.isoformat()}T{text}")
    return next(at for at, shown in clock(zone, near) if shown >= wanted)


def open_minutes(
    zone: str, near: date, hours: dict[str, list[tuple[str, str]]] | None, closed: set[str]
) -> set[int]:
    """Every open minute of the three days about a day."""
    minutes: set[int] = set()
    for offset in range(-3, 3):
        day = near + timedelta(days=offset)
        after = day + timedelta(days=1)
        name = f"{day:%a}".lower()
        spans = [("00:00", "00:00")] if hours is None else hours.get(name, [])
        for begin, end in [] if day.isoformat() in closed else spans:
            low = first_shown(zone, near, day, begin)
            high = first_shown(zone, near, after if end <= begin else day, end)
            minutes |= set(range(low, high, MINUTE_MS))
    return minutes


def window(zone: str, near: date) -> tuple[datetime, datetime]:
    start = datetime(near.year, near.month, near.day, tzinfo=ZoneInfo(zone)).astimezone(UTC)
    return start - timedelta(hours=23), start + timedelta(hours=31)


@given(
    st.sampled_from(PLACES),
    st.none() | weeks,
    st.sets(st.integers(-2, 2), max_size=2),
    st.integers(0, 1440),
    st.integers(0, 3240),
)
def test_a_site_is_open_in_the_minutes_of_its_wall_clock(
    place: tuple[str, date],
    hours: dict[str, list[tuple[str, str]]] | None,
    closed_offsets: set[int],
    skipped: int,
    width: int,
) -> None:
    zone, near = place
    closed = {(near + timedelta(days=offset)).isoformat() for offset in closed_offsets}
    low_at = window(zone, near)[0] + timedelta(minutes=skipped)
    high_at = min(low_at + timedelta(minutes=width), window(zone, near)[1])
    spans = open_spans(low_at, high_at, zone, hours, closed)
    asked = range(round(low_at.timestamp() * 1000), round(high_at.timestamp() * 1000), MINUTE_MS)
    found = {at for low, high in spans for at in range(low, high, MINUTE_MS)}
    assert found == open_minutes(zone, near, hours, closed) & set(asked)
    assert is_tidy(spans)


@given(st.sampled_from(PLACES), weeks, st.integers(0, 54 * 60))
def test_two_windows_that_meet_are_open_as_one(
    place: tuple[str, date], hours: dict[str, list[tuple[str, str]]], cut: int
) -> None:
    zone, near = place
    low_at, high_at = window(zone, near)
    at = low_at + timedelta(minutes=cut)
    parts = [*open_spans(low_at, at, zone, hours, ()), *open_spans(at, high_at, zone, hours, ())]
    assert length_ms(parts) == length_ms(open_spans(low_at, high_at, zone, hours, ()))


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def times(spans: Intervals) -> list[tuple[str, str]]:
    return [
        (f"{datetime.fromtimestamp(low / 1000, UTC):%d %H:%M}",
         f"{datetime.fromtimestamp(high / 1000, UTC):%d %H:%M}")
        for low, high in spans
    ]  # fmt: skip


def test_without_hours_a_site_is_always_open_but_on_closed_days() -> None:
    low_at, high_at = at("2026-05-04T10:00"), at("2026-05-06T10:00")
    assert times(open_spans(low_at, high_at, "UTC", None, ())) == [("04 10:00", "06 10:00")]
    assert times(open_spans(low_at, high_at, "UTC", None, {"2026-05-05"})) == [
        ("04 10:00", "05 00:00"),
        ("06 00:00", "06 10:00"),
    ]


def test_a_site_without_a_single_opening_is_never_open() -> None:
    assert open_spans(at("2026-05-04T10:00"), at("2026-06-04T10:00"), "UTC", {}, ()) == []
    assert open_spans(at("2026-05-04T10:00"), at("2026-06-04T10:00"), "UTC", {"mon": []}, ()) == []


def test_hours_past_midnight_belong_to_the_day_they_began_on() -> None:
    # 8 May 2026 is a Friday
    hours = {"fri": [["20:00", "02:00"]], "sat": [["20:00", "02:00"]]}
    low_at, high_at = at("2026-05-08T00:00"), at("2026-05-11T00:00")
    assert times(open_spans(low_at, high_at, "UTC", hours, {"2026-05-09"})) == [
        ("08 20:00", "09 02:00")
    ]
    assert times(open_spans(low_at, high_at, "UTC", hours, {"2026-05-08"})) == [
        ("09 20:00", "10 02:00")
    ]


def test_hours_of_the_evening_before_reach_into_a_window_that_begins_after_midnight() -> None:
    hours = {"fri": [["20:00", "20:00"]]}
    found = open_spans(at("2026-05-09T19:00"), at("2026-05-10T00:00"), "UTC", hours, ())
    assert times(found) == [("09 19:00", "09 20:00")]


def test_the_same_time_twice_is_a_whole_day_and_whole_days_make_one_span() -> None:
    always = {day: [["00:00", "00:00"]] for day in WEEKDAYS}
    low_at, high_at = at("2024-10-20T05:00"), at("2024-11-10T05:00")
    assert open_spans(low_at, high_at, "Europe/Berlin", always, ()) == open_spans(
        low_at, high_at, "Europe/Berlin", None, ()
    )


def test_milliseconds_of_the_window_are_kept() -> None:
    low_at = at("2026-05-04T10:00:00.001")
    (found,) = open_spans(low_at, low_at + timedelta(milliseconds=5), "UTC", None, ())
    assert found == (1_777_888_800_001, 1_777_888_800_006)


def test_an_empty_window_is_not_open() -> None:
    noon = at("2026-05-04T12:00")
    assert open_spans(noon, noon, "UTC", None, ()) == []
    assert open_spans(noon, noon, "UTC", {"mon": [["07:00", "19:00"]]}, ()) == []


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"low_at": datetime(2026, 5, 4)}, "aware"),  # noqa: DTZ001 (that is the point)
        ({"high_at": datetime(2026, 5, 4)}, "aware"),  # noqa: DTZ001
        ({"high_at": datetime(2026, 5, 1, tzinfo=UTC)}, "reversed"),
        ({"time_zone": "Europe/Atlantis"}, "no time zone 'Europe/Atlantis'"),
        ({"opening_hours": {"Monday": []}}, "'Monday' is no day of the week: mon, tue"),
        ({"opening_hours": {"mon": [["7:00", "19:00"]]}}, "no pair of times"),
        ({"opening_hours": {"mon": [["07:00", "24:00"]]}}, "no pair of times"),
        ({"opening_hours": {"mon": [["07:00", "19:60"]]}}, "no pair of times"),
        ({"opening_hours": {"mon": [["07:00", "19:00\n"]]}}, "no pair of times"),
        ({"opening_hours": {"mon": [["٠٧:00", "19:00"]]}}, "no pair of times"),
        ({"opening_hours": {"mon": [["07:00"]]}}, "no pair of times"),
        ({"opening_hours": {"mon": [[7, 19]]}}, "no pair of times"),
        ({"closed_days": {"2026-5-4"}}, "'2026-5-4' is no date"),
        ({"closed_days": {"20260504"}}, "no date"),
        ({"closed_days": {"2026-02-30"}}, "day"),
    ],
)
def test_what_is_no_window_zone_time_or_date_is_refused(wrong: dict[str, Any], said: str) -> None:
    right: dict[str, Any] = {
        "low_at": datetime(2026, 5, 4, tzinfo=UTC),
        "high_at": datetime(2026, 5, 5, tzinfo=UTC),
        "time_zone": "Europe/Berlin",
        "opening_hours": {"mon": [["07:00", "19:00"]]},
        "closed_days": set(),
    }
    assert open_spans(**right)
    with pytest.raises(ValueError, match=said):
        open_spans(**(right | wrong))


@pytest.mark.parametrize(
    "end", [datetime.min.replace(tzinfo=UTC), datetime.max.replace(tzinfo=UTC)]
)
def test_the_ends_of_the_calendar_are_refused_in_words(end: datetime) -> None:
    with pytest.raises(ValueError, match="end of the calendar"):
        open_spans(end, end, "Europe/Berlin", {}, ())
    with pytest.raises(ValueError, match="end of the calendar"):
        open_spans(at("2026-05-04"), at("2026-05-05"), "UTC", None, {"9999-12-31"})
