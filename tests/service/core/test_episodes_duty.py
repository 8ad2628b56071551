"""Exceeded duty to the millisecond: worked cases, and a walk over a grid that shares no code.

IEC 60034-1: cyclic duration factor = loading / cycle, 10 min unless the plate says otherwise.
The two worked cases are arithmetic on that definition, done apart from the code.
"""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.duty import judge_duty
from burrline_service.core.episodes import DatedLimits, Episode, Stretch, duty_episodes
from burrline_service.core.records import RatedDuty

DAY = 86_400_000
START = 1_777_896_000_000

# One cycle after another or a rolling one: the fixed windows see 20 % and 20 %, any 600 s 40 %.
TWO_HALVES = [(480, 600), (600, 720)]
# Fixed windows 31.67 % and 43.33 %; the largest on-time of any 600 s is 270 s, 45 %.
FIVE_RUNS = [(0, 60), (300, 420), (590, 650), (900, 960), (1000, 1150)]


def stretches(runs: Sequence[tuple[float, float]]) -> list[Stretch]:
    return [Stretch(round(start * 1000), round(end * 1000)) for start, end in runs]


def intermittent(fraction: float) -> list[DatedLimits]:
    return [DatedLimits(0, rated=RatedDuty("intermittent", duty_fraction=fraction))]


def spans(episodes: Sequence[Episode]) -> list[tuple[int, int | None]]:
    return [(episode.opened_at_ms, episode.closed_at_ms) for episode in episodes]


# --- worked cases (IEC 60034-1) -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("runs", "largest_seconds"), [(TWO_HALVES, 240), (FIVE_RUNS, 270)], ids=["two", "five"]
)
def test_a_rating_is_exceeded_just_below_the_largest_rolling_on_time(
    runs: list[tuple[float, float]], largest_seconds: int
) -> None:
    # IEC 60034-1, cyclic duration factor over any one cycle: 240 s = 40 %, 270 s = 45 %
    factor = largest_seconds / 600
    assert duty_episodes(stretches(runs), intermittent(factor), until_ms=DAY) == ()
    (one,) = duty_episodes(stretches(runs), intermittent(factor - 0.0001), until_ms=DAY)
    assert one.facts["peak_on_seconds"] == largest_seconds
    assert one.facts["cycle_seconds"] == 600.0
    assert (one.kind, one.severity) == ("duty_exceeded", "caution")


def test_instants_of_opening_and_closing_follow_from_the_slopes() -> None:
    # 25 % of 600 s: over 150 s of on-time 150 s after the start at 480 s; the loading leaves the
    # window from 1080 s on, and 240 - 105 = 135 s = 0.9 of the limit are left 105 s later
    (one,) = duty_episodes(stretches(TWO_HALVES), intermittent(0.25), until_ms=DAY)
    assert spans([one]) == [(630_001, 1_185_000)]
    assert one.facts == {
        "peak_on_seconds": 240.0,
        "rated_on_seconds": 150.0,
        "cycle_seconds": 600.0,
    }


def test_what_happens_later_is_not_known_yet() -> None:
    def asked(until_ms: int) -> list[tuple[int, int | None, float | None]]:
        found = duty_episodes(stretches(TWO_HALVES), intermittent(0.25), until_ms=until_ms)
        return [(one.opened_at_ms, one.closed_at_ms, one.facts["peak_on_seconds"]) for one in found]

    assert asked(630_000) == []
    assert asked(630_001) == [(630_001, None, 150.001)]
    assert asked(700_000) == [(630_001, None, 220.0)]
    assert asked(1_184_999) == [(630_001, None, 240.0)]
    assert asked(1_185_000) == [(630_001, 1_185_000, 240.0)]


# --- ratings --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rated", "expected"),
    [
        (None, []),
        (RatedDuty("continuous"), []),
        (RatedDuty("continuous", cycle_seconds=600.0, on_seconds=60.0), []),
        (RatedDuty("intermittent", cycle_seconds=600.0), []),
        (RatedDuty("intermittent", on_seconds=60.0), [(60_001, 646_000)]),
        (RatedDuty("intermittent", on_seconds=60.0, cycle_seconds=300.0), [(60_001, 346_000)]),
        (RatedDuty("short_time", on_seconds=60.0), [(60_001, 646_000)]),
        (RatedDuty("short_time", on_seconds=60.0, cycle_seconds=300.0), [(60_001, 346_000)]),
        (RatedDuty("short_time", on_seconds=60.0, cycle_seconds=30.0), []),
        (RatedDuty("short_time"), []),
        (RatedDuty("intermittent", on_seconds=60.0006), [(60_002, 646_000)]),  # as 60.001 s
    ],
)
def test_only_a_rating_that_limits_the_on_time_can_be_exceeded(
    rated: RatedDuty | None, expected: list[tuple[int, int | None]]
) -> None:
    # 100 s of running: 60 s are over at 60.001 s, and 54 s are left when 46 s have gone out
    found = duty_episodes(stretches([(0, 100)]), [DatedLimits(0, rated=rated)], until_ms=DAY)
    assert spans(found) == expected


