"""Runs flow through a broken network from a device that is killed to a service that is killed.

    python tests/reliability/spool/torture.py [--seeds N] [--first SEED] [--rounds N]

In each round a device puts runs into its spool and is killed at some instant; in some the service
is killed too. Afterwards everything is whole again, and the spool is sent. Then every run whose
``put`` had returned is recorded, once, with its grams; those that must be refused wait among the
refused; nothing else is there. Fails otherwise.
"""

from __future__ import annotations

import argparse
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parent)]

from producer import POISON_EVERY, run_numbered  # noqa: E402
from proxy import Proxy  # noqa: E402

from burrline import Client, errors  # noqa: E402
from burrline.spool import Spool  # noqa: E402
from services import LiveService, run_service_command, start_live_service  # noqa: E402

RUNS_A_ROUND = 400


@dataclass
class Outcome:
    """What came of one seed."""

    promised: set[str] = field(default_factory=set)
    recorded: dict[str, float] = field(default_factory=dict)
    dead: set[str] = field(default_factory=set)
    left: int = 0
    device_kills: int = 0
    service_kills: int = 0
    drawn: Counter[str] = field(default_factory=Counter)
    total_grams: float = 0.0

    def wrong(self) -> list[str]:
        """What should not be: in words, empty if all is well."""
        poison = {one for one in self.promised if _number(one) % POISON_EVERY == 7}
        found = []
        if lost := self.promised - poison - set(self.recorded):
            found.append(f"{len(lost)} lost: {sorted(lost)[:5]}")
        if missing := poison - self.dead:
            found.append(f"{len(missing)} refused runs are gone: {sorted(missing)[:5]}")
        if strange := {one for one in self.dead if _number(one) % POISON_EVERY != 7}:
            found.append(f"{len(strange)} good runs were set aside: {sorted(strange)[:5]}")
        if self.left:
            found.append(f"{self.left} still wait")
        for run_id, grams in self.recorded.items():
            if grams != run_numbered(_number(run_id))["grams"]:
                found.append(f"{run_id} has {grams} g")
        total = sum(self.recorded.values())
        if abs(total - self.total_grams) > 1e-6:
            found.append(f"the sums say {self.total_grams} g, the runs {total} g")
        return found


def _number(run_id: str) -> int:
    return int(run_id.rpartition("-")[2])


def torture(folder: Path, seed: int, *, rounds: int, fault_probability: float = 0.4) -> Outcome:
    """One seed, from an empty service to the final reckoning."""
    dice, outcome = random.Random(seed), Outcome()
    settings = {"BURRLINE_DATA_DIR": str(folder)}
    made = run_service_command(settings, "migrate")
    if made.returncode:
        raise AssertionError(made.stderr)
    service = start_live_service(folder, {})
    proxy = Proxy(service.port, seed, fault_probability)
    spool_path, next_number = folder / "runs.spool", 0
    try:
        with Client(service.url, service.key) as client:
            client.create_site(site_id="mill-lane", name="Mill Lane", time_zone="Etc/UTC")
            for grinder_id in ("bar-1", "bar-2"):
                client.create_grinder(grinder_id=grinder_id, site_id="mill-lane", name="Bar")
        for _ in range(rounds):
            device = _start_device(spool_path, proxy.url, service.key, next_number)
            next_number += RUNS_A_ROUND
            time.sleep(0.25 + dice.random() * 0.8)
            if dice.random() < 0.5:
                service.kill()
                outcome.service_kills += 1
                time.sleep(dice.random() * 0.3)
                service = start_live_service(folder, {}, port=service.port)
            device.kill()
            outcome.device_kills += 1
            output, _ = device.communicate()
            whole, _, _ = output.rpartition("\n")
            outcome.promised |= set(whole.split())
        proxy.fault_probability = 0.0
        _reckon(outcome, spool_path, proxy, service)
    finally:
        outcome.drawn = proxy.drawn
        proxy.close()
        service.kill()
    return outcome


def _start_device(path: Path, url: str, key: str, first: int) -> subprocess.Popen[str]:
    producer = Path(__file__).with_name("producer.py")
    return subprocess.Popen(
        [sys.executable, str(producer), str(path), url, key, str(first), str(RUNS_A_ROUND)],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )


def _reckon(outcome: Outcome, path: Path, proxy: Proxy, service: LiveService) -> None:
    with Client(service.url, service.key) as direct:
        spool = Spool(path, Client(proxy.url, service.key))
        try:
            spool.flush()
        except errors.APIError as error:
            raise AssertionError(f"a whole network, and yet: {error}") from error
        held = spool.held()
        outcome.left = held.run_count - held.dead_count
        outcome.dead = {one.run_id for one in spool.dead(100_000)}
        spool.close()
        for grinder_id in ("bar-1", "bar-2"):
            for run in direct.list_runs(grinder_id, limit=200):
                if run.run_id in outcome.recorded:
                    raise AssertionError(f"{run.run_id} is listed twice")
                outcome.recorded[run.run_id] = run.grams or 0.0
            outcome.total_grams += direct.get_status(grinder_id).throughput.grinder_grams


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=6)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--rounds", type=int, default=8)
    options = parser.parse_args()
    failed = 0
    for seed in range(options.first, options.first + options.seeds):
        began = time.monotonic()
        with tempfile.TemporaryDirectory() as folder:
            outcome = torture(Path(folder), seed, rounds=options.rounds)
        wrong = outcome.wrong()
        failed += bool(wrong)
        faults = sum(number for name, number in outcome.drawn.items() if name != "none")
        print(
            f"seed {seed}: {len(outcome.promised)} promised, {len(outcome.recorded)} recorded, "
            f"{len(outcome.dead)} refused, {outcome.device_kills} + {outcome.service_kills} kills, "
            f"{faults} faults of {len(outcome.drawn) - 1} kinds, "
            f"{time.monotonic() - began:.1f} s: {'; '.join(wrong) or 'all there, once'}",
            flush=True,
        )
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main())
