"""Plants bugs into a copy of the spool, one at a time: the tests of the spool must catch each.

    python tests/reliability/spool/planted_bugs.py

Prints each bug and what became of it; fails if one gets away.
"""

from __future__ import annotations

import argparse
import os
import shutil
import signal
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import pytest
import responses

TESTS = Path(__file__).parents[2]
SDK = TESTS.parent / "sdk" / "burrline"
SENDER, STORE, SPOOL = "_spool_sender.py", "_spool_store.py", "spool.py"
FILE, LINE = "_spool_file.py", "_spool_line.py"
LONGEST_SECONDS = 30


@dataclass(frozen=True)
class Bug:
    """A bug: what it does, and the text that it changes."""

    name: str
    file: str
    right: str
    wrong: str


BUGS = (
    Bug(
        "lets go before the answer",
        SENDER,
        "        began = self._moment()\n",
        "        began = self._moment()\n        self._store.settle(batch, [])\n",
    ),
    Bug(
        "believes an answer that does not add up",
        SENDER,
        "if outcome.received != len(batch) or told != len(batch):",
        "if False:",
    ),
    Bug(
        "takes a page of somebody else's for a refusal",
        SENDER,
        "if error.type not in POISON:",
        "if False:",
    ),
    Bug(
        "sets a whole request aside for one bad line",
        SENDER,
        "            if len(batch) > 1:\n",
        "            if False:\n",
    ),
    Bug(
        "drops what is refused",
        SENDER,
        "[(batch[index], reason) for index, reason in sorted(refused.items())],",
        "[],",
    ),
    Bug(
        "lets the age stand still while a run waits",
        SENDER,
        "now.uptime_seconds - kept.uptime_seconds",
        "now.uptime_seconds * 0 + 7",
    ),
    Bug(
        "places runs of an earlier boot by a wrong clock",
        SENDER,
        "    if offset_seconds is not None:\n",
        "    if False:\n",
    ),
    Bug(
        "works a start out anew for every try",
        STORE,
        "                        (text_of(line), seq),\n",
        "                        (text_of(line), -1),\n",
    ),
    Bug(
        "sends the newest first",
        STORE,
        "ORDER BY seq LIMIT",
        "ORDER BY seq DESC LIMIT",
    ),
    Bug(
        "sends as many bytes as there are",
        SENDER,
        "if batch and size_bytes > BATCH_BYTES:",
        "if False:",
    ),
    Bug(
        "makes room by dropping",
        SPOOL,
        "            if not_taken:\n",
        "            if not_taken:\n                connection.execute('DELETE FROM run')\n",
    ),
    Bug(
        "does not count what it could not take",
        SPOOL,
        "                    (not_taken,),",
        "                    (0,),",
    ),
    Bug(
        "does not flush to the disk",
        FILE,
        "PRAGMA synchronous = FULL",
        "PRAGMA synchronous = OFF",
    ),
    Bug(
        "keeps the second run of an id",
        LINE,
        "    return _without_times(known) == _without_times(again)",
        "    return True",
    ),
    Bug(
        "returns before the run is on disk",
        STORE,
        '                connection.execute("COMMIT")\n',
        "",
    ),
    Bug(
        "sends what another process has seen answered",
        SENDER,
        "for kept in batch if kept.seq not in gone]",
        "for kept in batch]",
    ),
    Bug(
        "keeps its connection through a fork",
        STORE,
        "        store.close()\n",
        "",
    ),
    Bug(
        "lets an impossible age block the queue",
        LINE,
        "return is_number and 0 <= ago <= OLDEST_AGE_SECONDS",
        "return is_number",
    ),
    Bug(
        "does not count what a full disk could not take",
        SPOOL,
        "            self._uncounted += len(new)  # written down when there is room again\n",
        "",
    ),
)


NO_BUG = Bug("none at all", FILE, "FORM = 1\n", "FORM = 1\n")


def is_caught(bug: Bug) -> bool:
    """Run the tests of the spool against a copy that has the bug."""
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(SDK, Path(folder) / "burrline")
        file = Path(folder) / "burrline" / bug.file
        text = file.read_text()
        if text.count(bug.right) != 1:
            raise AssertionError(f"{bug.name}: its place is not found in {bug.file}")
        file.write_text(text.replace(bug.right, bug.wrong))
        pid = os.fork()
        if pid == 0:
            quiet = os.open(os.devnull, os.O_WRONLY)
            os.dup2(quiet, 1)
            os.dup2(quiet, 2)
            sys.path.insert(0, folder)
            signal.alarm(LONGEST_SECONDS)  # a bug may also go round for ever
            files = (TESTS / "sdk" / name for name in ("test_spool.py", "test_spool_hard_cases.py"))
            code = pytest.main(["-x", "-q", "-p", "no:cacheprovider", *map(str, files)])
            os._exit(int(code))
        _, status = os.waitpid(pid, 0)
    code = os.waitstatus_to_exitcode(status)
    if code not in (pytest.ExitCode.OK, pytest.ExitCode.TESTS_FAILED, -signal.SIGALRM):
        raise AssertionError(f"{bug.name}: the tests did not run (exit code {code})")
    return code != pytest.ExitCode.OK


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", metavar="NAME", help="one bug alone")
    only = parser.parse_args().only
    assert responses.__file__ and "burrline" not in sys.modules  # each child imports its own copy
    escaped = 0
    if only is None and is_caught(NO_BUG):
        raise AssertionError("the tests fail without any bug: what they catch tells nothing")
    for bug in BUGS:
        if only in (None, bug.name):
            is_so = is_caught(bug)
            escaped += not is_so
            print(f"{'caught' if is_so else 'GOT AWAY':8} {bug.name}", flush=True)
    return 1 if escaped else 0


if __name__ == "__main__":
    raise SystemExit(main())
