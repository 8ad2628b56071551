"""The verb ``ready``: may it run so long now, and if not, when."""

from __future__ import annotations

import argparse

from burrline._terminal import Verbs, instant, positive_seconds, say, say_json
from burrline.client import Client
from burrline.models import RunReadiness

CODES = {"ready": 0, "wait": 1, "never": 2, "unknown": 3}
MORE = """exit codes: 0 ready, 1 wait, 2 never, 3 unknown; beside them 64 wrong usage, 65 refused,
69 service not reachable, 77 key not good, 78 wrong settings.

"Ready" is advice, not permission: no known limit speaks against the run. burrline protects no
motor; look at the grinder, and never let a script switch one on."""


def add(verbs: Verbs) -> None:
    made = verbs.add(
        "ready",
        _ready,
        "Say whether a grinder may run so long now, and if not, when.",
        more=MORE,
        deadline_seconds=8.0,
    )
    made.add_argument("grinder_id", metavar="GRINDER")
    made.add_argument(
        "--seconds",
        dest="run_seconds",
        type=positive_seconds,
        required=True,
        metavar="N",
        help="how long the run is to last",
    )
    made.add_argument("--as-of", type=instant, metavar="INSTANT", help="default now")


def _ready(client: Client, options: argparse.Namespace) -> int:
    found = client.get_readiness(
        options.grinder_id, run_seconds=options.run_seconds, as_of=options.as_of
    )
    if options.json:
        say_json(found.to_json())
    else:
        say(ready_lines(found))
    return CODES.get(found.state, CODES["unknown"])


def ready_lines(found: RunReadiness) -> str:
    """The answer in a few lines: the word, the sentence, what to beware of."""
    lines = [f"{found.state.upper()}  {found.grinder_id}: {found.sentence}"]
    if found.ready_at is not None and found.state == "wait":
        lines.append(f"  from {found.ready_at.strftime('%Y-%m-%d %H:%M:%S UTC')} on")
    if found.limited_by == "suspected_trip":
        lines.append(
            f"  when somebody looked: burrline care record {found.grinder_id} trip_checked"
        )
    lines += [f"  - {caution.text}" for caution in found.cautions]
    return "\n".join(lines)
