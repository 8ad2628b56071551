"""The ledger takes up what the facts say, keeps ids, and has nothing to do when asked again."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from burrline_service.core.episode_facts import Episode
from burrline_service.core.ledger import (
    LATE_MS,
    OVERDUE_MS,
    Change,
    Entry,
    amended,
    is_late,
    paired,
)

NOW = 1_000
KINDS = ("long_run", "duty_exceeded")


def episode(opened: int, closed: int | None, kind: str = "long_run") -> Episode:
    return Episode(kind, "caution", opened, closed, {"run_seconds": float(opened)})  # type: ignore[arg-type]


def entry(name: str, opened: int, closed: int | None, kind: str = "long_run") -> Entry:
    return Entry(name, kind, "caution", opened, closed, None, {"run_seconds": float(opened)})


def applied(ledger: list[Entry], changes: list[Change]) -> list[Entry]:
    """The ledger after the changes, new ids drawn in their order."""
    after = {one.alert_id: one for one in ledger}
    for change in changes:
        if change.entry is None:
            assert change.episode is not None
            made = change.episode
            name = f"new-{len(after)}"
            after[name] = Entry(
                name,
                made.kind,
                made.severity,
                made.opened_at_ms,
                made.closed_at_ms,
                None,
                made.facts,
            )
        elif change.episode is None:
            after[change.entry.alert_id] = replace(
                change.entry, closed_ms=change.closed_ms, reason=change.reason
            )
        else:
            made = change.episode
            after[change.entry.alert_id] = replace(
                change.entry,
                opened_ms=made.opened_at_ms,
                closed_ms=made.closed_at_ms,
                reason=None,
                facts=made.facts,
            )
    return list(after.values())


def tells(ledger: list[Entry], episodes: list[Episode]) -> list[tuple[str, ...]]:
    return [change.tells for change in amended(ledger, episodes, from_ms=0, now_ms=NOW)]


def test_a_new_episode_is_told_as_opened_and_one_that_is_over_as_closed_too() -> None:
    assert tells([], [episode(5, None)]) == [("opened",)]
    assert tells([], [episode(5, 9)]) == [("opened", "closed")]


def test_an_open_entry_closes_once() -> None:
    assert tells([entry("a", 5, None)], [episode(5, 9)]) == [("closed",)]
    assert tells([entry("a", 5, 9)], [episode(5, 9)]) == []


def test_an_amended_episode_keeps_its_id_and_is_not_opened_again() -> None:
    (change,) = amended([entry("a", 5, None)], [episode(2, None)], from_ms=0, now_ms=NOW)
    assert change.entry is not None
    assert (change.entry.alert_id, change.tells) == ("a", ())
    assert tells([entry("a", 5, 9)], [episode(5, None)]) == [("again",)]


def test_what_only_follows_right_after_is_another_one() -> None:
    (change,) = amended(
        [entry("a", 5, 9)], [episode(5, 9), episode(9, None)], from_ms=0, now_ms=NOW
    )
    assert (change.tells, change.is_part) == (("opened",), False)


def test_an_episode_that_is_gone_closes_as_withdrawn_and_stays_so() -> None:
    (change,) = amended([entry("a", 5, None)], [], from_ms=0, now_ms=NOW)
    assert (change.reason, change.closed_ms, change.tells) == ("withdrawn", NOW, ("closed",))
    after = applied([entry("a", 5, None)], [change])
    assert amended(after, [], from_ms=0, now_ms=NOW + 5) == []
    assert tells([entry("a", 5, 9)], []) == [()]  # noted, and nobody hears of it twice


def test_the_open_part_of_what_fell_apart_keeps_the_id() -> None:
    changes = amended(
        [entry("a", 5, None)], [episode(5, 7), episode(8, None)], from_ms=0, now_ms=NOW
    )
    by_id = {change.entry.alert_id if change.entry else None: change for change in changes}
    kept = by_id["a"].episode
    assert kept is not None
    assert kept.opened_at_ms == 8
    assert by_id[None].is_part


def test_of_entries_that_grew_together_the_first_stays() -> None:
    ledger = [entry("a", 5, 7), entry("b", 8, None)]
    changes = amended(ledger, [episode(5, None)], from_ms=0, now_ms=NOW)
    told = {
        change.entry.alert_id: (change.reason, change.tells) for change in changes if change.entry
    }
    assert told == {"a": ("joined", ()), "b": (None, ())}  # the open one goes on


def test_what_was_over_before_the_fold_began_is_left_alone() -> None:
    assert amended([entry("a", 5, 9)], [], from_ms=10, now_ms=NOW) == []


def test_lists_pair_as_the_ledger_does() -> None:
    held = [episode(20, None), episode(5, 9), episode(5, None, "duty_exceeded")]
    pairs = paired([entry("a", 6, 8), entry("b", 21, None)], held)
    assert {place: one.alert_id for place, one in pairs.items()} == {0: "b", 1: "a"}


def test_late_is_what_no_fact_told_in_time() -> None:
    assert is_late(episode(0, 9), [LATE_MS + 1, 2 * LATE_MS], now_ms=NOW)
    assert not is_late(episode(0, 9), [LATE_MS + 1, 500], now_ms=99 * OVERDUE_MS)
    assert is_late(episode(0, None), [], now_ms=OVERDUE_MS + 1)
    assert not is_late(episode(0, None), [], now_ms=OVERDUE_MS)
    assert is_late(episode(0, 9), [], now_ms=LATE_MS + 10)


@st.composite
def some_episodes(draw: st.DrawFn) -> list[Episode]:
    """Disjoint episodes of each kind, the last of them maybe open."""
    found: list[Episode] = []
    for kind in KINDS:
        borders = sorted(draw(st.sets(st.integers(0, 60), max_size=8)))
        spans = list(zip(borders[::2], [*borders[1::2], None], strict=False))
        found += [episode(low, high, kind) for low, high in spans]
    return draw(st.permutations(found))


@settings(max_examples=60)
@given(st.lists(some_episodes(), min_size=1, max_size=4), st.randoms())
def test_whatever_was_noticed_before_the_ledger_ends_up_saying_what_the_facts_say(
    histories: list[list[Episode]], chance: object
) -> None:
    ledger: list[Entry] = []
    for episodes in histories:
        changes = amended(ledger, episodes, from_ms=0, now_ms=NOW)
        shuffled = sorted(ledger, key=lambda one: hash((str(chance), one.alert_id)))
        assert amended(shuffled, episodes[::-1], from_ms=0, now_ms=NOW) == changes
        ledger = applied(ledger, changes)
        assert amended(ledger, episodes, from_ms=0, now_ms=NOW) == []
        said = {(one.kind, one.opened_ms, one.closed_ms) for one in ledger if one.reason is None}
        assert said == {(one.kind, one.opened_at_ms, one.closed_at_ms) for one in episodes}
