"""Fills a real disk of 24 MiB with runs, empties it by sending, lets others fill it to the brim.

    python tests/reliability/spool/full_disk.py

Mounts the disk in a namespace of its own (Linux with user namespaces, no root needed). What was
taken is there and is sent, once; what was not taken is counted; a spool that has filled its disk
can be sent, for it leaves the room that letting go needs. When others take that too, nothing is
lost, and all is sent as soon as there is room.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

SIZE_BYTES = 24 * 1024 * 1024
IN_NAMESPACE = ("unshare", "--user", "--map-root-user", "--mount")


def is_possible() -> bool:
    """Whether a disk can be mounted here."""
    if shutil.which("unshare") is None:
        return False
    with tempfile.TemporaryDirectory() as folder:
        mount = ["mount", "-t", "tmpfs", "none", folder]
        return subprocess.run([*IN_NAMESPACE, *mount], capture_output=True).returncode == 0


def fill(folder: Path) -> None:
    """What happens on the small disk."""
    from crash_points import FileService

    from burrline.spool import Spool, SpoolError

    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={SIZE_BYTES}", "none", folder], check=True)
    with tempfile.TemporaryDirectory() as elsewhere:
        service = FileService(Path(elsewhere) / "service.txt", refuses=False)
        spool = Spool(folder / "runs.spool", service)  # type: ignore[arg-type]
        taken, not_taken = put_until_full(spool, 1)
        check(spool, taken, not_taken)
        spool.flush()
        assert service.recorded() == taken, "a disk that the spool has filled cannot be emptied"

        put_until_full(spool, 2, most=20)
        with contextlib.suppress(OSError), (folder / "filler").open("wb", buffering=0) as file:
            while file.write(b"x" * 512):  # the last bytes too
                pass
        _, not_more = put_until_full(spool, 3)
        waiting = [line["run_id"] for line in spool.waiting(limit=100_000)]
        check(spool, waiting, not_taken + not_more)
        try:
            spool.flush()
            told = "sent even so"
        except SpoolError:
            told = "held back until there was room"
        (folder / "filler").unlink(missing_ok=True)
        spool.flush()
        recorded = service.recorded()
        assert sorted(recorded) == sorted(taken + waiting), "not each of them once"
        spool.put({"run_id": "made-after", "grinder_id": "bar-1"})
        spool.close()
        again = Spool(folder / "runs.spool")
        assert again.held().refused_count == not_taken + not_more, "not written down"
        again.close()
    print(
        f"{len(taken)} taken until the disk was full, and sent; "
        f"{len(waiting)} on a disk filled by others, {told}; "
        f"{not_taken + not_more} not taken, all counted: nothing lost"
    )


def put_until_full(spool: Any, round_: int, most: int = 100_000) -> tuple[list[str], int]:
    """Put runs until twenty were not taken; those taken, and how many were not."""
    from burrline.spool import SpoolFull

    taken: list[str] = []
    not_taken = 0
    for number in range(most):
        run = {"run_id": f"made-{round_}-{number:06}", "grinder_id": "bar-1", "note": "x" * 4000}
        try:
            taken.append(spool.put(run))
        except SpoolFull:
            not_taken += 1
            if not_taken == 20:
                break
    return taken, not_taken


def check(spool: Any, taken: list[str], not_taken: int) -> None:
    waiting = [line["run_id"] for line in spool.waiting(limit=100_000)]
    assert waiting == taken, "what was taken is not what is there"
    assert spool.held().refused_count == not_taken, "not counted"


def main() -> int:
    if sys.argv[1:]:
        fill(Path(sys.argv[1]))
        return 0
    with tempfile.TemporaryDirectory() as folder:
        paths = os.pathsep.join(str(Path(path).resolve()) for path in sys.path if path)
        return subprocess.run(
            [*IN_NAMESPACE, sys.executable, __file__, folder],
            env={**os.environ, "PYTHONPATH": paths},
        ).returncode


if __name__ == "__main__":
    raise SystemExit(main())
