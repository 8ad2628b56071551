"""The look before folding: it never overlooks an episode that the fold finds open."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from burrline_service.core.episodes import (
    DatedLimits,
    Reading,
    Stretch,
    duty_episodes,
    long_run_episodes,
    overheat_episodes,
)
from burrline_service.core.open_now import look_back_ms, may_be_open
from burrline_service.core.records import RatedDuty

AT_MS = 100_000_000
HALF = RatedDuty("intermittent", on_seconds=60.0, cycle_seconds=120.0)
LIMITS = st.lists(
    st.builds(
        DatedLimits,
        st.integers(0, AT_MS),
        limit_celsius=st.sampled_from([None, 75.0, 80.0, 85.5]),
        rated=st.sampled_from(
            [
                None,
                HALF,
                RatedDuty("continuous"),
                RatedDuty("intermittent", duty_fraction=0.15),
                RatedDuty("short_time", on_seconds=120.0),
            ]
        ),
        longest_run_seconds=st.sampled_from([None, 60.0, 150.0]),
    ),
    min_size=1,
    max_size=3,
    unique_by=lambda one: one.from_ms,
)
AGES = st.one_of(st.integers(-5000, 5000), st.integers(0, 1_000_000), st.integers(0, AT_MS))
READINGS = st.lists(
    st.builds(lambda age, tenths: Reading(AT_MS - age, tenths / 10), AGES, st.integers(695, 865)),
    max_size=8,
)


@st.composite
def stretches(draw: st.DrawFn) -> list[Stretch]:
    """Runs in a row, some close enough to be one, the last of them around the instant."""
    end_ms = AT_MS - draw(AGES)
    made = []
    for _ in range(draw(st.integers(0, 12))):
        length_ms = draw(st.one_of(st.integers(0, 5000), st.integers(0, 200_000)))
        made.append(Stretch(end_ms - length_ms, end_ms))
        end_ms -= length_ms + draw(st.sampled_from([-500, 0, 1999, 2000, 2001, 30_000, 400_000]))
    return made


def open_by_the_fold(
    readings: Sequence[Reading], on: Sequence[Stretch], limits: Sequence[DatedLimits]
) -> bool:
    episodes = (
        *overheat_episodes(readings, limits, until_ms=AT_MS),
        *duty_episodes(on, limits, until_ms=AT_MS),
        *long_run_episodes(on, limits, until_ms=AT_MS),
    )
    return any(episode.closed_at_ms is None for episode in episodes)


def looked_at(
    readings: Sequence[Reading], on: Sequence[Stretch], limits: Sequence[DatedLimits]
) -> bool:
    """With just what lies in the time that ``look_back_ms`` names."""
    latest = max((one for one in readings if one.at_ms <= AT_MS), default=None)
    since_ms = AT_MS - look_back_ms(limits)
    near = [one for one in on if one.ended_ms >= since_ms]
    return may_be_open(latest, near, limits, at_ms=AT_MS)


@given(READINGS, stretches(), LIMITS)
@example([], [Stretch(AT_MS - 150_000, AT_MS)], [DatedLimits(0, longest_run_seconds=150.0)])
@example([], [Stretch(AT_MS - 151_999, AT_MS - 1999)], [DatedLimits(0, longest_run_seconds=60.0)])
@example([Reading(AT_MS - 950_000, 90.0), Reading(AT_MS - 900_000, 75.1)], [],
         [DatedLimits(0, limit_celsius=80.0)])  # fmt: skip
def test_what_the_fold_finds_open_is_never_overlooked(
    readings: list[Reading], on: list[Stretch], limits: list[DatedLimits]
) -> None:
    if open_by_the_fold(readings, on, limits):
        assert looked_at(readings, on, limits)


@pytest.mark.parametrize(
    ("readings", "on", "limit"),
    [
        ([Reading(AT_MS - 1, 74.9)], [], DatedLimits(0, limit_celsius=80.0)),
        ([Reading(AT_MS - 900_001, 99.0)], [], DatedLimits(0, limit_celsius=80.0)),
        ([Reading(AT_MS, 99.0)], [], DatedLimits(0)),
        ([], [Stretch(AT_MS - 700_000, AT_MS - 2001)], DatedLimits(0, longest_run_seconds=60.0)),
        ([], [Stretch(AT_MS - 50_000, AT_MS)], DatedLimits(0, longest_run_seconds=60.0)),
        ([], [Stretch(AT_MS - 50_000, AT_MS)], DatedLimits(0, rated=HALF)),
        ([], [Stretch(AT_MS - 999_000, AT_MS - 70_000)], DatedLimits(0, rated=HALF)),
        ([], [Stretch(AT_MS, AT_MS + 999_000)], DatedLimits(0, rated=HALF)),
        ([Reading(AT_MS, 99.0)], [Stretch(0, AT_MS)], DatedLimits(0)),
    ],
)
def test_a_grinder_within_its_limits_needs_no_fold(
    readings: list[Reading], on: list[Stretch], limit: DatedLimits
) -> None:
    assert not looked_at(readings, on, [limit])
    assert not open_by_the_fold(readings, on, [limit])


def test_the_strategies_reach_both_answers() -> None:
    hot = [Reading(AT_MS - 1000, 81.0), Reading(AT_MS, 76.0)]
    assert open_by_the_fold(hot, [], [DatedLimits(0, limit_celsius=80.0)])
    assert looked_at(hot, [], [DatedLimits(0, limit_celsius=80.0)])
    long = [Stretch(AT_MS - 61_000, AT_MS - 500)]
    assert open_by_the_fold([], long, [DatedLimits(0, longest_run_seconds=60.0)])
    busy = [Stretch(AT_MS - 60_001, AT_MS)]
    assert open_by_the_fold([], busy, [DatedLimits(0, rated=HALF)])
    assert looked_at([], busy, [DatedLimits(0, rated=HALF)])
