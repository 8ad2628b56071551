"""What held of burr sets: settled, due for a checkpoint, at the end of their rated life."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

from ..core.episode_facts import Episode
from ..core.episode_span import judged
from ..store import burr_sets, entries
from ..store.burr_sets import FittingRow
from ..store.database import Connection
from ..store.early import fit_border_ms
from ..store.grinders import GrinderRow
from ..store.types import to_instant, to_milliseconds
from . import asked
from .asked import Asked
from .counting import count
from .episodes_held import Rules
from .remembered import Remembered
from .through import burr_set_in, through, want_through

if TYPE_CHECKING:
    from ..core.stage_facts import GrindFacts
    from ..core.stages import StageChange

TOLD_FOR = timedelta(days=7)
"""How long it is news that a set has settled (our choice, no source)."""
MINUTE_MS = 60_000
CROSSED: Remembered[int] = Remembered(4096)
"""When kilograms were reached, by grinder, set, kilograms and all that could move it."""


def grind_of(
    connection: Connection,
    account_no: int,
    found: Sequence[GrinderRow],
    rules: Rules,
    *,
    from_ms: int,
    until_ms: int,
    is_now: bool,
    around: Mapping[int, Sequence[FittingRow]] | None = None,
) -> tuple[dict[int, list[Episode]], dict[int, tuple[str, tuple[StageChange, ...]]]]:
    """What held at or after ``from_ms`` of the set that is in each grinder at ``until_ms``.

    And how its stage changed, with its id, where checkpoints tell of it. ``around`` are the
    fittings that bear on each, where they are known already.
    """
    held: dict[int, list[Episode]] = {row.grinder_no: [] for row in found}
    changes: dict[int, tuple[str, tuple[StageChange, ...]]] = {}
    if around is None:
        around = burr_sets.fittings_of_grinders(connection, account_no, held)
    wanted = _wanted(connection, account_no, found, around)
    if not wanted:
        return held, changes
    at = to_instant(until_ms)
    each = asked.about(connection, account_no, wanted, as_of=None if is_now else at, now=at)
    for one in each:
        want_through(one)
    count(connection, account_no, {stay.counter for one in each for stay in one.stays})
    facts: Mapping[int, GrindFacts] = {}
    if any(one.has_checkpoints for one in each):
        from .grind_facts import facts_of  # with numpy: loaded when first there is need

        facts = facts_of(connection, account_no, each)
    for one in each:
        number = one.found.grinder_no
        told = facts.get(number)
        held[number] = [
            episode
            for episode in judged(
                held_by(connection, account_no, one, told, from_ms=from_ms),
                rules[number],
                until_ms=until_ms,
            )
            if episode.closed_at_ms is None or episode.closed_at_ms >= from_ms
        ]
        if told is not None and one.burr_set is not None:
            from ..core.stages import stage_changes

            changes[number] = one.burr_set.burr_set_id, stage_changes(told, at)
    return held, changes


def held_by(
    connection: Connection,
    account_no: int,
    one: Asked,
    facts: GrindFacts | None,
    *,
    from_ms: int,
) -> list[Episode]:
    """What held of the set in one grinder, its kilograms counted and its checkpoints at hand."""
    if not one.stays:
        return []
    known = _burr_life(connection, account_no, one)
    if facts is not None:
        from ..core.stages import stage_changes

        known += _settled(stage_changes(facts, one.at), one.at_ms)
        known += _checkpoints_due(connection, account_no, one, facts, from_ms)
    return known


def _wanted(
    connection: Connection,
    account_no: int,
    found: Sequence[GrinderRow],
    around: Mapping[int, Sequence[FittingRow]],
) -> list[GrinderRow]:
    """The grinders of which there may be something to say at all."""
    numbers = {row.burr_set_no for rows in around.values() for row in rows}
    if not numbers:
        return []
    sets = burr_sets.by_nos(connection, account_no, numbers)
    rated = {no for no, row in sets.items() if row.description.get("rated_life_grams") is not None}
    grinder_nos = {row.grinder_no for rows in around.values() for row in rows}
    measured = entries.grinders_with(connection, account_no, grinder_nos, entries.CHECKPOINT)
    return [
        row
        for row in found
        if any(
            fitting.burr_set_no in rated or fitting.grinder_no in measured
            for fitting in around[row.grinder_no]
        )
    ]


def _settled(told: Sequence[StageChange], until_ms: int) -> list[Episode]:
    episodes = []
    for number, change in enumerate(told):
        if change.to_stage == "settled":
            ends = [to_milliseconds(change.at + TOLD_FOR)]
            ends += [to_milliseconds(other.at) for other in told[number + 1 : number + 2]]
            closed_ms = min(ends)
            episodes.append(
                Episode(
                    "settled",
                    "notice",
                    to_milliseconds(change.at),
                    closed_ms if closed_ms <= until_ms else None,
                    {"burr_grams": change.burr_grams},
                )
            )
    return episodes


def _checkpoints_due(
    connection: Connection, account_no: int, one: Asked, facts: GrindFacts, from_ms: int
) -> list[Episode]:
    """After each checkpoint, from when on the next one was due, until there was one."""
    from ..core.stage_facts import fold_checkpoints
    from ..core.stages import stage_at

    folded = list(fold_checkpoints(facts, one.at))
    episodes = []
    for number, state in enumerate(folded):
        if state.ground_at is None or state.settling.at_grams is None:
            continue
        following = folded[number + 1] if number + 1 < len(folded) else None
        end_ms, end_grams = one.at_ms, facts.burr_grams
        if following is not None and following.ground_at is not None:
            end_ms = to_milliseconds(following.ground_at)
            end_grams = following.settling.at_grams
        ground_ms = to_milliseconds(state.ground_at)
        if end_ms < from_ms or end_grams is None:
            continue
        then = replace(
            facts,
            burr_grams=state.settling.at_grams,
            checkpoints=tuple(c for c in facts.checkpoints if c.ground_at <= state.ground_at),
            seatings=tuple(s for s in facts.seatings if s.at <= state.ground_at),
        )
        due_grams = stage_at(then, state.ground_at).break_in.next_checkpoint_grams
        if due_grams is None or end_grams < due_grams:
            continue
        opened_ms = _crossed_ms(connection, account_no, one, due_grams, ground_ms, end_ms)
        episodes.append(
            Episode(
                "checkpoint_due",
                "notice",
                opened_ms,
                None if following is None else max(end_ms, opened_ms),
                {"due_grams": due_grams},
            )
        )
    return [
        episode
        for episode in episodes
        if episode.closed_at_ms is None or episode.closed_at_ms > episode.opened_at_ms
    ]


def _burr_life(connection: Connection, account_no: int, one: Asked) -> list[Episode]:
    """From when on the kilograms that are certain were the rated life."""
    burr_set = burr_set_in(one)
    if burr_set is None or burr_set.rated_life_grams is None:
        return []
    prior = burr_set.prior_grams
    least = burr_set.low_prior_grams or 0.0 if prior is None else prior
    due_grams = burr_set.rated_life_grams - least
    first_ms = min(stay.from_ms for stay in one.stays)
    if through(one).grams_mg / 1000 < due_grams:
        return []
    opened_ms = _crossed_ms(connection, account_no, one, due_grams, first_ms, one.at_ms)
    facts = {"rated_life_grams": burr_set.rated_life_grams}
    return [Episode("burr_life", "caution", opened_ms, None, facts)]


def _crossed_ms(
    connection: Connection,
    account_no: int,
    one: Asked,
    due_grams: float,
    low_ms: int,
    high_ms: int,
) -> int:
    """The first whole minute in (low, high] by which so much was through the set; else ``high``."""
    assert one.burr_set is not None
    known = (one.marks.kept.early_revision, one.found.grinder.revision, one.burr_set.revision)
    key = (account_no, one.found.grinder_no, one.burr_set.burr_set_no, due_grams, low_ms, *known)
    kept = CROSSED.get(connection.engine, key)
    if kept is not None and kept <= high_ms:
        return kept
    low, high = low_ms // MINUTE_MS, -(-high_ms // MINUTE_MS)
    while high - low > 1:
        middle = (low + high) // 2
        if _grams_at(connection, account_no, one, middle * MINUTE_MS) >= due_grams:
            high = middle
        else:
            low = middle
    crossed_ms = min(high * MINUTE_MS, high_ms)
    if crossed_ms < min(high_ms, fit_border_ms(one.at_ms)):  # before it all changes are told of
        CROSSED.put(connection.engine, key, crossed_ms)
    return crossed_ms


def _grams_at(connection: Connection, account_no: int, one: Asked, at_ms: int) -> float:
    at = to_instant(at_ms)
    (then,) = asked.about(connection, account_no, [one.found], as_of=at, now=at)
    if not then.stays or then.burr_set is None or one.burr_set is None:
        return 0.0
    if then.burr_set.burr_set_no != one.burr_set.burr_set_no:
        return 0.0
    want_through(then)
    count(connection, account_no, {stay.counter for stay in then.stays})
    return through(then).grams_mg / 1000