def test_a_short_time_rating_over_five_minutes_is_judged_over_twice_its_run() -> None:
    # IEC 60034-1, S2: the rest is no time on the plate; twice 400 s is the window of core/duty
    limits = [DatedLimits(0, rated=RatedDuty("short_time", on_seconds=400.0))]
    found = duty_episodes(stretches([(0, 300), (500, 650)]), limits, until_ms=DAY)
    assert spans(found) == [(600_001, 890_000)]  # 450 s at 650 s; 360 s at 800 s + 90 s


def test_a_changed_rating_judges_the_same_on_time_from_its_instant_on() -> None:
    s3 = "intermittent"
    limits = [
        DatedLimits(0, rated=RatedDuty(s3, duty_fraction=0.60)),
        DatedLimits(300_000, rated=RatedDuty(s3, duty_fraction=0.25)),
        DatedLimits(400_000, rated=RatedDuty(s3, on_seconds=210.0)),
        DatedLimits(500_000, rated=RatedDuty(s3, duty_fraction=0.40)),
        DatedLimits(550_000, rated=RatedDuty(s3, duty_fraction=0.25)),
        DatedLimits(560_000, rated=RatedDuty("continuous")),
    ]
    found = duty_episodes(stretches([(0, 200)]), limits, until_ms=DAY)
    # 200 of 210 s is within, but not released; 200 of 240 s is; the peak is told against 150 s
    assert spans(found) == [(300_000, 500_000), (550_000, 560_000)]
    assert [one.facts for one in found] == [
        {"peak_on_seconds": 200.0, "rated_on_seconds": 150.0, "cycle_seconds": 600.0}
    ] * 2


def test_facts_are_those_of_the_rating_it_was_furthest_over() -> None:
    limits = [
        DatedLimits(0, rated=RatedDuty("intermittent", on_seconds=150.0)),
        DatedLimits(
            200_000, rated=RatedDuty("intermittent", on_seconds=100.0, cycle_seconds=300.0)
        ),
    ]
    (one,) = duty_episodes(stretches([(0, 250)]), limits, until_ms=DAY)
    assert one.facts == {
        "peak_on_seconds": 250.0,
        "rated_on_seconds": 100.0,
        "cycle_seconds": 300.0,
    }


def test_without_motor_time_or_limits_there_is_nothing() -> None:
    assert duty_episodes([], intermittent(0.25), until_ms=DAY) == ()
    assert duty_episodes([Stretch(5, 5)], intermittent(0.25), until_ms=DAY) == ()
    assert duty_episodes(stretches([(0, 600)]), [], until_ms=DAY) == ()


def test_malformed_facts_are_refused() -> None:
    with pytest.raises(ValueError, match="before its start"):
        duty_episodes([Stretch(10, 9)], intermittent(0.25), until_ms=DAY)
    with pytest.raises(ValueError, match="duty_fraction must be at most 1"):
        duty_episodes(stretches([(0, 1)]), intermittent(1.5), until_ms=DAY)
    with pytest.raises(ValueError, match="same instant, 0 ms"):
        duty_episodes([], [*intermittent(0.25), *intermittent(0.5)], until_ms=DAY)


# --- against a walk over every millisecond --------------------------------------------------------

MS_RUNS = st.lists(
    st.tuples(st.integers(0, 300), st.integers(0, 60)).map(lambda run: (run[0], run[0] + run[1])),
    max_size=12,
)
MS_RATING = st.one_of(
    st.none(),
    st.tuples(st.integers(1, 60), st.integers(1, 100)).filter(lambda one: one[0] <= one[1]),
)
MS_DATED = st.lists(
    st.tuples(st.integers(0, 350), MS_RATING), min_size=1, max_size=4, unique_by=lambda one: one[0]
)


def as_limits(dated: Sequence[tuple[int, tuple[int, int] | None]]) -> list[DatedLimits]:
    return [
        DatedLimits(
            START + from_,
            rated=None
            if rating is None
            else RatedDuty(
                "intermittent", on_seconds=rating[0] / 1000, cycle_seconds=rating[1] / 1000
            ),
        )
        for from_, rating in dated
    ]


def as_stretches(runs: Sequence[tuple[int, int]]) -> list[Stretch]:
    return [Stretch(START + start, START + end) for start, end in runs]


def walked(
    runs: Sequence[tuple[int, int]], dated: Sequence[tuple[int, tuple[int, int] | None]], until: int
) -> list[tuple[int, int | None]]:
    """Every millisecond in turn: count the full ones of the trailing cycle, keep a flag."""
    is_on = [any(start <= now < end for start, end in runs) for now in range(until)]
    found: list[tuple[int, int | None]] = []
    opened = None
    for now in range(until + 1):
        rating = min(dated)[1]
        for from_, value in sorted(dated, key=lambda one: one[0]):
            if from_ <= now:
                rating = value
        on = 0 if rating is None else sum(is_on[max(0, now - rating[1]) : now])
        if opened is None and rating is not None and on > rating[0]:
            opened = now
        elif opened is not None and (rating is None or 10 * on <= 9 * rating[0]):
            found.append((opened, now))
            opened = None
    return found if opened is None else [*found, (opened, None)]


