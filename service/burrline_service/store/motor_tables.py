"""The table of memos of motors' fits."""

from __future__ import annotations

from sqlalchemy import BigInteger, Integer, Text

from .table_kinds import column, of_account

# What was worked out once need not be worked out again: no answer depends on a row being here.
# ``fitted_ms`` is the latest reading that the fit knows, ``from_ms`` where its window begins,
# ``revision`` that of the grinder's state when it was made.
motor_fit = of_account(
    "motor_fit",
    column("grinder_no", Integer),
    column("fitted_ms", BigInteger),
    column("from_ms", BigInteger),
    column("revision", BigInteger),
    column("fit", Text),
    key=("grinder_no", "fitted_ms"),
    is_hot=True,
)
