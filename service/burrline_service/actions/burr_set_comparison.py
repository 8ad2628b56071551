"""Burr sets side by side, from the checkpoints of each, whichever grinders they were in."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from ..core.entered import Checkpoint
from ..core.errors import Fault, FutureInstant, Invalid
from ..core.nameplate import burr_set_of
from ..core.records import Caller
from ..core.stage_facts import GrindFacts
from ..store import burr_sets, entries, grinders
from ..store.burr_sets import BurrSetRow
from ..store.database import Connection, Database
from ..store.entries import CARE, CHECKPOINT, doses_ms
from ..store.types import to_instant, to_milliseconds
from . import reach
from .burr_grams import ends_ms, through_by, with_ends
from .burrs_within import visible
from .checkpoint_records import checkpoint_of
from .seatings import SEATING_TASKS, seatings_in

if TYPE_CHECKING:
    from ..core.calibration_answers import SetComparison

FEWEST_SETS, MOST_SETS = 2, 6


def compare_burr_sets(
    database: Database,
    caller: Caller,
    *,
    burr_set_ids: Sequence[str],
    d50_micrometres: float | None = None,
    as_of: datetime | None = None,
    now: datetime,
) -> SetComparison:
    """Two to six burr sets side by side, now or at a past instant."""
    if not FEWEST_SETS <= len(set(burr_set_ids)) == len(burr_set_ids) <= MOST_SETS:
        raise Invalid(
            Fault(
                f"names {FEWEST_SETS} to {MOST_SETS} different burr sets",
                parameter="burr_set_ids",
                place="query",
            )
        )
    at = now if as_of is None else as_of

    # with numpy: loaded when first there is need
    from ..core.set_comparison import compare_sets

    def work(connection: Connection) -> SetComparison:
        if as_of is not None and as_of > now:
            raise FutureInstant(as_of.isoformat(), now.isoformat())
        found = [visible(connection, caller, burr_set_id, now=now) for burr_set_id in burr_set_ids]
        facts = _facts(connection, caller, found, at, is_asked=as_of is not None, now=now)
        at_ms = to_milliseconds(at)
        return compare_sets(facts, to_instant(at_ms), d50_micrometres=d50_micrometres)

    return database.read(caller.account_no, work)


def _facts(
    connection: Connection,
    caller: Caller,
    found: Sequence[BurrSetRow],
    at: datetime,
    *,
    is_asked: bool,
    now: datetime,
) -> list[GrindFacts]:
    """What the checkpoints of each set tell by an instant, in the order given."""
    account_no, at_ms = caller.account_no, to_milliseconds(at)
    ended = with_ends(
        burr_sets.fittings_around(
            connection, account_no, burr_set_nos=[row.burr_set_no for row in found]
        )
    )
    stays = {
        row.burr_set_no: [
            one for one in ended if one[0].burr_set_no == row.burr_set_no and one[0].fitted_at <= at
        ]
        for row in found
    }
    numbers = sorted({one.grinder_no for of_set in stays.values() for one, _ in of_set})
    if is_asked:
        for grinder in grinders.by_nos(connection, account_no, numbers, as_of=now).values():
            reach.check_instant(connection, caller, grinder, as_of=at, now=now)
    rows = entries.in_force(connection, account_no, numbers, [CARE, CHECKPOINT], until_ms=at_ms)
    ids = grinders.ids_of(connection, account_no, numbers)
    cared = [row for row in rows if row.kind == CARE and row.body["task"] in SEATING_TASKS]
    dosed = [row for row in rows if row.kind == CHECKPOINT and max(doses_ms(row)) <= at_ms]
    ground = through_by(
        connection, account_no, dosed, at_ms=at_ms, end_ms=ends_ms(at, is_asked=is_asked)
    )
    of_set: dict[int, list[Checkpoint]] = defaultdict(list)
    for row, known in zip(dosed, ground, strict=True):
        if known.burr_set_no is not None:
            of_set[known.burr_set_no].append(checkpoint_of(row, ids[row.grinder_no], known))
    return [
        GrindFacts(
            burr_set=burr_set_of(
                row.description,
                burr_set_id=row.burr_set_id,
                created_at=row.created_at,
                revision=row.revision,
                fittings=(),
            ),
            burr_grams=None,
            checkpoints=tuple(of_set.get(row.burr_set_no, ())),
            seatings=tuple(
                seatings_in(
                    [
                        (
                            one.grinder_no,
                            to_milliseconds(one.fitted_at),
                            at_ms + 1 if ended_at is None else to_milliseconds(ended_at),
                        )
                        for one, ended_at in stays[row.burr_set_no]
                    ],
                    cared,
                )
            ),
        )
        for row in found
    ]
