"""Grinds of two devices, against the closure of all pairs, which shares no code with the sweep."""

from __future__ import annotations

import random
from fractions import Fraction
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.grinds import TOLERANCE_MS, Reported, components, parts_of

G, S, C, T, M, D, W = 1, 2, 4, 8, 16, 32, 64
WEIGHED_OUT, WEIGHED_IN, TARGET, ESTIMATED = range(4)


def run(
    key: str,
    source: str,
    started_ms: int = 0,
    on_ms: int | None = None,
    grams_mg: int | None = None,
    basis: int = WEIGHED_OUT,
) -> Reported:
    return Reported(key.encode(), source, started_ms, on_ms, grams_mg, basis)


run_lists = st.lists(
    st.builds(
        Reported,
        key=st.just(b""),
        source=st.sampled_from(["", "plug", "scale", "till"]),
        started_ms=st.integers(0, 40).map(lambda halves: 500 * halves),
        on_ms=st.none() | st.integers(0, 12).map(lambda halves: 500 * halves),
        grams_mg=st.none() | st.integers(0, 20_000) | st.integers(9_990, 10_310),
        grams_basis=st.integers(0, 3),
    ),
    max_size=9,
).map(
    lambda runs: [
        Reported(b"%d" % i, r.source, r.started_ms, r.on_ms, r.grams_mg, r.grams_basis)
        for i, r in enumerate(runs)
    ]
)


# --- the naive twin -------------------------------------------------------------------------------


def are_linked(one: Reported, other: Reported) -> bool:
    """Whether two runs of different sources, come within two seconds of each other."""
    one_end, other_end = one.started_ms + (one.on_ms or 0), other.started_ms + (other.on_ms or 0)
    apart = max(one.started_ms - other_end, other.started_ms - one_end)
    return one.source != other.source and apart <= 2000


def closures(runs: list[Reported]) -> set[frozenset[bytes]]:
    """Label every run, and let linked runs take the lower label until nothing changes."""
    label = {run.key: number for number, run in enumerate(runs)}
    is_changing = True
    while is_changing:
        is_changing = False
        for one, other in combinations(runs, 2):
            if are_linked(one, other) and label[one.key] != label[other.key]:
                label[one.key] = label[other.key] = min(label[one.key], label[other.key])
                is_changing = True
    return {
        frozenset(key for key, found in label.items() if found == number)
        for number in set(label.values())
    }


def expected_parts(grind: list[Reported]) -> dict[bytes, int | None]:
    """The rule as it is said, source by source."""
    if len(grind) == 1:
        return {grind[0].key: None}
    sources = sorted({run.source for run in grind})
    weights = {s: [r for r in grind if r.source == s and r.grams_mg is not None] for s in sources}
    times = {s: [r for r in grind if r.source == s and r.on_ms is not None] for s in sources}
    totals = {s: sum(r.grams_mg or 0 for r in rs) for s, rs in weights.items() if rs}
    worst = {s: sorted(r.grams_basis for r in weights[s])[-1] for s in totals}
    grams_from = seconds_from = None
    for basis in (ESTIMATED, TARGET, WEIGHED_IN, WEIGHED_OUT):
        for source in reversed(sources):
            if worst.get(source) == basis:
                grams_from = source
    for source in reversed(sources):
        if times[source]:
            longest = max(sum(r.on_ms or 0 for r in rs) for rs in times.values())
            if sum(r.on_ms or 0 for r in times[source]) == longest:
                seconds_from = source
    flagged = set()
    for one, other in combinations(sorted(s for s in totals if worst[s] <= WEIGHED_IN), 2):
        apart = Fraction(abs(totals[one] - totals[other]))
        if apart > 300 and apart > Fraction(3, 100) * max(totals[one], totals[other]):
            flagged |= {one, other}
    count_from = next(s for s in (grams_from, seconds_from, sources[0]) if s is not None)
    bits: dict[bytes, int | None] = {}
    for r in grind:
        is_weight, is_time = r.grams_mg is not None, r.on_ms is not None
        bits[r.key] = (
            (G if is_weight and r.source == grams_from else 0)
            | (S if is_time and r.source == seconds_from else 0)
            | (C if r.source == count_from else 0)
            | (T if seconds_from is not None else 0)
            | (M if grams_from is not None else 0)
            | (D if is_weight and r.source in flagged else 0)
            | (W if grams_from is not None and worst[grams_from] <= WEIGHED_IN else 0)
        )
    return bits


# --- properties -----------------------------------------------------------------------------------


@given(run_lists)
def test_grinds_are_the_closure_of_all_linked_pairs(runs: list[Reported]) -> None:
    found = components(runs)
    assert {frozenset(r.key for r in grind) for grind in found} == closures(runs)
    assert sum(map(len, found)) == len(runs)


@given(run_lists)
def test_parts_are_those_the_rule_gives_to_each_closure(runs: list[Reported]) -> None:
    expected: dict[bytes, int | None] = {}
    for keys in closures(runs):
        expected |= expected_parts([r for r in runs if r.key in keys])
    assert parts_of(runs) == expected


