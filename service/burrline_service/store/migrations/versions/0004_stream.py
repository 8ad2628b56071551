"""What ordinary runs tell about the flow, by the hour, and which change last touched each hour."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

CURRENT_ACCOUNT = "NULLIF(current_setting('burrline.account', true), '')::integer"


def upgrade() -> None:
    # 0: touched before anybody asked, so older than whatever is made of the hour from now on
    op.add_column(
        "grinder_hour",
        sa.Column("touched_revision", sa.BigInteger(), server_default="0", nullable=False),
    )
    op.create_table(
        "stream_cell",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("grinder_no", sa.Integer(), nullable=False),
        sa.Column("hour", sa.Integer(), nullable=False),
        sa.Column("is_archived", sa.Boolean(), nullable=False),
        sa.Column("place", sa.SmallInteger(), nullable=False),
        sa.Column("left_out", sa.SmallInteger(), nullable=False),
        sa.Column("setting_milli", sa.Integer(), nullable=True),
        sa.Column("dose_class", sa.SmallInteger(), nullable=False),
        sa.Column("rpm", sa.Integer(), nullable=True),
        sa.Column("source_no", sa.Integer(), nullable=True),
        sa.Column("coffee_lot", sa.Text(), nullable=True),
        sa.Column("feed", sa.SmallInteger(), nullable=True),
        sa.Column("purpose", sa.SmallInteger(), nullable=False),
        sa.Column("run_count", sa.Integer(), nullable=False),
        sa.Column("sum_micro", sa.BigInteger(), nullable=False),
        sa.Column("sum_squares_micro", sa.BigInteger(), nullable=False),
        sa.Column("grams_mg", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint(
            "account_no",
            "grinder_no",
            "hour",
            "is_archived",
            "place",
            name=op.f("pk_stream_cell"),
        ),
    )
    op.create_table(
        "stream_fold",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("grinder_no", sa.Integer(), nullable=False),
        sa.Column("folded_revision", sa.BigInteger(), nullable=False),
        sa.Column("folded_hour", sa.Integer(), nullable=False),
        sa.Column("write_count", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("account_no", "grinder_no", name=op.f("pk_stream_fold")),
    )
    op.create_table(
        "stream_told",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("grinder_no", sa.Integer(), nullable=False),
        sa.Column("open_hour", sa.Integer(), nullable=False),
        sa.Column("basis", sa.Text(), nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.Column("made_ms", sa.BigInteger(), nullable=False),
        sa.Column("steadied_ms", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("account_no", "grinder_no", name=op.f("pk_stream_told")),
    )
    if op.get_bind().dialect.name == "postgresql":
        for table in ("stream_cell", "stream_fold", "stream_told"):
            op.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
            op.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")
            op.execute(
                f"CREATE POLICY of_account ON {table} USING (account_no = {CURRENT_ACCOUNT})"
            )
