"""Which checkpoints may stand on one curve."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from burrline_service.core.joining import (
    Joined,
    Seating,
    SettingSlope,
    join_checkpoints,
)
from made_checkpoints import AT, checkpoint


def reasons(joined: Joined) -> dict[str, str]:
    return {item.checkpoint_id: item.reason for item in joined.left_out}


def used(joined: Joined) -> list[str]:
    return [row.checkpoint_id for row in joined.rows]


def test_checkpoints_that_measure_one_thing_are_joined_by_their_kilograms() -> None:
    joined = join_checkpoints([checkpoint(2), checkpoint(0), checkpoint(1)])
    assert used(joined) == ["c0", "c1", "c2"]
    assert (joined.left_out, joined.cautions, joined.reference_setting) == ((), (), 7.0)
    assert joined.rows[1].burr_grams == 5000.0
    assert joined.rows[0].d50_micrometres == (300.0, 301.0, 302.0)
    assert joined.rows[0].fines_fraction == (0.13, 0.14, 0.15)


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"grinder_id": "bar-2"}, "grinder_changed"),
        ({"method": "sieve"}, "method_changed"),
        ({"instrument_id": "lab-3"}, "instrument_changed"),
        ({"instrument_id": None}, "instrument_changed"),
        ({"sieve_set_id": "stack-1"}, "sieve_set_changed"),
        ({"dispersant": "air"}, "dispersant_changed"),
        ({"rpm": 900.0}, "rpm_changed"),
        ({"rpm": None}, "rpm_changed"),
        ({"setting": 8.0}, "setting_changed"),
        ({"setting": None}, "setting_unknown"),
        ({"burr_grams": None}, "kilograms_unusable"),
        ({"burr_grams": float("nan")}, "kilograms_unusable"),
        ({"burr_grams": -1.0}, "kilograms_unusable"),
        ({"replicates": ()}, "no_usable_values"),
    ],
)
def test_a_checkpoint_of_another_kind_is_refused_with_the_reason(
    changes: dict[str, Any], reason: str
) -> None:
    joined = join_checkpoints([checkpoint(0, **changes), checkpoint(1), checkpoint(2)])
    assert used(joined) == ["c1", "c2"]
    assert reasons(joined) == {"c0": reason}


def test_the_latest_checkpoint_says_what_is_measured() -> None:
    joined = join_checkpoints([checkpoint(0), checkpoint(1), checkpoint(2, instrument_id="new")])
    assert used(joined) == ["c2"]
    assert reasons(joined) == {"c0": "instrument_changed", "c1": "instrument_changed"}


def test_a_motor_speed_that_differs_by_a_percent_is_the_same() -> None:
    assert used(join_checkpoints([checkpoint(0, rpm=1390.0), checkpoint(1)])) == ["c0", "c1"]


def test_another_cut_of_the_fines_leaves_the_d50() -> None:
    joined = join_checkpoints([checkpoint(0, fines_cut_micrometres=150.0), checkpoint(1)])
    assert used(joined) == ["c0", "c1"]
    assert reasons(joined) == {"c0": "fines_cut_changed"}
    assert joined.rows[0].fines_fraction == ()
    assert joined.rows[0].d50_micrometres != ()
    alone = checkpoint(0, (None, None, None), fines_cut_micrometres=150.0)
    assert used(join_checkpoints([alone, checkpoint(1)])) == ["c1"]


def test_values_that_cannot_be_ground_coffee_are_left_out_and_said_so() -> None:
    odd = checkpoint(0, (300.0, float("nan"), -5.0), (0.1, 1.5, None))
    joined = join_checkpoints([odd, checkpoint(1)])
    assert joined.rows[0].d50_micrometres == (300.0,)
    assert joined.rows[0].fines_fraction == (0.1,)
    assert reasons(joined) == {"c0": "values_left_out"}


def test_a_voided_checkpoint_does_not_count() -> None:
    joined = join_checkpoints([checkpoint(0, voided_at=AT), checkpoint(1)])
    assert used(joined) == ["c1"]
    assert joined.left_out == ()


def test_another_coffee_lot_is_joined_with_a_step_of_its_own() -> None:
    joined = join_checkpoints([checkpoint(0, coffee_lot="lot-0"), checkpoint(1)])
    assert used(joined) == ["c0", "c1"]
    assert joined.cautions == ("coffee_lot_changed",)
    assert [row.coffee_lot for row in joined.rows] == ["lot-0", "lot-1"]


def test_settings_are_compared_from_the_zero_point_on() -> None:
    """The zero moved by 2 with the seating: 5 before is 7 after, and 7 before is not."""
    seating = Seating(AT + timedelta(days=1, hours=12), zero_setting=3.0)
    before = [checkpoint(0, setting=5.0), checkpoint(1, setting=7.0)]
    joined = join_checkpoints([*before, checkpoint(2)], [seating], first_zero_setting=1.0)
    assert used(joined) == ["c0", "c2"]
    assert reasons(joined) == {"c1": "setting_changed"}
    assert joined.cautions == ("reseated",)
    assert [row.seating_count for row in joined.rows] == [0, 1]


def test_without_a_zero_point_the_level_step_stands_for_the_setting() -> None:
    seating = Seating(AT + timedelta(days=2, hours=12))
    before = [checkpoint(0, setting=5.0), checkpoint(1, setting=5.0), checkpoint(2, setting=6.0)]
    joined = join_checkpoints([*before, checkpoint(3)], [seating])
    assert used(joined) == ["c0", "c1", "c3"]
    assert joined.cautions == ("reseated", "zero_unknown")


def test_a_known_slope_adjusts_another_setting_and_adds_its_uncertainty() -> None:
    slope = SettingSlope(20.0, 2.0, -0.005, 0.001)
    joined = join_checkpoints([checkpoint(0, setting=6.0), checkpoint(1)], slope=slope)
    row = joined.rows[0]
    assert row.d50_micrometres == (320.0, 321.0, 322.0)
    assert row.fines_fraction == pytest.approx((0.125, 0.135, 0.145))
    assert (row.d50_shift_sd_micrometres, row.fines_shift_sd_fraction) == (2.0, 0.001)
    assert joined.cautions == ("adjusted_for_setting",)


def test_settings_that_nobody_recorded_are_joined_with_a_caution() -> None:
    joined = join_checkpoints([checkpoint(0, setting=None), checkpoint(1, setting=None)])
    assert used(joined) == ["c0", "c1"]
    assert joined.cautions == ("setting_not_recorded",)


def test_order_changes_nothing() -> None:
    made = [checkpoint(0, setting=8.0), checkpoint(1), checkpoint(2, rpm=3.0), checkpoint(3)]
    seatings = [Seating(AT + timedelta(days=d, hours=1), float(d)) for d in (0, 2)]
    assert join_checkpoints(made, seatings) == join_checkpoints(made[::-1], seatings[::-1])


def test_naive_instants_are_refused() -> None:
    with pytest.raises(ValueError, match="aware"):
        join_checkpoints([checkpoint(0, ground_at=datetime(2026, 5, 4))])  # noqa: DTZ001
    with pytest.raises(ValueError, match="aware"):
        join_checkpoints([], [Seating(datetime(2026, 5, 4))])  # noqa: DTZ001
