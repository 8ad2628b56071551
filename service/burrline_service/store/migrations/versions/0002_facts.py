"""Facts beside runs: entries, readings, watched times, dated facts of sites, effective runs."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

NEW_TABLES_OF_ACCOUNTS = ("entry", "reading", "site_fact", "watched")
REWRITTEN_TABLES = ("site", "site_fact", "grinder_state")
CURRENT_ACCOUNT = "NULLIF(current_setting('burrline.account', true), '')::integer"


def upgrade() -> None:
    make_tables()
    if op.get_bind().dialect.name == "postgresql":
        for table in NEW_TABLES_OF_ACCOUNTS:
            op.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
            op.execute(
                f"CREATE POLICY of_account ON {table} USING (account_no = {CURRENT_ACCOUNT})"
            )
        for table in REWRITTEN_TABLES:  # the owner must see every account's rows to move them
            op.execute(f"ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY")
    move_rows()
    if op.get_bind().dialect.name == "postgresql":
        for table in {*NEW_TABLES_OF_ACCOUNTS, *REWRITTEN_TABLES}:
            op.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")


def move_rows() -> None:
    """Sites' names and zones become their first dated fact; old grinders may have many sources."""
    connection = op.get_bind()
    site = sa.table(
        "site", *(sa.column(name) for name in ("account_no", "site_no", "name", "time_zone"))
    )
    fact = sa.table(
        "site_fact",
        sa.column("account_no"),
        sa.column("site_no"),
        sa.column("effective_at"),
        sa.column("patch", sa.JSON()),
    )
    facts = [
        {
            "account_no": row.account_no,
            "site_no": row.site_no,
            "effective_at": 0,
            "patch": {"name": row.name, "time_zone": row.time_zone},
        }
        for row in connection.execute(sa.select(site))
    ]
    if facts:
        connection.execute(sa.insert(fact), facts)
    state = sa.table("grinder_state", sa.column("is_shared", sa.Boolean()))
    connection.execute(sa.update(state).values(is_shared=True))
    op.drop_column("site", "name")
    op.drop_column("site", "time_zone")


def make_tables() -> None:
    op.create_table(
        "reading",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("reading_key", sa.LargeBinary(), nullable=False),
        sa.Column("reading_id", sa.Text(), nullable=True),
        sa.Column("grinder_no", sa.Integer(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("motor_decicelsius", sa.SmallInteger(), nullable=True),
        sa.Column("ambient_decicelsius", sa.SmallInteger(), nullable=True),
        sa.Column("is_running", sa.Boolean(), nullable=True),
        sa.Column("run_key", sa.LargeBinary(), nullable=True),
        sa.Column("run_id", sa.Text(), nullable=True),
        sa.Column("time_source", sa.SmallInteger(), nullable=False),
        sa.Column("source_no", sa.Integer(), nullable=True),
        sa.Column("fingerprint", sa.LargeBinary(), nullable=False),
        sa.Column("received_ms", sa.BigInteger(), nullable=False),
        sa.Column("voided_ms", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("account_no", "reading_key", name=op.f("pk_reading")),
    )
    op.create_index(
        op.f("ix_reading_account_no_grinder_no_at_ms"),
        "reading",
        ["account_no", "grinder_no", "at_ms"],
        unique=False,
    )
    op.create_table(
        "watched",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("grinder_no", sa.Integer(), nullable=False),
        sa.Column("from_ms", sa.BigInteger(), nullable=False),
        sa.Column("to_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint(
            "account_no", "grinder_no", "from_ms", "to_ms", name=op.f("pk_watched")
        ),
    )
    op.create_table(
        "entry",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("kind", sa.SmallInteger(), nullable=False),
        sa.Column("entry_id", sa.Text(), nullable=False),
        sa.Column("grinder_no", sa.Integer(), nullable=False),
        sa.Column("from_ms", sa.BigInteger(), nullable=False),
        sa.Column("to_ms", sa.BigInteger(), nullable=True),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("voided_at", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["account_no"], ["account.account_no"], name=op.f("fk_entry_account")
        ),
        sa.PrimaryKeyConstraint("account_no", "kind", "entry_id", name=op.f("pk_entry")),
    )
    op.create_index(
        op.f("ix_entry_account_no_grinder_no_kind_from_ms"),
        "entry",
        ["account_no", "grinder_no", "kind", "from_ms"],
        unique=False,
    )
    op.create_table(
        "site_fact",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("site_no", sa.Integer(), nullable=False),
        sa.Column("effective_at", sa.BigInteger(), nullable=False),
        sa.Column("patch", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_no"], ["account.account_no"], name=op.f("fk_site_fact_account")
        ),
        sa.PrimaryKeyConstraint("account_no", "site_no", "effective_at", name=op.f("pk_site_fact")),
    )
    op.add_column("burr_set", sa.Column("voided_at", sa.BigInteger(), nullable=True))
    op.add_column("grinder_state", sa.Column("first_source_no", sa.Integer(), nullable=True))
    op.add_column(
        "grinder_state",
        sa.Column("is_shared", sa.Boolean(), server_default=sa.false(), nullable=False),
    )
    op.add_column(
        "grinder_state",
        sa.Column("is_corrected", sa.Boolean(), server_default=sa.false(), nullable=False),
    )
    op.add_column("run", sa.Column("raw_started_ms", sa.BigInteger(), nullable=True))
    op.add_column("run", sa.Column("raw_grams_mg", sa.Integer(), nullable=True))
    op.add_column(
        "run", sa.Column("left_out", sa.SmallInteger(), server_default="0", nullable=False)
    )
    op.add_column("run", sa.Column("part", sa.SmallInteger(), nullable=True))
    op.create_index(
        "ix_run_raw_started_ms",
        "run",
        ["account_no", "grinder_no", "raw_started_ms"],
        unique=False,
        postgresql_where=sa.text("raw_started_ms IS NOT NULL"),
        sqlite_where=sa.text("raw_started_ms IS NOT NULL"),
    )
