"""What holds of all kinds of episode: order, the present instant, and where a fold may begin."""

from __future__ import annotations

import random
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.episode_facts import spans_in_force
from burrline_service.core.episode_folds import held_since, motor_on
from burrline_service.core.episodes import (
    DatedLimits,
    Episode,
    Reading,
    Stretch,
    duty_episodes,
    long_run_episodes,
    overheat_episodes,
    quiet_before_ms,
)
from burrline_service.core.records import RatedDuty

START = 1_777_896_000_000
END = START + 40_000_000
PLATE = (
    DatedLimits(
        START,
        limit_celsius=80.0,
        rated=RatedDuty("intermittent", duty_fraction=0.25),
        longest_run_seconds=100.0,
    ),
)

INSTANTS = st.one_of(st.integers(START, END - 10_000_000), st.integers(START, START + 3_600_000))
READINGS = st.lists(
    st.builds(Reading, INSTANTS, st.integers(700, 900).map(lambda tenths: tenths / 10)), max_size=15
)
# A busy hour, and runs strewn over eight: episodes of all kinds, with quiet between.
STRETCHES = st.lists(
    st.builds(
        lambda start, length: Stretch(start, start + length),
        INSTANTS,
        st.one_of(st.integers(0, 5000), st.integers(0, 400_000)),
    ),
    max_size=20,
)
LIMITS = st.lists(
    st.builds(
        DatedLimits,
        INSTANTS,
        limit_celsius=st.one_of(st.none(), st.sampled_from([75.0, 80.0, 85.5])),
        rated=st.sampled_from(
            [
                None,
                RatedDuty("continuous"),
                RatedDuty("intermittent", duty_fraction=0.15),
                RatedDuty("intermittent", on_seconds=60.0, cycle_seconds=240.0),
                RatedDuty("short_time", on_seconds=120.0),
            ]
        ),
        longest_run_seconds=st.sampled_from([None, 60.0, 150.0]),
    ),
    min_size=1,
    max_size=4,
    unique_by=lambda one: one.from_ms,
)


def folded(
    readings: Sequence[Reading],
    stretches: Sequence[Stretch],
    limits: Sequence[DatedLimits],
    until_ms: int,
) -> list[Episode]:
    return [
        *overheat_episodes(readings, limits, until_ms=until_ms),
        *duty_episodes(stretches, limits, until_ms=until_ms),
        *long_run_episodes(stretches, limits, until_ms=until_ms),
    ]


# --- order and the present ------------------------------------------------------------------------


@given(READINGS, STRETCHES, LIMITS, INSTANTS, st.randoms(use_true_random=False))
def test_the_order_of_the_facts_and_their_repetition_do_not_matter(
    readings: list[Reading],
    stretches: list[Stretch],
    limits: list[DatedLimits],
    until_ms: int,
    dice: random.Random,
) -> None:
    expected = folded(readings, stretches, limits, until_ms)
    others = [[*readings, *readings], [*stretches, *stretches], [*limits]]
    for facts in others:
        dice.shuffle(facts)
    assert folded(others[0], others[1], others[2], until_ms) == expected


@given(READINGS, STRETCHES, LIMITS, INSTANTS)
def test_an_answer_at_an_instant_is_that_of_the_facts_up_to_it(
    readings: list[Reading], stretches: list[Stretch], limits: list[DatedLimits], until_ms: int
) -> None:
    known_readings = [one for one in readings if one.at_ms <= until_ms]
    known_stretches = [
        Stretch(one.started_ms, min(one.ended_ms, until_ms))
        for one in stretches
        if one.started_ms <= until_ms
    ]
    first = min(limits, key=lambda one: one.from_ms)
    known_limits = [one for one in limits if one.from_ms <= until_ms or one is first]
    assert folded(readings, stretches, limits, until_ms) == folded(
        known_readings, known_stretches, known_limits, until_ms
    )


@given(READINGS, STRETCHES, LIMITS, INSTANTS, INSTANTS)
def test_what_was_closed_once_is_told_the_same_way_ever_after(
    readings: list[Reading],
    stretches: list[Stretch],
    limits: list[DatedLimits],
    one_ms: int,
    other_ms: int,
) -> None:
    earlier = folded(readings, stretches, limits, min(one_ms, other_ms))
    later = folded(readings, stretches, limits, max(one_ms, other_ms))
    assert [one for one in earlier if one.closed_at_ms is not None and one not in later] == []
    opened = {(one.kind, one.opened_at_ms) for one in later}
    assert [one for one in earlier if (one.kind, one.opened_at_ms) not in opened] == []


