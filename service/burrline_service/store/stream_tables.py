"""The tables of what ordinary runs tell about the flow."""

from __future__ import annotations

from sqlalchemy import BigInteger, Boolean, Integer, SmallInteger, Text

from .table_kinds import column, of_account

# The cells of an hour (``core.stream_cells``), numbered in their order. Those of runs that are
# still there are a memo, made anew with the hour; those of archived runs are all that is left.
stream_cell = of_account(
    "stream_cell",
    column("grinder_no", Integer),
    column("hour", Integer),
    column("is_archived", Boolean),
    column("place", SmallInteger),
    column("left_out", SmallInteger),
    column("setting_milli", Integer, nullable=True),
    column("dose_class", SmallInteger),
    column("rpm", Integer, nullable=True),
    column("source_no", Integer, nullable=True),
    column("coffee_lot", Text, nullable=True),
    column("feed", SmallInteger, nullable=True),
    column("purpose", SmallInteger),
    column("run_count", Integer),
    column("sum_micro", BigInteger),
    column("sum_squares_micro", BigInteger),
    column("grams_mg", BigInteger),
    key=("grinder_no", "hour", "is_archived", "place"),
    is_hot=True,
)

# Up to which change the cells of a grinder hold: all hours whose (touched_revision, hour) is not
# beyond (folded_revision, folded_hour). ``write_count`` grows with every write of cells, so that
# what was read before another's write is not written after it.
stream_fold = of_account(
    "stream_fold",
    column("grinder_no", Integer),
    column("folded_revision", BigInteger),
    column("folded_hour", Integer),
    column("write_count", BigInteger),
    key=("grinder_no",),
    is_hot=True,
)

# A memo of the flow's verdict: when it had steadied by the last closed day, null = not yet. It
# holds for what ``basis`` sums up, while nothing before ``open_hour`` changed after ``revision``.
stream_told = of_account(
    "stream_told",
    column("grinder_no", Integer),
    column("open_hour", Integer),
    column("basis", Text),
    column("revision", BigInteger),
    column("made_ms", BigInteger),
    column("steadied_ms", BigInteger, nullable=True),
    key=("grinder_no",),
    is_hot=True,
)
