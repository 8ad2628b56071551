"""Opening a database, and the two ways in: ``read`` and ``write``, one transaction each.

SQLite: WAL, ``synchronous=FULL``, one writer at a time (a lock within the process, ``BEGIN
IMMEDIATE`` between processes) and a read engine of its own. PostgreSQL: the account is set for
the transaction, so that row-level security answers for it; a read sees one snapshot.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine, NullPool, create_engine, event, make_url
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from ..core.errors import Unavailable
from . import driver

__all__ = [
    "Connection",
    "Database",
    "DatabaseWithin",
    "Engine",
    "open_database",
    "single_connection_engine",
]

T = TypeVar("T")

RETRY_COUNT = 3
BUSY_SECONDS = 15
FREE_MS = 10
_SET_ACCOUNT = "SELECT set_config('burrline.account', '{}', true)"
_TRANSIENT = frozenset({"40001", "40P01", "23505"})
"""Serialization failure, deadlock, and an id that somebody else took meanwhile: tried again, the
work finds it."""


class Database:
    """Where burrline's rows are; ``write`` and ``read`` run a function in one transaction."""

    def __init__(self, url: str) -> None:
        parsed = make_url(url)
        self.is_sqlite = parsed.get_backend_name() == "sqlite"
        self.url = url
        if self.is_sqlite:
            self._writer = _sqlite_engine(url, begin="BEGIN IMMEDIATE")
            self._reader = _sqlite_engine(url, begin="BEGIN")
            self._lock: threading.Lock | None = threading.Lock()
        else:
            parsed = parsed.set(drivername="postgresql+psycopg")
            connect = {"connect_timeout": 5, "options": "-c lock_timeout=5000"}
            shared: dict[str, Any] = {
                "connect_args": connect,
                "pool_size": 8,
                "max_overflow": 8,
                "pool_timeout": 10,
                "pool_pre_ping": False,
            }
            self._writer = create_engine(parsed, **shared)
            self._reader = create_engine(parsed, isolation_level="REPEATABLE READ", **shared)
            self._lock = None
            for engine in (self._writer, self._reader):
                event.listen(engine, "rollback", driver.doubt_prepared)
        # What the driver's own cursors raise (see ``driver``) reaches us as it is.
        self._dbapi: Any = self._writer.dialect.loaded_dbapi
        self._errors: tuple[type[Exception], ...] = (DBAPIError, self._dbapi.Error)

    def write(self, account_no: int | None, work: Callable[[Connection], T]) -> T:
        """Run ``work`` in one write transaction, up to four times where another came between."""
        for retry in range(RETRY_COUNT + 1):
            try:
                if self._lock is None:
                    return self._in_transaction(self._writer, account_no, work)
                if not self._lock.acquire(timeout=BUSY_SECONDS):
                    raise Unavailable("The store is busy; nothing was recorded.")
                try:
                    return self._in_transaction(self._writer, account_no, work)
                finally:
                    self._lock.release()
            except PoolTimeout as error:
                raise Unavailable("The store is busy; nothing was recorded.") from error
            except self._errors as error:
                of_driver = error.orig if isinstance(error, DBAPIError) else error
                if retry < RETRY_COUNT and getattr(of_driver, "sqlstate", None) in _TRANSIENT:
                    continue
                raise self._refusal(error) from error
        raise AssertionError("unreachable")

    def read(self, account_no: int | None, work: Callable[[Connection], T]) -> T:
        """Run ``work`` in one read transaction, on one snapshot."""
        try:
            return self._in_transaction(self._reader, account_no, work)
        except PoolTimeout as error:
            raise Unavailable("The store is busy; try again.") from error
        except self._errors as error:
            raise self._refusal(error) from error

    def look_up(self, script: str) -> driver.Rows:
        """The rows that the last of some statements answers, before any account is known."""
        try:
            pooled = self._reader.raw_connection()
            try:
                return driver.rows_of_script(pooled, script)
            except self._errors as error:
                if isinstance(error, self._dbapi.OperationalError):
                    pooled.invalidate(error)
                    self._reader.dispose()  # its neighbours will have lost their server too
                raise
            finally:
                pooled.close()
        except PoolTimeout as error:
            raise Unavailable("The store is busy; try again.") from error
        except self._errors as error:
            raise self._refusal(error) from error

    def write_if_free(self, account_no: int, work: Callable[[Connection], None]) -> bool:
        """Write what may as well be left out: not when anybody else writes, and never failing."""
        if self._lock is not None and not self._lock.acquire(blocking=False):
            return False
        try:
            with self._writer.connect() as connection:
                _wait_for_locks(connection, FREE_MS)
                try:
                    with connection.begin():
                        if not self.is_sqlite:
                            connection.exec_driver_sql(_SET_ACCOUNT.format(int(account_no)))
                            connection.exec_driver_sql(f"SET LOCAL lock_timeout = {FREE_MS}")
                        work(connection)
                finally:
                    _wait_for_locks(connection, BUSY_SECONDS * 1000)
            return True
        except PoolTimeout:
            return False
        except self._errors:
            return False
        finally:
            if self._lock is not None:
                self._lock.release()

    def _in_transaction(
        self, engine: Engine, account_no: int | None, work: Callable[[Connection], T]
    ) -> T:
        with engine.begin() as connection:
            if not self.is_sqlite and account_no is not None:
                driver.begin(connection, _SET_ACCOUNT.format(int(account_no)))
            result = work(connection)
            if not self.is_sqlite:
                driver.commit(connection)
            return result

    def _refusal(self, error: Exception) -> Exception:
        """An unreachable or busy store is a refusal; anything else is a bug and stays itself."""
        if isinstance(error, DBAPIError):
            is_out_of_reach = isinstance(error, OperationalError) or error.connection_invalidated
        else:
            is_out_of_reach = isinstance(error, self._dbapi.OperationalError)
        return Unavailable() if is_out_of_reach else error

    def close(self) -> None:
        self._writer.dispose()
        self._reader.dispose()


