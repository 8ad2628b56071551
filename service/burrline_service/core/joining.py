"""Which checkpoints of a burr set may be joined to one curve, and what stands beside it.

Two sieve sets, instruments, dispersants, motor speeds or grinders do not tell the same thing, and
no sum of doses turns one into the other: such points are refused, with the reason. Another coffee
lot or another seating of the burrs shifts the level and leaves the kilograms and the curve's shape
alone.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from .entered import Checkpoint

SAME_RPM_FRACTION = 0.02
"""Motor speeds within this count as one (our choice, no source)."""
D50_RANGE_MICROMETRES = (1.0, 10_000.0)
"""A D50 outside this range is no ground coffee and is left out (our choice, no source)."""
LARGEST_GRAMS = 1e8


@dataclass(frozen=True)
class Seating:
    """The burrs came out and went in again; ``zero_setting`` is where they touch since."""

    at: datetime
    zero_setting: float | None = None


@dataclass(frozen=True)
class SettingSlope:
    """What a ladder of settings in one sitting told: change of D50 or fines per setting step.

    The standard deviations are of the slopes.
    """

    d50_micrometres: float
    d50_sd_micrometres: float
    fines_fraction: float
    fines_sd_fraction: float


@dataclass(frozen=True)
class Row:
    """A checkpoint as it enters the curve; its values are those at the reference setting."""

    checkpoint_id: str
    ground_at: datetime
    burr_grams: float
    d50_micrometres: tuple[float, ...]
    fines_fraction: tuple[float, ...]
    coffee_lot: str | None
    seating_count: int
    d50_shift_sd_micrometres: float = 0.0
    fines_shift_sd_fraction: float = 0.0


@dataclass(frozen=True)
class LeftOut:
    """A checkpoint that was not joined, or values of it that were not used, and why."""

    checkpoint_id: str
    reason: str


@dataclass(frozen=True)
class Joined:
    """The rows of one curve in the order of their kilograms, what was left out, and cautions."""

    rows: tuple[Row, ...]
    left_out: tuple[LeftOut, ...]
    cautions: tuple[str, ...]
    reference_setting: float | None


def join_checkpoints(
    checkpoints: Sequence[Checkpoint],
    seatings: Sequence[Seating] = (),
    *,
    first_zero_setting: float | None = None,
    slope: SettingSlope | None = None,
) -> Joined:
    """Join the checkpoints that measure one thing at one setting, and refuse the others.

    ``used: grinder, method, instrument, sieve set, dispersant, cut and rpm of the latest
    checkpoint; setting - zero_setting equal, or values shifted by slope (s_ref - s)``

    Parameters
    ----------
    checkpoints : sequence of entered.Checkpoint
        Of one burr set, in any order; voided ones do not count.
    seatings : sequence of Seating
        When its burrs were taken out and put back.
    first_zero_setting : float or None
        Zero point before the first seating.
    slope : SettingSlope or None
        Adjusts checkpoints at another setting; None = they are refused.

    Returns
    -------
    Joined
        Reasons: ``grinder_changed``, ``method_changed``, ``instrument_changed``,
        ``sieve_set_changed``, ``dispersant_changed``, ``fines_cut_changed``, ``rpm_changed``,
        ``setting_changed``, ``setting_unknown``, ``kilograms_unusable``, ``no_usable_values``,
        ``values_left_out`` (the row itself is used). Cautions: ``coffee_lot_changed`` and
        ``reseated`` (a level step each), ``setting_not_recorded``, ``adjusted_for_setting``,
        ``zero_unknown``.

    Raises
    ------
    ValueError
        Instants of which some are naive.

    Valid
    -----
    The reference setting is the latest checkpoint's. Across a seating with an unknown zero the
    settings cannot be compared; the level step then stands for any difference.

    Source
    ------
    Definition made here; that such changes break comparability is common practice, no source.

    Examples
    --------
    >>> join_checkpoints([])
    Joined(rows=(), left_out=(), cautions=(), reference_setting=None)
    """
    if any(c.ground_at.utcoffset() is None for c in checkpoints) or any(
        s.at.utcoffset() is None for s in seatings
    ):
        raise ValueError("instants must be aware (have an offset)")
    left_out: list[LeftOut] = []
    usable: list[tuple[Checkpoint, Row]] = []
    steps = sorted(seatings, key=lambda seating: seating.at)
    for checkpoint in sorted((c for c in checkpoints if c.voided_at is None), key=_order):
        row, reason = _usable(checkpoint, sum(s.at <= checkpoint.ground_at for s in steps))
        if reason is not None:
            left_out.append(LeftOut(checkpoint.checkpoint_id, reason))
        if row is not None:
            usable.append((checkpoint, row))
    if not usable:
        return Joined((), tuple(left_out), (), None)
    latest, latest_row = max(usable, key=lambda pair: _order(pair[0]))
    zeros = [first_zero_setting, *(seating.zero_setting for seating in steps)]
    references = _references(usable, zeros, latest, latest_row)
    rows: list[Row] = []
    cautions: set[str] = set()
    for checkpoint, row in usable:
        reason = _other_measurement(checkpoint, latest)
        if reason is None and checkpoint.fines_cut_micrometres != latest.fines_cut_micrometres:
            left_out.append(LeftOut(checkpoint.checkpoint_id, "fines_cut_changed"))
            row = replace(row, fines_fraction=())
            if not row.d50_micrometres:
                continue
        if reason is None:
            placed, reason = _at_setting(checkpoint, row, references, slope, cautions)
            if placed is not None:
                rows.append(placed)
        if reason is not None:
            left_out.append(LeftOut(checkpoint.checkpoint_id, reason))
    if len({row.coffee_lot for row in rows}) > 1:
        cautions.add("coffee_lot_changed")
    if len({row.seating_count for row in rows}) > 1:
        cautions.add("reseated")
        if any(zeros[row.seating_count] is None for row in rows):
            cautions.add("zero_unknown")
    return Joined(
        rows=tuple(rows),
        left_out=tuple(sorted(left_out, key=lambda item: (item.checkpoint_id, item.reason))),
        cautions=tuple(sorted(cautions)),
        reference_setting=latest.setting,
    )


def _order(checkpoint: Checkpoint) -> tuple[float, datetime, str]:
    grams = checkpoint.burr_grams
    is_known = grams is not None and math.isfinite(grams)
    return (
        grams if grams is not None and is_known else -1.0,
        checkpoint.ground_at,
        checkpoint.checkpoint_id,
    )


def _usable(checkpoint: Checkpoint, seating_count: int) -> tuple[Row | None, str | None]:
    grams = checkpoint.burr_grams
    if grams is None or not 0 <= grams <= LARGEST_GRAMS:  # not a number fails, too
        return None, "kilograms_unusable"
    low, high = D50_RANGE_MICROMETRES
    sizes = [replicate.sizes for replicate in checkpoint.replicates]
    d50 = [size.d50_micrometres for size in sizes if size.d50_micrometres is not None]
    fines = [size.fines_fraction for size in sizes if size.fines_fraction is not None]
    cuts = {size.fines_cut_micrometres for size in sizes if size.fines_fraction is not None}
    is_one_cut = cuts <= {checkpoint.fines_cut_micrometres}
    good_d50 = sorted(v for v in d50 if low <= v <= high)
    good_fines = sorted(v for v in fines if 0 <= v <= 1) if is_one_cut else []
    if not good_d50 and not good_fines:
        return None, "no_usable_values"
    is_complete = len(good_d50) == len(d50) and len(good_fines) == len(fines)
    row = Row(
        checkpoint.checkpoint_id,
        checkpoint.ground_at,
        grams,
        tuple(good_d50),
        tuple(good_fines),
        checkpoint.coffee_lot,
        seating_count,
    )
    return row, None if is_complete else "values_left_out"


def _other_measurement(checkpoint: Checkpoint, latest: Checkpoint) -> str | None:
    """Why a checkpoint does not measure what the latest one does."""
    for name, reason in (
        ("grinder_id", "grinder_changed"),  # another motor, bearing and dial
        ("method", "method_changed"),
        ("instrument_id", "instrument_changed"),
        ("sieve_set_id", "sieve_set_changed"),
        ("dispersant", "dispersant_changed"),
    ):
        if getattr(checkpoint, name) != getattr(latest, name):
            return reason
    one, other = checkpoint.rpm, latest.rpm
    if (one is None) != (other is None):
        return "rpm_changed"
    if one is not None and other is not None and not abs(one - other) <= SAME_RPM_FRACTION * other:
        return "rpm_changed"
    return None


def _references(
    usable: Sequence[tuple[Checkpoint, Row]],
    zeros: Sequence[float | None],
    latest: Checkpoint,
    latest_row: Row,
) -> dict[int, float | None]:
    """The dial's reading, by seating, that stands for the latest checkpoint's setting."""
    latest_zero = zeros[latest_row.seating_count]
    found: dict[int, float | None] = {}
    for seating in sorted({row.seating_count for _, row in usable}):
        zero = zeros[seating]
        if seating == latest_row.seating_count:
            found[seating] = latest.setting
        elif latest.setting is not None and zero is not None and latest_zero is not None:
            found[seating] = latest.setting - latest_zero + zero
        else:  # not comparable: the setting used most, the latest of those used equally
            used = [
                checkpoint.setting
                for checkpoint, row in usable
                if row.seating_count == seating and _other_measurement(checkpoint, latest) is None
            ]
            times = Counter(used)
            found[seating] = max(
                reversed(used), key=lambda setting: (setting is not None, times[setting])
            ) if used else None  # fmt: skip
    return found


def _at_setting(
    checkpoint: Checkpoint,
    row: Row,
    references: dict[int, float | None],
    slope: SettingSlope | None,
    cautions: set[str],
) -> tuple[Row | None, str | None]:
    wanted, given = references[row.seating_count], checkpoint.setting
    if given is None and wanted is None:
        cautions.add("setting_not_recorded")
        return row, None
    if given is None or wanted is None:
        return None, "setting_unknown"
    away = wanted - given
    if abs(away) <= 1e-9 * max(1.0, abs(wanted)):
        return row, None
    if slope is None or not math.isfinite(away):
        return None, "setting_changed"
    cautions.add("adjusted_for_setting")
    return replace(
        row,
        d50_micrometres=tuple(v + away * slope.d50_micrometres for v in row.d50_micrometres),
        fines_fraction=tuple(v + away * slope.fines_fraction for v in row.fines_fraction),
        d50_shift_sd_micrometres=abs(away) * slope.d50_sd_micrometres,
        fines_shift_sd_fraction=abs(away) * slope.fines_sd_fraction,
    ), None
