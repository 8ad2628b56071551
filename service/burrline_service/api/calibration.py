"""Operations about the dial, burr sets side by side, and the cups."""

from __future__ import annotations

from typing import Any

from ..actions import calibration as calibrations
from ..actions import cups
from ..core.errors import FutureInstant, InstantArchived, NotFound
from .calibration_examples import CALIBRATION, COMPARISON, CUPS
from .operation import Operation
from .schemas_calibration import CalibrationQuerySchema, CalibrationSchema
from .schemas_comparison import ComparisonQuerySchema, SetComparisonSchema
from .schemas_cups import CupsSchema
from .schemas_runs import AsOfSchema

TAG = "Grind"


def _compare_burr_sets(database: Any, caller: Any, *, burr_set_ids: str, **asked: Any) -> Any:
    # with numpy: loaded when first there is need
    from ..actions import burr_set_comparison

    return burr_set_comparison.compare_burr_sets(
        database, caller, burr_set_ids=burr_set_ids.split(","), **asked
    )


OPERATIONS = (
    Operation(
        name="get_calibration",
        method="GET",
        path="/v1/grinders/<grinder_id>/calibration",
        tag=TAG,
        summary="What a step of the dial does, and where to turn it to go back",
        description=(
            "The effect of the dial on the grind, told by checkpoints at different settings with "
            "the burrs' age beside it: best by three settings in one sitting, as checkpoints of "
            "one `session_id`. With it the setting that brings D50, or the flow, back to a "
            "reference, in whole steps of the dial and within its ends, what to grind away after "
            "the change, and whether the break-in made the grind better or only coarser: its shift "
            "as steps of the dial, and the change of fines at an equal D50. Where the setting went "
            "along with the age (`setting_confounded`), or cannot be told otherwise, the answer "
            "says so and lays out the ladder to measure. With `as_of`: at that instant, from every "
            "fact known now."
        ),
        act=calibrations.get_calibration,
        scope="read",
        query=CalibrationQuerySchema,
        gives=CalibrationSchema,
        refuses=(FutureInstant, InstantArchived),
        gives_example=CALIBRATION,
    ),
    Operation(
        name="compare_burr_sets",
        method="GET",
        path="/v1/burr-set-comparison",
        tag=TAG,
        summary="Burr sets side by side, and at an equal D50",
        description=(
            "Curves on kilograms, time constants and changes with their limits, and the fines of "
            "each set at the setting where its D50 is the common one, for which each needs "
            "checkpoints at three settings. Checkpoints made in grinders beyond a key's reach "
            "count. With `as_of`: at that instant, from every fact known now."
        ),
        act=_compare_burr_sets,
        scope="read",
        query=ComparisonQuerySchema,
        gives=SetComparisonSchema,
        refuses=(NotFound, FutureInstant, InstantArchived),
        gives_example=COMPARISON,
    ),
    Operation(
        name="get_cups",
        method="GET",
        path="/v1/grinders/<grinder_id>/cups",
        tag=TAG,
        summary="What the cups say beside the grind",
        description=(
            "From the drinks recorded with runs (`brew`): extraction yield by method, and how far "
            "espresso times scatter at one setting and coffee, before and after the burrs were "
            "proven settled, each with its limits. Looked at are 90 days before the proof and the "
            "latest 90 days since, with the set that is in, at most 500 cups of each; without a "
            "proof the latest 90 days. Evidence, never a verdict. With `as_of`: at that instant, "
            "from every fact known now."
        ),
        act=cups.get_cups,
        scope="read",
        query=AsOfSchema,
        gives=CupsSchema,
        refuses=(FutureInstant, InstantArchived),
        gives_example=CUPS,
    ),
)
