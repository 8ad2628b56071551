"""The verbs around a spool: ``spool list | flush | requeue | export``, and posting through one."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from burrline import errors
from burrline._terminal import (
    EX_CANTCREAT,
    EX_DATAERR,
    EX_NOINPUT,
    EX_NOPERM,
    EX_OK,
    EX_TEMPFAIL,
    Stop,
    Verbs,
    complain,
    say,
    say_json,
    wrong_usage,
)
from burrline.client import Client
from burrline.spool import Flushed, Held, Spool, SpoolConflict, SpoolError, SpoolFull

ENVIRONMENT = "BURRLINE_SPOOL"
OUR_PROBLEMS = "urn:burrline:problem:"
STOP_SECONDS = 1.0
"""For a request under way at the end of the stream: the flush that follows sends the rest."""


def add(verbs: Verbs) -> None:
    group = verbs.group("spool", "Look at runs that wait on disk, send them, set them free.")
    made = group.add("list", _list, "Show how much waits, and which runs were refused and why.")
    _add_path(made)
    made = group.add(
        "flush",
        _flush,
        "Send what waits.",
        more="Exit code 0: nothing waits any more; 65: the same, but some runs were refused and\n"
        "set aside; 75: some wait and can be sent another time; 77: they wait until the key is\n"
        "mended.",
    )
    _add_path(made)
    made = group.add("requeue", _requeue, "Let refused runs wait again, those named or all.")
    made.add_argument("run_ids", nargs="*", metavar="RUN")
    _add_path(made)
    made = group.add(
        "export",
        _export,
        "Write runs to standard output, one JSON object per line, as they were put.",
        has_json=False,
    )
    made.add_argument("--dead", action="store_true", help="the refused ones instead")
    made.add_argument(
        "--remove", action="store_true", help="with --dead: and let go of them once written"
    )
    _add_path(made)


def _add_path(made: argparse.ArgumentParser) -> None:
    made.add_argument("--spool", metavar="FILE", help=f"the spool; default {ENVIRONMENT}")


def default_path() -> Path:
    """The spool named by the environment, else one in this user's state directory."""
    named = os.environ.get(ENVIRONMENT)
    if named:
        return Path(named)
    state = os.environ.get("XDG_STATE_HOME")
    return (Path(state) if state else Path.home() / ".local" / "state") / "burrline" / "runs.spool"


@contextmanager
def opened(path: str | None, client: Client | None, *, must_exist: bool) -> Iterator[Spool]:
    """The spool, closed at the end; what is wrong with its file ends the command."""
    file = Path(path) if path else default_path()
    if must_exist and path and not file.exists():
        raise Stop(EX_NOINPUT, f"burrline: there is no spool {file}")
    try:
        if not path and not os.environ.get(ENVIRONMENT):
            file.parent.mkdir(parents=True, exist_ok=True)
        spool = Spool(file, client)
        try:
            yield spool
        finally:
            spool.close()
    except BrokenPipeError:
        raise  # whoever read the output has gone
    except (OSError, SpoolError) as error:
        told = str(error) if isinstance(error, SpoolError) else f"{file}: {error.strerror}"
        raise Stop(EX_CANTCREAT, f"burrline: {told}") from None


def post_one(client: Client, options: argparse.Namespace, run: Mapping[str, Any]) -> int:
    """Put one run on disk, then try to send what waits."""
    with opened(options.spool, client, must_exist=False) as spool:
        try:
            run_id = spool.put(run)
        except SpoolConflict as error:
            raise Stop(EX_DATAERR, f"burrline: {error}") from None
        return _flushed(options, spool, f"{run_id} spooled", has_put=True)


def post_stream(client: Client, options: argparse.Namespace) -> int:
    """Put each line of standard input on disk as it comes; send in the background meanwhile."""
    taken, faults, is_full = 0, 0, False
    with opened(options.spool, client, must_exist=False) as spool:
        spool.start()
        for number, raw in enumerate(sys.stdin.buffer, start=1):
            if not raw.strip():
                continue
            try:
                run = json.loads(raw)
                if not isinstance(run, dict):
                    raise ValueError("is not a JSON object")
                spool.put(run)
                taken += 1
            except (ValueError, TypeError, RecursionError, SpoolConflict, SpoolFull) as error:
                is_full = is_full or isinstance(error, SpoolFull)
                faults += 1
                complain(f"line {number}: {error}")
        spool.stop(STOP_SECONDS)
        code = _flushed(options, spool, f"{taken} runs spooled", has_put=True)
    if is_full:
        return EX_CANTCREAT
    return EX_DATAERR if code == EX_OK and faults else code


