"""The tables of alerts that were noticed, of the events told of them, and of their settings."""

from __future__ import annotations

from sqlalchemy import JSON, BigInteger, Boolean, Column, Index, Integer, Text, false

from .table_kinds import column, of_account
from .types import UtcDateTime

OF_ACCOUNT = 0
"""What settings of a whole account are about, where those of sites and grinders have a number."""

# The ledger: what was noticed, when, and who has seen it. What held when is never read from here,
# it is folded from the facts; ``opened_ms`` and ``closed_ms`` are what was told last. Where
# ``held_position`` names an event, that one waits for the end of quiet hours.
alert = of_account(
    "alert",
    column("alert_id", Text),
    column("grinder_no", Integer),
    column("kind", Text),
    column("severity", Text),
    column("opened_ms", BigInteger),
    column("closed_ms", BigInteger, nullable=True),
    column("reason", Text, nullable=True),  # why it closed, where not by its own rule
    column("facts", JSON),
    column("noticed_at", UtcDateTime),
    column("is_late", Boolean),
    column("acknowledged_at", UtcDateTime, nullable=True),
    column("acknowledged_by", Text, nullable=True),
    column("held_position", BigInteger, nullable=True),
    key=("alert_id",),
    constraints=(Index(None, "account_no", "grinder_no", "opened_ms"),),
)

# What followers of the feed and receivers are told, in the order of ``position``.
event = of_account(
    "event",
    column("position", BigInteger),
    column("event_id", Text),
    column("type", Text),
    column("at", UtcDateTime),
    column("grinder_no", Integer, nullable=True),
    column("site_no", Integer, nullable=True),
    column("grinder_id", Text, nullable=True),
    column("alert_id", Text, nullable=True),
    column("severity", Text, nullable=True),
    column("is_late", Boolean),
    Column("is_held", Boolean, nullable=False, server_default=false()),
    column("body", JSON),
    column("made_at", UtcDateTime),
    key=("position",),
    is_hot=True,
)

# One row per account: the last position given out, bumped last in its transaction, so that the
# order of positions is the order of commits; and how often settings of alerts were changed.
event_counter = of_account(
    "event_counter",
    Column("last_position", BigInteger, nullable=False, server_default="0"),
    Column("settings_revision", BigInteger, nullable=False, server_default="0"),
    key=(),
)

# Settings of alerts, dated merge patches as for sites and grinders: ``ref_no`` is the number of
# a site or grinder, 0 the account's own. ``revision`` counts the changes of that one thing.
alert_setting = of_account(
    "alert_setting",
    column("ref_no", Integer),
    column("effective_at", UtcDateTime),
    column("patch", JSON),
    column("level", Text),
    column("revision", Integer),
    key=("ref_no", "effective_at"),
)

# How a grinder stood when it was last looked at: it is looked at again when anything of this
# differs, or at ``next_look_ms``. ``look_count`` tells two lookers apart.
grinder_look = of_account(
    "grinder_look",
    column("grinder_no", Integer),
    column("look_count", BigInteger),
    column("state_revision", BigInteger),
    column("grinder_revision", Integer),
    column("site_no", Integer),
    column("site_revision", Integer),
    column("settings_revision", BigInteger),
    column("looked_ms", BigInteger),
    column("next_look_ms", BigInteger, nullable=True),
    column("told", JSON),  # the stages of burr sets that were told of
    key=("grinder_no",),
    is_hot=True,
)