@given(READINGS, STRETCHES, LIMITS, INSTANTS)
def test_episodes_of_a_kind_follow_each_other_and_only_the_last_is_open(
    readings: list[Reading], stretches: list[Stretch], limits: list[DatedLimits], until_ms: int
) -> None:
    episodes = folded(readings, stretches, limits, until_ms)
    for kind in ("motor_overheat", "duty_exceeded", "long_run"):
        own = [one for one in episodes if one.kind == kind]
        instants: list[int] = []
        for one in own:
            closed = until_ms + 1 if one.closed_at_ms is None else one.closed_at_ms
            assert closed <= until_ms or one is own[-1]
            instants += [one.opened_at_ms, closed]
        assert instants == sorted(instants)
        assert all(a < b for a, b in zip(instants[::2], instants[1::2], strict=True))


# --- where a fold may begin -----------------------------------------------------------------------


@given(READINGS, STRETCHES, LIMITS, INSTANTS)
def test_a_fold_from_a_quiet_instant_on_continues_the_fold_before_it(
    readings: list[Reading], stretches: list[Stretch], limits: list[DatedLimits], before_ms: int
) -> None:
    quiet_ms = quiet_before_ms(
        readings, stretches, limits, before_ms=before_ms, window_from_ms=None
    )
    assert quiet_ms is not None
    assert quiet_ms <= before_ms
    whole = folded(readings, stretches, limits, END)
    earlier = folded(
        [one for one in readings if one.at_ms < quiet_ms],
        [one for one in stretches if one.started_ms < quiet_ms],
        limits,
        END,
    )
    later = folded(
        [one for one in readings if one.at_ms >= quiet_ms],
        [one for one in stretches if one.started_ms >= quiet_ms],
        limits,
        END,
    )
    assert sorted(map(repr, whole)) == sorted(map(repr, [*earlier, *later]))
    assert all(one.closed_at_ms is not None and one.closed_at_ms <= quiet_ms for one in earlier)
    assert all(one.opened_at_ms >= quiet_ms for one in later)


@given(READINGS, STRETCHES, LIMITS, INSTANTS, st.integers(0, 10_000_000))
def test_a_window_finds_the_same_quiet_instant_as_the_whole_or_none(
    readings: list[Reading],
    stretches: list[Stretch],
    limits: list[DatedLimits],
    before_ms: int,
    width_ms: int,
) -> None:
    from_ms = before_ms - width_ms
    found = quiet_before_ms(
        [one for one in readings if one.at_ms >= from_ms],
        [one for one in stretches if one.ended_ms > from_ms],
        limits,
        before_ms=before_ms,
        window_from_ms=from_ms,
    )
    whole = quiet_before_ms(readings, stretches, limits, before_ms=before_ms, window_from_ms=None)
    assert found in (None, whole)
    if width_ms < 900_000:
        assert found is None


@given(READINGS, STRETCHES, INSTANTS)
def test_no_later_instant_would_have_been_quiet(
    readings: list[Reading], stretches: list[Stretch], before_ms: int
) -> None:
    quiet_ms = quiet_before_ms(readings, stretches, PLATE, before_ms=before_ms, window_from_ms=None)
    assert quiet_ms is not None

    def is_quiet(now: int) -> bool:
        return not any(now - 900_000 <= one.at_ms < now for one in readings) and not any(
            one.started_ms < now and one.ended_ms > now - 600_000
            for one in stretches
            if one.ended_ms > one.started_ms
        )

    assert is_quiet(quiet_ms)
    borders = [one.at_ms + step for one in readings for step in (0, 900_000, 900_001)]
    borders += [one.started_ms for one in stretches]
    borders += [one.ended_ms + 600_000 for one in stretches]
    for now in [*borders, before_ms]:
        assert not (quiet_ms < now <= before_ms and is_quiet(now))


