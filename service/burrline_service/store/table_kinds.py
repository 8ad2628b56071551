"""What all tables share: their register, and the kind that belongs to accounts."""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    Column,
    ForeignKeyConstraint,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    Table,
)
from sqlalchemy.schema import SchemaItem

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(referred_table_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    }
)


def of_account(
    name: str,
    *columns: Column[Any],
    key: tuple[str, ...],
    constraints: tuple[SchemaItem, ...] = (),
    is_hot: bool = False,
) -> Table:
    """A table of accounts' rows; the hot ones skip the foreign key's check per row."""
    owner = () if is_hot else (ForeignKeyConstraint(["account_no"], ["account.account_no"]),)
    return Table(
        name,
        metadata,
        Column("account_no", Integer, nullable=False),
        *columns,
        PrimaryKeyConstraint("account_no", *key),
        *owner,
        *constraints,
    )


def column(name: str, kind: Any, *, nullable: bool = False) -> Column[Any]:
    return Column(name, kind, nullable=nullable)
