"""The command line: ``burrline post | status | check | ready | import | grinder | care | ...``.

The key comes from ``BURRLINE_KEY`` or a file named by ``--key-file``, never from an argument,
where every user of the machine could read it. Exit codes are those of sysexits.h: 0 done,
64 wrong usage, 65 refused, 66 no such file, 69 service not reachable, 73 no spool to write,
75 on disk and to be sent another time, 77 key not good, 78 wrong settings; ``check`` has those of
monitoring plugins: 0 ok, 1 caution, 2 alert, 3 unknown, and ``ready`` 0 ready, 1 wait, 2 never,
3 unknown beside those of sysexits.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from burrline import (
    _check,
    _show,
    _verb_apply,
    _verb_completion,
    _verb_export,
    _verb_import,
    _verb_mqtt,
    _verb_post,
    _verb_ready,
    _verb_spool,
    _verbs_alerts,
    _verbs_calibration,
    _verbs_entries,
    _verbs_grind,
    _verbs_looking,
    _verbs_places,
    _verbs_webhooks,
    errors,
)
from burrline._terminal import (
    EX_CONFIG,
    EX_DATAERR,
    EX_NOPERM,
    EX_OK,
    EX_UNAVAILABLE,
    EX_USAGE,
    HAS_SAID_JSON,
    IS_QUIET,
    Parser,
    Stop,
    Verb,
    Verbs,
    complain,
    instant,
    say,
    say_json,
)
from burrline._version import __version__
from burrline.client import Client


def main(
    arguments: Sequence[str] | None = None, make_client: Callable[..., Client] = Client
) -> int:
    """Run one command; gives its exit code."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    HAS_SAID_JSON.set(False)
    is_check = next((one for one in given if not one.startswith("-")), "") == "check"
    try:
        return _run(given, make_client)
    except Stop as stop:
        code, line = stop.code, str(stop)
    except errors.APIError as error:
        code, line = _code_of(error), str(error)
    except BrokenPipeError:
        # whoever read the output has gone; keep the interpreter from flushing into nothing
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return EX_OK
    except KeyboardInterrupt:
        return 130  # 128 and the signal's number, as shells say it
    has_json = "--json" in given and not HAS_SAID_JSON.get()
    if is_check:
        line = f"UNKNOWN - {line}"
        if has_json:
            say_json({"code": _check.UNKNOWN, "line": line, "status": None})
        else:
            say(line)
        return _check.UNKNOWN
    if has_json:
        say_json({"error": {"code": code, "line": line}})
    complain(line)
    return code


def _run(given: list[str], make_client: Callable[..., Client]) -> int:
    options = _parser().parse_args(given)
    command: Verb = options.command
    if getattr(options, "is_local", False):
        return command(None, options)
    try:
        client = make_client(
            options.url,
            _key_from(options.key_file),
            deadline_seconds=options.deadline_seconds,
            user_agent="command-line",
        )
    except ValueError as error:
        raise Stop(EX_CONFIG, f"burrline: {error}") from None
    hushed = IS_QUIET.set(options.quiet)
    with client:
        try:
            return command(client, options)
        except ValueError as error:
            raise Stop(EX_DATAERR, f"burrline: {error}") from None
        finally:
            IS_QUIET.reset(hushed)


def _status(client: Client, options: argparse.Namespace) -> int:
    if options.grinder_id is None:
        if options.as_of is not None:
            raise Stop(EX_USAGE, "burrline status: --as-of goes with one grinder")
        fleet = list(client.get_fleet(site_id=options.site, limit=200))
        if options.json:
            say_json([status.to_json() for status in fleet])
        else:
            say(_show.fleet_table(fleet))
        return EX_OK
    if options.site is not None:
        raise Stop(EX_USAGE, "burrline status: --site goes with the whole fleet")
    status = client.get_status(options.grinder_id, as_of=options.as_of)
    if options.json:
        say_json(status.to_json())
    else:
        say(_show.status_lines(status))
    return EX_OK


def _check_grinder(client: Client, options: argparse.Namespace) -> int:
    status = client.get_status(options.grinder_id)
    verdict = _check.judge(status, options.require)
    if options.json:
        told = {"code": verdict.code, "line": verdict.line, "status": status.to_json()}
        say_json(told)
    else:
        say(verdict.line)
    return verdict.code


def _code_of(error: errors.APIError) -> int:
    if isinstance(error, (errors.AuthenticationError, errors.PermissionDenied)):
        return EX_NOPERM
    if isinstance(error, errors.ClientError) and not isinstance(error, errors.RateLimited):
        return EX_DATAERR
    return EX_UNAVAILABLE


def _key_from(file: str | None) -> str | None:
    if file is None:
        return None
    try:
        key = Path(file).read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "is not a key"
        raise Stop(EX_CONFIG, f"burrline: {file}: {reason}") from None
    if not key:
        raise Stop(EX_CONFIG, f"burrline: {file}: holds no key")
    return key


def _parts(text: str) -> tuple[str, ...]:
    parts = tuple(part.strip() for part in text.split(",") if part.strip())
    unknown = [part for part in parts if part not in _check.PARTS]
    if unknown or not parts:
        raise argparse.ArgumentTypeError(f"name some of {','.join(_check.PARTS)}")
    return parts


def _parser() -> argparse.ArgumentParser:
    parser = Parser(prog="burrline", description="Post the runs of grinders, read their state.")
    parser.add_argument("--version", action="version", version=f"burrline {__version__}")
    verbs = Verbs(parser)

    _verb_post.add(verbs)

    status = verbs.add("status", _status, "Show one grinder or the fleet.")
    status.add_argument("grinder_id", nargs="?", metavar="GRINDER")
    status.add_argument("--site", metavar="SITE", help="only the grinders of this site")
    status.add_argument(
        "--as-of", type=instant, metavar="INSTANT", help="how one grinder stood then; default now"
    )

    check = verbs.add(
        "check",
        _check_grinder,
        "Judge motor and duty of a grinder: 0 ok, 1 caution, 2 alert, 3 unknown.",
        deadline_seconds=8.0,
    )
    check.add_argument("grinder_id", metavar="GRINDER")
    check.add_argument(
        "--require",
        type=_parts,
        default=(),
        metavar="PARTS",
        help="what must be known, else 3: motor, duty or motor,duty",
    )
    _verb_ready.add(verbs)
    _verbs_places.add(verbs)
    _verbs_entries.add(verbs)
    _verbs_grind.add(verbs)
    _verbs_calibration.add(verbs)
    _verbs_alerts.add(verbs)
    _verb_apply.add(verbs)
    _verb_import.add(verbs)
    _verbs_looking.add(verbs)
    _verb_export.add(verbs)
    _verbs_webhooks.add(verbs)
    _verb_spool.add(verbs)
    _verb_mqtt.add(verbs)
    _verb_completion.add(verbs, _parser)
    return parser