@pytest.mark.parametrize(
    ("before_seconds", "from_seconds", "expected_seconds"),
    [
        (500, None, 0),  # the cycle still holds the run: back to its start
        (699.999, None, 0),
        (700, None, 700),  # 600 s after its end
        (5000, None, 5000),
        (5010, None, 5000),  # within the reading's quarter of an hour: back to the reading
        (5900, None, 5000),
        (5900.001, None, 5900.001),
        (7000, 6100, 7000),  # the window must be as long as the longest memory
        (7000, 6100.001, None),
        (5010, 4500, None),
    ],
)
def test_quiet_is_where_every_memory_has_ended(
    before_seconds: float, from_seconds: float | None, expected_seconds: float | None
) -> None:
    found = quiet_before_ms(
        [Reading(5_000_000, 70.0)],
        [Stretch(0, 100_000)],
        PLATE,
        before_ms=round(before_seconds * 1000),
        window_from_ms=None if from_seconds is None else round(from_seconds * 1000),
    )
    assert found == (None if expected_seconds is None else round(expected_seconds * 1000))


def test_a_short_memory_does_not_hide_a_longer_one_behind_it() -> None:
    readings = [Reading(5_000_000, 70.0)]  # to 5900 s, the run in it only to 5710 s
    run = [Stretch(5_100_000, 5_110_000)]
    for before_ms, expected_ms in ((5_800_000, 5_000_000), (5_900_001, 5_900_001)):
        assert expected_ms == quiet_before_ms(
            readings, run, PLATE, before_ms=before_ms, window_from_ms=None
        )


def test_memories_that_meet_leave_no_instant_between_them() -> None:
    run = [Stretch(0, 100_000)]  # quiet again from 700 s on
    for read_ms, expected_ms in ((699_999, 0), (700_000, 700_000)):
        assert expected_ms == quiet_before_ms(
            [Reading(read_ms, 70.0)], run, PLATE, before_ms=701_000, window_from_ms=None
        )


@pytest.mark.parametrize("rated", [None, RatedDuty("continuous")])
def test_without_a_cycle_to_keep_only_the_bridge_between_pulses_is_remembered(
    rated: RatedDuty | None,
) -> None:
    limits = [DatedLimits(START, rated=rated, longest_run_seconds=60.0)]
    for before_ms, expected_ms in ((101_999, 0), (102_000, 102_000)):
        assert expected_ms == quiet_before_ms(
            [], [Stretch(0, 100_000)], limits, before_ms=before_ms, window_from_ms=None
        )


# --- the parts ------------------------------------------------------------------------------------


def test_the_first_limits_hold_before_their_own_instant_too() -> None:
    first, second = DatedLimits(100), DatedLimits(200)
    assert [one.limits for one in spans_in_force([second, first], until_ms=50)] == [first]
    spans = spans_in_force([second, first], until_ms=200)
    assert [(one.last_ms, one.limits) for one in spans] == [(199, first), (200, second)]
    assert spans_in_force([], until_ms=0) == ()


def test_two_limits_from_one_instant_are_refused() -> None:
    with pytest.raises(ValueError, match="same instant, 5 ms"):
        spans_in_force([DatedLimits(5), DatedLimits(5, limit_celsius=80.0)], until_ms=9)


@pytest.mark.parametrize(("bridged_ms", "count"), [(0, 2), (10, 2), (11, 1)])
def test_only_a_gap_shorter_than_the_bridge_is_closed(bridged_ms: int, count: int) -> None:
    starts, ends = motor_on([Stretch(0, 5), Stretch(15, 20)], until_ms=99, bridged_ms=bridged_ms)
    assert starts.size == ends.size == count


def test_motor_time_is_cut_off_and_never_of_length_zero() -> None:
    runs = [Stretch(7, 9), Stretch(0, 5), Stretch(3, 3)]
    for until_ms, expected in ((9, [[0, 7], [5, 9]]), (8, [[0, 7], [5, 8]]), (7, [[0], [5]])):
        assert [side.tolist() for side in motor_on(runs, until_ms=until_ms)] == expected


@given(
    st.lists(st.sampled_from(["on", "off", "both", "none"])),
    st.booleans(),
)
def test_a_switch_keeps_its_state_until_it_is_thrown(thrown: list[str], before: bool) -> None:
    state, expected = before, []
    for one in thrown:
        state = {"on": True, "both": True, "off": False, "none": state}[one]
        expected.append(state)
    found = held_since(
        np.array([one in ("on", "both") for one in thrown], dtype=bool),
        np.array([one in ("off", "both") for one in thrown], dtype=bool),
        is_set_before=before,
    )
    assert found.tolist() == expected


def test_an_episode_can_be_kept_in_a_set() -> None:
    readings = [Reading(START, 81.0)]
    one, other = (overheat_episodes(readings, PLATE, until_ms=END)[0] for _ in range(2))
    assert {one} == {other}
