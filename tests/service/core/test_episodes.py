"""Overheats and long runs as folds of facts, held to walks over a grid that share no code."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.episodes import (
    DatedLimits,
    Episode,
    Reading,
    Stretch,
    long_run_episodes,
    overheat_episodes,
)

HELD_TO_80 = (DatedLimits(0, limit_celsius=80.0),)
HELD_TO_300 = (DatedLimits(0, longest_run_seconds=300.0),)
HOUR = 3_600_000
START = 1_777_896_000_000  # 2026-05-04 12:00 UTC: instants of the size the service has


def spans(episodes: Sequence[Episode]) -> list[tuple[int, int | None]]:
    return [(episode.opened_at_ms, episode.closed_at_ms) for episode in episodes]


def read(*pairs: tuple[float, float]) -> list[Reading]:
    return [Reading(round(seconds * 1000), celsius) for seconds, celsius in pairs]


# --- overheat: its rules one by one ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("readings", "expected"),
    [
        (read((0, 79.9)), []),
        (read((0, 80.0), (60, 75.0)), [(0, 60_000)]),
        (read((0, 80.0), (60, 75.1), (120, 79.9), (180, 74.0)), [(0, 180_000)]),
        (read((0, 80.0), (60, 75.0), (99, 79.9), (100, 80.0)), [(0, 60_000), (100_000, 1_000_000)]),
        (read((0, 80.0)), [(0, 900_000)]),
        (read((0, 80.0), (900, 78.0), (1000, 70.0)), [(0, 1_000_000)]),
        (read((0, 80.0), (900.001, 78.0)), [(0, 900_000)]),
        (read((0, 80.0), (1500, 81.0)), [(0, 900_000), (1_500_000, 2_400_000)]),
        (read((0, 70.0), (0, 80.0), (60, 70.0), (60, 76.0), (90, 75.0)), [(0, 90_000)]),
        ([], []),
    ],
    ids=[
        "just below", "at the limit, released at 5 K below", "held between", "opened anew",
        "stale", "900 s is no silence", "more is", "two after a silence", "the hottest counts",
        "nothing read",
    ],
)  # fmt: skip
def test_an_overheat_opens_at_the_limit_and_closes_five_kelvin_below_or_by_silence(
    readings: list[Reading], expected: list[tuple[int, int | None]]
) -> None:
    episodes = overheat_episodes(readings, HELD_TO_80, until_ms=HOUR)
    assert spans(episodes) == expected
    assert all((one.kind, one.severity) == ("motor_overheat", "alert") for one in episodes)


def test_an_overheat_tells_its_peak_and_limit_as_known_at_the_instant() -> None:
    readings = read((0, 81.0), (60, 86.5), (120, 83.0), (180, 70.0))
    for until_seconds, peak, closed in ((59.999, 81.0, None), (60, 86.5, None), (180, 86.5, 180)):
        (one,) = overheat_episodes(readings, HELD_TO_80, until_ms=round(until_seconds * 1000))
        assert one.facts == {"peak_celsius": peak, "limit_celsius": 80.0}
        assert one.closed_at_ms == (None if closed is None else closed * 1000)


def test_a_stale_overheat_is_open_until_the_quarter_of_an_hour_is_over() -> None:
    readings = read((0, 81.0))
    assert spans(overheat_episodes(readings, HELD_TO_80, until_ms=899_999)) == [(0, None)]
    assert spans(overheat_episodes(readings, HELD_TO_80, until_ms=900_000)) == [(0, 900_000)]


def test_a_reading_is_held_to_the_limit_in_force_when_it_was_read() -> None:
    limits = [
        DatedLimits(0, limit_celsius=80.0),
        DatedLimits(100_000, limit_celsius=90.0),
        DatedLimits(300_000),
    ]
    readings = read((-50, 84.0), (99.999, 84.0), (100, 86.0), (200, 85.0), (250, 90.5), (300, 95.0))
    episodes = overheat_episodes(readings, limits, until_ms=HOUR)
    assert spans(episodes) == [(-50_000, 200_000), (250_000, 300_000)]
    assert [one.facts for one in episodes] == [
        {"peak_celsius": 84.0, "limit_celsius": 80.0},  # 4 K over; 86 of 90 was not over
        {"peak_celsius": 90.5, "limit_celsius": 90.0},
    ]


def test_the_release_is_exact_for_tenths_of_a_degree() -> None:
    for tenths in range(500, 2000):
        limit, release = tenths / 10, (tenths - 50) / 10
        held_to = [DatedLimits(0, limit_celsius=limit)]
        readings = read((0, limit), (1, (tenths - 49) / 10), (2, release))
        assert spans(overheat_episodes(readings, held_to, until_ms=HOUR)) == [(0, 2000)]


def test_without_a_limit_nothing_is_an_overheat() -> None:
    readings = read((0, 300.0))
    assert overheat_episodes(readings, [], until_ms=HOUR) == ()
    assert overheat_episodes(readings, [DatedLimits(0)], until_ms=HOUR) == ()


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_a_temperature_that_is_no_number_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="reading must be finite"):
        overheat_episodes([Reading(0, bad)], HELD_TO_80, until_ms=HOUR)
    with pytest.raises(ValueError, match="limit must be finite"):
        overheat_episodes([], [DatedLimits(0, limit_celsius=bad)], until_ms=HOUR)


# --- overheat: against a walk over every second ---------------------------------------------------

# Tenths of a degree near the limits, seconds near each other and near the 900 s of silence.
SECONDS = st.one_of(st.integers(0, 400), st.integers(0, 5000), st.sampled_from([900, 901, 1800]))
READINGS = st.lists(st.tuples(SECONDS, st.integers(730, 870)), max_size=25)
TENTHS = st.one_of(st.none(), st.integers(760, 840))
DATED_TENTHS = st.lists(
    st.tuples(st.integers(0, 4000), TENTHS), min_size=1, max_size=4, unique_by=lambda one: one[0]
)
UNTIL = st.integers(0, 6000)


def as_limits(dated: Sequence[tuple[int, int | None]]) -> list[DatedLimits]:
    return [
        DatedLimits(START + from_ * 1000, limit_celsius=None if limit is None else limit / 10)
        for from_, limit in dated
    ]


def as_readings(readings: Sequence[tuple[int, int]]) -> list[Reading]:
    return [Reading(START + at * 1000, tenths / 10) for at, tenths in readings]


def walked_overheats(
    readings: Sequence[tuple[int, int]], dated: Sequence[tuple[int, int | None]], until: int
) -> list[tuple[int, int | None]]:
    """Every second in turn, with a flag and the age of the latest reading, in tenths."""
    found: list[tuple[int, int | None]] = []
    opened, age = None, 0
    for now in range(until + 1):
        age += 1
        current = [tenths for at, tenths in readings if at == now]
        limit = min(dated)[1]
        for from_, tenths in sorted(dated):
            if from_ <= now:
                limit = tenths
        if current:
            hottest = max(current)
            if opened is not None and (limit is None or hottest <= limit - 50):
                found.append((opened, now))
                opened = None
            elif opened is None and limit is not None and hottest >= limit:
                opened = now
            age = 0
        elif opened is not None and age == 900:
            # a quarter of an hour, and nothing was read in this second either
            found.append((opened, now))
            opened = None
    if opened is not None:
        found.append((opened, None))
    return found


@given(READINGS, DATED_TENTHS, UNTIL)
def test_overheats_agree_with_a_walk_over_every_second(
    readings: list[tuple[int, int]], dated: list[tuple[int, int | None]], until: int
) -> None:
    episodes = overheat_episodes(
        as_readings(readings), as_limits(dated), until_ms=START + until * 1000
    )
    in_seconds = [
        ((opened - START) // 1000, None if closed is None else (closed - START) // 1000)
        for opened, closed in spans(episodes)
    ]
    assert in_seconds == walked_overheats(readings, dated, until)


def seconds_open(episodes: Sequence[Episode], until_ms: int, step_ms: int = 1000) -> set[int]:
    return {
        now
        for opened, closed in spans(episodes)
        for now in range(opened, until_ms + 1 if closed is None else closed, step_ms)
    }


@given(READINGS, st.integers(760, 840), st.integers(0, 60), st.integers(0, 20))
def test_a_lower_limit_or_hotter_readings_never_shorten_an_overheat(
    readings: list[tuple[int, int]], limit: int, lower: int, hotter: int
) -> None:
    until_ms = START + 6_000_000
    milder = overheat_episodes(as_readings(readings), as_limits([(0, limit)]), until_ms=until_ms)
    raised = as_readings([(at, tenths + hotter) for at, tenths in readings])
    harsher = overheat_episodes(raised, as_limits([(0, limit - lower)]), until_ms=until_ms)
    assert seconds_open(milder, until_ms) <= seconds_open(harsher, until_ms)


@given(READINGS, DATED_TENTHS, st.data())
def test_a_reading_out_of_reach_changes_no_other_overheat(
    readings: list[tuple[int, int]], dated: list[tuple[int, int | None]], data: st.DataObject
) -> None:
    far = data.draw(
        st.integers(-3000, 9000).filter(lambda at: all(abs(at - r) > 900 for r, _ in readings))
    )
    limits, until_ms = as_limits(dated), START + 20_000_000
    without = overheat_episodes(as_readings(readings), limits, until_ms=until_ms)
    alone = overheat_episodes(as_readings([(far, 860)]), limits, until_ms=until_ms)
    both = overheat_episodes(as_readings([*readings, (far, 860)]), limits, until_ms=until_ms)
    assert set(both) == set(without) | set(alone)
    assert len(both) == len(without) + len(alone)


# --- long runs: their rules one by one ------------------------------------------------------------


@pytest.mark.parametrize(
    ("stretches", "expected"),
    [
        ([(0, 300_000)], []),
        ([(0, 300_001)], [(300_000, 300_001)]),
        ([(0, 200_000), (150_000, 310_000)], [(300_000, 310_000)]),
        ([(0, 200_000), (201_999, 310_000)], [(300_000, 310_000)]),
        ([(0, 200_000), (202_000, 310_000)], []),
        ([(0, 299_500), (301_000, 310_000)], [(300_000, 310_000)]),
        ([(0, 400_000), (500_000, 900_000)], [(300_000, 400_000), (800_000, 900_000)]),
        ([], []),
        ([(5, 5)], []),
    ],
    ids=[
        "just as long as allowed", "longer", "overlap", "short gap", "2 s part", "due in a gap",
        "two", "none", "of no length",
    ],
)  # fmt: skip
def test_a_long_run_opens_when_its_time_is_up_and_closes_at_its_end(
    stretches: list[tuple[int, int]], expected: list[tuple[int, int | None]]
) -> None:
    episodes = long_run_episodes([Stretch(*one) for one in stretches], HELD_TO_300, until_ms=HOUR)
    assert spans(episodes) == expected
    assert all((one.kind, one.severity) == ("long_run", "caution") for one in episodes)


@pytest.mark.parametrize(
    ("until_ms", "closed_at_ms", "run_seconds"),
    [
        (300_001, None, 300.001),
        (400_000, None, 400.0),
        (401_999, None, 400.0),
        (402_000, 400_000, 400.0),
    ],
    ids=["going on", "perhaps going on", "a pulse may still join", "over"],
)
def test_a_run_is_cut_off_at_the_instant_asked_for(
    until_ms: int, closed_at_ms: int | None, run_seconds: float
) -> None:
    (one,) = long_run_episodes([Stretch(0, 400_000)], HELD_TO_300, until_ms=until_ms)
    assert (one.opened_at_ms, one.closed_at_ms) == (300_000, closed_at_ms)
    assert one.facts == {"run_seconds": run_seconds, "longest_run_seconds": 300.0}


def test_a_changed_longest_run_judges_the_same_run_from_its_instant_on() -> None:
    run = [Stretch(0, 1_000_000)]
    limits = [
        DatedLimits(0, longest_run_seconds=900.0),
        DatedLimits(400_000, longest_run_seconds=300.0),
        DatedLimits(500_000, longest_run_seconds=400.0),
        DatedLimits(600_000, longest_run_seconds=700.0),
        DatedLimits(800_000),
    ]
    episodes = long_run_episodes(run, limits, until_ms=HOUR)
    assert spans(episodes) == [(400_000, 600_000), (700_000, 800_000)]
    assert [one.facts for one in episodes] == [
        {"run_seconds": 600.0, "longest_run_seconds": 300.0},
        {"run_seconds": 800.0, "longest_run_seconds": 700.0},
    ]
    # closed by the change though the run goes on
    assert spans(long_run_episodes(run, limits, until_ms=600_500)) == [(400_000, 600_000)]


@pytest.mark.parametrize("bad", [0.0, -1.0, float("nan"), float("inf")])
def test_a_longest_run_that_is_no_length_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="longest_run_seconds must be positive"):
        long_run_episodes([], [DatedLimits(0, longest_run_seconds=bad)], until_ms=HOUR)


def test_a_stretch_that_ends_before_it_starts_is_refused() -> None:
    with pytest.raises(ValueError, match="before its start"):
        long_run_episodes([Stretch(2, 1)], HELD_TO_300, until_ms=HOUR)


# --- long runs: against a walk over half seconds --------------------------------------------------

RUNS = st.lists(
    st.tuples(st.integers(0, 150), st.integers(0, 30)).map(lambda run: (run[0], run[0] + run[1])),
    max_size=10,
)
DATED_LONGEST = st.lists(
    st.tuples(st.integers(0, 150), st.one_of(st.none(), st.integers(1, 40))),
    min_size=1,
    max_size=4,
    unique_by=lambda one: one[0],
)


def walked_long_runs(
    runs: Sequence[tuple[int, int]], dated: Sequence[tuple[int, int | None]], until: int
) -> list[tuple[int, int]]:
    """Half seconds as cells; fewer than four empty ones between two full ones are filled."""
    cells = [any(start <= now < end for start, end in runs) for now in range(until)]
    full = [now for now in range(until) if cells[now]]
    for one, following in pairwise(full):
        if following - one - 1 < 4:
            cells[one:following] = [True] * (following - one)
    over, length = [], 0
    for now in range(until):
        length = length + 1 if cells[now] else 0
        longest = min(dated)[1]
        for from_, value in sorted(dated):
            if from_ <= now:
                longest = value
        over.append(longest is not None and length > longest)
    edges = [False, *over, False]
    begins = [k for k in range(until + 1) if edges[k + 1] and not edges[k]]
    stops = [k for k in range(until + 1) if edges[k] and not edges[k + 1]]
    return list(zip(begins, stops, strict=True))


@given(RUNS, DATED_LONGEST, st.integers(0, 200))
def test_long_runs_agree_with_a_walk_over_half_seconds(
    runs: list[tuple[int, int]], dated: list[tuple[int, int | None]], until: int
) -> None:
    stretches = [Stretch(START + start * 500, START + end * 500) for start, end in runs]
    limits = [
        DatedLimits(START + from_ * 500, longest_run_seconds=None if n is None else n / 2)
        for from_, n in dated
    ]
    episodes = long_run_episodes(stretches, limits, until_ms=START + until * 500)
    # an open one lasts to the end of its motor time as known now
    ended = [
        one.closed_at_ms
        if one.closed_at_ms is not None
        else max(
            min(stretch.ended_ms, START + until * 500)
            for stretch in stretches
            if stretch.started_ms < START + until * 500
        )
        for one in episodes
    ]
    found = [
        ((one.opened_at_ms - START) // 500, (end - START) // 500)
        for one, end in zip(episodes, ended, strict=True)
    ]
    assert found == walked_long_runs(runs, dated, until)
