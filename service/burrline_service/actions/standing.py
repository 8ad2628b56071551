"""How a grinder stands at an instant: one status put together from sums and recent runs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from ..core.answers import BreakIn, MotorState, OpenAlert, Status, Throughput
from ..core.episode_facts import Episode, Reading
from ..core.episode_facts import Stretch as On
from ..core.episode_span import judged
from ..core.heat import judge_reading
from ..core.open_now import may_be_open
from ..core.prior import expected_break_in
from ..core.records import BurrSet
from ..core.throughput import estimated_grams
from ..store import alerts
from ..store.database import Connection, Database
from ..store.grinders import GrinderRow
from ..store.sums import Sums
from ..store.types import to_instant
from . import asked, episodes_held, stream_now
from .asked import Asked
from .counting import count, counts_seconds, total_of
from .grind_episodes import held_by
from .on_time import duty_of, ran
from .stages_told import stages_of
from .through import burr_set_in, flow_of, through, unweighed_grams, want_through
from .use_episodes import silent_now

if TYPE_CHECKING:
    from ..core.stage_facts import GrindFacts
    from .motor_fitting import Memo


@dataclass(frozen=True)
class Memos:
    """What was worked out on the way: fits of motors, and when flows had steadied."""

    motors: Sequence[Memo] = ()
    flows: Sequence[stream_now.Memo] = ()


def statuses_of(
    connection: Connection,
    account_no: int,
    found: Sequence[GrinderRow],
    *,
    as_of: datetime | None,
    now: datetime,
) -> tuple[list[Status], Memos]:
    """The statuses of these grinders in their order, and what was worked out and may be kept.

    All from the same dozen statements, but for what has no memo.
    """
    if not found:
        return [], Memos()
    each = asked.about(connection, account_no, found, as_of=as_of, now=now)
    for one in each:
        one.counter.want(0, one.end_ms)
        one.counter.want(one.day_start_ms, one.end_ms)
        one.counter.want(one.counter.motor_began_ms, one.end_ms)
        want_through(one)
    counters = [one.counter for one in each] + [stay.counter for one in each for stay in one.stays]
    by_no = {counter.grinder_no: counter for counter in counters}
    count(connection, account_no, by_no.values())
    facts, told, flows = stages_of(connection, account_no, each, keeps=as_of is None)
    suspects = [one for one in each if _may_have_alerts(one)]
    held = episodes_held.episodes_of(
        connection,
        account_no,
        [one.found for one in suspects],
        {one.found.grinder_no: one.rules for one in suspects},
        from_ms=each[0].at_ms,
        until_ms=each[0].at_ms,
    )
    beside = _beside_motors(connection, account_no, each, facts)
    statuses, memos = [], []
    for one in each:
        motor, heating, memo = _motor(connection, account_no, one)
        memos.append(memo)
        number = one.found.grinder_no
        episodes = [*held.get(number, []), *heating, *beside.get(number, ())]
        open_now = [episode for episode in episodes if episode.closed_at_ms is None]
        statuses.append(_status_of(one, motor, open_now, told.get(number)))
    if as_of is None:
        statuses = _with_ids(connection, account_no, each, statuses)
    return statuses, Memos([memo for memo in memos if memo is not None], flows)


def keep(database: Database, account_no: int, memos: Memos) -> None:
    """Keep what was worked out for statuses, unless somebody else is writing."""
    if memos.motors:
        from . import motor_fitting  # with numpy, as whoever made them

        motor_fitting.keep(database, account_no, *memos.motors)
    stream_now.keep(database, account_no, memos.flows)


def _with_ids(
    connection: Connection, account_no: int, each: Sequence[Asked], statuses: Sequence[Status]
) -> list[Status]:
    """The statuses with the ids of those of their alerts that were noticed."""
    since = {
        one.found.grinder_no: one.at_ms
        for one, status in zip(each, statuses, strict=True)
        if status.alerts
    }
    known = alerts.since(connection, account_no, since)
    ids = {
        (number, row.entry.kind): row.entry.alert_id
        for number, rows in known.items()
        for row in rows
        if row.entry.closed_ms is None
    }
    return [
        replace(
            status,
            alerts=tuple(
                replace(alert, alert_id=ids.get((one.found.grinder_no, alert.kind)))
                for alert in status.alerts
            ),
        )
        if status.alerts
        else status
        for one, status in zip(each, statuses, strict=True)
    ]


def _beside_motors(
    connection: Connection,
    account_no: int,
    each: Sequence[Asked],
    facts: Mapping[int, GrindFacts],
) -> dict[int, list[Episode]]:
    """Silence, and what holds of burr sets, where a look at what is loaded says that it may."""
    at_ms = each[0].at_ms
    rules = {one.found.grinder_no: one.rules for one in each}
    last = {
        one.found.grinder_no: (one.found, one.marks.last_ms)
        for one in each
        if one.marks.last_ms is not None and one.found.site.opening_hours
    }
    held = dict(silent_now(connection, account_no, last, rules, at_ms=at_ms))
    for one in each:
        number = one.found.grinder_no
        if number in facts or _may_be_worn(one):
            known = held_by(connection, account_no, one, facts.get(number), from_ms=at_ms)
            held[number] = [*held.get(number, ()), *judged(known, one.rules, until_ms=at_ms)]
    return held


def _may_be_worn(one: Asked) -> bool:
    """Whether all that may have been through the set in it reaches its rated life."""
    burr_set = burr_set_in(one)
    if burr_set is None or burr_set.rated_life_grams is None:
        return False
    before = burr_set.prior_grams or burr_set.low_prior_grams or 0.0
    return before + through(one).grams_mg / 1000 >= burr_set.rated_life_grams


def _may_have_alerts(one: Asked) -> bool:
    on = [
        On(started_ms, ended_ms)
        for started_ms, ended_ms in (*ran(one), *one.running)
        if started_ms < ended_ms
    ]
    motor = one.marks.motor
    latest = None if motor is None else Reading(motor[0], motor[1] / 10)
    return may_be_open(latest, on, one.limits, at_ms=one.at_ms)


def _status_of(
    one: Asked, motor: MotorState, held: Sequence[Episode], measured: BreakIn | None
) -> Status:
    burr_set = burr_set_in(one)
    total = through(one)
    everything = one.counter.between(0, one.end_ms)
    coffee = total_of(everything, only_coffee=True)
    flow = flow_of(one, coffee if burr_set is None else total)
    throughput = _throughput(one, burr_set, total, coffee, total_of(everything).on_ms)
    return Status(
        grinder_id=one.grinder.grinder_id,
        site_id=one.grinder.site_id,
        name=one.grinder.name,
        as_of=to_instant(one.at_ms),
        throughput=throughput,
        duty=duty_of(one, flow),
        motor=motor,
        break_in=(
            expected_break_in(burr_set, throughput.burr_grams, throughput.burr_estimated_grams)
            if measured is None
            else measured
        ),
        alerts=tuple(
            OpenAlert(episode.kind, episode.severity, to_instant(episode.opened_at_ms))
            for episode in held
        ),
        revision=one.marks.kept.revision,
    )


def _throughput(
    one: Asked,
    burr_set: BurrSet | None,
    total: Sums,
    coffee: Sums,
    on_ms: int,
) -> Throughput:
    today = one.counter.coffee(one.day_start_ms, one.end_ms)
    last_ms = one.marks.last_ms
    flow_of_all = flow_of(one, coffee)
    burr_grams = None if burr_set is None else total.grams_mg / 1000
    total_burr_grams = None
    if burr_set is not None and burr_set.prior_grams is not None:
        total_burr_grams = burr_set.prior_grams + total.grams_mg / 1000
    return Throughput(
        burr_set_id=None if burr_set is None else burr_set.burr_set_id,
        burr_grams=burr_grams,
        total_burr_grams=total_burr_grams,
        burr_run_count=None if burr_set is None else total.run_count,
        burr_estimated_grams=None if burr_set is None else unweighed_grams(one, total),
        grinder_grams=coffee.grams_mg / 1000,
        grinder_estimated_grams=estimated_grams(
            coffee.estimated_mg, coffee.ungrammed_ms, flow_of_all
        ),
        grinder_run_seconds=(on_ms - _still_to_come_ms(one)) / 1000,
        motor_run_seconds=_motor_ms(one, on_ms) / 1000,
        today_grams=today.grams_mg / 1000,
        today_estimated_grams=estimated_grams(today.estimated_mg, today.ungrammed_ms, flow_of_all),
        last_run_at=None if last_ms is None else to_instant(last_ms),
    )


def _motor_ms(one: Asked, all_on_ms: int) -> int:
    """Motor time of the runs begun since the motor was put in, up to the instant."""
    began_ms = one.counter.motor_began_ms
    if began_ms:
        all_on_ms = total_of(one.counter.between(began_ms, one.end_ms)).on_ms
    return all_on_ms - _still_to_come_ms(one, since_ms=began_ms)


def _still_to_come_ms(one: Asked, *, since_ms: int = 0) -> int:
    """Motor time after the instant of runs counted by then: a run is clipped there."""
    return sum(
        max(0, stretch.started_ms + (stretch.on_ms or 0) - max(one.at_ms, stretch.started_ms))
        for stretch in one.recent
        if counts_seconds(stretch.part) and stretch.started_ms >= since_ms
    )


def _motor(
    connection: Connection, account_no: int, one: Asked
) -> tuple[MotorState, Sequence[Episode], Memo | None]:
    """The latest reading, of runs' ends and of those beside, and what the model makes of all."""
    latest = one.marks.motor
    state = judge_reading(
        reading_celsius=None if latest is None else latest[1] / 10,
        read_at=None if latest is None else to_instant(latest[0]),
        motor=one.grinder.motor,
        as_of=one.at,
    )
    if latest is None and state.sensor in (None, "none"):
        return state, (), None
    from . import motor_now  # with numpy: loaded when first there is need

    heat = motor_now.heat_now(connection, account_no, one)
    state, memo = motor_now.told_by_model(state, heat)
    return state, motor_now.heating_now(connection, account_no, one), memo