@given(MS_RUNS, MS_DATED, st.integers(0, 500))
def test_episodes_agree_with_a_walk_over_every_millisecond(
    runs: list[tuple[int, int]],
    dated: list[tuple[int, tuple[int, int] | None]],
    until: int,
) -> None:
    found = duty_episodes(as_stretches(runs), as_limits(dated), until_ms=START + until)
    assert [
        (opened - START, None if closed is None else closed - START)
        for opened, closed in spans(found)
    ] == walked(runs, dated, until)


@given(MS_RUNS, MS_DATED, st.integers(0, 500))
def test_the_peak_is_the_worst_on_time_while_the_episode_lasted(
    runs: list[tuple[int, int]],
    dated: list[tuple[int, tuple[int, int] | None]],
    until: int,
) -> None:
    is_on = [any(start <= now < end for start, end in runs) for now in range(until)]
    for one in duty_episodes(as_stretches(runs), as_limits(dated), until_ms=START + until):
        stop = until + 1 if one.closed_at_ms is None else one.closed_at_ms - START
        shares = []
        for now in range(one.opened_at_ms - START, stop):
            rating = min(dated)[1]
            for from_, value in sorted(dated, key=lambda item: item[0]):
                if from_ <= now:
                    rating = value
            assert rating is not None
            shares.append(sum(is_on[max(0, now - rating[1]) : now]) / rating[0])
        peak, limit = one.facts["peak_on_seconds"], one.facts["rated_on_seconds"]
        assert peak is not None
        assert limit is not None
        assert peak / limit == pytest.approx(max(shares), rel=1e-12)


# --- properties -----------------------------------------------------------------------------------

RATING = st.tuples(st.integers(1, 60), st.integers(60, 100))


def instants_open(episodes: Sequence[Episode], until_ms: int) -> set[int]:
    return {
        now
        for opened, closed in spans(episodes)
        for now in range(opened, until_ms + 1 if closed is None else closed)
    }


@given(MS_RUNS, MS_RUNS, RATING, st.integers(0, 59))
def test_more_motor_time_or_a_lower_limit_never_shortens_an_episode(
    runs: list[tuple[int, int]], more: list[tuple[int, int]], rating: tuple[int, int], lower: int
) -> None:
    until_ms = START + 500
    stricter = (max(1, rating[0] - lower), rating[1])
    milder = duty_episodes(as_stretches(runs), as_limits([(0, rating)]), until_ms=until_ms)
    harsher = duty_episodes(
        as_stretches([*runs, *more]), as_limits([(0, stricter)]), until_ms=until_ms
    )
    assert instants_open(milder, until_ms) <= instants_open(harsher, until_ms)


@given(MS_RUNS, RATING, st.integers(100, 400), st.integers(1, 100))
def test_a_run_out_of_reach_changes_no_other_episode(
    runs: list[tuple[int, int]], rating: tuple[int, int], away: int, length: int
) -> None:
    limits, until_ms = as_limits([(0, rating)]), START + 5000
    far = [(360 + away, 360 + away + length)]
    without = duty_episodes(as_stretches(runs), limits, until_ms=until_ms)
    alone = duty_episodes(as_stretches(far), limits, until_ms=until_ms)
    both = duty_episodes(as_stretches([*far, *runs]), limits, until_ms=until_ms)
    assert both == without + alone


@given(MS_RUNS, RATING, st.lists(st.integers(1, 350), max_size=4, unique=True))
def test_limits_written_down_again_unchanged_change_nothing(
    runs: list[tuple[int, int]], rating: tuple[int, int], again: list[int]
) -> None:
    once = as_limits([(0, rating)])
    often = as_limits([(0, rating), *((from_, rating) for from_ in again)])
    assert duty_episodes(as_stretches(runs), often, until_ms=START + 500) == duty_episodes(
        as_stretches(runs), once, until_ms=START + 500
    )


@given(
    st.lists(
        st.tuples(st.integers(0, 3000), st.integers(1, 200)).map(lambda r: (r[0], r[0] + r[1])),
        max_size=8,
    ),
    st.sampled_from([0.15, 0.25, 0.40, 0.60]),
    st.integers(0, 4000),
)
def test_whenever_the_status_says_exceeded_an_episode_is_open(
    runs: list[tuple[int, int]], fraction: float, now: int
) -> None:
    duty = judge_duty(
        starts_seconds=[start for start, _ in runs],
        ends_seconds=[end for _, end in runs],
        now_seconds=now,
        first_known_seconds=0.0,
        possible_on_seconds=0.0,
        rated=RatedDuty("intermittent", duty_fraction=fraction),
    )
    found = duty_episodes(stretches(runs), intermittent(fraction), until_ms=now * 1000)
    is_open = any(one.closed_at_ms is None for one in found)
    assert is_open >= (duty.state == "exceeded")
    if duty.on_seconds <= 0.9 * fraction * 600:
        assert not is_open
