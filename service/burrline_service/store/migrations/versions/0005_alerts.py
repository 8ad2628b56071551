"""Alerts that were noticed, the events told of them, and settings of alerts."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

CURRENT_ACCOUNT = "NULLIF(current_setting('burrline.account', true), '')::integer"
NEW_TABLES = ("alert", "event", "event_counter", "alert_setting", "grinder_look")


def upgrade() -> None:
    op.create_table(
        "alert",
        _column("account_no", sa.Integer()),
        _column("alert_id", sa.Text()),
        _column("grinder_no", sa.Integer()),
        _column("kind", sa.Text()),
        _column("severity", sa.Text()),
        _column("opened_ms", sa.BigInteger()),
        _column("closed_ms", sa.BigInteger(), nullable=True),
        _column("reason", sa.Text(), nullable=True),
        _column("facts", sa.JSON()),
        _column("noticed_at", sa.BigInteger()),
        _column("is_late", sa.Boolean()),
        _column("acknowledged_at", sa.BigInteger(), nullable=True),
        _column("acknowledged_by", sa.Text(), nullable=True),
        _column("held_position", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("account_no", "alert_id", name=op.f("pk_alert")),
        _owner("alert"),
    )
    op.create_index(
        op.f("ix_alert_account_no_grinder_no_opened_ms"),
        "alert",
        ["account_no", "grinder_no", "opened_ms"],
    )
    op.create_table(
        "event",
        _column("account_no", sa.Integer()),
        _column("position", sa.BigInteger()),
        _column("event_id", sa.Text()),
        _column("type", sa.Text()),
        _column("at", sa.BigInteger()),
        _column("grinder_no", sa.Integer(), nullable=True),
        _column("site_no", sa.Integer(), nullable=True),
        _column("grinder_id", sa.Text(), nullable=True),
        _column("alert_id", sa.Text(), nullable=True),
        _column("severity", sa.Text(), nullable=True),
        _column("is_late", sa.Boolean()),
        sa.Column("is_held", sa.Boolean(), server_default=sa.false(), nullable=False),
        _column("body", sa.JSON()),
        _column("made_at", sa.BigInteger()),
        sa.PrimaryKeyConstraint("account_no", "position", name=op.f("pk_event")),
    )
    op.create_table(
        "event_counter",
        _column("account_no", sa.Integer()),
        sa.Column("last_position", sa.BigInteger(), server_default="0", nullable=False),
        sa.Column("settings_revision", sa.BigInteger(), server_default="0", nullable=False),
        sa.PrimaryKeyConstraint("account_no", name=op.f("pk_event_counter")),
        _owner("event_counter"),
    )
    op.create_table(
        "alert_setting",
        _column("account_no", sa.Integer()),
        _column("ref_no", sa.Integer()),
        _column("effective_at", sa.BigInteger()),
        _column("patch", sa.JSON()),
        _column("level", sa.Text()),
        _column("revision", sa.Integer()),
        sa.PrimaryKeyConstraint(
            "account_no", "ref_no", "effective_at", name=op.f("pk_alert_setting")
        ),
        _owner("alert_setting"),
    )
    op.create_table(
        "grinder_look",
        _column("account_no", sa.Integer()),
        _column("grinder_no", sa.Integer()),
        _column("look_count", sa.BigInteger()),
        _column("state_revision", sa.BigInteger()),
        _column("grinder_revision", sa.Integer()),
        _column("site_no", sa.Integer()),
        _column("site_revision", sa.Integer()),
        _column("settings_revision", sa.BigInteger()),
        _column("looked_ms", sa.BigInteger()),
        _column("next_look_ms", sa.BigInteger(), nullable=True),
        _column("told", sa.JSON()),
        sa.PrimaryKeyConstraint("account_no", "grinder_no", name=op.f("pk_grinder_look")),
    )
    if op.get_bind().dialect.name == "postgresql":
        for table in NEW_TABLES:
            op.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
            op.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")
            op.execute(
                f"CREATE POLICY of_account ON {table} USING (account_no = {CURRENT_ACCOUNT})"
            )


def _column(name: str, kind: Any, *, nullable: bool = False) -> sa.Column[Any]:
    return sa.Column(name, kind, nullable=nullable)


def _owner(table: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["account_no"], ["account.account_no"], name=op.f(f"fk_{table}_account")
    )
