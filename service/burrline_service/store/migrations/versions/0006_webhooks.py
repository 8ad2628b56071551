"""Webhooks, their secrets, the outbox and its log."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

CURRENT_ACCOUNT = "NULLIF(current_setting('burrline.account', true), '')::integer"
NEW_TABLES = ("webhook", "webhook_secret", "delivery", "delivery_attempt")


def upgrade() -> None:
    make_tables()
    if op.get_bind().dialect.name == "postgresql":
        for table in NEW_TABLES:
            op.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
            op.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")
            op.execute(
                f"CREATE POLICY of_account ON {table} USING (account_no = {CURRENT_ACCOUNT})"
            )
        # The worker looks for what is due in all accounts at once. It only sees, only what still
        # waits, and only in a transaction without an account: none that acts for one can.
        op.execute(
            "CREATE POLICY of_worker ON delivery FOR SELECT USING (state = 0"
            f" AND {CURRENT_ACCOUNT} IS NULL"
            " AND current_setting('burrline.outbox', true) = 'due')"
        )


def make_tables() -> None:
    op.create_table(
        "webhook",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("webhook_no", sa.Integer(), nullable=False),
        sa.Column("webhook_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("url", sa.Text(), nullable=False),
        sa.Column("types", sa.JSON(), nullable=False),
        sa.Column("site_ids", sa.JSON(), nullable=False),
        sa.Column("grinder_ids", sa.JSON(), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("disabled_at", sa.BigInteger(), nullable=True),
        sa.Column("disabled_because", sa.Text(), nullable=True),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("failure_count", sa.Integer(), nullable=False),
        sa.Column("paused_until", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["account_no"], ["account.account_no"], name=op.f("fk_webhook_account")
        ),
        sa.PrimaryKeyConstraint("account_no", "webhook_no", name=op.f("pk_webhook")),
        sa.UniqueConstraint(
            "account_no", "webhook_id", name=op.f("uq_webhook_account_no_webhook_id")
        ),
    )
    op.create_table(
        "webhook_secret",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("webhook_no", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.BigInteger(), nullable=False),
        sa.Column("secret", sa.LargeBinary(), nullable=False),
        sa.Column("valid_until", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["account_no"], ["account.account_no"], name=op.f("fk_webhook_secret_account")
        ),
        sa.PrimaryKeyConstraint(
            "account_no", "webhook_no", "made_at", name=op.f("pk_webhook_secret")
        ),
    )
    op.create_table(
        "delivery",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("webhook_no", sa.Integer(), nullable=False),
        sa.Column("event_id", sa.Text(), nullable=False),
        sa.Column("position", sa.BigInteger(), nullable=True),
        sa.Column("type", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("state", sa.SmallInteger(), nullable=False),
        sa.Column("due_at", sa.BigInteger(), nullable=False),
        sa.Column("attempt_count", sa.Integer(), nullable=False),
        sa.Column("claim_no", sa.Integer(), server_default="0", nullable=False),
        sa.Column("made_at", sa.BigInteger(), nullable=False),
        sa.Column("done_at", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("account_no", "webhook_no", "event_id", name=op.f("pk_delivery")),
    )
    op.create_index(
        op.f("ix_delivery_account_no_webhook_no_made_at"),
        "delivery",
        ["account_no", "webhook_no", "made_at"],
        unique=False,
    )
    op.create_index(
        "ix_delivery_due",
        "delivery",
        ["account_no", "webhook_no", "due_at"],
        unique=False,
        postgresql_where=sa.text("state = 0"),
        sqlite_where=sa.text("state = 0"),
    )
    op.create_table(
        "delivery_attempt",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("webhook_no", sa.Integer(), nullable=False),
        sa.Column("event_id", sa.Text(), nullable=False),
        sa.Column("attempted_at", sa.BigInteger(), nullable=False),
        sa.Column("status", sa.SmallInteger(), nullable=True),
        sa.Column("taken_ms", sa.Integer(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=True),
        sa.Column("error", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint(
            "account_no", "webhook_no", "event_id", "attempted_at",
            name=op.f("pk_delivery_attempt"),
        ),
    )  # fmt: skip
