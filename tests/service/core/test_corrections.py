"""Corrections: exact rationals by decimals that share no code, in any order."""

from __future__ import annotations

import random
from decimal import ROUND_HALF_EVEN, Decimal, localcontext

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.corrections import Correction, Effective, effective

DIGITS = 200
correction_lists = st.lists(
    st.builds(
        Correction,
        correction_id=st.just(""),
        source=st.sampled_from([None, "", "plug", "scale"]),
        from_ms=st.integers(0, 100),
        to_ms=st.none() | st.integers(101, 200),
        grams_offset_mg=st.none() | st.integers(-30_000, 30_000),
        grams_factor_ppm=st.none()
        | st.integers(0, 2_000_000)
        | st.sampled_from([500_000, 250_000]),
        clock_offset_ms=st.none() | st.integers(-(10**8), 10**8),
        is_void=st.sampled_from([False, False, False, True]),
    ),
    max_size=6,
).map(
    lambda found: [
        Correction(f"c-{i}", *(getattr(c, name) for name in Correction.__slots__[1:]))
        for i, c in enumerate(found)
    ]
)
starts = st.integers(-10, 210)
grams = st.none() | st.integers(0, 50_000_000)
sources = st.sampled_from([None, "", "plug", "scale"])


def by_decimals(
    started: int, weight: int | None, source: str | None, corrections: list[Correction]
) -> Effective:
    """The rule in decimals wide enough to be exact (six factors of 1e-6 need 36 places)."""
    applied = []
    for c in corrections:
        if c.source is not None and c.source != (source or ""):
            continue
        if started < c.from_ms or (c.to_ms is not None and started >= c.to_ms):
            continue
        applied.append(c)
    with localcontext() as context:
        context.prec = DIGITS
        value = None if weight is None else Decimal(weight)
        for c in applied:
            if value is not None and c.grams_factor_ppm is not None:
                value *= Decimal(c.grams_factor_ppm).scaleb(-6)
        for c in applied:
            if value is not None and c.grams_offset_mg is not None:
                value += c.grams_offset_mg
        if value is not None:
            weight = int(max(value, Decimal(0)).quantize(Decimal(1), ROUND_HALF_EVEN))
    for c in applied:
        started += c.clock_offset_ms or 0
    return Effective(
        started,
        weight,
        any(c.is_void for c in applied),
        tuple(sorted(c.correction_id for c in applied)),
    )


# --- properties -----------------------------------------------------------------------------------


@given(starts, grams, sources, correction_lists)
def test_corrections_are_exact_rationals_rounded_once(
    started: int, weight: int | None, source: str | None, corrections: list[Correction]
) -> None:
    assert effective(started, weight, source, corrections) == by_decimals(
        started, weight, source, corrections
    )


@given(starts, grams, sources, correction_lists, st.randoms(use_true_random=False))
def test_the_order_of_corrections_changes_nothing(
    started: int,
    weight: int | None,
    source: str | None,
    corrections: list[Correction],
    dice: random.Random,
) -> None:
    shuffled = corrections.copy()
    dice.shuffle(shuffled)
    assert effective(started, weight, source, iter(shuffled)) == effective(
        started, weight, source, corrections
    )


@given(starts, grams, sources, correction_lists)
def test_grams_are_never_negative_and_never_made_up(
    started: int, weight: int | None, source: str | None, corrections: list[Correction]
) -> None:
    found = effective(started, weight, source, corrections).grams_mg
    assert (found is None) == (weight is None)
    assert found is None or found >= 0


@given(starts, grams, sources)
def test_a_run_without_corrections_stays_as_it_was_sent(
    started: int, weight: int | None, source: str | None
) -> None:
    assert effective(started, weight, source, []) == Effective(started, weight, False, ())


# --- the rule, case by case -----------------------------------------------------------------------


def test_two_factors_and_two_offsets_do_not_round_in_between() -> None:
    # 3 mg * 0.5 * 0.5 = 0.75 mg -> 1 mg; rounded after each step it would be 2 * 0.5 = 1, 1.5 -> 2
    halves = [Correction(f"h-{i}", None, 0, None, grams_factor_ppm=500_000) for i in range(2)]
    assert effective(0, 3, None, halves).grams_mg == 1
    # 5 mg * 0.5 = 2.5 mg: half to even after the offset, so 2.5 -> 2 and 2.5 + 1 -> 4
    assert effective(0, 5, None, halves[:1]).grams_mg == 2
    plus = Correction("p", None, 0, None, grams_offset_mg=1)
    assert effective(0, 5, None, [*halves[:1], plus]).grams_mg == 4


def test_offsets_come_after_factors_whichever_was_entered_first() -> None:
    factor = Correction("a", None, 0, None, grams_factor_ppm=2_000_000)
    offset = Correction("b", None, 0, None, grams_offset_mg=-500)
    assert effective(0, 18_000, None, [offset, factor]).grams_mg == 35_500


def test_what_offsets_take_beyond_zero_is_clipped_only_at_the_end() -> None:
    minus = Correction("m", None, 0, None, grams_offset_mg=-20_000)
    plus = Correction("p", None, 0, None, grams_offset_mg=5_000)
    assert effective(0, 18_000, None, [minus]).grams_mg == 0
    assert effective(0, 18_000, None, [minus, plus]).grams_mg == 3_000


@pytest.mark.parametrize(
    ("at_ms", "applies"), [(99, False), (100, True), (199, True), (200, False)]
)
def test_the_raw_start_decides_in_a_half_open_stretch(at_ms: int, applies: bool) -> None:
    late = Correction("late", None, 100, 200, clock_offset_ms=1_000)
    found = effective(at_ms, None, None, [late])
    assert found == (
        Effective(at_ms + 1_000, None, False, ("late",))
        if applies
        else Effective(at_ms, None, False, ())
    )


def test_a_moved_clock_brings_a_run_into_no_further_correction_and_out_of_none() -> None:
    moved = Correction("a", None, 0, 10, clock_offset_ms=1_000)
    here = Correction("b", None, 0, 10, grams_offset_mg=1)
    there = Correction("c", None, 1_000, 1_010, is_void=True)
    assert effective(5, 100, None, [moved, here, there]) == Effective(1_005, 101, False, ("a", "b"))


@pytest.mark.parametrize(
    ("of", "source", "applies"),
    [
        (None, None, True),
        (None, "scale", True),
        ("scale", "scale", True),
        ("scale", "plug", False),
        ("scale", None, False),
        ("", None, True),
        ("", "", True),
        ("", "scale", False),
    ],
)
def test_a_correction_is_of_all_sources_of_one_or_of_the_runs_that_name_none(
    of: str | None, source: str | None, applies: bool
) -> None:
    assert effective(0, 1, source, [Correction("v", of, 0, None, is_void=True)]).is_out is applies


# --- refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize("to_ms", [99, 100])
def test_a_correction_that_ends_before_it_begins_is_refused(to_ms: int) -> None:
    with pytest.raises(ValueError, match=f"ends at {to_ms}, not after 100"):
        Correction("c", None, 100, to_ms)


def test_a_negative_factor_is_refused() -> None:
    with pytest.raises(ValueError, match="-1 ppm"):
        Correction("c", None, 0, None, grams_factor_ppm=-1)


def test_negative_grams_are_refused() -> None:
    with pytest.raises(ValueError, match="-1 mg"):
        effective(0, -1, None, [])
