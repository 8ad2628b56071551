"""The tables of what is told beside runs: entries, readings, watched times."""

from __future__ import annotations

from sqlalchemy import JSON, BigInteger, Boolean, Index, Integer, LargeBinary, SmallInteger, Text

from .table_kinds import column, of_account
from .types import UtcDateTime

# What people enter about a grinder: tallies, periods, corrections, care. ``body`` holds what the
# kind needs; an entry is never changed, only voided.
entry = of_account(
    "entry",
    column("kind", SmallInteger),
    column("entry_id", Text),
    column("grinder_no", Integer),
    column("from_ms", BigInteger),
    column("to_ms", BigInteger, nullable=True),
    column("body", JSON),
    column("created_at", UtcDateTime),
    column("voided_at", UtcDateTime, nullable=True),
    key=("kind", "entry_id"),
    constraints=(Index(None, "account_no", "grinder_no", "kind", "from_ms"),),
)

# Temperatures read between and during runs, and signs that a motor runs.
reading = of_account(
    "reading",
    column("reading_key", LargeBinary),
    column("reading_id", Text, nullable=True),
    column("grinder_no", Integer),
    column("at_ms", BigInteger),
    column("motor_decicelsius", SmallInteger, nullable=True),
    column("ambient_decicelsius", SmallInteger, nullable=True),
    column("is_running", Boolean, nullable=True),
    column("run_key", LargeBinary, nullable=True),
    column("run_id", Text, nullable=True),
    column("time_source", SmallInteger),
    column("source_no", Integer, nullable=True),
    column("fingerprint", LargeBinary),
    column("received_ms", BigInteger),
    column("voided_ms", BigInteger, nullable=True),
    key=("reading_key",),
    constraints=(Index(None, "account_no", "grinder_no", "at_ms"),),
    is_hot=True,
)

# When a device says it was watching: silence then means idleness.
watched = of_account(
    "watched",
    column("grinder_no", Integer),
    column("from_ms", BigInteger),
    column("to_ms", BigInteger),
    key=("grinder_no", "from_ms", "to_ms"),
    is_hot=True,
)
