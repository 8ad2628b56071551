"""The verb ``completion``: what a shell completes, made from the parser itself."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from burrline._terminal import EX_OK, Verbs

MORE = """\
bash: eval "$(burrline completion bash)"                     in ~/.bashrc
zsh:  eval "$(burrline completion zsh)"                      in ~/.zshrc, after compinit
fish: burrline completion fish > ~/.config/fish/completions/burrline.fish"""


@dataclass(frozen=True)
class Flag:
    """An option: how it is written, whether a word follows it, and which."""

    names: tuple[str, ...]
    meaning: str
    has_value: bool
    choices: tuple[str, ...]
    is_file: bool


@dataclass(frozen=True)
class Command:
    """A command by its words, the words that may follow, its options, whether it takes a file."""

    path: tuple[str, ...]
    words: tuple[tuple[str, str], ...]
    flags: tuple[Flag, ...]
    is_file: bool


def add(verbs: Verbs, parser: Callable[[], argparse.ArgumentParser]) -> None:
    made = verbs.add_local(
        "completion", _completion, "Print what makes a shell complete these commands.", more=MORE
    )
    made.add_argument("shell", choices=tuple(SHELLS), metavar="SHELL", help="bash, zsh or fish")
    made.set_defaults(parser=parser)


def _completion(client: Any, options: argparse.Namespace) -> int:
    sys.stdout.write(SHELLS[options.shell]([*commands_of(options.parser())]))
    return EX_OK


def commands_of(parser: argparse.ArgumentParser, *path: str) -> Iterator[Command]:
    """Every command of a parser, itself first."""
    flags, words, under, is_file = [], [], [], False
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            meanings = {one.dest: one.help or "" for one in action._choices_actions}
            words += [(name, meanings.get(name, "")) for name in action.choices]
            under += [*action.choices.items()]
        elif action.option_strings:
            flags.append(
                Flag(
                    tuple(action.option_strings),
                    _meaning(action, parser),
                    action.nargs != 0,
                    tuple(map(str, action.choices or ())),
                    action.metavar == "FILE" or action.dest == "key_file",
                )
            )
        else:
            is_file = is_file or action.metavar == "FILE"
            words += [(str(one), "") for one in action.choices or ()]
    yield Command(path, tuple(words), tuple(flags), is_file)
    for name, below in under:
        yield from commands_of(below, *path, name)


def _meaning(action: argparse.Action, parser: argparse.ArgumentParser) -> str:
    text = (action.help or "").replace("%(default)s", str(action.default))
    return re.sub(r"[^\w ,.;:()/=-]", "", text.replace("%%", "%").replace("%(prog)s", parser.prog))


# --- bash and zsh: one function that finds the command, then says what may follow -----------------


def _cases(commands: list[Command]) -> str:
    """The shell's ``case`` branches that both share; ``offer`` and ``files`` are functions."""
    lines = ['  case "$at:$before" in']
    for command in commands:
        at = " ".join(command.path)
        for flag in command.flags:
            if flag.has_value:
                act = f"offer {' '.join(flag.choices)}" if flag.choices else ":"
                patterns = "|".join(f'"{at}:{name}"' for name in flag.names)
                lines.append(f"    {patterns}) {'files' if flag.is_file else act}; return ;;")
    lines += ["  esac", '  case "$at" in']
    for command in commands:
        offered = [word for word, _ in command.words]
        offered += [name for flag in command.flags for name in flag.names]
        files = "files; " if command.is_file else ""
        lines.append(f'    "{" ".join(command.path)}") {files}offer {" ".join(offered)} ;;')
    return "\n".join([*lines, "  esac"])


def _walk(commands: list[Command]) -> str:
    paths = "|".join(f'"{" ".join(command.path)}"' for command in commands if command.path)
    return f"""\
    case "${{at:+$at }}$one" in
      {paths}) at="${{at:+$at }}$one" ;;
    esac"""


def bash(commands: list[Command]) -> str:
    return f"""\
_burrline() {{
  local word="${{COMP_WORDS[COMP_CWORD]}}" before="${{COMP_WORDS[COMP_CWORD-1]}}" at="" one
  offer() {{ mapfile -t -O "${{#COMPREPLY[@]}}" COMPREPLY < <(compgen -W "$*" -- "$word"); }}
  files() {{
    compopt -o filenames 2>/dev/null
    mapfile -t -O "${{#COMPREPLY[@]}}" COMPREPLY < <(compgen -f -- "$word")
  }}
  COMPREPLY=()
  for one in "${{COMP_WORDS[@]:1:COMP_CWORD-1}}"; do
{_walk(commands)}
  done
{_cases(commands)}
}}
complete -F _burrline burrline
"""


def zsh(commands: list[Command]) -> str:
    return f"""\
#compdef burrline
_burrline() {{
  local before="${{words[CURRENT-1]}}" at="" one
  offer() {{ compadd -- "$@" }}
  files() {{ _files }}
  for one in "${{(@)words[2,CURRENT-1]}}"; do
{_walk(commands)}
  done
{_cases(commands)}
}}
compdef _burrline burrline
"""


# --- fish: a line for each word and option --------------------------------------------------------


def fish(commands: list[Command]) -> str:
    paths = " ".join(f"'{' '.join(command.path)}'" for command in commands if command.path)
    lines = [
        "function __burrline_at",
        "  set -l at ''",
        "  for one in (commandline -opc)[2..-1]",
        '    set -l longer (string trim -- "$at $one")',
        f'    contains -- "$longer" {paths}; and set at $longer',
        "  end",
        '  test "$at" = "$argv[1]"',
        "end",
    ]
    for command in commands:
        begin = f"complete -c burrline -n \"__burrline_at '{' '.join(command.path)}'\""
        lines.append(f"{begin} -{'F' if command.is_file else 'f'}")
        lines += [f"{begin} -a {word} -d {_quoted(meaning)}" for word, meaning in command.words]
        for flag in command.flags:
            names = " ".join(f"-{'l' if one[1] == '-' else 's'} {one.lstrip('-')}"
                             for one in flag.names)  # fmt: skip
            value = " -r -F" if flag.is_file else " -x" if flag.has_value else ""
            value += f" -a '{' '.join(flag.choices)}'" if flag.choices else ""
            lines.append(f"{begin} {names}{value} -d {_quoted(flag.meaning)}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return "'" + text.replace("\\", "\\\\").replace("'", "\\'") + "'"


SHELLS: dict[str, Callable[[list[Command]], str]] = {"bash": bash, "zsh": zsh, "fish": fish}