@given(run_lists, st.randoms(use_true_random=False))
def test_the_order_of_runs_changes_no_grind_and_no_part(
    runs: list[Reported], dice: random.Random
) -> None:
    shuffled = runs.copy()
    dice.shuffle(shuffled)
    assert components(iter(shuffled)) == components(runs)
    assert parts_of(iter(shuffled)) == parts_of(runs)


@given(run_lists)
def test_each_grind_takes_its_grams_its_seconds_and_its_count_from_one_source(
    runs: list[Reported],
) -> None:
    parts = parts_of(runs)
    for grind in components(runs):
        if len(grind) == 1:
            continue
        for bit, common_bit in ((G, M), (S, T), (C, None)):
            sources = {r.source for r in grind if (parts[r.key] or 0) & bit}
            has_any = common_bit is None or bool((parts[grind[0].key] or 0) & common_bit)
            assert len(sources) == has_any


@given(run_lists, st.integers(-(10**13), 10**13))
def test_a_shift_of_all_clocks_changes_no_part(runs: list[Reported], shift_ms: int) -> None:
    shifted = [
        Reported(r.key, r.source, r.started_ms + shift_ms, r.on_ms, r.grams_mg, r.grams_basis)
        for r in runs
    ]
    assert parts_of(shifted) == parts_of(runs)


@given(run_lists)
def test_runs_of_one_source_are_all_alone_whatever_they_overlap(runs: list[Reported]) -> None:
    same = [
        Reported(r.key, "scale", r.started_ms, r.on_ms, r.grams_mg, r.grams_basis) for r in runs
    ]
    assert parts_of(same) == {r.key: None for r in runs}


def test_long_overlaps_of_thousands_of_runs_take_no_pair_by_pair_comparison() -> None:
    compared = 0

    class Counted(int):
        def __lt__(self, other: Any) -> bool:
            nonlocal compared
            compared += 1
            return int(self) < int(other)

        def __le__(self, other: Any) -> bool:
            nonlocal compared
            compared += 1
            return int(self) <= int(other)

    count = 4_000
    runs = [run(f"{i:05}", "scale", Counted(i), 10**9) for i in range(count)]
    random.Random(1).shuffle(runs)
    assert len(components([*runs, run("plug", "plug", count, 10)])) == 1
    assert 0 < compared < 40 * count


# --- the rule, case by case -----------------------------------------------------------------------


@pytest.mark.parametrize(("gap_ms", "is_one"), [(TOLERANCE_MS, True), (TOLERANCE_MS + 1, False)])
def test_two_seconds_between_two_devices_are_bridged_and_not_a_millisecond_more(
    gap_ms: int, is_one: bool
) -> None:
    plug = run("p", "plug", 0, 9_000)
    assert (len(components([plug, run("s", "scale", 9_000 + gap_ms)])) == 1) is is_one
    assert (len(components([plug, run("s", "scale", -gap_ms)])) == 1) is is_one


def test_a_run_of_another_device_links_two_of_the_same() -> None:
    first, second = run("a", "scale", 0, 5_000), run("b", "scale", 6_000, 5_000)
    assert len(components([first, second])) == 2
    assert components([second, first, run("p", "plug", 0, 11_000)]) == [
        [first, run("p", "plug", 0, 11_000), second]
    ]


@pytest.mark.parametrize(("late_ms", "is_linked"), [(0, True), (1, False)])
def test_each_of_two_overlapping_runs_of_one_device_reaches_as_far_as_it_lasts(
    late_ms: int, is_linked: bool
) -> None:
    short, long = run("a", "scale", 0, 5_000), run("b", "scale", 1_000, 60_000)
    plug = run("p", "plug", 5_000 + TOLERANCE_MS + late_ms, 100)
    assert ([short] in components([short, long, plug])) is not is_linked


def test_two_long_runs_of_a_device_in_a_grind_do_not_reach_a_third_of_its_own() -> None:
    one, other = run("a", "scale", 0, 30_000), run("b", "scale", 1_000, 20_000)
    plug, third = run("p", "plug", 2_000, 1_000), run("c", "scale", 10_000, 1_000)
    assert components([one, other, plug, third]) == [[one, other, plug], [third]]


def test_a_short_run_that_joins_a_grind_does_not_shorten_it() -> None:
    plug, scale = run("p", "plug", 0, 10_000), run("s", "scale", 0, 30_000)
    short, late = run("q", "plug", 1_000, 1_000), run("t", "scale", 8_000, 1_000)
    assert components([plug, scale, short, late]) == [[plug, scale, short, late]]


def test_a_scale_without_seconds_and_a_plug_without_grams_make_one_whole_run() -> None:
    parts = parts_of([run("s", "scale", 7_000, None, 18_000), run("p", "plug", 0, 8_000)])
    assert parts == {b"s": G | C | T | M | W, b"p": S | T | M | W}


