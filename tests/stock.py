"""PostgreSQL databases that tests take in turn: emptied and used again if only rows changed.

Making a database costs ten times as much as emptying one. One that was touched in any other way
(its tables, rights, policies, migrations), that somebody still works in, or that holds many rows
is dropped, and the next test gets a new one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import psycopg

from databases import (
    MadeDatabase,
    Server,
    drop_postgresql_database,
    make_postgresql_database,
)

MOST_ROWS = 5_000  # what was deleted still lies there, and is walked through
# Each row of the catalogue that belongs to the tables has a new version once anything alters it.
SHAPE = """
WITH ours AS (SELECT oid FROM pg_class WHERE relnamespace = 'public'::regnamespace)
SELECT (SELECT string_agg(xmin::text || '/' || oid, ' ' ORDER BY oid) FROM pg_class
        WHERE relnamespace = 'public'::regnamespace),
       (SELECT string_agg(xmin::text, ' ' ORDER BY attrelid, attnum) FROM pg_attribute
        WHERE attrelid IN (SELECT oid FROM ours)),
       (SELECT string_agg(xmin::text || '/' || oid, ' ' ORDER BY oid) FROM pg_policy),
       (SELECT string_agg(xmin::text || '/' || oid, ' ' ORDER BY oid) FROM pg_trigger),
       (SELECT string_agg(xmin::text || '/' || oid, ' ' ORDER BY oid) FROM pg_constraint),
       (SELECT string_agg(xmin::text || '/' || oid, ' ' ORDER BY oid) FROM pg_proc
        WHERE pronamespace = 'public'::regnamespace),
       (SELECT string_agg(xmin::text || '/' || oid, ' ' ORDER BY oid) FROM pg_namespace
        WHERE nspname !~ '^pg_(temp|toast_temp)_'),
       (SELECT string_agg(version_num, ' ') FROM alembic_version)
"""


@dataclass
class _Kept:
    made: MadeDatabase
    name: str
    admin: psycopg.Connection[Any]
    shape: Any
    empties: str
    counts: str


@dataclass
class Stock:
    """The databases of one process: ``take`` one, ``give_back`` it."""

    server: Server
    template: str
    _free: list[_Kept] = field(default_factory=list)
    _taken: dict[str, _Kept] = field(default_factory=dict)

    def take(self) -> MadeDatabase:
        """An empty, migrated database."""
        kept = self._free.pop() if self._free else self._make()
        self._taken[kept.made.url] = kept
        return kept.made

    def give_back(self, made: MadeDatabase) -> bool:
        """Empty it for the next one, or drop it; tells whether it is kept."""
        kept = self._taken.pop(made.url)
        try:
            if self._is_emptied(kept):
                self._free.append(kept)
                return True
        except psycopg.Error:  # somebody holds a lock, or it is gone
            pass
        self._drop(kept)
        return False

    def close(self) -> None:
        for kept in (*self._free, *self._taken.values()):
            self._drop(kept)

    def _make(self) -> _Kept:
        made = make_postgresql_database(self.server, self.template)
        name = made.url.partition("?")[0].rpartition("/")[2]
        admin = psycopg.connect(self.server.url(name), autocommit=True)
        admin.execute("SET session_replication_role = replica")  # keys to other tables can wait
        admin.execute("SET lock_timeout = '1s'")
        tables = [
            row[0]
            for row in admin.execute(
                "SELECT format('%I', relname) FROM pg_class WHERE relkind = 'r'"
                " AND relnamespace = 'public'::regnamespace AND relname <> 'alembic_version'"
            )
        ]
        sequences = [
            row[0]
            for row in admin.execute(
                "SELECT format('%I', relname) FROM pg_class WHERE relkind = 'S'"
                " AND relnamespace = 'public'::regnamespace"
            )
        ]
        empties = [f"DELETE FROM {table}" for table in tables]
        empties += [f"SELECT setval('{sequence}', 1, false)" for sequence in sequences]
        counts = " + ".join(f"(SELECT count(*) FROM {table})" for table in tables)
        shape = admin.execute(SHAPE).fetchone()
        return _Kept(made, name, admin, shape, "; ".join(empties), f"SELECT {counts}")

    def _is_emptied(self, kept: _Kept) -> bool:
        ended = "SELECT count(pg_terminate_backend(pid, 2000)) FROM pg_stat_activity"
        kept.admin.execute(
            f"{ended} WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
        if kept.admin.execute(SHAPE).fetchone() != kept.shape:
            return False
        found = kept.admin.execute(kept.counts).fetchone()
        if found is None or found[0] > MOST_ROWS:
            return False
        kept.admin.execute(kept.empties)
        return True

    def _drop(self, kept: _Kept) -> None:
        kept.admin.close()
        drop_postgresql_database(self.server, kept.name)
