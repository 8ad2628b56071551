"""The simulation's bars on few sets; ``calibration.py`` beside this prints the full tables."""

from __future__ import annotations

from collections import Counter

import pytest

from simulations.calibration import main, run, wrong


def test_limits_of_the_dial_hold_the_truth_and_the_confounded_is_refused() -> None:
    # of 60 sets, three standard deviations below 95 % are 86.5 %
    assert wrong(run(60, seed=11, tau_grams=6_000.0), lowest=0.865) == []


def test_what_lies_outside_the_bars_is_reported() -> None:
    good = Counter({"all": 10, "slopes": 10, "slope": 10, "setting": 10, "setting_confounded": 10})
    bad = Counter({"all": 10, "slopes": 10, "slope": 8, "setting": 10, "shifts": 10, "steps": 10,
                   "rest": 10, "only_coarser": 2})  # fmt: skip
    assert wrong({"one ladder": good, "finer as it aged": good}) == []
    assert len(wrong({"one ladder": bad, "finer as it aged": good})) == 2
    assert len(wrong({"finer as it aged": Counter({"all": 10})})) == 1


def test_the_command_prints_its_table_and_answers_with_its_code(
    capsys: pytest.CaptureFixture[str],
) -> None:
    code = main(["--sets", "2", "--seed", "3"])
    printed = capsys.readouterr().out
    assert printed.count("one ladder") >= 3
    assert code in (0, 1)
    assert (code == 1) == ("cover" in printed or "told although" in printed)
