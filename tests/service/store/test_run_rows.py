"""A run as a row and back: exact integers, one key per id, one fingerprint per content."""

from __future__ import annotations

import json
import uuid
from dataclasses import asdict, fields, replace
from datetime import timedelta, timezone
from fractions import Fraction
from hashlib import blake2b
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from burrline_service.core.records import FEEDS, PURPOSES, Brew, Finding, Run
from burrline_service.store.run_rows import (
    fingerprint_of,
    is_canonical_uuid,
    is_same_content,
    row_of,
    run_id_of,
    run_key_of,
    stored_run_of,
    thousandths,
)
from small_chain import MINUTE, NOW, a_run

run_ids = st.from_regex(r"[A-Za-z0-9._:-]{8,128}", fullmatch=True)
FULL = Run(
    run_id="run-00000001",
    grinder_id="bar-1",
    started_at=NOW,
    seconds=7.412,
    grams=18.236,
    grams_basis="weighed_in",
    feed="single_dose",
    energy_joules=2100.0,
    setting=-4.125,
    rpm=1400.0,
    motor_celsius=41.5,
    ambient_celsius=-3.2,
    purpose="dial_in",
    coffee_lot="lot 7 – naïve",
    brew=Brew("espresso", seconds=27.5, beverage_grams=37.1, tds_fraction=0.091),
    source="scale-left",
)


def row(run: Run, **more: Any) -> Any:
    given = {
        "grinder_no": 3,
        "source_no": 5,
        "started_at": run.started_at or NOW,
        "time_source": "device",
        "received_at": NOW + MINUTE,
        "finding": None,
    }
    return row_of(run, **{**given, **more})


@given(st.uuids())
def test_a_canonical_uuid_is_its_own_key_and_is_not_stored_again(of_device: uuid.UUID) -> None:
    run_id = str(of_device)
    assert run_key_of(run_id) == of_device.bytes
    kept = row(replace(FULL, run_id=run_id))
    assert kept.run_id is None
    assert run_id_of(kept) == run_id


@given(run_ids)
@example("00000000-0000-0000-0000-00000000000A")
@example("0000000000000000000000000000000a")
def test_any_other_id_is_kept_as_it_was_sent(run_id: str) -> None:
    if is_canonical_uuid(run_id):
        return
    assert run_key_of(run_id) == blake2b(run_id.encode(), digest_size=16).digest()
    assert run_id_of(row(replace(FULL, run_id=run_id))) == run_id


@given(st.uuids())
def test_other_spellings_of_a_uuid_are_other_ids(of_device: uuid.UUID) -> None:
    plain = str(of_device)
    for other in (plain.upper(), plain.replace("-", ""), f"urn:uuid:{plain}"):
        if other != plain:
            assert run_key_of(other) != run_key_of(plain)


@given(st.integers(0, 50_000_000))
def test_grams_of_whole_milligrams_are_stored_exactly(milligrams: int) -> None:
    assert thousandths(milligrams / 1000) == milligrams


@given(st.floats(0, 50_000))
def test_grams_are_stored_to_the_nearest_milligram(grams: float) -> None:
    stored = thousandths(grams)
    assert stored is not None
    # the float product grams * 1000 may itself be off by half of its last place
    assert abs(Fraction(stored, 1000) - Fraction(grams)) <= Fraction(1, 2000) + Fraction(1, 10**9)


def test_a_run_comes_back_as_it_was_sent() -> None:
    finding = Finding("flow_unexpected", "0.5 g/s is far from 2 g/s.")
    stored = stored_run_of(row(FULL, finding=finding), grinder_id="bar-1", source="scale-left")
    assert stored.run == FULL
    assert stored.findings == (finding,)
    assert stored.received_at == NOW + MINUTE
    assert stored.voided_at is None
    assert stored.time_source == "device"


def test_a_bare_run_comes_back_bare() -> None:
    bare = Run("run-00000002", "bar-1", started_at=NOW)
    kept = row(bare, source_no=None)
    assert kept.more is None
    assert stored_run_of(kept, grinder_id="bar-1", source=None).run == bare


