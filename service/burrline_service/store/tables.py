"""The tables. Every row but ``account`` belongs to one account and leads its key with it.

``run`` holds no burr set: a late or corrected burr-set date touches no run and no sum. ``hour``
and ``day`` count UTC hours and days since 1970.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    Index,
    Integer,
    LargeBinary,
    SmallInteger,
    Table,
    Text,
    UniqueConstraint,
    false,
    text,
)

from . import alert_tables, fact_tables, motor_tables, stream_tables, webhook_tables
from .table_kinds import column, metadata, of_account
from .types import UtcDateTime

UNSTATED = 9  # a purpose nobody stated: what a period says, else service
HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS

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


access_key = of_account(
    "access_key",
    column("key_id", Text),
    column("digest", LargeBinary),
    column("last_four", Text),
    column("name", Text),
    column("scopes", JSON),
    column("site_ids", JSON),
    column("grinder_ids", JSON),
    column("created_at", UtcDateTime),
    column("expires_at", UtcDateTime, nullable=True),
    column("revoked_at", UtcDateTime, nullable=True),
    column("last_used_at", UtcDateTime, nullable=True),
    key=("key_id",),
    constraints=(UniqueConstraint("key_id"),),
)

site = of_account(
    "site",
    column("site_no", Integer),
    column("site_id", Text),
    column("created_at", UtcDateTime),
    column("revision", Integer),
    key=("site_no",),
    constraints=(UniqueConstraint("account_no", "site_id"),),
)

# What changed about a site, from ``effective_at`` on: merge patches, as for grinders below.
site_fact = of_account(
    "site_fact",
    column("site_no", Integer),
    column("effective_at", UtcDateTime),
    column("patch", JSON),
    key=("site_no", "effective_at"),
)

grinder = of_account(
    "grinder",
    column("grinder_no", Integer),
    column("grinder_id", Text),
    column("created_at", UtcDateTime),
    column("revision", Integer),
    key=("grinder_no",),
    constraints=(UniqueConstraint("account_no", "grinder_id"),),
)

# What changed on the plate (a merge patch) and where the grinder went (NULL: stayed), from
# ``effective_at`` on. The facts given at creation are effective from 1970: the state at an instant
# is the fold of all patches up to it, in the order of their own dates, whenever they were sent.
grinder_fact = of_account(
    "grinder_fact",
    column("grinder_no", Integer),
    column("effective_at", UtcDateTime),
    column("site_no", Integer, nullable=True),
    column("patch", JSON),
    key=("grinder_no", "effective_at"),
)

burr_set = of_account(
    "burr_set",
    column("burr_set_no", Integer),
    column("burr_set_id", Text),
    column("created_at", UtcDateTime),
    column("revision", Integer),
    column("description", JSON),
    column("voided_at", UtcDateTime, nullable=True),
    key=("burr_set_no",),
    constraints=(UniqueConstraint("account_no", "burr_set_id"),),
)

# ``removed_at`` is what somebody entered; the end that counts is worked out from all fittings.
fitting = of_account(
    "fitting",
    column("grinder_no", Integer),
    column("fitted_at", UtcDateTime),
    column("burr_set_no", Integer),
    column("removed_at", UtcDateTime, nullable=True),
    key=("grinder_no", "fitted_at"),
    constraints=(Index(None, "account_no", "burr_set_no"),),
)

source = of_account(
    "source",
    column("source_no", Integer),
    column("name", Text),
    key=("source_no",),
    constraints=(UniqueConstraint("account_no", "name"),),
)

run = of_account(
    "run",
    column("run_key", LargeBinary),
    column("run_id", Text, nullable=True),  # NULL when run_key is the UUID itself
    column("grinder_no", Integer),
    column("started_ms", BigInteger),
    column("on_ms", Integer, nullable=True),
    column("grams_mg", Integer, nullable=True),
    column("grams_basis", SmallInteger),
    column("feed", SmallInteger, nullable=True),
    column("purpose", SmallInteger),
    column("setting_milli", Integer, nullable=True),
    column("rpm", Integer, nullable=True),
    column("energy_joules", Integer, nullable=True),
    column("motor_decicelsius", SmallInteger, nullable=True),
    column("ambient_decicelsius", SmallInteger, nullable=True),
    column("time_source", SmallInteger),
    column("source_no", Integer, nullable=True),
    column("fingerprint", LargeBinary),
    column("received_ms", BigInteger),
    column("voided_ms", BigInteger, nullable=True),
    # What the other facts make of it: started_ms and grams_mg above are what counts, the raw ones
    # are kept here where a correction changed them.
    column("raw_started_ms", BigInteger, nullable=True),
    column("raw_grams_mg", Integer, nullable=True),
    Column("left_out", SmallInteger, nullable=False, server_default="0"),
    column("part", SmallInteger, nullable=True),  # its part in a grind two devices report
    key=("run_key",),
    constraints=(
        Index(None, "account_no", "grinder_no", "started_ms"),
        Index(
            "ix_run_raw_started_ms",
            "account_no",
            "grinder_no",
            "raw_started_ms",
            postgresql_where=text("raw_started_ms IS NOT NULL"),
            sqlite_where=text("raw_started_ms IS NOT NULL"),
        ),
    ),
    is_hot=True,
)

# Only where a run has a brew, a coffee lot or findings.
run_more = of_account(
    "run_more",
    column("run_key", LargeBinary),
    column("more", JSON),
    key=("run_key",),
    is_hot=True,
)

# Written by retention, so that an id counts once for ever.
run_seen = of_account(
    "run_seen",
    column("run_key", LargeBinary),
    column("fingerprint", LargeBinary),
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


def _sums(name: str, unit: str, *more: Column[Any]) -> Table:
    return of_account(
        name,
        column("grinder_no", Integer),
        column(unit, Integer),
        column("purpose", SmallInteger),
        *(column(sum_name, BigInteger) for sum_name in SUM_NAMES),
        *more,
        key=("grinder_no", unit, "purpose"),
        is_hot=True,
    )


# ``touched_revision`` is that of the grinder's state when what counts of the hour last changed.
grinder_hour = _sums(
    "grinder_hour",
    "hour",
    Column("touched_revision", BigInteger, nullable=False, server_default="0"),
)
grinder_day = _sums("grinder_day", "day")

# ``revision`` grows with every change of the grinder's runs; its row is the lock writers take.
grinder_state = of_account(
    "grinder_state",
    column("grinder_no", Integer),
    column("revision", BigInteger),
    column("archived_before", UtcDateTime, nullable=True),
    column("first_source_no", Integer, nullable=True),  # 0: runs that name none
    Column("is_shared", Boolean, nullable=False, server_default=false()),
    Column("is_corrected", Boolean, nullable=False, server_default=false()),
    # the revision of the last change to what lay, when it was received, in the past of a fit
    Column("early_revision", BigInteger, nullable=False, server_default="0"),
    key=("grinder_no",),
    is_hot=True,
)

# Answers kept for requests that came with an Idempotency-Key.
reply = of_account(
    "reply",
    column("reply_key", Text),
    column("fingerprint", LargeBinary),
    column("status", SmallInteger),
    column("headers", JSON),
    column("body", LargeBinary),
    column("created_at", UtcDateTime),
    key=("reply_key",),
    constraints=(Index(None, "created_at"),),
)

MEMO_TABLES = (
    motor_tables.motor_fit,
    stream_tables.stream_cell,
    stream_tables.stream_fold,
    stream_tables.stream_told,
)
FACT_TABLES = (fact_tables.entry, fact_tables.reading, fact_tables.watched)
ALERT_TABLES = (
    alert_tables.alert,
    alert_tables.event,
    alert_tables.event_counter,
    alert_tables.alert_setting,
    alert_tables.grinder_look,
)
WEBHOOK_TABLES = (
    webhook_tables.webhook,
    webhook_tables.webhook_secret,
    webhook_tables.delivery,
    webhook_tables.delivery_attempt,
)
OF_ACCOUNT = tuple(table for table in metadata.sorted_tables if table.name != "account")
