"""The room that remembers: tables, transactions, and queries by topic.

Rows hold integers (milligrams, milliseconds, tenths of a degree), so that sums are exact and no
order of arrival can change them. It imports the core, SQLAlchemy and alembic.
"""
