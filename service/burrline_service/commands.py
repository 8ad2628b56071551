"""What each command of ``burrline-service`` does."""

from __future__ import annotations

import argparse
import json
import logging
import os
import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from .actions import access, admin, health, measuring, restore
from .core.errors import SchemaMismatch, Unavailable
from .core.open_metrics import MEDIA_TYPE, exposition
from .core.records import Key
from .settings import Settings
from .store.database import Database, open_database
from .store.schema import check_schema

NOT_NOW = (Unavailable, SchemaMismatch)


def serve(settings: Settings, parsed: argparse.Namespace) -> int:
    from .api import TallySheet
    from .api.alerts import stopping
    from .app import make_app
    from .journal import start_journal
    from .server import Server, told_of_the_end

    check_schema(settings.database_url)
    if not _is_free(parsed.host, parsed.port):
        _tell_that_taken(parsed.host, parsed.port)
        return 69
    start_journal(settings.log_level)
    database = open_database(settings.database_url)
    if not admin.is_row_security_in_force(database):
        print(
            "burrline-service: this database role bypasses row-level security; "
            "use one without superuser and BYPASSRLS",
            file=sys.stderr,
        )
    worker_count = parsed.workers or (1 if database.is_sqlite else 2)
    database.close()
    if settings.allow_private_webhooks:
        _tell_of_exceptions(settings)
    told_of_the_end.append(stopping.set)
    tally_sheet = TallySheet()  # made before the server's processes, so that they share it
    print(f"burrline-service: http://{parsed.host}:{parsed.port}", file=sys.stderr, flush=True)
    Server(
        lambda: make_app(settings, tally_sheet=tally_sheet),
        host=parsed.host,
        port=parsed.port,
        worker_count=worker_count,
    ).run()
    return 0


def work(settings: Settings, parsed: argparse.Namespace) -> int:
    from . import work_health, worker
    from .journal import start_journal

    check_schema(settings.database_url)
    if settings.work_address is not None and not _is_free(*settings.work_address):
        _tell_that_taken(*settings.work_address)
        return 69
    start_journal(settings.log_level)
    if settings.allow_private_webhooks:
        _tell_of_exceptions(settings)
    database = open_database(settings.database_url)
    stop = parsed.stop()
    dispatcher = worker.make_dispatcher(settings, database, stop=stop)
    jobs = worker.make_jobs(settings, database, stop=stop, dispatcher=dispatcher)

    def livez() -> work_health.Answer:
        return work_health.checked(dict.fromkeys(worker.stuck(jobs), "is stuck"))

    def readyz() -> work_health.Answer:
        return work_health.checked(health.readiness(database))

    def metrics() -> work_health.Answer:
        families = [
            measuring.build(),
            *measuring.worker_families(
                {job.name: (job.done_count, job.failure_count) for job in jobs},
                dispatcher.outcomes,
            ),
            *measuring.backlog_families(database, now=_now()),
        ]
        return 200, MEDIA_TYPE, exposition(families)

    answers = {"/livez": livez, "/readyz": readyz, "/metrics": metrics}
    with work_health.answering(settings.work_address, answers), worker.alone(database, stop=stop):
        worker.work(jobs, stop=stop)
        dispatcher.close()
    database.close()
    return 0


def migrate(settings: Settings, parsed: argparse.Namespace) -> None:
    from .store.migrate import migrate as migrate_database

    before, after = migrate_database(settings.migration_database_url)
    if before == after:
        print(f"burrline-service: the database is at revision {after} already")
    else:
        print(f"burrline-service: the database is at revision {after} now")


def create_account(settings: Settings, parsed: argparse.Namespace) -> None:
    with _database(settings) as database:
        made = admin.create_account(
            database, account_id=parsed.account_id, name=parsed.name, now=_now()
        )
    print(made.account_id)


def list_accounts(settings: Settings, parsed: argparse.Namespace) -> None:
    with _database(settings) as database:
        for account in admin.list_accounts(database):
            print(f"{account.account_id}\t{account.name}")


def create_key(settings: Settings, parsed: argparse.Namespace) -> None:
    with _database(settings) as database:
        owner = admin.owner(database, account_id=parsed.account, makes_first=True, now=_now())
        _, secret = access.create_key(
            database,
            owner,
            name=parsed.name,
            scopes=parsed.scope,
            site_ids=parsed.site,
            grinder_ids=parsed.grinder,
            now=_now(),
        )
    print(secret)


def list_keys(settings: Settings, parsed: argparse.Namespace) -> None:
    with _database(settings) as database:
        owner = admin.owner(database, account_id=parsed.account, now=_now())
        position = None
        while True:
            page = access.list_keys(database, owner, limit=200, position=position, now=_now())
            for key in page.items:
                print(_key_line(key))
            position = page.next_position
            if position is None:
                return


def revoke_key(settings: Settings, parsed: argparse.Namespace) -> None:
    with _database(settings) as database:
        owner = admin.owner(database, account_id=parsed.account, now=_now())
        revoked = access.revoke_key(database, owner, key_id=parsed.key_id, now=_now())
    print(_key_line(revoked))


def import_account(settings: Settings, parsed: argparse.Namespace) -> int:
    path = Path(parsed.file)
    if not path.is_file():
        print(f"burrline-service: {parsed.file}: no such file", file=sys.stderr)
        return 66

    def lines() -> Iterator[bytes]:
        with path.open("rb") as file:
            yield from file

    with _database(settings) as database:
        account, counts = restore.import_account(database, lines=lines, account_id=parsed.account)
    print(f"account\t{account.account_id}")
    for kind, count in sorted(counts.items()):
        if kind not in ("header", "account"):
            print(f"{kind}\t{count}")
    return 0


def demo(settings: Settings, parsed: argparse.Namespace) -> int:
    try:
        from .demo import fill
    except ModuleNotFoundError as error:
        if error.name != "burrline":
            raise
        print(
            "burrline-service: demo posts through the SDK; install the package burrline too",
            file=sys.stderr,
        )
        return 69
    return fill(url=parsed.url, key=os.environ.get("BURRLINE_KEY"))


def openapi(settings: Settings, parsed: argparse.Namespace) -> None:
    from .api import make_operations
    from .api.document import make_document

    print(json.dumps(make_document(make_operations()), indent=2, ensure_ascii=False))


def config(settings: Settings, parsed: argparse.Namespace) -> None:
    for name, value in settings.shown().items():
        print(f"{name}={value}")


@contextmanager
def _database(settings: Settings) -> Iterator[Database]:
    check_schema(settings.database_url)
    database = open_database(settings.database_url)
    try:
        yield database
    finally:
        database.close()


def _tell_that_taken(host: str, port: int) -> None:
    print(
        f"burrline-service: {host} port {port} cannot be used "
        "(taken by another program, or not an address of this machine)",
        file=sys.stderr,
    )


def _tell_of_exceptions(settings: Settings) -> None:
    ranges = ", ".join(map(str, settings.allow_private_webhooks))
    logging.getLogger("burrline.webhooks").warning(
        "webhooks may lead into %s, without TLS and without proof", ranges
    )


def _key_line(key: Key) -> str:
    state = "revoked" if key.revoked_at else "live"
    bounds = ",".join([*key.site_ids, *key.grinder_ids]) or "-"
    return (
        f"{key.key_id}\t...{key.last_four}\t{state}\t{' '.join(key.scopes)}\t{bounds}\t{key.name}"
    )


def _is_free(host: str, port: int) -> bool:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            return False
    return True


def _now() -> datetime:
    now = datetime.now(UTC)
    return now.replace(microsecond=now.microsecond // 1000 * 1000)
