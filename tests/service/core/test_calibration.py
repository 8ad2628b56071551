"""The dial: a golden case by hand, truths that stay what they are when told otherwise, refusals."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burrline_service.core.better_or_coarser import shift_by_break_in
from burrline_service.core.calibration import calibrate, flow_shift_setting
from burrline_service.core.calibration_answers import CalibrationAnswer, FlowSlope
from burrline_service.core.calibration_report import report_calibration
from burrline_service.core.entered import Checkpoint
from burrline_service.core.fieller import ratio_limits
from burrline_service.core.joining import Seating
from burrline_service.core.ladder import plan_ladder
from burrline_service.core.records import BurrSet, Grind
from burrline_service.core.redial import redial
from burrline_service.core.setting_fit import SettingFit
from burrline_service.core.setting_lines import crossing, line_at
from burrline_service.core.setting_steps import Step, example_steps, select_steps
from burrline_service.core.settling_series import Rule
from burrline_service.core.stage_facts import GrindFacts
from made_checkpoints import AT, checkpoint, checkpoint_sets

GRIND = Grind(setting_step=0.5, low_setting=1.0, high_setting=12.0, coarser="higher")
BURRS = BurrSet("north-98-a", "flat", AT, 98.0, prior_grams=0.0)
DAY = timedelta(days=1)


def fitted(rows: list[Step]) -> SettingFit:
    found = calibrate(rows)
    assert found.d50 is not None
    return found.d50


def ground(number: int, setting: float, *, kilograms: float, **more: Any) -> Checkpoint:
    """Burrs of 300 um at setting 5 that coarsen by 12 % with tau 6 kg; 5 % per unit of the dial."""
    done = -math.expm1(-kilograms / 6)
    log_d50 = math.log(300) + 0.12 * done + 0.05 * (setting - 5)
    fines = 0.14 - 0.2 * (log_d50 - math.log(300)) + more.pop("rest", -0.03) * done
    offs = (-0.01, 0.0, 0.01)
    return checkpoint(
        number,
        tuple(math.exp(log_d50 + off) for off in offs),
        tuple(fines + off / 10 for off in offs),
        setting=more.pop("told", setting),
        burr_grams=1000 * kilograms,
        **more,
    )


def life(rest: float = -0.03) -> list[Checkpoint]:
    """Checkpoints new, at 5, 10 and 20 kg, and a ladder at 40 kg."""
    usual = [
        ground(number, 5.0, kilograms=kilograms, rest=rest)
        for number, kilograms in enumerate((0, 5, 10, 20))
    ]
    ladder = [
        ground(4 + number, setting, kilograms=40, session_id="ladder", rest=rest)
        for number, setting in enumerate((7.0, 3.0, 5.0))
    ]
    return usual + ladder


def report(checkpoints: list[Checkpoint], grind: Grind = GRIND, **more: Any) -> CalibrationAnswer:
    seatings = more.pop("seatings", ())
    facts = GrindFacts(BURRS, 40_000.0, checkpoints=tuple(checkpoints), seatings=tuple(seatings))
    asked = {"reference_d50_micrometres": 300.0, "retained_grams": 4.0} | more
    return report_calibration(
        facts, AT + 60 * DAY, grinder_id="bar-1", grind=grind, shown_grinder_ids={"bar-1"}, **asked
    )


# --- by hand --------------------------------------------------------------------------------------


def test_the_golden_ladder_comes_out_as_worked_by_hand() -> None:
    """Settings 4, 6, 5 in one sitting, doses 0.01 apart in ln D50, on a line without any rest.

    s_w^2 = 3 * 2 * 0.01^2 / 6 = 1e-4; a mean's variance 1e-4 / 3; the slope's that / 2 = 1.6667e-5,
    sd 0.0040825. t(0.975; 6) = 2.446912 (table). A level has 1e-4 / 9 and the sitting's 0.01^2.
    """
    found = calibrate(example_steps())
    slope = found.log_d50_per_setting
    assert slope.best == pytest.approx(0.05, abs=1e-9)
    assert slope.low == pytest.approx(0.05 - 2.446912 * 0.0040825, abs=1e-6)
    assert slope.high == pytest.approx(0.05 + 2.446912 * 0.0040825, abs=1e-6)
    # one unit coarser: (x 0.05 - 0.05)^2 = 5.987378 (1.1111e-4 + 1.6667e-5 x^2)
    square, half, free = 0.0025 - 9.97896e-5, 0.0025, 0.0025 - 6.65264e-4
    root = math.sqrt(half**2 - square * free)
    fit = fitted(example_steps())
    low, best, high = crossing(fit, line_at(fit, 0.0, less_response=math.log(300) + 0.05))
    assert best == pytest.approx(1.0, abs=1e-9)
    assert low == pytest.approx((half - root) / square, abs=1e-5)
    assert high == pytest.approx((half + root) / square, abs=1e-5)


def test_a_break_in_without_noise_is_split_into_its_steps_and_the_rest() -> None:
    # 12 % of ln D50 less the e^(-40/6) that is to come, over 0.05 a unit, two steps a unit
    found = report(life()).break_in_shift
    done = -math.expm1(-40 / 6)
    assert found.equal_steps.best == pytest.approx(0.12 * done / 0.05 / 0.5, rel=0.01)
    assert found.fines_change_at_equal_d50.best == pytest.approx(-0.03 * done, rel=0.02)
    assert found.verdict == "fewer_fines"
    same = report(life(rest=0.0)).break_in_shift
    assert same.fines_change_at_equal_d50.best == pytest.approx(0.0, abs=1e-4)
    # the limits reach beyond one percentage point: open, never "only coarser"
    assert same.verdict == "undecided"
    rows = select_steps(life(rest=0.0)).rows
    calm = calibrate(rows, Rule(d50_session_fraction=0.002, fines_session_fraction=0.001))
    assert calm.d50 is not None
    sure = shift_by_break_in(calm.d50, calm.fines, to_grams=40_000.0, step_setting=0.5)
    assert sure.verdict == "only_coarser"
    rest = sure.fines_change_at_equal_d50
    assert rest.low is not None and rest.high is not None
    assert -0.01 <= rest.low < 0 < rest.high <= 0.01


# --- told otherwise -------------------------------------------------------------------------------


@settings(max_examples=10)
@given(seed=st.integers(0, 10_000))
def test_the_order_of_the_checkpoints_changes_nothing(seed: int) -> None:
    mixed = life()
    random.Random(seed).shuffle(mixed)
    assert report(mixed) == report(life())


def test_another_unit_of_the_dial_changes_no_step() -> None:
    tenfold = [replace(one, setting=10 * (one.setting or 0.0)) for one in life()]
    dial = Grind(setting_step=5.0, low_setting=10.0, high_setting=120.0, coarser="higher")
    found, other = report(life()), report(tenfold, dial)
    assert other.redials[0].steps_count == found.redials[0].steps_count == -5
    assert other.redials[0].setting == 25.0
    assert other.grind.d50_micrometres_per_step.low == pytest.approx(
        found.grind.d50_micrometres_per_step.low, rel=1e-6
    )
    assert other.break_in_shift.equal_steps.high == pytest.approx(
        found.break_in_shift.equal_steps.high, rel=1e-6
    )


def test_a_mirrored_dial_gives_the_mirrored_answer() -> None:
    mirrored = [replace(one, setting=13 - (one.setting or 0.0)) for one in life()]
    dial = Grind(setting_step=0.5, low_setting=1.0, high_setting=12.0, coarser="lower")
    found, other = report(life()), report(mirrored, dial)
    one, two = found.redials[0], other.redials[0]
    assert (one.setting, one.steps_count) == (2.5, -5)
    assert (two.setting, two.steps_count) == (13 - 2.5, -5)
    assert two.exact_setting.low == pytest.approx(13 - (one.exact_setting.high or 0.0), abs=1e-6)
    for name in ("low", "best", "high"):
        for part, field in (
            ("grind", "d50_micrometres_per_step"),
            ("grind", "fines_fraction_per_step"),
            ("break_in_shift", "equal_steps"),
            ("break_in_shift", "fines_change_at_equal_d50"),
        ):
            values = [getattr(getattr(getattr(a, part), field), name) for a in (found, other)]
            assert values[0] == pytest.approx(values[1], rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("coarser", ["higher", "lower"])
def test_half_a_step_goes_to_the_coarser_side(coarser: Any) -> None:
    sign = 1 if coarser == "higher" else -1
    dial = Grind(setting_step=0.5, coarser=coarser)
    for shift, count in ((0.25, 1), (-0.25, 0), (0.74, 1), (-0.76, -2)):
        found = redial(
            "d50", 5.0, (sign * shift - 0.1, sign * shift, sign * shift + 0.1), dial,
            is_higher_coarser=sign > 0, retained_grams=None,
        )  # fmt: skip
        assert (found.steps_count, found.setting) == (count, 5.0 + sign * 0.5 * count)
        assert found.verdict == ("turn" if count else "stay")


@settings(max_examples=25)
@given(checkpoint_sets())
def test_whatever_is_sent_gets_an_answer(sent: list[Checkpoint]) -> None:
    found = report(sent)
    assert found.sentence
    assert found.ladder is not None or found.verdict == "calibrated"


# --- refusals and their reasons -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kept", "changes", "verdict"),
    [
        (0, {}, "no_checkpoints"),
        (4, {"told": None}, "setting_unrecorded"),
        (1, {}, "too_few_checkpoints"),
        (4, {}, "one_setting_only"),
    ],
)
def test_what_cannot_be_told_says_what_is_missing(
    kept: int, changes: dict[str, Any], verdict: str
) -> None:
    made = [ground(number, 5.0, kilograms=5 * number, **changes) for number in range(kept)]
    found = report(made)
    assert found.verdict == verdict
    assert found.redials == ()
    assert found.ladder is not None
    assert (found.ladder.settings == (6.5, 3.5, 5.0)) == (verdict in (
        "too_few_checkpoints", "one_setting_only",
    ))  # fmt: skip


def test_setting_and_age_that_went_along_with_each_other_are_confounded() -> None:
    made = [ground(number, 5.0 - number / 2, kilograms=5 * number) for number in range(4)]
    found = report(made)
    assert found.verdict == "setting_confounded"
    assert found.grind.log_d50_per_setting.best is None
    assert found.break_in_shift.verdict == "setting_confounded"
    # a ladder in one sitting beside them resolves it
    ladder = [
        ground(10 + number, setting, kilograms=20, session_id="ladder")
        for number, setting in enumerate((7.0, 3.0, 5.0))
    ]
    told = report(made + ladder)
    assert told.verdict == "calibrated"
    slope = told.grind.log_d50_per_setting
    assert slope.low is not None and slope.high is not None
    assert slope.low < 0.05 < slope.high


def test_the_kilograms_within_a_sitting_are_no_age() -> None:
    """Doses of a ladder lie some 100 g apart, in the very order of its settings."""
    ladder = [
        ground(number, setting, kilograms=20 + number / 10, session_id="ladder")
        for number, setting in enumerate((3.0, 5.0, 7.0))
    ]
    assert report(ladder).verdict == "calibrated"


def test_settings_too_close_for_their_scatter_propose_nothing() -> None:
    near = [
        ground(number, setting, kilograms=20, session_id="ladder")
        for number, setting in enumerate((5.1, 4.9, 5.0))
    ]
    found = report(near)
    assert found.verdict == "slope_unclear"
    (turn,) = found.redials
    assert (turn.verdict, turn.setting) == ("slope_unclear", None)
    assert (turn.exact_setting.low, turn.exact_setting.high) == (None, None)
    assert turn.exact_setting.best is not None


def test_a_dial_that_ends_before_is_said_so() -> None:
    short = replace(GRIND, low_setting=3.0)
    (turn,) = report(life(), short).redials
    assert (turn.verdict, turn.setting, turn.steps_count) == ("beyond_dial", None, None)
    assert "beyond the dial" in turn.sentence


def test_a_plate_that_says_the_dial_the_other_way_round_is_contradicted() -> None:
    found = report(life(), replace(GRIND, coarser="lower"))
    assert "dial_contradicts_plate" in {one.code for one in found.cautions}
    assert found.redials[0].steps_count == -5


def test_a_reference_checkpoint_is_what_was_measured_there() -> None:
    named = report(life(), reference_d50_micrometres=None, reference_checkpoint_id="c0")
    assert named.reference is not None
    assert named.reference.d50_micrometres == pytest.approx(300.0, rel=1e-3)
    assert named.redials[0].steps_count == -5
    settled = report(life(), reference_d50_micrometres=None)
    assert settled.reference is not None
    assert settled.reference.basis == "settled_checkpoint"
    assert settled.redials[0].verdict == "stay"
    few = report(life()[4:], reference_d50_micrometres=None)
    assert few.redials[0].verdict == "no_reference"
    odd = [replace(life()[0], instrument_id="lab-9"), *life()[1:]]
    lost = report(odd, reference_d50_micrometres=None, reference_checkpoint_id="c0")
    assert lost.redials[0].verdict == "reference_unusable"


def test_another_seating_shifts_the_level_and_leaves_the_slope() -> None:
    made = life()
    out = [Seating(AT + 3.5 * DAY, 1.5)]
    moved = [
        replace(one, setting=(one.setting or 0) + 1.5) if one.ground_at > out[0].at else one
        for one in made
    ]
    found, other = report(made), report(moved, seatings=out)
    assert other.zero_setting == 1.5
    assert "reseated" in {one.code for one in other.cautions}
    assert other.grind.log_d50_per_setting.best == pytest.approx(
        found.grind.log_d50_per_setting.best, rel=0.02
    )
    since = report(made, seatings=[Seating(AT + 50 * DAY)])
    assert "reseated_since" in {one.code for one in since.cautions}


# --- flow and ladder ------------------------------------------------------------------------------


def test_the_flow_enters_by_its_slope_and_level() -> None:
    flow = FlowSlope(0.04, 0.004, 40, 5.0, math.log(2.2), 0.01)
    found = report(life(), flow=flow, reference_grams_per_second=2.0)
    assert found.flow.verdict == "calibrated"
    assert found.flow.grams_per_second_per_step.best == pytest.approx(0.04 * 0.5 * 2.0)
    turn = found.redials[1]
    best = math.log(2.0 / 2.2) / 0.04
    assert turn.exact_setting.best == pytest.approx(5 + best)
    assert turn.setting == 2.5
    limits = flow_shift_setting(flow, 2.0)
    assert limits is not None
    assert limits[0] < best < limits[2]
    unclear = report(life(), flow=replace(flow, sd_ratio=0.04), reference_grams_per_second=2.0)
    assert unclear.flow.verdict == "flow_unclear"
    assert unclear.redials[1].verdict == "slope_unclear"


def test_a_ratio_with_a_denominator_that_may_be_nothing_has_no_limits() -> None:
    wide = ratio_limits(1.0, 0.1, numerator_squares=0.01, denominator_squares=0.01, t_ratio=2.0)
    assert wide == (-math.inf, math.inf)
    with pytest.raises(ValueError, match="finite"):
        ratio_limits(math.nan, 1.0, numerator_squares=0, denominator_squares=0, t_ratio=2.0)
    with pytest.raises(ValueError, match="negative"):
        ratio_limits(1.0, 1.0, numerator_squares=-1, denominator_squares=0, t_ratio=2.0)


@pytest.mark.parametrize(
    ("setting", "dial", "settings_told"),
    [
        (5.0, GRIND, (6.5, 3.5, 5.0)),
        (5.0, replace(GRIND, coarser="lower"), (3.5, 6.5, 5.0)),
        (1.0, GRIND, (4.0, 2.5, 1.0)),  # at the end of the dial both others lie on one side
        (12.0, GRIND, (10.5, 9.0, 12.0)),
        (5.0, Grind(low_setting=0.0, high_setting=10.0), (6.0, 4.0, 5.0)),
        (5.0, Grind(), ()),
        (None, GRIND, ()),
        (20.0, GRIND, ()),
    ],
)
def test_a_ladder_stays_on_the_dial_and_ends_where_it_is_used(
    setting: float | None, dial: Grind, settings_told: tuple[float, ...]
) -> None:
    found = plan_ladder(setting, dial, retained_grams=3.0)
    assert found.settings == settings_told
    assert found.total_grams == 9 * 25 + 3 * 3
    rough = plan_ladder(5.0, GRIND, retained_grams=None, log_d50_per_setting_ratio=0.05)
    assert rough.settings == (6.5, 3.5, 5.0)  # 6 % of ln D50 is 1.2 units, three whole steps
    assert (rough.purge_grams, rough.total_grams) == (None, None)
