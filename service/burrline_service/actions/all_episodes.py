"""What held of grinders, every kind of it: what lists, statuses and the ledger go by."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..core.episode_facts import Episode
from ..core.episode_span import judged
from ..store import burr_sets
from ..store.database import Connection
from ..store.grinders import GrinderRow
from .episodes_held import Rules, episodes_of, limits_of
from .grind_episodes import grind_of
from .use_episodes import use_of

if TYPE_CHECKING:
    from ..core.stages import StageChange


@dataclass(frozen=True)
class Held:
    """Of one grinder: its episodes, when it will be silent if it stays so, its stages.

    ``is_warm``: its motor was warm enough of late for a forecast.
    """

    episodes: list[Episode]
    silent_ms: int | None
    is_warm: bool
    burr_set_id: str | None
    stages: tuple[StageChange, ...]


def held_of(
    connection: Connection,
    account_no: int,
    found: Sequence[GrinderRow],
    rules: Rules,
    *,
    from_ms: int,
    until_ms: int,
    is_now: bool,
    heating_from_ms: int | None = None,
    calm_ms: Mapping[int, int] | None = None,
) -> dict[int, Held]:
    """What held of each grinder at or after ``from_ms``, as it stood at ``until_ms``.

    Forecasts, which cost by far the most, may be told from a later instant on. ``calm_ms`` see
    ``use_of``.
    """
    from .heating import heating_of, warm_ones  # with numpy: loaded when first there is need

    span = {"from_ms": from_ms, "until_ms": until_ms}
    motors = episodes_of(connection, account_no, found, rules, **span)
    around = burr_sets.fittings_of_grinders(
        connection, account_no, [row.grinder_no for row in found]
    )
    use, ahead = use_of(connection, account_no, found, rules, around, **span, calm_ms=calm_ms)
    grind, stages = grind_of(
        connection, account_no, found, rules, **span, is_now=is_now, around=around
    )
    ahead_span = {
        "from_ms": from_ms if heating_from_ms is None else max(from_ms, heating_from_ms),
        "until_ms": until_ms,
    }
    limits = {row.grinder_no: limits_of(row, until_ms, rules[row.grinder_no]) for row in found}
    warm = warm_ones(connection, account_no, found, limits, **ahead_span)
    held = {}
    for row in found:
        number = row.grinder_no
        heating: Sequence[Episode] = ()
        if number in warm:
            heating = heating_of(connection, account_no, row, limits[number], **ahead_span)
        episodes = [
            *motors[number],
            *judged(heating, rules[number], until_ms=until_ms),
            *judged(use[number], rules[number], until_ms=until_ms),
            *grind[number],
        ]
        burr_set_id, changes = stages.get(number, (None, ()))
        held[number] = Held(episodes, ahead[number], number in warm, burr_set_id, changes)
    return held