OTHER: dict[str, Any] = {
    "grinder_id": "bar-2",
    "started_at": NOW + timedelta(milliseconds=1),
    "seconds": 7.413,
    "grams": 18.237,
    "grams_basis": "target",
    "feed": None,
    "energy_joules": 2101.0,
    "setting": -4.126,
    "rpm": 1401.0,
    "motor_celsius": 41.6,
    "ambient_celsius": None,
    "purpose": "service",
    "coffee_lot": "lot 8",
    "brew": Brew("espresso", seconds=27.6, beverage_grams=37.1, tds_fraction=0.091),
    "source": None,
}


def test_every_field_but_id_and_age_counts_as_content() -> None:
    names = {field.name for field in fields(Run)}
    assert set(OTHER) == names - {"run_id", "age_seconds"}


@pytest.mark.parametrize("name", OTHER)
def test_another_value_is_other_content(name: str) -> None:
    changed = replace(FULL, **{name: OTHER[name]})
    assert not is_same_content(fingerprint_of(FULL), fingerprint_of(changed))


NEVER_MISSING = {"grinder_id", "grams_basis", "purpose"}


@pytest.mark.parametrize("name", [name for name in OTHER if name not in NEVER_MISSING])
def test_a_missing_value_is_other_content_but_for_the_start(name: str) -> None:
    bare = replace(FULL, **{name: None})
    assert is_same_content(fingerprint_of(FULL), fingerprint_of(bare)) == (name == "started_at")


def test_the_age_is_no_content() -> None:
    first, later = (a_run(1, age_seconds=age) for age in (5.0, 900.0))
    assert fingerprint_of(first) == fingerprint_of(later)


def test_what_is_stored_alike_is_the_same_content() -> None:
    finer = replace(FULL, grams=18.2360001, motor_celsius=41.52, energy_joules=2100.3)
    assert fingerprint_of(finer) == fingerprint_of(FULL)


texts = st.none() | st.text(max_size=9) | st.sampled_from(["None", "null", '"', "\\", "\u2028"])
numbers = st.none() | st.floats(-100, 1000) | st.sampled_from([0.0, 0.0005, 1.5, 2.5])


@given(
    st.builds(
        Run,
        run_id=st.just("run-00000001"),
        grinder_id=st.text(),
        seconds=numbers,
        grams=numbers,
        grams_basis=st.sampled_from(["target", "weighed_in"]),
        feed=st.sampled_from([None, *FEEDS]),
        energy_joules=numbers,
        setting=numbers,
        rpm=numbers,
        motor_celsius=numbers,
        ambient_celsius=numbers,
        purpose=st.sampled_from([None, *PURPOSES]),
        coffee_lot=texts,
        brew=st.none() | st.builds(Brew, st.just("espresso"), seconds=numbers),
        source=texts,
    )
)
@example(FULL)
def test_the_content_is_that_of_a_json_array(run: Run) -> None:
    """Put together from pieces, so that other releases know the runs of this one again."""
    scales = {"seconds": 1000, "grams": 1000, "setting": 1000, "motor_celsius": 10,
              "ambient_celsius": 10, "energy_joules": 1, "rpm": 1}  # fmt: skip
    content: list[Any] = []
    for name in ("grinder_id", "seconds", "grams", "grams_basis", "feed", "energy_joules",
                 "setting", "rpm", "motor_celsius", "ambient_celsius", "purpose", "coffee_lot",
                 "brew", "source"):  # fmt: skip
        value = getattr(run, name)
        if value is not None and name in scales:
            value = round(value * scales[name])
        content.append(asdict(value) if isinstance(value, Brew) else value)
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"))
    assert fingerprint_of(run)[:8] == blake2b(text.encode(), digest_size=8).digest()
    assert row(run).fingerprint == fingerprint_of(run)


def test_the_same_instant_with_another_offset_is_the_same_content() -> None:
    elsewhere = NOW.astimezone(timezone(timedelta(hours=9)))
    assert fingerprint_of(replace(FULL, started_at=elsewhere)) == fingerprint_of(FULL)