def _flushed(options: argparse.Namespace, spool: Spool, line: str, *, has_put: bool = False) -> int:
    """Flush and say what became of all that was sent; gives the exit code."""
    error = None
    try:
        spool.flush()
    except errors.APIError as failed:
        error = failed
    except SpoolError as failed:
        if not has_put:
            raise
        complain(f"burrline: {failed}; what was put is on disk and can be sent another time")
        return EX_TEMPFAIL
    done, held = spool.total, spool.held()
    if getattr(options, "json", False):
        say_json({**_counts(done), **_numbers(held)})
    elif not getattr(options, "quiet", False):
        say(f"{line}; {_summary(done, held)}")
    if error is None:
        return EX_DATAERR if done.dead else EX_OK
    waiting = held.run_count - held.dead_count
    if is_key_refused(error):
        complain(f"burrline: {error}; {waiting} runs wait on disk until the key is mended")
        return EX_NOPERM
    complain(f"burrline: {error}; {waiting} runs wait on disk and can be sent another time")
    return EX_TEMPFAIL


def is_key_refused(error: errors.APIError) -> bool:
    """Whether the service itself refused the key; a guest network's 403 is none of its words."""
    kinds = (errors.AuthenticationError, errors.PermissionDenied)
    return isinstance(error, kinds) and error.type.startswith(OUR_PROBLEMS)


def _list(client: Client, options: argparse.Namespace) -> int:
    with opened(options.spool, None, must_exist=True) as spool:
        held, dead = spool.held(), spool.dead()
    if options.json:
        refused = [
            {"run_id": one.run_id, "reason": one.reason, "run": dict(one.line)} for one in dead
        ]
        say_json({**_numbers(held), "refused": refused})
        return EX_OK
    waiting = held.run_count - held.dead_count
    say(f"{waiting} waiting, {held.dead_count} refused, {held.size_bytes} bytes in all")
    if held.refused_count:
        say(f"{held.refused_count} runs found the spool full and were not taken")
    for one in dead:
        say(f"{one.run_id}  {one.reason}")
    if held.dead_count > len(dead):
        say(f"and {held.dead_count - len(dead)} more")
    return EX_OK


def _flush(client: Client, options: argparse.Namespace) -> int:
    with opened(options.spool, client, must_exist=True) as spool:
        return _flushed(options, spool, "flushed")


def _requeue(client: Client, options: argparse.Namespace) -> int:
    with opened(options.spool, None, must_exist=True) as spool:
        count = spool.requeue(options.run_ids or None)
    if options.json:
        say_json({"requeued": count})
    else:
        say(f"{count} runs wait again")
    return EX_DATAERR if count < len(options.run_ids) else EX_OK


def _export(client: Client, options: argparse.Namespace) -> int:
    if options.remove and not options.dead:
        raise wrong_usage(options, "--remove goes with --dead")
    with opened(options.spool, None, must_exist=True) as spool:
        run_ids = []
        for line in spool.lines(dead=options.dead):
            sys.stdout.write(json.dumps(line, ensure_ascii=False, separators=(",", ":")) + "\n")
            run_ids.append(line["run_id"])
        sys.stdout.flush()
        if options.remove:
            spool.remove(run_ids)
    return EX_OK


def _counts(done: Flushed) -> dict[str, int]:
    return {
        "sent": done.sent,
        "accepted": done.accepted,
        "duplicates": done.duplicates,
        "set_aside": done.dead,
    }


def _numbers(held: Held) -> dict[str, int]:
    return {
        "waiting": held.run_count - held.dead_count,
        "refused_count": held.dead_count,
        "size_bytes": held.size_bytes,
        "not_taken_count": held.refused_count,
    }


def _summary(done: Flushed, held: Held) -> str:
    return (
        f"{done.accepted} accepted, {done.duplicates} known before, {done.dead} refused, "
        f"{held.run_count - held.dead_count} waiting"
    )
