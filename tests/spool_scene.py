"""What tests of the spool share: a device whose time they turn, a service that answers as told."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

import requests

from burrline._device_time import Moment

BATCH = "http://burrline.test:8460/v1/runs/batch"
RUN = {"run_id": "bar-1-000001", "grinder_id": "bar-1", "grams": 18.2, "seconds": 7.0}
MONDAY = 1_767_254_400.0  # 2026-01-01T08:00:00Z


@dataclass
class Device:
    """A device's time: which boot, how long it has been up, what its wall clock shows."""

    boot_id: str = "boot-a"
    uptime_seconds: float = 100.0
    wall_seconds: float = MONDAY

    def __call__(self) -> Moment:
        return Moment(self.boot_id, self.uptime_seconds, self.wall_seconds)

    def pass_by(self, seconds: float) -> None:
        self.uptime_seconds += seconds
        self.wall_seconds += seconds

    def boot(self, boot_id: str, wall_seconds: float) -> None:
        self.boot_id, self.uptime_seconds, self.wall_seconds = boot_id, 5.0, wall_seconds


@dataclass
class Answering:
    """A service that keeps what it is sent and answers as it is told to."""

    problems: dict[str, str] = field(default_factory=dict)
    date: str | None = None
    got: list[dict[str, Any]] = field(default_factory=list)
    seen: set[str] = field(default_factory=set)

    def __call__(self, request: requests.PreparedRequest) -> tuple[int, dict[str, str], str]:
        lines = json.loads(request.body or b"")["runs"]
        self.got += lines
        told, counts = [], dict.fromkeys(("accepted", "duplicates", "conflicts", "rejected"), 0)
        for index, line in enumerate(lines):
            outcome = self.problems.get(line["run_id"])
            if outcome is not None:
                counts["conflicts" if outcome == "conflict" else outcome] += 1
                told.append(
                    {
                        "index": index,
                        "run_id": line["run_id"],
                        "outcome": outcome,
                        "errors": [{"detail": "no grinder named 'bar-9'", "pointer": None}],
                    }
                )
            else:
                counts["duplicates" if line["run_id"] in self.seen else "accepted"] += 1
                self.seen.add(line["run_id"])
        body = {"received": len(lines), **counts, "problems": told}
        return 200, {} if self.date is None else {"Date": self.date}, json.dumps(body)
