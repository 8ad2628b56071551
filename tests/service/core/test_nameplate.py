"""What a plate and a burr set's description may say, and how changes of them are joined."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.errors import Invalid
from burrline_service.core.nameplate import (
    DESCRIPTION_NAMES,
    INNER_NAMES,
    PLATE_NAMES,
    burr_set_of,
    composed,
    folded,
    grinder_of,
    merged,
    plain,
    without_nulls,
)
from burrline_service.core.plausible import check_description, check_plate

AT = datetime(2026, 3, 2, 12, tzinfo=UTC)
leaves = st.sampled_from([1.5, 2.0, "text", None])
patches = st.fixed_dictionaries(
    {},
    optional={
        "name": st.sampled_from(["Bar left", "Bar right"]),
        "model": leaves,
        "hopper_grams": leaves,
        **{
            name: st.none() | st.dictionaries(st.sampled_from(members), leaves, max_size=4)
            for name, members in INNER_NAMES.items()
        },
    },
)


@given(patches, patches, patches)
def test_one_composed_patch_does_what_two_do_in_turn(
    target: dict[str, Any], first: dict[str, Any], second: dict[str, Any]
) -> None:
    plate = without_nulls(target)
    assert merged(plate, composed(first, second)) == merged(merged(plate, first), second)


@given(patches, st.lists(patches, min_size=1, max_size=5))
def test_a_whole_row_of_patches_composes(target: dict[str, Any], row: list[dict[str, Any]]) -> None:
    plate = without_nulls(target)
    joined: dict[str, Any] = row[0]
    for patch in row[1:]:
        joined = composed(joined, patch)
    assert merged(plate, joined) == folded([plate, *row])


@given(patches)
def test_a_plate_holds_no_nulls(patch: dict[str, Any]) -> None:
    def nulls(value: Any) -> int:
        if isinstance(value, dict):
            return sum(nulls(inner) for inner in value.values())
        return int(value is None)

    assert nulls(without_nulls(patch)) == 0


def test_instants_are_kept_as_text_in_utc() -> None:
    elsewhere = AT.astimezone(timezone(timedelta(hours=5, minutes=45)))
    kept = plain({"retired_at": elsewhere, "motor": {"since": elsewhere}, "other": 1}, PLATE_NAMES)
    assert kept == {
        "retired_at": "2026-03-02T12:00:00+00:00",
        "motor": {"since": "2026-03-02T12:00:00+00:00"},
    }


def test_a_plate_comes_back_as_the_record_it_was() -> None:
    plate = plain(
        {
            "name": "Bar left",
            "model": "Trial 64",
            "rated_duty": {"kind": "intermittent", "duty_fraction": 0.25},
            "motor": {"rated_watts": 350.0, "thermal_class": 130},
            "grind": {"setting_step": 0.1, "coarser": "higher"},
            "hopper_grams": 1200.0,
            "retired_at": AT,
        },
        PLATE_NAMES,
    )
    found = grinder_of(plate, grinder_id="bar-1", site_id="mill-lane", created_at=AT, revision=3)
    assert (found.grinder_id, found.site_id, found.revision) == ("bar-1", "mill-lane", 3)
    assert (found.name, found.model, found.serial) == ("Bar left", "Trial 64", None)
    assert found.rated_duty is not None
    assert found.rated_duty.duty_fraction == 0.25
    assert found.motor is not None
    assert found.motor.thermal_class == 130
    assert found.grind is not None
    assert found.grind.coarser == "higher"
    assert found.retired_at == AT


def test_a_description_comes_back_as_the_record_it_was() -> None:
    kept = {"geometry": "conical", "diameter_millimetres": 68.0, "prior_grams": 0.0}
    found = burr_set_of(kept, burr_set_id="c-68", created_at=AT, revision=2, fittings=())
    assert (found.geometry, found.diameter_millimetres, found.prior_grams) == ("conical", 68.0, 0.0)
    assert found.pre_treated == "unknown"
    assert {"geometry", "prior_grams"} <= set(DESCRIPTION_NAMES)


@pytest.mark.parametrize(
    ("plate", "pointers"),
    [
        ({"rated_duty": {"on_seconds": 30.0}}, ["/rated_duty/kind"]),
        ({"rated_duty": {"kind": "continuous", "on_seconds": 30.0}}, ["/rated_duty"]),
        ({"rated_duty": {"kind": "continuous", "duty_fraction": 0.5}}, ["/rated_duty"]),
        ({"rated_duty": {"kind": "short_time"}}, ["/rated_duty/on_seconds"]),
        (
            {"rated_duty": {"kind": "short_time", "on_seconds": 60.0, "duty_fraction": 0.5}},
            ["/rated_duty/duty_fraction"],
        ),
        ({"rated_duty": {"kind": "intermittent"}}, ["/rated_duty"]),
        (
            {"rated_duty": {"kind": "intermittent", "on_seconds": 30.0}},
            ["/rated_duty/cycle_seconds"],
        ),
        (
            {
                "rated_duty": {
                    "kind": "intermittent",
                    "on_seconds": 30.0,
                    "cycle_seconds": 120.0,
                    "duty_fraction": 0.25,
                }
            },
            ["/rated_duty"],
        ),
        (
            {"rated_duty": {"kind": "intermittent", "on_seconds": 130.0, "cycle_seconds": 120.0}},
            ["/rated_duty/on_seconds"],
        ),
        (
            {"motor": {"caution_celsius": 80.0, "limit_celsius": 80.0}},
            ["/motor/caution_celsius"],
        ),
        ({"grind": {"low_setting": 5.0, "high_setting": 5.0}}, ["/grind/low_setting"]),
        (
            {
                "motor": {"caution_celsius": 90.0, "limit_celsius": 80.0},
                "grind": {"low_setting": 6.0, "high_setting": 5.0},
            },
            ["/motor/caution_celsius", "/grind/low_setting"],
        ),
    ],
)
def test_a_plate_that_contradicts_itself_is_refused_fault_by_fault(
    plate: dict[str, Any], pointers: list[str]
) -> None:
    with pytest.raises(Invalid) as refusal:
        check_plate(plate)
    assert [fault.pointer for fault in refusal.value.faults] == pointers


@pytest.mark.parametrize(
    "plate",
    [
        {},
        {"rated_duty": {"kind": "continuous"}},
        {"rated_duty": {"kind": "short_time", "on_seconds": 60.0}},
        {"rated_duty": {"kind": "intermittent", "duty_fraction": 0.4}},
        {"rated_duty": {"kind": "intermittent", "on_seconds": 30.0, "cycle_seconds": 30.0}},
        {"motor": {"caution_celsius": 60.0}},
        {"grind": {"low_setting": 0.0, "high_setting": 0.1}},
    ],
)
def test_a_plate_that_holds_together_passes(plate: dict[str, Any]) -> None:
    check_plate(plate)


@pytest.mark.parametrize(
    ("description", "pointer"),
    [
        ({}, "/geometry"),
        ({"geometry": "flat", "prior_grams": 5.0, "low_prior_grams": 6.0}, "/prior_grams"),
        ({"geometry": "flat", "prior_grams": 5.0, "high_prior_grams": 4.0}, "/prior_grams"),
        ({"geometry": "flat", "low_prior_grams": 5.0, "high_prior_grams": 4.0}, "/prior_grams"),
    ],
)
def test_a_description_that_contradicts_itself_is_refused(
    description: dict[str, Any], pointer: str
) -> None:
    with pytest.raises(Invalid) as refusal:
        check_description(description)
    assert [fault.pointer for fault in refusal.value.faults] == [pointer]


def test_a_description_with_an_unknown_prior_passes() -> None:
    check_description({"geometry": "other", "low_prior_grams": 0.0, "high_prior_grams": 900.0})
