"""The simulation's bars, on few runs; ``stream.py`` beside this prints the full tables."""

from __future__ import annotations

import math
from collections import Counter

import pytest

from simulations.stream import TRUTHS, Calls, broken_bars, main, simulate

BY_NAME = {truth.name: truth for truth in TRUTHS}


@pytest.mark.parametrize("tau", [6.0, 12.0])
def test_flow_is_hardly_ever_called_steady_too_early(tau: float) -> None:
    truth = next(truth for truth in TRUTHS if truth.tau == tau)
    calls = simulate(truth, ("recorded", "unrecorded"), runs=6, seed=7)
    # in the full tables 0 and 0.7 %
    assert calls["recorded"].early <= 1 / 6
    assert calls["unrecorded"].verdicts == {"setting_unrecorded": 6}


def test_who_ignores_the_setting_calls_slow_burrs_steady() -> None:
    calls = simulate(BY_NAME["very slow, tau 25"], ("recorded", "ignored"), runs=3, seed=7)
    assert calls["ignored"].early == 1.0
    assert calls["recorded"].early == 0.0


def test_what_lies_outside_the_bars_is_reported() -> None:
    truth = BY_NAME["98 mm like, tau 6"]
    early = Calls(truth, (5.0, *(30.0,) * 9), Counter({"flow_steadied": 10}))
    good = Calls(truth, (20.0,) * 10, Counter({"flow_steadied": 10}))
    refused = Calls(truth, (None,) * 10, Counter({"setting_unrecorded": 10}))
    assert early.early == pytest.approx(0.1)
    assert broken_bars([{"recorded": good, "unrecorded": refused}]) == []
    assert len(broken_bars([{"recorded": early, "unrecorded": good}])) == 2


def test_the_truths_steady_when_their_equation_says_so() -> None:
    assert BY_NAME["98 mm like, tau 6"].settles_kilograms() == pytest.approx(
        6 * math.log(5), abs=0.1
    )
    assert BY_NAME["flat"].settles_kilograms() == 0.0


def test_the_command_prints_its_tables_and_answers_with_its_code(
    capsys: pytest.CaptureFixture[str],
) -> None:
    code = main(["--runs", "1", "--seed", "3", "--kilograms", "11"])
    printed = capsys.readouterr().out
    assert code == (1 if "outside the bar" in printed else 0)
    assert printed.count("setting_unrecorded 1") == 18
