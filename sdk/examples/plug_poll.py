"""Runs from a metering plug: asks it for its watts, finds the runs, spools and sends them.

    BURRLINE_URL=http://127.0.0.1:8460 BURRLINE_KEY=... \
        python plug_poll.py bar-1 http://127.0.0.1:8090/power

The plug answers GET with JSON that holds its watts: ``{"watts": 312.5}``. --member names another
member, ``meter.power`` one within another.

It asks and does nothing else: there is no request here that could switch the plug, and none should
be added. A grinder that is switched on from afar can start under somebody's hand. A plug switches
the mains: use one that is rated for the motor's inrush, and pull it before you open the grinder.
"""

import argparse
import signal
import sys
import threading
import time
from collections.abc import Callable
from typing import Any

import requests

from burrline import Client
from burrline.power import DetectedRun, RunDetector
from burrline.spool import Spool, SpoolError

TIMEOUT_SECONDS = 2.0
LONGEST_PAUSE_SECONDS = 30.0


def watts_in(answer: Any, member: str) -> float:
    """The watts in an answer; ``ValueError`` where there are none.

    >>> watts_in({"meter": {"power": 312.5}}, "meter.power")
    312.5
    """
    for name in member.split("."):
        if not isinstance(answer, dict) or name not in answer:
            raise ValueError(f"the answer has no {member}")
        answer = answer[name]
    if isinstance(answer, bool) or not isinstance(answer, (int, float)):
        raise ValueError(f"{member} is not a number")
    if not 0 <= answer < 20_000:
        raise ValueError(f"{answer} W is no reading")
    return float(answer)


class Poller:
    """Asks the plug again and again and puts runs into the spool, until told to stop."""

    def __init__(
        self,
        grinder_id: str,
        url: str,
        member: str,
        every_seconds: float,
        spool: Spool,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.grinder_id, self.url, self.member = grinder_id, url, member
        self.every_seconds, self.spool, self.clock = every_seconds, spool, clock
        self.detector, self.stopping = RunDetector(), threading.Event()
        self.run_count = self.missed_count = 0

    def run(self) -> None:
        failures, pause_seconds = 0, 0.0
        with requests.Session() as session:
            while not self.stopping.wait(pause_seconds):
                asked_at = self.clock()
                try:
                    answer = session.get(self.url, timeout=TIMEOUT_SECONDS, allow_redirects=False)
                    answer.raise_for_status()
                    watts = watts_in(answer.json(), self.member)
                except (requests.RequestException, ValueError) as error:
                    failures += 1
                    self.missed_count += 1
                    if failures == 1:
                        tell(f"{self.url}: {error}; asking again")
                    pause_seconds = min(
                        self.every_seconds * 2 ** min(failures, 9), LONGEST_PAUSE_SECONDS
                    )
                    continue
                failures, took_seconds = 0, self.clock() - asked_at
                # the plug measured somewhere between question and answer
                self.put(self.detector.push(asked_at + took_seconds / 2, watts))
                pause_seconds = max(0.0, self.every_seconds - took_seconds)
        self.put(self.detector.finish())

    def put(self, found: list[DetectedRun]) -> None:
        for one in found:
            run = {
                "grinder_id": self.grinder_id,
                "age_seconds": round(max(0.0, self.clock() - one.started), 3),
                "seconds": round(one.seconds, 2),
                "source": "plug",
            }
            try:
                self.spool.put(run)
            except SpoolError as error:
                tell(f"NOT TAKEN: {one.seconds:.1f} s: {error}")
            else:
                self.run_count += 1
                tell(f"{one.seconds:.1f} s")


def tell(line: str) -> None:
    sys.stderr.write(line + "\n")


def main() -> int:
    parser = argparse.ArgumentParser(description="Runs from a metering plug.")
    parser.add_argument("grinder_id", metavar="GRINDER")
    parser.add_argument("url", metavar="URL", help="where the plug tells its watts")
    parser.add_argument("--member", default="watts", help="of the answer; default %(default)s")
    parser.add_argument("--every", type=float, default=0.2, help="seconds; default %(default)s")
    parser.add_argument("--spool", default="plug.spool", help="default %(default)s")
    options = parser.parse_args()
    with Client() as client, Spool(options.spool, client) as spool:
        poller = Poller(options.grinder_id, options.url, options.member, options.every, spool)
        signal.signal(signal.SIGTERM, lambda *_: poller.stopping.set())
        signal.signal(signal.SIGINT, lambda *_: poller.stopping.set())
        poller.run()
    tell(f"{poller.run_count} runs, {poller.missed_count} questions without an answer")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
