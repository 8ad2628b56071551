"""Checkpoints with their settings: what tells how the dial moves the grind.

Nothing but the setting and the burrs' age may differ between them, save the coffee and the
seating, which get a level of their own. All checkpoints of one sitting count as of one age.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from .entered import Checkpoint
from .joining import LeftOut, Seating, SettingSlope, join_checkpoints

ONE_SITTING_GRAMS = 1000.0
"""Doses of one sitting that lie closer than this are of one age: what is ground and purged on a
ladder is less, and its order must not look like the burrs' age (our choice, no source)."""


@dataclass(frozen=True)
class Step:
    """A checkpoint at its setting; ``above_setting`` counts from where the burrs touch.

    Values are natural logarithms of D50 in micrometres, and fines as fractions.
    """

    checkpoint_id: str
    sitting: str
    setting: float
    above_setting: float
    burr_grams: float
    age_grams: float
    log_d50_ratio: tuple[float, ...]
    fines_fraction: tuple[float, ...]
    coffee_lot: str | None
    seating_count: int


@dataclass(frozen=True)
class Steps:
    """All steps in the order of their kilograms; ``zero_setting`` is that of the last one."""

    rows: tuple[Step, ...]
    left_out: tuple[LeftOut, ...]
    cautions: tuple[str, ...]
    zero_setting: float | None


def select_steps(
    checkpoints: Sequence[Checkpoint],
    seatings: Sequence[Seating] = (),
    *,
    first_zero_setting: float | None = None,
) -> Steps:
    """Choose the checkpoints that measure one thing, whatever their settings.

    ``x = setting - zero_setting;  age = mean kilograms of a sitting``

    Parameters
    ----------
    checkpoints : sequence of entered.Checkpoint
        Of one burr set, in any order; voided ones do not count.
    seatings : sequence of Seating
        When its burrs were taken out and put back.
    first_zero_setting : float or None
        Zero point before the first seating.

    Returns
    -------
    Steps
        Reasons and cautions of ``join_checkpoints``; ``setting_unknown`` also for checkpoints
        without a setting.

    Raises
    ------
    ValueError
        Instants of which some are naive.

    Valid
    -----
    Without a zero point ``x`` is the setting itself: each seating has a level of its own, so that
    slopes are the same.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> select_steps([])
    Steps(rows=(), left_out=(), cautions=(), zero_setting=None)
    """
    known = [c for c in checkpoints if c.voided_at is None]
    told = [c for c in known if c.setting is not None and math.isfinite(c.setting)]
    silent = {c.checkpoint_id for c in known} - {c.checkpoint_id for c in told}
    nothing = SettingSlope(0.0, 0.0, 0.0, 0.0)  # lets other settings pass as they are
    joined = join_checkpoints(told, seatings, first_zero_setting=first_zero_setting, slope=nothing)
    by_id = {c.checkpoint_id: c for c in told}
    steps = sorted(seatings, key=lambda seating: seating.at)
    zeros = [first_zero_setting, *(seating.zero_setting for seating in steps)]
    rows = []
    for row in joined.rows:
        of = by_id[row.checkpoint_id]
        assert of.setting is not None
        rows.append(
            Step(
                checkpoint_id=row.checkpoint_id,
                sitting=f"alone {of.checkpoint_id}" if of.session_id is None else of.session_id,
                setting=of.setting,
                above_setting=of.setting - (zeros[row.seating_count] or 0.0),
                burr_grams=row.burr_grams,
                age_grams=row.burr_grams,
                log_d50_ratio=tuple(map(math.log, row.d50_micrometres)),
                fines_fraction=row.fines_fraction,
                coffee_lot=row.coffee_lot,
                seating_count=row.seating_count,
            )
        )
    left_out = [*joined.left_out, *(LeftOut(one, "setting_unknown") for one in silent)]
    return Steps(
        rows=_aged(rows),
        left_out=tuple(sorted(left_out, key=lambda item: (item.checkpoint_id, item.reason))),
        cautions=tuple(one for one in joined.cautions if one != "adjusted_for_setting"),
        zero_setting=zeros[rows[-1].seating_count] if rows else None,
    )


def example_steps() -> list[Step]:
    """Give a made-up ladder for examples: three settings in one sitting, three doses each.

    ``ln D50 = ln 300 + 0.05 (setting - 5) +- 0.01``

    Returns
    -------
    list of Step
        At settings 4, 6 and 5.

    Source
    ------
    Made here.

    Examples
    --------
    >>> [step.setting for step in example_steps()]
    [4.0, 6.0, 5.0]
    """
    return [
        Step(
            checkpoint_id=f"c{setting:g}",
            sitting="one",
            setting=setting,
            above_setting=setting,
            burr_grams=0.0,
            age_grams=0.0,
            log_d50_ratio=tuple(
                math.log(300) + 0.05 * (setting - 5) + off for off in (-0.01, 0.0, 0.01)
            ),
            fines_fraction=tuple(0.1 - 0.01 * (setting - 5) + off for off in (-0.005, 0.0, 0.005)),
            coffee_lot=None,
            seating_count=0,
        )
        for setting in (4.0, 6.0, 5.0)
    ]


def _aged(rows: Sequence[Step]) -> tuple[Step, ...]:
    """All doses of a sitting at the mean of their kilograms."""
    of_sitting: dict[str, list[float]] = defaultdict(list)
    for row in rows:
        of_sitting[row.sitting].append(row.burr_grams)
    ages = {
        sitting: math.fsum(grams) / len(grams)
        for sitting, grams in of_sitting.items()
        if max(grams) - min(grams) <= ONE_SITTING_GRAMS
    }
    return tuple(replace(row, age_grams=ages.get(row.sitting, row.burr_grams)) for row in rows)
