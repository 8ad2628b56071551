"""What held of a grinder's use: low flow, silence, a source whose clock is wrong."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from ..core import nameplate
from ..core.alert_settings import rules_at
from ..core.episode_clock import Receipt, clock_episodes, may_be_behind
from ..core.episode_facts import Episode
from ..core.episode_flow import BASE_DAYS, FlowRun, flow_low_episodes, may_be_low
from ..core.episode_silent import DatedSite, silent_episodes, silent_from_ms
from ..store import facts, flows
from ..store.burr_sets import FittingRow
from ..store.database import Connection
from ..store.grinders import GrinderRow
from ..store.tables import DAY_MS, HOUR_MS, site_fact
from ..store.types import EPOCH, to_instant, to_milliseconds
from .episodes_held import Rules
from .flow_days import flow_days

MEMORY_MS = 2 * DAY_MS + 14 * HOUR_MS
"""What an instant goes by: a day for which a fact holds, the day before it, the widest clock."""
ASIDE_MS = 28 * DAY_MS
"""How far an episode is followed back to where it began."""
CALM_BACK_MS = HOUR_MS
"""Of grinders whose flow and clock were well a moment ago, runs of so much more are read."""
SILENCE_AHEAD_MS = 90 * DAY_MS


def use_of(
    connection: Connection,
    account_no: int,
    found: Sequence[GrinderRow],
    rules: Rules,
    around: Mapping[int, Sequence[FittingRow]],
    *,
    from_ms: int,
    until_ms: int,
    calm_ms: Mapping[int, int] | None = None,
) -> tuple[dict[int, list[Episode]], dict[int, int | None]]:
    """What held of each grinder at or after ``from_ms``, as it stood at ``until_ms``.

    And when each will be silent, if nothing is heard of it until then. ``around`` are the fittings
    that bear on each. ``calm_ms`` are instants up to which it is known that flow and clock are
    well, by facts and rules that are the same now: where the latest runs show no more than that,
    only those are read.
    """
    held: dict[int, list[Episode]] = {row.grinder_no: [] for row in found}
    ahead: dict[int, int | None] = dict.fromkeys(held)
    if not found:
        return held, ahead
    sites = _dated_sites(connection, account_no, found, until_ms)
    calm_ms = calm_ms or {}
    calm = [row for row in found if row.grinder_no in calm_ms]
    asked = [row for row in found if row.grinder_no not in calm_ms]
    back_ms = CALM_BACK_MS if calm else MEMORY_MS
    while calm or asked:
        low_ms = max(0, from_ms - back_ms)
        rows = calm or asked
        placed = (connection, account_no, dict.fromkeys((row.grinder_no for row in rows), low_ms))
        recent = flows.recent(*placed, until_ms=until_ms)
        usual = {
            number: low_ms - low_ms % DAY_MS - (BASE_DAYS + 1) * DAY_MS
            for number, runs in recent.items()
            if any(run.milligrams_per_second is not None for run in runs)
        }
        days = flow_days(connection, account_no, usual, until_ms=until_ms)
        before = flows.last_starts(*placed)
        restless = []
        for row in rows:
            number = row.grinder_no
            runs = recent.get(number, [])
            told = (
                [
                    FlowRun(run.ended_ms, run.milligrams_per_second, run.cell)
                    for run in runs
                    if run.milligrams_per_second is not None
                ],
                days.get(number, []),
                rules[number],
            )
            receipts = [
                Receipt(run.source_no, run.ended_ms, run.received_ms)
                for run in runs
                if run.is_by_device
            ]
            fitted = _fitted_ms(number, around.get(number, ()), until_ms)
            known: list[Episode] = []
            if calm:
                since_ms = calm_ms[number]
                if may_be_behind(receipts, since_ms=since_ms, until_ms=until_ms) or may_be_low(
                    *told, since_ms=since_ms, until_ms=until_ms, fitted_ms=fitted
                ):
                    asked.append(row)
                    continue
            else:
                known += flow_low_episodes(*told, fitted_ms=fitted, until_ms=until_ms)
                known += clock_episodes(receipts, rules[number], until_ms=until_ms)
                # one that may have begun before what was looked at is followed further back
                is_cut = any(one.opened_at_ms < low_ms + MEMORY_MS - DAY_MS for one in known)
                if is_cut and back_ms < ASIDE_MS and low_ms > 0 and _reaches(known, from_ms):
                    restless.append(row)
                    continue
            starts = [run.started_ms for run in runs]
            if number in before:
                starts.append(before[number])
            gone = unavailable(row)
            known += silent_episodes(
                [(at_ms, at_ms) for at_ms in starts],
                sites[row.site_no],
                rules[number],
                unavailable=gone,
                until_ms=until_ms,
            )
            if starts:
                ahead[number] = silent_from_ms(
                    max(starts),
                    sites[row.site_no],
                    rules[number],
                    unavailable=gone,
                    within_ms=until_ms + SILENCE_AHEAD_MS,
                )
            held[number] = [one for one in known if _holds_after(one, from_ms)]
        if calm:
            calm, back_ms = [], MEMORY_MS
        else:
            asked, back_ms = restless, min(ASIDE_MS, back_ms * 4)
    return held, ahead


def silent_now(
    connection: Connection,
    account_no: int,
    found: Mapping[int, tuple[GrinderRow, int]],
    rules: Rules,
    *,
    at_ms: int,
) -> dict[int, list[Episode]]:
    """Which of these grinders, each with the start of its last run, are silent at an instant."""
    suspects = {
        number: (row, last_ms)
        for number, (row, last_ms) in found.items()
        if at_ms - last_ms >= 1000 * rules_at(rules[number], at_ms)["silent"]["open_seconds"]
    }
    if not suspects:
        return {}
    sites = _dated_sites(connection, account_no, [row for row, _ in suspects.values()], at_ms)
    return {
        number: [
            episode
            for episode in silent_episodes(
                [(last_ms, last_ms)],
                sites[row.site_no],
                rules[number],
                unavailable=unavailable(row),
                until_ms=at_ms,
            )
            if episode.closed_at_ms is None
        ]
        for number, (row, last_ms) in suspects.items()
    }


def unavailable(row: GrinderRow) -> list[tuple[int, int]]:
    """When a grinder was out of service, and from when on it is retired."""
    gone = [
        (
            to_milliseconds(span.from_at),
            2**53 if span.to_at is None else to_milliseconds(span.to_at),
        )
        for span in row.grinder.out_of_service
    ]
    if row.grinder.retired_at is not None:
        gone.append((to_milliseconds(row.grinder.retired_at), 2**53))
    return gone


def _holds_after(episode: Episode, from_ms: int) -> bool:
    return episode.closed_at_ms is None or episode.closed_at_ms >= from_ms


def _reaches(episodes: Iterable[Episode], from_ms: int) -> bool:
    return any(_holds_after(episode, from_ms) for episode in episodes)


def _fitted_ms(number: int, around: Iterable[FittingRow], until_ms: int) -> list[int]:
    """When burr sets were fitted: what was usual before says nothing of what came after."""
    fitted = (to_milliseconds(row.fitted_at) for row in around if row.grinder_no == number)
    return [at_ms for at_ms in fitted if at_ms <= until_ms]


def _dated_sites(
    connection: Connection, account_no: int, found: Sequence[GrinderRow], until_ms: int
) -> dict[int, list[DatedSite]]:
    """The sites where grinders stand, as each was from when on."""
    own = {row.site_no: row.site for row in found}
    (dated,) = facts.patches_of(
        connection, account_no, {site_fact: own.keys()}, as_of=max(to_instant(until_ms), EPOCH)
    )
    return {
        number: [
            DatedSite(
                to_milliseconds(at),
                nameplate.site_of(
                    state, site_id=site.site_id, created_at=site.created_at, revision=site.revision
                ),
            )
            for at, state in facts.states(dated[number], since=EPOCH)
        ]
        for number, site in own.items()
    }
