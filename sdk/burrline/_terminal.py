"""What the verbs of the command line share: exit codes, arguments, and how to say something."""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Callable, Iterable
from contextvars import ContextVar
from pathlib import Path
from typing import Any, NoReturn

from burrline._checked import DEFAULT_URL
from burrline._convert import Model, parse_instant
from burrline._show import printable

EX_OK, EX_USAGE, EX_DATAERR, EX_NOINPUT = 0, 64, 65, 66
EX_UNAVAILABLE, EX_CANTCREAT, EX_TEMPFAIL, EX_NOPERM, EX_CONFIG = 69, 73, 75, 77, 78
DEADLINE_SECONDS = 60.0

Verb = Callable[[Any, argparse.Namespace], int]
"""What a command does with a client and its options; gives the exit code."""


class Stop(Exception):
    """Ends a command with a code and one line."""

    def __init__(self, code: int, line: str) -> None:
        super().__init__(line)
        self.code = code


class Parser(argparse.ArgumentParser):
    """argparse with the exit code of sysexits for wrong usage, and without guessing at options."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(**{**settings, "allow_abbrev": False})

    def error(self, message: str) -> NoReturn:
        what, found, rest = message.partition("unrecognized arguments: ")
        if found:  # names only: a value may be a key that somebody meant to pass
            named = [word.partition("=")[0] for word in rest.split() if word.startswith("-")]
            message = f"{what}{found}{' '.join(named) or 'too many'}"
        raise Stop(EX_USAGE, f"{self.prog}: {message} (try {self.prog} --help)")


class Verbs:
    """The commands of a parser, each with the settings that every command has."""

    def __init__(self, parser: argparse.ArgumentParser, metavar: str = "COMMAND") -> None:
        self._commands = parser.add_subparsers(required=True, metavar=metavar)

    def add(
        self,
        name: str,
        act: Verb,
        text: str,
        *,
        more: str = "",
        deadline_seconds: float = DEADLINE_SECONDS,
        has_json: bool = True,
    ) -> argparse.ArgumentParser:
        made: argparse.ArgumentParser = self._commands.add_parser(
            name,
            help=text,
            description=text,
            epilog=more,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        made.set_defaults(command=act, prog=made.prog)
        made.add_argument("--url", help=f"the service; default BURRLINE_URL or {DEFAULT_URL}")
        made.add_argument("--key-file", help="file with the key; default BURRLINE_KEY")
        made.add_argument(
            "--deadline",
            dest="deadline_seconds",
            metavar="SECONDS",
            type=positive_seconds,
            default=deadline_seconds,
            help="give up after so long (default %(default)s)",
        )
        made.add_argument(
            "--json",
            action="store_true",
            help="print the answer as JSON" if has_json else "as it is: each line is JSON anyway",
        )
        made.add_argument(
            "--quiet", action="store_true", help="print nothing but what went wrong (and --json)"
        )
        return made

    def add_local(
        self, name: str, act: Verb, text: str, *, more: str = ""
    ) -> argparse.ArgumentParser:
        """A command that asks no service; it is called with None for a client."""
        made: argparse.ArgumentParser = self._commands.add_parser(
            name,
            help=text,
            description=text,
            epilog=more,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        made.set_defaults(command=act, prog=made.prog, is_local=True)
        return made

    def group(self, name: str, text: str) -> Verbs:
        """A word that has commands of its own."""
        made = self._commands.add_parser(name, help=text, description=text)
        return Verbs(made, metavar="WHAT")


# --- saying -------------------------------------------------------------------------------------


IS_QUIET: ContextVar[bool] = ContextVar("IS_QUIET", default=False)
"""Whether ``say`` says nothing, as ``--quiet`` asks."""


def say(line: str) -> None:
    if not IS_QUIET.get():
        sys.stdout.write(printable(line) + "\n")


def complain(line: str) -> None:
    sys.stderr.write(printable(line) + "\n")


HAS_SAID_JSON: ContextVar[bool] = ContextVar("HAS_SAID_JSON", default=False)
"""Whether an answer went out as JSON: what fails after it is told on standard error alone."""


def say_json(value: Any) -> None:
    HAS_SAID_JSON.set(True)
    sys.stdout.write(json.dumps(value, indent=2) + "\n")


def tell(options: argparse.Namespace, model: Model, line: str) -> int:
    """What a command did: the answer itself, or one line of it."""
    if options.json:
        say_json(model.to_json())
    else:
        say(line)
    return EX_OK


def tell_all(
    options: argparse.Namespace, models: Iterable[Any], line_of: Callable[[Any], str]
) -> int:
    """A whole list, one line each."""
    if options.json:
        say_json([model.to_json() for model in models])
    else:
        for model in models:
            say(line_of(model))
    return EX_OK


def wrong_usage(options: argparse.Namespace, detail: str) -> Stop:
    return Stop(EX_USAGE, f"{options.prog}: {detail} (try {options.prog} --help)")


def content_of(file: str) -> bytes:
    """A file's bytes; ``-`` is standard input."""
    if file == "-":
        return sys.stdin.buffer.read()
    try:
        return Path(file).read_bytes()
    except OSError as error:
        raise Stop(EX_NOINPUT, f"burrline: {file}: {error.strerror}") from None


# --- arguments ----------------------------------------------------------------------------------


def attribute(flag: str) -> str:
    return flag.replace("-", "_")


def instant(text: str) -> Any:
    try:
        return parse_instant(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{text!r} is not an instant such as 2026-03-01T08:30:00+01:00"
        ) from None


def finite(text: str) -> float:
    """A number; ``nan`` and ``inf`` are none."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number")
    return value


def positive_seconds(text: str) -> float:
    value = float(text)
    if not 0 < value < 86_400:
        raise argparse.ArgumentTypeError(f"{text} is not a number of seconds to wait")
    return value


def given(options: argparse.Namespace, *names: str) -> dict[str, Any]:
    """The named options that were used."""
    return {name: value for name in names if (value := getattr(options, name)) is not None}
