"""How many made-up histories a run of a test tries.

Every day few ones, and the same each time. ``HISTORY_EXAMPLES=300`` (say) asks for that many, and
for other ones each time.
"""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

ASKED = os.environ.get("HISTORY_EXAMPLES")


def histories(count: int) -> settings:
    """So many every day."""
    return settings(
        max_examples=count if ASKED is None else int(ASKED),
        derandomize=ASKED is None,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
