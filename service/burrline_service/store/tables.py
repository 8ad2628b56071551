"""The tables. Every row but ``account`` belongs to one account and leads its key with it.

``run`` holds no burr set: a late or corrected burr-set date touches no run and no sum. ``hour``
and ``day`` count UTC hours and days since 1970.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    Column,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    SmallInteger,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.schema import SchemaItem

from .types import UtcDateTime

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(referred_table_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    }
)

account = Table(
    "account",
    metadata,
    Column("account_no", Integer, primary_key=True),
    Column("account_id", Text, nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("created_at", UtcDateTime, nullable=False),
    # numbers of sites, grinders, burr sets and sources are drawn from here, in the transaction
    Column("last_no", Integer, nullable=False, server_default="0"),
)


def _of_account(
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


def _column(name: str, kind: Any, *, nullable: bool = False) -> Column[Any]:
    return Column(name, kind, nullable=nullable)


access_key = _of_account(
    "access_key",
    _column("key_id", Text),
    _column("digest", LargeBinary),
    _column("last_four", Text),
    _column("name", Text),
    _column("scopes", JSON),
    _column("site_ids", JSON),
    _column("grinder_ids", JSON),
    _column("created_at", UtcDateTime),
    _column("expires_at", UtcDateTime, nullable=True),
    _column("revoked_at", UtcDateTime, nullable=True),
    _column("last_used_at", UtcDateTime, nullable=True),
    key=("key_id",),
    constraints=(UniqueConstraint("key_id"),),
)

site = _of_account(
    "site",
    _column("site_no", Integer),
    _column("site_id", Text),
    _column("name", Text),
    _column("time_zone", Text),
    _column("created_at", UtcDateTime),
    _column("revision", Integer),
    key=("site_no",),
    constraints=(UniqueConstraint("account_no", "site_id"),),
)

grinder = _of_account(
    "grinder",
    _column("grinder_no", Integer),
    _column("grinder_id", Text),
    _column("created_at", UtcDateTime),
    _column("revision", Integer),
    key=("grinder_no",),
    constraints=(UniqueConstraint("account_no", "grinder_id"),),
)

# What changed on the plate (a merge patch) and where the grinder went (NULL: stayed), from
# ``effective_at`` on. The facts given at creation are effective from 1970: the state at an instant
# is the fold of all patches up to it, in the order of their own dates, whenever they were sent.
grinder_fact = _of_account(
    "grinder_fact",
    _column("grinder_no", Integer),
    _column("effective_at", UtcDateTime),
    _column("site_no", Integer, nullable=True),
    _column("patch", JSON),
    key=("grinder_no", "effective_at"),
)

burr_set = _of_account(
    "burr_set",
    _column("burr_set_no", Integer),
    _column("burr_set_id", Text),
    _column("created_at", UtcDateTime),
    _column("revision", Integer),
    _column("description", JSON),
    key=("burr_set_no",),
    constraints=(UniqueConstraint("account_no", "burr_set_id"),),
)

# ``removed_at`` is what somebody entered; the end that counts is worked out from all fittings.
fitting = _of_account(
    "fitting",
    _column("grinder_no", Integer),
    _column("fitted_at", UtcDateTime),
    _column("burr_set_no", Integer),
    _column("removed_at", UtcDateTime, nullable=True),
    key=("grinder_no", "fitted_at"),
    constraints=(Index(None, "account_no", "burr_set_no"),),
)

source = _of_account(
    "source",
    _column("source_no", Integer),
    _column("name", Text),
    key=("source_no",),
    constraints=(UniqueConstraint("account_no", "name"),),
)

run = _of_account(
    "run",
    _column("run_key", LargeBinary),
    _column("run_id", Text, nullable=True),  # NULL when run_key is the UUID itself
    _column("grinder_no", Integer),
    _column("started_ms", BigInteger),
    _column("on_ms", Integer, nullable=True),
    _column("grams_mg", Integer, nullable=True),
    _column("grams_basis", SmallInteger),
    _column("feed", SmallInteger, nullable=True),
    _column("purpose", SmallInteger),
    _column("setting_milli", Integer, nullable=True),
    _column("rpm", Integer, nullable=True),
    _column("energy_joules", Integer, nullable=True),
    _column("motor_decicelsius", SmallInteger, nullable=True),
    _column("ambient_decicelsius", SmallInteger, nullable=True),
    _column("time_source", SmallInteger),
    _column("source_no", Integer, nullable=True),
    _column("fingerprint", LargeBinary),
    _column("received_ms", BigInteger),
    _column("voided_ms", BigInteger, nullable=True),
    key=("run_key",),
    constraints=(Index(None, "account_no", "grinder_no", "started_ms"),),
    is_hot=True,
)

# Only where a run has a brew, a coffee lot or findings.
run_more = _of_account(
    "run_more",
    _column("run_key", LargeBinary),
    _column("more", JSON),
    key=("run_key",),
    is_hot=True,
)

# Written by retention, so that an id counts once for ever.
run_seen = _of_account(
    "run_seen",
    _column("run_key", LargeBinary),
    _column("fingerprint", LargeBinary),
    key=("run_key",),
    is_hot=True,
)

SUM_NAMES = (
    "run_count",
    "on_ms",
    "grams_mg",  # as sent, every basis but `estimated`
    "estimated_mg",  # as sent with basis `estimated`
    "untimed_mg",  # grams of runs without seconds
    "ungrammed_ms",  # motor time of runs without grams
    "paired_mg",  # weighed grams of runs that have seconds too, and
    "paired_ms",  # their motor time: the flow is paired_mg / paired_ms
)


def _sums(name: str, unit: str) -> Table:
    return _of_account(
        name,
        _column("grinder_no", Integer),
        _column(unit, Integer),
        _column("purpose", SmallInteger),
        *(_column(sum_name, BigInteger) for sum_name in SUM_NAMES),
        key=("grinder_no", unit, "purpose"),
        is_hot=True,
    )


grinder_hour = _sums("grinder_hour", "hour")
grinder_day = _sums("grinder_day", "day")

# ``revision`` grows with every change of the grinder's runs; its row is the lock writers take.
grinder_state = _of_account(
    "grinder_state",
    _column("grinder_no", Integer),
    _column("revision", BigInteger),
    _column("archived_before", UtcDateTime, nullable=True),
    key=("grinder_no",),
    is_hot=True,
)

# Answers kept for requests that came with an Idempotency-Key.
reply = _of_account(
    "reply",
    _column("reply_key", Text),
    _column("fingerprint", LargeBinary),
    _column("status", SmallInteger),
    _column("headers", JSON),
    _column("body", LargeBinary),
    _column("created_at", UtcDateTime),
    key=("reply_key",),
    constraints=(Index(None, "created_at"),),
)

OF_ACCOUNT = tuple(table for table in metadata.sorted_tables if table.name != "account")