class DatabaseWithin(Database):
    """The same doors, inside a transaction that is open already."""

    def __init__(self, connection: Connection, *, is_sqlite: bool) -> None:
        self.is_sqlite = is_sqlite
        self._connection = connection

    def write(self, account_no: int | None, work: Callable[[Connection], T]) -> T:
        return work(self._connection)

    def read(self, account_no: int | None, work: Callable[[Connection], T]) -> T:
        return work(self._connection)

    def write_if_free(self, account_no: int, work: Callable[[Connection], None]) -> bool:
        return False  # what may be left out stays out of somebody else's transaction

    def close(self) -> None:
        raise AssertionError("the transaction belongs to somebody else")


def open_database(url: str) -> Database:
    """Open SQLite (making its folder) or PostgreSQL; connects only when first used."""
    parsed = make_url(url)
    if parsed.get_backend_name() == "sqlite" and parsed.database:
        Path(parsed.database).parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    return Database(url)


def _sqlite_engine(url: str, *, begin: str) -> Engine:
    engine = create_engine(
        url,
        connect_args={"timeout": BUSY_SECONDS, "check_same_thread": False},
        **({} if begin == "BEGIN IMMEDIATE" else {"pool_size": 16, "max_overflow": 16}),
    )

    @event.listens_for(engine, "connect")
    def on_connect(connection: Any, _: Any) -> None:
        connection.isolation_level = None  # the driver must not begin by itself
        cursor = connection.cursor()
        for pragma in (
            "journal_mode=WAL",
            "synchronous=FULL",
            "foreign_keys=ON",
            f"busy_timeout={BUSY_SECONDS * 1000}",
            "wal_autocheckpoint=4000",
        ):
            cursor.execute(f"PRAGMA {pragma}")
        cursor.close()

    @event.listens_for(engine, "begin")
    def on_begin(connection: Connection) -> None:
        connection.exec_driver_sql(begin)

    return engine


def _wait_for_locks(connection: Connection, milliseconds: int) -> None:
    """How long this connection to SQLite waits for other processes (outside any transaction)."""
    if connection.dialect.name == "sqlite":
        driver: Any = connection.connection.driver_connection
        driver.execute(f"PRAGMA busy_timeout={milliseconds}").close()


def single_connection_engine(url: str) -> Engine:
    """An engine without a pool, for migrations and one-off checks."""
    parsed = make_url(url)
    if parsed.get_backend_name() == "sqlite":
        return create_engine(parsed, poolclass=NullPool, connect_args={"timeout": BUSY_SECONDS})
    return create_engine(
        parsed.set(drivername="postgresql+psycopg"),
        poolclass=NullPool,
        connect_args={"connect_timeout": 5},
    )
