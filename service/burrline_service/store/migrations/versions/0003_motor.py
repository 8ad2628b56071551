"""Memos of motors' fits, and when the past of a grinder last changed."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

CURRENT_ACCOUNT = "NULLIF(current_setting('burrline.account', true), '')::integer"


def upgrade() -> None:
    op.create_table(
        "motor_fit",
        sa.Column("account_no", sa.Integer(), nullable=False),
        sa.Column("grinder_no", sa.Integer(), nullable=False),
        sa.Column("fitted_ms", sa.BigInteger(), nullable=False),
        sa.Column("from_ms", sa.BigInteger(), nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.Column("fit", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("account_no", "grinder_no", "fitted_ms", name=op.f("pk_motor_fit")),
    )
    # no memo is there yet, so nothing that happened before can have outdated one
    op.add_column(
        "grinder_state",
        sa.Column("early_revision", sa.BigInteger(), server_default="0", nullable=False),
    )
    if op.get_bind().dialect.name == "postgresql":
        op.execute("ALTER TABLE motor_fit ENABLE ROW LEVEL SECURITY")
        op.execute("ALTER TABLE motor_fit FORCE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY of_account ON motor_fit USING (account_no = {CURRENT_ACCOUNT})")
