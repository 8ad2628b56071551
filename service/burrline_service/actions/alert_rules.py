"""The rules of alerts that hold for grinders, as far as their account, site and they set them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ..core.alert_settings import ALWAYS, DatedRules, rules_in_force
from ..store.grinders import GrinderRow
from ..store.types import to_milliseconds


def rules_of(found: Iterable[GrinderRow]) -> dict[int, Sequence[DatedRules]]:
    """By number of grinder, what was set by the instant of its row, at its site of that instant."""
    return {row.grinder_no: _rules_of(row) for row in found}


def _rules_of(row: GrinderRow) -> Sequence[DatedRules]:
    if not any(row.alert_patches):
        return ALWAYS
    return rules_in_force(
        [[(to_milliseconds(at), patch) for at, patch in level] for level in row.alert_patches]
    )
