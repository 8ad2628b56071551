"""How many histories a run of these tests tries.

Every day few ones, and the same each time. ``EXACTNESS_EXAMPLES=2000`` (say) asks for that many,
and for other ones each time.
"""

from __future__ import annotations

import os

from hypothesis import HealthCheck, Phase, settings

ASKED = os.environ.get("EXACTNESS_EXAMPLES")
EVERY_DAY = settings(
    max_examples=12,
    stateful_step_count=20,
    deadline=None,
    database=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
    report_multiple_bugs=False,
    phases=[Phase.generate],  # a history that fails is cut down to its facts by ``cut_down``
)
# a planted bug ends its run as soon as it is caught, so its budget may be larger
PLANTED = settings(EVERY_DAY, derandomize=ASKED is None, max_examples=120)
BUDGET = EVERY_DAY
if ASKED is not None:
    BUDGET = settings(EVERY_DAY, derandomize=False, max_examples=int(ASKED))
