"""What holds for every command alike: exit codes, ``--json``, ``--quiet``, completion."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
import requests
import responses

from burrline import Client, _terminal
from burrline._verb_completion import Command, commands_of
from burrline.cli import _parser, main
from source_tree import ROOT

AT = "2026-03-01T08:30:00Z"
# The least that each command takes; FILE is put in by the test. A command that is not here fails.
LEAST: dict[str, str] = {
    "post": "bar-1 --grams 18",
    "status": "",
    "check": "bar-1",
    "ready": "bar-1 --seconds 20",
    "site create": "s --name S --time-zone UTC",
    "site update": "s --name S",
    "site show": "s",
    "site list": "",
    "reading record": "bar-1 --motor-celsius 40",
    "reading list": "bar-1",
    "reading void": "reading-1",
    "throughput": "bar-1",
    "grinder create": "bar-1 --site s --name B",
    "grinder update": "bar-1 --name B",
    "grinder show": "bar-1",
    "burrs fit": "bar-1 --geometry flat --prior-grams 0",
    "burrs list": "bar-1",
    "burrs mend": "set-1 --burr-serial 7",
    "burrs void": "set-1",
    "care record": "bar-1 cleaning",
    "care list": "bar-1",
    "care void": "care-0001",
    "set": "bar-1 --setting 4",
    "tally": f"bar-1 --grams 9 --basis weighed_in --from {AT} --to {AT}",
    "correct": f"bar-1 --from {AT} --reason slip --void",
    "void": "bar-1-000017",
    "break-in": "bar-1",
    "checkpoint add": "bar-1 --sieve SIEVES --at " + AT,
    "checkpoint list": "bar-1",
    "checkpoint void": "check-0001",
    "checkpoint summarize": "--sieve SIEVES",
    "calibration": "bar-1",
    "compare": "set-1 set-2",
    "cups": "bar-1",
    "alerts list": "",
    "alerts acknowledge": "01000000-0000-7000-8000-000000000001",
    "watch": "",
    "webhooks add": "https://receiver.example/alerts",
    "webhooks list": "",
    "webhooks test": "till",
    "webhooks delete": "till",
    "webhooks enable": "till",
    "webhooks disable": "till",
    "webhooks rotate": "till",
    "webhooks deliveries": "till",
    "webhooks redeliver": "till --failed",
    "apply": "FLEET",
    "import": "BOOK --grinder bar-1 --yes",
    "export": "",
    "mqtt": "--spool SPOOL",
    "spool list": "--spool SPOOL",
    "spool flush": "--spool SPOOL",
    "spool requeue": "--spool SPOOL",
    "spool export": "--spool SPOOL",
}
METHODS = ("GET", "POST", "PATCH", "DELETE")
FILES = {
    "SIEVES": "aperture_micrometres,retained_grams\n600,4\n300,6\npan,3\n",
    "FLEET": "site_id,site_name,time_zone\ns,S,UTC\n",
    "BOOK": "date;kg\n2026-03-01;4\n",
}
WITHOUT_SERVICE = {"spool list", "spool requeue", "spool export", "completion"}
COMMANDS = {" ".join(one.path): one for one in commands_of(_parser())}
LEAVES = {
    name: one for name, one in COMMANDS.items() if name and not (one.words and not one.is_file)
} | {"completion": COMMANDS["completion"]}

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    make_client: Callable[..., Client],
    tmp_path: Path,
) -> Run:
    monkeypatch.setenv("BURRLINE_URL", "http://burrline.test:8460")
    monkeypatch.setenv("BURRLINE_KEY", "burrline_testkey")
    for name, text in FILES.items():
        (tmp_path / name).write_text(text)
    (tmp_path / "SPOOL").touch()

    def act(name: str, *more: str) -> tuple[int, str, str]:
        words = [
            str(tmp_path / word) if word in FILES or word == "SPOOL" else word
            for word in (*name.split(), *LEAST[name].split())
        ]
        code = main([*words, *more], make_client)
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return act


def test_every_command_is_held_to_what_holds_for_all() -> None:
    assert set(LEAST) | {"completion"} == set(LEAVES)
    for name, command in LEAVES.items():
        flags = {one for flag in command.flags for one in flag.names}
        assert name == "completion" or flags >= {"--json", "--quiet", "--url", "--key-file"}


@pytest.mark.parametrize("name", LEAST)
def test_wrong_usage_no_key_no_service_and_wrong_settings_are_told_by_sysexits(
    name: str, run: Run, tmp_path: Path
) -> None:
    unknown = 3 if name == "check" else None
    assert run(name, "--wrong")[0] == (unknown or 64)
    assert run(name, "--url", "burrline.test")[0] == (unknown or 78)
    if name in ("mqtt", "watch"):
        return  # it goes on until it is stopped
    if name in WITHOUT_SERVICE or name == "spool flush":
        (tmp_path / "SPOOL").unlink()
        assert run(name)[0] == 66
        return
    with responses.RequestsMock(assert_all_requests_are_fired=False) as wire:
        for method in METHODS:
            wire.add(method, re.compile(".*"), body=requests.ConnectTimeout("nobody there"))
        code, out, err = run(name, "--deadline", "1")
        assert (code, len((out or err).splitlines())) == (unknown or 69, 1)
    with responses.RequestsMock(assert_all_requests_are_fired=False) as wire:
        for method in METHODS:
            wire.add(method, re.compile(".*"), status=401, json={"title": "No"})
        code, out, _ = run(name, "--quiet")
        assert (code, out) == ((3, "UNKNOWN - 401 No\n") if unknown else (77, ""))
        code, out, _ = run(name, "--json")
        told = {"code": code, "line": "UNKNOWN - 401 No" if unknown else "401 No"}
        assert json.loads(out) == ({**told, "status": None} if unknown else {"error": told})


def test_the_table_of_exit_codes_is_the_one_that_is_used() -> None:
    text = (ROOT / "sdk" / "README.md").read_text(encoding="utf-8")
    section = text.partition("\n### Exit codes\n")[2].partition("\n#")[0]
    told = {int(one) for one in re.findall(r"^\| (\d+) \|", section, re.M)}
    used = {value for name, value in vars(_terminal).items() if name.startswith("EX_")}
    assert told == used | {1, 2, 3, 130}


# --- completion ---------------------------------------------------------------------------------


def script(shell: str, capsys: pytest.CaptureFixture[str], folder: Path) -> Path:
    assert main(["completion", shell]) == 0
    file = folder / f"burrline.{shell}"
    file.write_text(capsys.readouterr().out)
    return file


def expected() -> dict[str, list[str]]:
    """What may follow a few words, by the parser; all that begins like the last one."""
    post = COMMANDS["post"]
    return {
        "": [word for word, _ in COMMANDS[""].words] + ["-h", "--help", "--version"],
        "thr": ["throughput"],
        "spool ": [word for word, _ in COMMANDS["spool"].words] + ["-h", "--help"],
        "post bar-1 --g": [n for f in post.flags for n in f.names if n.startswith("--g")],
        "import --unit ": ["kg", "g", "lb", "oz"],
        "post --grams ": [],
        "completion ": ["bash", "zsh", "fish", "-h", "--help"],
    }


@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is not here")
def test_bash_completes_what_the_parser_takes(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = script("bash", capsys, tmp_path)
    (tmp_path / "notebook.csv").touch()
    asked = [*expected(), "import note", "post --file note"]
    lines = [f"source {file}", "complete -p burrline >&2"]
    for words in asked:
        every = ["burrline", *words.split(" ")]
        quoted = " ".join(f"'{one}'" for one in every)
        lines += [f"COMP_WORDS=({quoted}) COMP_CWORD={len(every) - 1}", "_burrline",
                  'echo "${COMPREPLY[*]}"']  # fmt: skip
    done = subprocess.run(
        ["bash", "--norc", "-c", "\n".join(lines)], capture_output=True, text=True, cwd=tmp_path
    )
    assert done.stderr == "complete -F _burrline burrline\n"
    answers = dict(zip(asked, done.stdout.splitlines(), strict=True))
    assert answers.pop("import note") == answers.pop("post --file note") == "notebook.csv"
    assert {one: sorted(said.split()) for one, said in answers.items()} == {
        one: sorted(words) for one, words in expected().items()
    }


@pytest.mark.skipif(shutil.which("fish") is None, reason="fish is not here")
def test_fish_completes_what_the_parser_takes(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = script("fish", capsys, tmp_path)
    asks = "\n".join(f"complete -C 'burrline {one}'; echo ." for one in ("thr", "import --unit "))
    done = subprocess.run(
        ["fish", "--no-config", "-c", f"source {file}\n{asks}"], capture_output=True, text=True
    )
    words = [line.split("\t")[0] for line in done.stdout.splitlines()]
    assert (words, done.stderr) == (["throughput", ".", "g", "kg", "lb", "oz", "."], "")


@pytest.mark.skipif(shutil.which("zsh") is None, reason="zsh is not here")
def test_zsh_can_read_its_script(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    done = subprocess.run(["zsh", "-f", "-n", script("zsh", capsys, tmp_path)], capture_output=True)
    assert (done.returncode, done.stderr) == (0, b"")


def test_a_meaning_with_quotes_stays_one_word() -> None:
    from burrline._verb_completion import fish

    odd = Command(("it",), (("now", "don't \\ stop"),), (), False)
    assert fish([odd]).splitlines()[-1].endswith(" -a now -d 'don\\'t \\\\ stop'")
