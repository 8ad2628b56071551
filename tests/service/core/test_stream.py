"""The rule for ordinary runs: what it needs, what it says, and that it only knows the facts."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burrline_service.core.stream import assess_stream
from burrline_service.core.stream_doubts import level_cautions, unrecorded_reason
from burrline_service.core.stream_eligible import fold_runs
from burrline_service.core.stream_sentences import CAUTIONS, LEFT_OUT, Stream, stream_sentence
from burrline_service.core.stream_sessions import (
    BIN_MG,
    Close,
    SessionCell,
    Sessions,
    read_sessions,
)
from simulations.stream import FIRST_DAY, TRUTHS, Ground, grind

LAST = FIRST_DAY + 1000
VERDICTS = (
    "flow_steadied", "not_steady", "undecided", "steady_so_far", "setting_confounded",
    "setting_unrecorded", "feed_unrecorded", "no_evidence", "too_few_sessions", "too_little_span",
    "too_few_repeats", "too_many_changes",
)  # fmt: skip


def made_days(
    days: int,
    *,
    change: float = 0.15,
    tau: float = 6.0,
    grinds: int = 25,
    day_grams: int = 1000,
    setting_of: tuple[int, ...] = (0, -1),
    lot_of_day: bool = False,
    noise: float = 0.04,
    ripple: float = 0.003,
) -> Sessions:
    """Two cells a day whose means lie on the curve but for a ripple; scatter within as given."""
    cells, closes = [], []
    for day in range(days):
        for half in range(2):
            place_mg = round(1000 * day_grams * (day + 0.25 + 0.5 * half))
            setting = setting_of[(2 * day + half) % len(setting_of)]
            u = 0.9 - change * math.exp(-place_mg / 1e6 / tau) + 0.04 * setting
            micro = round(1e6 * (u + ripple * math.sin(7 * day)))
            cells.append(
                SessionCell(
                    FIRST_DAY + day, place_mg // BIN_MG, 1000 * setting, 0, 2, None, None,
                    f"lot-{day}" if lot_of_day else "K-7", grinds, grinds * micro,
                    grinds * micro**2 + round((grinds - 1) * (1e6 * noise) ** 2),
                    2 * grinds * place_mg,
                )
            )  # fmt: skip
        closes.append(Close(FIRST_DAY + day, 1000 * day_grams * (day + 1)))
    return Sessions(tuple(cells), tuple(closes))


@pytest.fixture(scope="module")
def ground() -> Ground:
    return grind(TRUTHS[0], np.random.default_rng(11))


def test_burrs_that_have_settled_are_told_by_their_runs() -> None:
    found = assess_stream(made_days(40), closed_before=LAST)
    assert (found.decision, found.verdict) == ("steadied", "flow_steadied")
    assert found.steadied_session is not None
    assert found.steadied_grams == 1000 * (found.steadied_session - FIRST_DAY + 1)
    # 0.15 exp(-m / 6) is 0.03 at 9.7 kg: never before that
    assert 9_700 < found.steadied_grams < 25_000
    low, best, high = (getattr(found.tau_grams, name) for name in ("low", "best", "high"))
    assert low < 6_000 < high
    assert best == pytest.approx(6_000, rel=0.25)
    assert found.setting_slope_ratio == pytest.approx(0.04, abs=0.005)
    settled = found.settled_grams_per_second
    # the last setting used most is -1 or 0, one cell each a day: the lower one
    assert settled.low < math.exp(0.9 + 0.04 * found.reference_setting) < settled.high


def test_a_call_takes_three_closes_in_a_row_and_then_stands() -> None:
    sessions = made_days(40)
    called = assess_stream(sessions, closed_before=LAST).steadied_session
    assert called is not None
    rows = [assess_stream(sessions, closed_before=called + offset) for offset in (-1, 0, 1, 2, 10)]
    assert [row.verdict for row in rows] == [
        "steady_so_far", "steady_so_far", "flow_steadied", "flow_steadied", "flow_steadied",
    ]  # fmt: skip
    assert [row.closes_in_row_count for row in rows[:3]] == [1, 2, 3]
    assert {row.steadied_session for row in rows[2:]} == {called}


def test_what_is_said_of_a_past_day_is_what_was_said_then(ground: Ground) -> None:
    whole = ground.sessions()
    called = assess_stream(whole, closed_before=LAST).steadied_session
    assert called is not None
    for day in (9, 15, 21, called - FIRST_DAY, 33):
        then = FIRST_DAY + day
        places = {hour: place for hour, place in ground.places.items() if place.session < then}
        runs = [run for run in ground.runs if run.started_ms // 3_600_000 in places]
        only = assess_stream(read_sessions(fold_runs(runs), places), closed_before=then)
        assert assess_stream(whole, closed_before=then) == only
        assert only.steadied_session == (called if called < then else None)


def test_the_order_in_which_runs_came_leaves_no_trace(ground: Ground) -> None:
    runs = list(ground.runs)
    random.Random(5).shuffle(runs)
    shuffled = Ground(runs, dict(sorted(ground.places.items(), reverse=True)))
    expected = assess_stream(ground.sessions(), closed_before=LAST)
    assert assess_stream(shuffled.sessions(), closed_before=LAST) == expected


def test_a_call_that_later_days_contradict_stands_with_a_caution() -> None:
    flat, rising = made_days(35, change=0.0), made_days(70, change=2.5, tau=40.0)
    later = tuple(cell for cell in rising.cells if cell.session >= FIRST_DAY + 35)
    shift = later[0].sum_micro // later[0].grinds_count - 900_000
    later = tuple(
        cell._replace(
            sum_micro=cell.sum_micro - shift * cell.grinds_count,
            sum_squares_micro=cell.sum_squares_micro
            - 2 * shift * cell.sum_micro
            + shift**2 * cell.grinds_count,
        )
        for cell in later
    )
    found = assess_stream(Sessions(flat.cells + later, rising.closes), closed_before=LAST)
    assert found.verdict == "flow_steadied"
    assert found.least_to_come_ratio > 0.03
    assert found.cautions == ("moves_again",)


def test_a_day_that_is_not_closed_does_not_count() -> None:
    sessions = made_days(12)
    found = assess_stream(sessions, closed_before=FIRST_DAY + 11)
    assert (found.last_session, found.sessions_count) == (FIRST_DAY + 10, 11)


def test_without_a_recorded_setting_nothing_is_concluded(ground: Ground) -> None:
    found = assess_stream(ground.without_setting().sessions(), closed_before=LAST)
    assert (found.decision, found.verdict) == ("not_enough_data", "setting_unrecorded")
    assert dict(found.left_out) == {"setting_unrecorded": len(ground.runs)}
    bare = Ground([run._replace(feed=None) for run in ground.runs], ground.places)
    assert assess_stream(bare.sessions(), closed_before=LAST).verdict == "feed_unrecorded"


def confounded() -> Sessions:
    """The setting is moved over night only, every fourth day, as the flow rises."""
    return made_days(20, setting_of=tuple(-(place // 8) for place in range(40)), ripple=0.03)


def unlike() -> Sessions:
    return made_days(14, lot_of_day=True, grinds=4)


@pytest.mark.parametrize(
    ("sessions", "verdict"),
    [
        (Sessions(), "no_evidence"),
        (Sessions(left_out={"not_timed": 9}), "no_evidence"),
        (made_days(9), "too_few_sessions"),
        (made_days(12, day_grams=300), "too_little_span"),
        (made_days(12, grinds=1), "too_few_repeats"),
        (made_days(12, noise=0.0, grinds=2), "too_few_repeats"),
        (unlike(), "too_many_changes"),
        (confounded(), "setting_confounded"),
        (made_days(12, change=0.4, tau=20.0), "not_steady"),
        (made_days(13), "undecided"),
    ],
)
def test_what_runs_cannot_tell_is_said(sessions: Sessions, verdict: str) -> None:
    found = assess_stream(sessions, closed_before=LAST)
    assert found.verdict == verdict
    assert found.steadied_session is None
    assert stream_sentence(found)


def test_a_setting_that_never_moved_needs_no_slope_but_a_caution() -> None:
    found = assess_stream(made_days(40, setting_of=(5,)), closed_before=LAST)
    assert found.verdict == "flow_steadied"
    assert found.setting_slope_ratio is None
    assert found.cautions == ("setting_never_moved",)


def test_flow_that_was_always_the_same_has_steadied_once_shown() -> None:
    found = assess_stream(made_days(40, change=0.0), closed_before=LAST)
    assert found.verdict == "flow_steadied"
    assert (found.tau_grams.low, found.tau_grams.best, found.tau_grams.high) == (None, None, None)


def test_kilograms_before_the_first_run_shift_nothing_but_the_kilograms() -> None:
    sessions, shift = made_days(30), 200
    moved = Sessions(
        tuple(
            c._replace(
                bin=c.bin + shift,
                sum_twice_place_mg=c.sum_twice_place_mg + 2 * shift * BIN_MG * c.grinds_count,
            )
            for c in sessions.cells
        ),
        tuple(Close(c.session, c.to_mg + shift * BIN_MG) for c in sessions.closes),
    )
    here, there = (assess_stream(s, closed_before=LAST) for s in (sessions, moved))
    assert there.at_grams == here.at_grams + 100_000
    assert there.first_grams == 100_000
    named = ("at_grams", "first_grams", "steadied_grams")
    assert replace(there, **{name: getattr(here, name) for name in named}) == here


def test_runs_far_beyond_the_first_are_not_looked_at() -> None:
    found = assess_stream(made_days(40, day_grams=5000), closed_before=LAST)
    assert "beyond_reach" in found.cautions
    assert found.at_grams == 150_000


def test_days_that_lie_close_together_are_not_three_looks() -> None:
    # 0.2 kg a day: every fifth day is one look, of a kilogram
    found = assess_stream(made_days(140, day_grams=200, tau=2.0), closed_before=LAST)
    assert found.steadied_session is not None
    assert (found.steadied_session - FIRST_DAY + 1) % 5 == 0


@pytest.mark.parametrize("change", [0.0, -0.03, math.nan, math.inf])
def test_the_change_that_does_not_matter_is_positive(change: float) -> None:
    with pytest.raises(ValueError, match="must be positive"):
        assess_stream(Sessions(), closed_before=LAST, change_ratio=change)


def test_a_larger_change_that_does_not_matter_is_reached_sooner() -> None:
    coarse = assess_stream(made_days(40), closed_before=LAST, change_ratio=0.06)
    fine = assess_stream(made_days(40), closed_before=LAST, change_ratio=0.03)
    assert coarse.steadied_grams < fine.steadied_grams


@pytest.mark.parametrize("verdict", VERDICTS)
def test_every_verdict_has_a_sentence_even_without_numbers(verdict: str) -> None:
    sentence = stream_sentence(Stream("undecided", verdict))
    assert sentence.endswith(".")
    assert "None" not in sentence


def test_sentences_hold_their_numbers() -> None:
    found = assess_stream(made_days(12, change=0.4, tau=20.0), closed_before=LAST)
    least = math.floor(1000 * found.least_to_come_ratio) / 10
    assert f"at least {least:g} % is still to come" in stream_sentence(found)
    found = assess_stream(made_days(40), closed_before=LAST)
    assert f"at {found.steadied_grams / 1000:.1f} kg" in stream_sentence(found)


def test_unlike_evidence_is_pointed_out_in_words_that_exist() -> None:
    cells = made_days(2).cells
    other = cells[0]._replace(coffee_lot=None, seating=1)
    found = level_cautions([*cells, other], is_cut=True)
    assert found == ("lot_unrecorded", "several_levels", "seated_anew", "beyond_reach")
    assert set(found) | {"setting_never_moved", "moves_again"} == set(CAUTIONS)


def test_every_reason_for_leaving_out_has_words() -> None:
    from burrline_service.core.stream_eligible import REASONS

    read = {"burrs_out", "changed_in_hour", "feed_unrecorded", "setting_unrecorded"}
    assert set(LEFT_OUT) == {reason for reason in REASONS if reason} | read


def test_what_most_grinds_lack_is_named() -> None:
    both = Sessions(left_out={"setting_unrecorded": 5, "feed_unrecorded": 6})
    assert unrecorded_reason(both, 5) == "feed_unrecorded"
    assert unrecorded_reason(both, 6) == ""


made_cells = st.lists(
    st.builds(
        lambda day, grams, setting, seating, dose, lot, count, micro, spread: SessionCell(
            FIRST_DAY + day, (1000 * day + grams) // 500, setting, seating, dose, None, None, lot,
            count, count * micro, count * micro**2 + (count > 1) * spread**2,
            2 * count * 1000 * (1000 * day + grams),
        ),
        st.integers(0, 30), st.integers(0, 999), st.sampled_from([0, 0, 1, -250, 10**6]),
        st.integers(0, 1), st.integers(1, 54), st.sampled_from([None, "a", "b"]),
        st.sampled_from([1, 2, 30, 10**6]), st.integers(-2_300_000, 3_000_000),
        st.sampled_from([0, 1, 60_000, 3_000_000]),
    ),
    min_size=1,
    max_size=60,
)  # fmt: skip


@settings(max_examples=30, deadline=None)
@given(made_cells)
def test_any_evidence_gets_a_verdict_and_never_an_exception(cells: list[SessionCell]) -> None:
    in_order = tuple(sorted(cells, key=lambda cell: (cell.session, cell.bin)))
    found = assess_stream(Sessions(in_order), closed_before=LAST)
    assert found.verdict in VERDICTS
    assert "None" not in stream_sentence(found)
    least, most = found.least_to_come_ratio, found.most_to_come_ratio
    assert least is None or least >= 0
    assert most is None or least <= most
