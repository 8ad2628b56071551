"""The first schema, and row-level security on PostgreSQL."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

TABLES_OF_ACCOUNTS = (
    "access_key",
    "burr_set",
    "fitting",
    "grinder",
    "grinder_day",
    "grinder_fact",
    "grinder_hour",
    "grinder_state",
    "reply",
    "run",
    "run_more",
    "run_seen",
    "site",
    "source",
)
CURRENT_ACCOUNT = "NULLIF(current_setting('burrline.account', true), '')::integer"


def upgrade() -> None:
    make_tables()
    if op.get_bind().dialect.name == "postgresql":
        for table in TABLES_OF_ACCOUNTS:
            op.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
            op.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")
            op.execute(
                f"CREATE POLICY of_account ON {table} USING (account_no = {CURRENT_ACCOUNT})"
            )
        # who asks is found by the key's own id, before any account is known
        op.execute(
            "CREATE POLICY by_key_id ON access_key FOR SELECT"
            " USING (key_id = NULLIF(current_setting('burrline.key_id', true), ''))"
        )


def make_tables() -> None:
    op.create_table(
        "account",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("last_no", sa.Integer(), server_default="0", nullable=False),
        sa.PrimaryKeyConstraint("account_no", name=op.f("pk_account")),
        sa.UniqueConstraint("account_id", name=op.f("uq_account_account_id")),
    )
    op.create_table(
        "grinder_day",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("grinder_no", sa.Integer(), nullable=False),
        sa.Column("day", sa.Integer(), nullable=False),
        sa.Column("purpose", sa.SmallInteger(), nullable=False),
        sa.Column("run_count", sa.BigInteger(), nullable=False),
        sa.Column("on_ms", sa.BigInteger(), nullable=False),
        sa.Column("grams_mg", sa.BigInteger(), nullable=False),
        sa.Column("estimated_mg", sa.BigInteger(), nullable=False),
        sa.Column("untimed_mg", sa.BigInteger(), nullable=False),
        sa.Column("ungrammed_ms", sa.BigInteger(), nullable=False),
        sa.Column("paired_mg", sa.BigInteger(), nullable=False),
        sa.Column("paired_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint(
            "account_no", "grinder_no", "day", "purpose", name=op.f("pk_grinder_day")
        ),
    )
    op.create_table(
        "grinder_hour",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("grinder_no", sa.Integer(), nullable=False),
        sa.Column("hour", sa.Integer(), nullable=False),
        sa.Column("purpose", sa.SmallInteger(), nullable=False),
        sa.Column("run_count", sa.BigInteger(), nullable=False),
        sa.Column("on_ms", sa.BigInteger(), nullable=False),
        sa.Column("grams_mg", sa.BigInteger(), nullable=False),
        sa.Column("estimated_mg", sa.BigInteger(), nullable=False),
        sa.Column("untimed_mg", sa.BigInteger(), nullable=False),
        sa.Column("ungrammed_ms", sa.BigInteger(), nullable=False),
        sa.Column("paired_mg", sa.BigInteger(), nullable=False),
        sa.Column("paired_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint(
            "account_no", "grinder_no", "hour", "purpose", name=op.f("pk_grinder_hour")
        ),
    )
    op.create_table(
        "grinder_state",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("grinder_no", sa.Integer(), nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.Column("archived_before", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("account_no", "grinder_no", name=op.f("pk_grinder_state")),
    )
    op.create_table(
        "run",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("run_key", sa.LargeBinary(), nullable=False),
        sa.Column("run_id", sa.Text(), nullable=True),
        sa.Column("grinder_no", sa.Integer(), nullable=False),
        sa.Column("started_ms", sa.BigInteger(), nullable=False),
        sa.Column("on_ms", sa.Integer(), nullable=True),
        sa.Column("grams_mg", sa.Integer(), nullable=True),
        sa.Column("grams_basis", sa.SmallInteger(), nullable=False),
        sa.Column("feed", sa.SmallInteger(), nullable=True),
        sa.Column("purpose", sa.SmallInteger(), nullable=False),
        sa.Column("setting_milli", sa.Integer(), nullable=True),
        sa.Column("rpm", sa.Integer(), nullable=True),
        sa.Column("energy_joules", sa.Integer(), nullable=True),
        sa.Column("motor_decicelsius", sa.SmallInteger(), nullable=True),
        sa.Column("ambient_decicelsius", sa.SmallInteger(), nullable=True),
        sa.Column("time_source", sa.SmallInteger(), nullable=False),
        sa.Column("source_no", sa.Integer(), nullable=True),
        sa.Column("fingerprint", sa.LargeBinary(), nullable=False),
        sa.Column("received_ms", sa.BigInteger(), nullable=False),
        sa.Column("voided_ms", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("account_no", "run_key", name=op.f("pk_run")),
    )
    op.create_index(
        op.f("ix_run_account_no_grinder_no_started_ms"),
        "run",
        ["account_no", "grinder_no", "started_ms"],
        unique=False,
    )
    op.create_table(
        "run_more",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("run_key", sa.LargeBinary(), nullable=False),
        sa.Column("more", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("account_no", "run_key", name=op.f("pk_run_more")),
    )
    op.create_table(
        "run_seen",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("run_key", sa.LargeBinary(), nullable=False),
        sa.Column("fingerprint", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("account_no", "run_key", name=op.f("pk_run_seen")),
    )
    op.create_table(
        "access_key",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("key_id", sa.Text(), nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("last_four", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("scopes", sa.JSON(), nullable=False),
        sa.Column("site_ids", sa.JSON(), nullable=False),
        sa.Column("grinder_ids", sa.JSON(), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("expires_at", sa.BigInteger(), nullable=True),
        sa.Column("revoked_at", sa.BigInteger(), nullable=True),
        sa.Column("last_used_at", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["account_no"], ["account.account_no"], name=op.f("fk_access_key_account")
        ),
        sa.PrimaryKeyConstraint("account_no", "key_id", name=op.f("pk_access_key")),
        sa.UniqueConstraint("key_id", name=op.f("uq_access_key_key_id")),
    )
    op.create_table(
        "burr_set",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("burr_set_no", sa.Integer(), nullable=False),
        sa.Column("burr_set_id", sa.Text(), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("description", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_no"], ["account.account_no"], name=op.f("fk_burr_set_account")
        ),
        sa.PrimaryKeyConstraint("account_no", "burr_set_no", name=op.f("pk_burr_set")),
        sa.UniqueConstraint(
            "account_no", "burr_set_id", name=op.f("uq_burr_set_account_no_burr_set_id")
        ),
    )
    op.create_table(
        "fitting",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("grinder_no", sa.Integer(), nullable=False),
        sa.Column("fitted_at", sa.BigInteger(), nullable=False),
        sa.Column("burr_set_no", sa.Integer(), nullable=False),
        sa.Column("removed_at", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["account_no"], ["account.account_no"], name=op.f("fk_fitting_account")
        ),
        sa.PrimaryKeyConstraint("account_no", "grinder_no", "fitted_at", name=op.f("pk_fitting")),
    )
    op.create_index(
        op.f("ix_fitting_account_no_burr_set_no"),
        "fitting",
        ["account_no", "burr_set_no"],
        unique=False,
    )
    op.create_table(
        "grinder",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("grinder_no", sa.Integer(), nullable=False),
        sa.Column("grinder_id", sa.Text(), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_no"], ["account.account_no"], name=op.f("fk_grinder_account")
        ),
        sa.PrimaryKeyConstraint("account_no", "grinder_no", name=op.f("pk_grinder")),
        sa.UniqueConstraint(
            "account_no", "grinder_id", name=op.f("uq_grinder_account_no_grinder_id")
        ),
    )
    op.create_table(
        "grinder_fact",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("grinder_no", sa.Integer(), nullable=False),
        sa.Column("effective_at", sa.BigInteger(), nullable=False),
        sa.Column("site_no", sa.Integer(), nullable=True),
        sa.Column("patch", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_no"], ["account.account_no"], name=op.f("fk_grinder_fact_account")
        ),
        sa.PrimaryKeyConstraint(
            "account_no", "grinder_no", "effective_at", name=op.f("pk_grinder_fact")
        ),
    )
    op.create_table(
        "reply",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("reply_key", sa.Text(), nullable=False),
        sa.Column("fingerprint", sa.LargeBinary(), nullable=False),
        sa.Column("status", sa.SmallInteger(), nullable=False),
        sa.Column("headers", sa.JSON(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_no"], ["account.account_no"], name=op.f("fk_reply_account")
        ),
        sa.PrimaryKeyConstraint("account_no", "reply_key", name=op.f("pk_reply")),
    )
    op.create_index(op.f("ix_reply_created_at"), "reply", ["created_at"], unique=False)
    op.create_table(
        "site",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("site_no", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("time_zone", sa.Text(), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_no"], ["account.account_no"], name=op.f("fk_site_account")
        ),
        sa.PrimaryKeyConstraint("account_no", "site_no", name=op.f("pk_site")),
        sa.UniqueConstraint("account_no", "site_id", name=op.f("uq_site_account_no_site_id")),
    )
    op.create_table(
        "source",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("source_no", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_no"], ["account.account_no"], name=op.f("fk_source_account")
        ),
        sa.PrimaryKeyConstraint("account_no", "source_no", name=op.f("pk_source")),
        sa.UniqueConstraint("account_no", "name", name=op.f("uq_source_account_no_name")),
    )
