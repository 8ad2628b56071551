"""The burrline service on the command line."""

from __future__ import annotations

import argparse
import os
import signal
import sys
import threading
from collections.abc import Sequence

from . import __version__, commands
from .core.errors import Refusal
from .core.records import SCOPES
from .settings import BadSettings, read_settings

USAGE, FAILED, UNAVAILABLE, CONFIGURATION = 64, 1, 69, 78


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code (sysexits)."""
    parsed = _parser().parse_args(arguments)
    try:
        settings = read_settings(os.environ)
    except BadSettings as error:
        for complaint in error.complaints:
            print(f"burrline-service: {complaint}", file=sys.stderr)
        return CONFIGURATION
    try:
        return int(parsed.run(settings, parsed) or 0)
    except Refusal as refusal:
        print(f"burrline-service: {refusal}", file=sys.stderr)
        for fault in refusal.faults:
            print(f"  {fault.pointer or fault.parameter}: {fault.detail}", file=sys.stderr)
        return UNAVAILABLE if isinstance(refusal, commands.NOT_NOW) else FAILED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILED


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> None:  # type: ignore[override]
        self.print_usage(sys.stderr)
        self.exit(USAGE, f"{self.prog}: {message}\n")


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="burrline-service", description=__doc__)
    parser.add_argument("--version", action="version", version=__version__)
    verbs = parser.add_subparsers(required=True, metavar="COMMAND", parser_class=_Parser)

    serve = verbs.add_parser("serve", help="answer HTTP requests until stopped")
    serve.add_argument("--host", default="127.0.0.1")
    serve.add_argument("--port", type=_port, default=8460)
    serve.add_argument("--workers", type=_positive, metavar="N", help="server processes")
    serve.set_defaults(run=commands.serve)

    work = verbs.add_parser("work", help="do the background jobs until stopped")
    work.set_defaults(run=commands.work, stop=_stop_on_signals)

    migrate = verbs.add_parser("migrate", help="prepare or upgrade the database")
    migrate.set_defaults(run=commands.migrate)

    accounts = verbs.add_parser("accounts", help="accounts: create, list")
    of_accounts = accounts.add_subparsers(required=True, metavar="VERB", parser_class=_Parser)
    create = of_accounts.add_parser("create", help="make an account")
    create.add_argument("account_id", metavar="ID")
    create.add_argument("--name")
    create.set_defaults(run=commands.create_account)
    of_accounts.add_parser("list").set_defaults(run=commands.list_accounts)

    keys = verbs.add_parser("keys", help="access keys: create, list, revoke")
    of_keys = keys.add_subparsers(required=True, metavar="VERB", parser_class=_Parser)
    create = of_keys.add_parser("create", help="make a key; prints its secret alone, once")
    create.add_argument("--name", required=True)
    create.add_argument("--scope", action="append", choices=SCOPES, help="repeatable; none = all")
    create.add_argument("--site", action="append", default=[], metavar="ID", help="bind to a site")
    create.add_argument("--grinder", action="append", default=[], metavar="ID")
    create.add_argument("--account", metavar="ID")
    create.set_defaults(run=commands.create_key)
    listing = of_keys.add_parser("list")
    listing.add_argument("--account", metavar="ID")
    listing.set_defaults(run=commands.list_keys)
    revoke = of_keys.add_parser("revoke")
    revoke.add_argument("key_id")
    revoke.add_argument("--account", metavar="ID")
    revoke.set_defaults(run=commands.revoke_key)

    restore = verbs.add_parser("import", help="put an exported account into an empty one")
    restore.add_argument("file", metavar="FILE", help="what `burrline export` wrote")
    restore.add_argument("--account", metavar="ID", help="default: the export's own")
    restore.set_defaults(run=commands.import_account)

    demo = verbs.add_parser("demo", help="fill a running service with an invented fleet")
    demo.add_argument("--url", default=os.environ.get("BURRLINE_URL", "http://127.0.0.1:8460"))
    demo.set_defaults(run=commands.demo)

    openapi = verbs.add_parser("openapi", help="print the OpenAPI document")
    openapi.set_defaults(run=commands.openapi)
    config = verbs.add_parser("config", help="print the effective settings, passwords hidden")
    config.set_defaults(run=commands.config)
    return parser


def _stop_on_signals() -> threading.Event:
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    return stop


def _port(text: str) -> int:
    number = _positive(text)
    if number > 65535:
        raise argparse.ArgumentTypeError("must be 1 to 65535")
    return number


def _positive(text: str) -> int:
    if not text.isascii() or not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError("must be a whole number, 1 or more")
    return int(text)


if __name__ == "__main__":
    sys.exit(main())
