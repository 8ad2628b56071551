"""The operation that tells how far burrs have broken in."""

from __future__ import annotations

from ..actions import break_in
from ..core.errors import FutureInstant, InstantArchived
from .break_in_examples import BREAK_IN
from .operation import Operation
from .schemas_break_in import BreakInAnswerSchema
from .schemas_runs import AsOfSchema

OPERATIONS = (
    Operation(
        name="get_break_in",
        method="GET",
        path="/v1/grinders/<grinder_id>/break-in",
        tag="Grind",
        summary="How far the burrs in a grinder have broken in",
        description=(
            "The verdict of the checkpoints of the set that is in: `settled` once the largest "
            "change still to come is smaller than the change that matters, never because no "
            "difference could be shown. Checkpoints that do not measure the same thing are left "
            "out, with the reason. All intervals are two-sided 95 % unless a member says "
            "otherwise. Without checkpoints it is what one may expect of such burrs. The forecast "
            "of what is left also uses what other sets of the same `burr_model` in the account "
            "told, wherever they are, from three measured ones on; the verdict never does. "
            "`stream` is what ordinary runs tell of the flow: where no checkpoint decides, a flow "
            "that has steadied makes the stage `settled` with the basis `inferred`. With "
            "`as_of`: at that instant, from every fact known now."
        ),
        act=break_in.get_break_in,
        scope="read",
        query=AsOfSchema,
        gives=BreakInAnswerSchema,
        refuses=(FutureInstant, InstantArchived),
        gives_example=BREAK_IN,
    ),
)
