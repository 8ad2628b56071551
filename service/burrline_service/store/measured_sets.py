"""Burr sets of one model whose grind was measured: what they tell of the others."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import Connection, exists, func, select

from .entries import CHECKPOINT
from .fact_tables import entry
from .tables import burr_set, fitting
from .types import to_milliseconds


class OfModel(NamedTuple):
    """A burr set and a grinder it was in where checkpoints were made."""

    burr_set_no: int
    burr_set_id: str
    burr_model: str
    grinder_no: int


def of_models(
    connection: Connection,
    account_no: int,
    burr_models: Collection[str],
    *,
    by: datetime,
    limit: int,
) -> list[OfModel]:
    """Sets of these models, fitted by an instant where checkpoints were made by then.

    At most ``limit`` sets of a model, the first by their ids.
    """
    if not burr_models:
        return []
    model = burr_set.c.description["burr_model"].as_string()
    place = func.dense_rank().over(partition_by=model, order_by=burr_set.c.burr_set_id)
    ranked = (
        select(
            burr_set.c.burr_set_no,
            burr_set.c.burr_set_id,
            model.label("burr_model"),
            fitting.c.grinder_no,
            place.label("place"),
        )
        .join(
            fitting,
            (fitting.c.account_no == burr_set.c.account_no)
            & (fitting.c.burr_set_no == burr_set.c.burr_set_no),
        )
        .where(
            burr_set.c.account_no == account_no,
            burr_set.c.voided_at.is_(None),
            model.in_(sorted(burr_models)),
            fitting.c.fitted_at <= by,
            exists().where(
                entry.c.account_no == fitting.c.account_no,
                entry.c.grinder_no == fitting.c.grinder_no,
                entry.c.kind == CHECKPOINT,
                entry.c.from_ms <= to_milliseconds(by),
                entry.c.voided_at.is_(None),
            ),
        )
        .subquery()
    )
    names = ("burr_set_no", "burr_set_id", "burr_model", "grinder_no")
    found = connection.execute(
        select(*(ranked.c[name] for name in names)).distinct().where(ranked.c.place <= limit)
    )
    return [OfModel(*row) for row in found]