def test_a_dose_measured_twice_counts_once() -> None:
    # the better basis gives grams, the longer motor time seconds: here from different devices
    parts = parts_of(
        [run("a", "a", 0, 9_000, 18_000, ESTIMATED), run("b", "b", 400, 8_500, 18_100)]
    )
    assert parts == {b"a": S | T | M | W, b"b": G | C | T | M | W}


@pytest.mark.parametrize("better", range(3))
def test_bases_rank_weighed_out_weighed_in_target_estimated(better: int) -> None:
    parts = parts_of(
        [run("a", "a", 0, None, 18_000, better + 1), run("b", "b", 0, None, 18_000, better)]
    )
    weighed = W if better <= WEIGHED_IN else 0
    assert parts == {b"a": M | weighed, b"b": G | C | M | weighed}


def test_a_source_is_only_as_good_as_its_worst_run_of_the_grind() -> None:
    parts = parts_of(
        [
            run("a1", "a", 0, None, 9_000, WEIGHED_OUT),
            run("a2", "a", 1_000, None, 9_000, ESTIMATED),
            run("b", "b", 0, None, 18_000, TARGET),
        ]
    )
    assert parts == {b"a1": M, b"a2": M, b"b": G | C | M}


def test_the_basis_of_a_run_without_grams_says_nothing_about_its_source() -> None:
    parts = parts_of(
        [
            run("a1", "a", 0, None, 18_000, WEIGHED_OUT),
            run("a2", "a", 1_000, 500, None, ESTIMATED),
            run("b", "b", 0, None, 18_000, TARGET),
        ]
    )
    assert parts == {b"a1": G | C | M | T | W, b"a2": S | C | M | T | W, b"b": M | T | W}


def test_of_equal_sources_the_one_that_names_none_comes_first() -> None:
    parts = parts_of([run("b", "b", 0, 5_000, 9_000), run("n", "", 0, 5_000, 9_000)])
    assert parts == {b"n": G | S | C | T | M | W, b"b": T | M | W}


def test_a_grind_without_any_number_counts_as_a_run() -> None:
    assert parts_of([run("b", "b"), run("a", "a")]) == {b"a": C, b"b": 0}


@pytest.mark.parametrize(
    ("one_mg", "other_mg", "disagree"),
    [
        (18_000, 18_541, False),  # 541 mg are 2.92 % of the larger
        (18_000, 18_557, True),  # 557 mg are 3.0016 % of it
        (9_700, 10_000, False),  # neither 300 mg nor 3 % is exceeded
        (9_699, 10_000, True),
        (5_000, 5_300, False),  # 5.7 %, but not over 300 mg
        (5_000, 5_301, True),
        (0, 301, True),
    ],
)
def test_two_weighed_totals_disagree_over_300_mg_and_3_percent_of_the_larger(
    one_mg: int, other_mg: int, disagree: bool
) -> None:
    for basis in (WEIGHED_OUT, WEIGHED_IN):
        parts = parts_of(
            [run("a", "a", 0, None, one_mg, WEIGHED_OUT), run("b", "b", 0, None, other_mg, basis)]
        )
        assert [bool((part or 0) & D) for part in parts.values()] == [disagree, disagree]


@pytest.mark.parametrize("basis", [TARGET, ESTIMATED])
def test_only_what_was_weighed_can_disagree(basis: int) -> None:
    parts = parts_of([run("a", "a", 0, None, 18_000), run("b", "b", 0, None, 9_000, basis)])
    assert parts == {b"a": G | C | M | W, b"b": M | W}


def test_totals_are_compared_not_single_runs() -> None:
    parts = parts_of(
        [
            run("p1", "pulse", 0, None, 9_000),
            run("p2", "pulse", 1_000, None, 9_100),
            run("s", "scale", 500, None, 18_000),
        ]
    )
    assert [part for part in parts.values() if (part or 0) & D] == []


def test_of_three_weighed_sources_the_two_that_agree_with_each_other_are_flagged_too() -> None:
    parts = parts_of(
        [run(name, name, 0, None, mg) for name, mg in zip("abc", (18_000, 18_010, 9), strict=True)]
    )
    assert [bool((part or 0) & D) for part in parts.values()] == [True, True, True]


# --- refusals and shapes --------------------------------------------------------------------------


@pytest.mark.parametrize("wrong", [{"on_ms": -1}, {"grams_mg": -1}])
def test_negative_numbers_make_no_run(wrong: dict[str, int]) -> None:
    with pytest.raises(ValueError, match="-1"):
        run("a", "a", **wrong)


@pytest.mark.parametrize("basis", [-1, 4])
def test_an_unknown_basis_makes_no_run(basis: int) -> None:
    with pytest.raises(ValueError, match="basis"):
        run("a", "a", basis=basis)


def test_two_runs_of_one_key_are_refused() -> None:
    with pytest.raises(ValueError, match="2 runs have only 1 different keys"):
        parts_of([run("a", "a", 0), run("a", "b", 90_000)])


def test_no_run_makes_no_grind() -> None:
    assert components([]) == []
    assert parts_of([]) == {}
