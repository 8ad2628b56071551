"""Operations about a motor: its duty, its heat, and whether a run may begin."""

from __future__ import annotations

from typing import Any

from ..core.errors import FutureInstant, InstantArchived
from .motor_examples import DUTY, MOTOR, READINESS
from .operation import Operation
from .schemas_duty import DutyQuerySchema, DutyReportSchema
from .schemas_motor import (
    MotorQuerySchema,
    MotorReportSchema,
    ReadinessQuerySchema,
    RunReadinessSchema,
)

TAG = "Motor"


# The numerics of motors take longer to load than all else: they wait until somebody asks.


def _get_duty(*given: Any, **asked: Any) -> Any:
    from ..actions import duty_report

    return duty_report.get_duty(*given, **asked)


def _get_motor(*given: Any, **asked: Any) -> Any:
    from ..actions import motor_report

    return motor_report.get_motor(*given, **asked)


def _get_readiness(*given: Any, **asked: Any) -> Any:
    from ..actions import run_readiness

    return run_readiness.get_readiness(*given, **asked)


OPERATIONS = (
    Operation(
        name="get_duty",
        method="GET",
        path="/v1/grinders/<grinder_id>/duty",
        tag=TAG,
        summary="How long a motor ran, against its plate",
        description=(
            "Motor-on time over a stretch of time (the last 24 hours unless asked), overlapping "
            "runs once, with the most in any one cycle of the rating, exact; hour by hour by the "
            "site's clock; and how the grinder stands at `as_of`. Every second of motor-on counts "
            "as loading. What nobody measured or watched enters the high bounds only."
        ),
        act=_get_duty,
        scope="read",
        query=DutyQuerySchema,
        gives=DutyReportSchema,
        refuses=(FutureInstant, InstantArchived),
        gives_example=DUTY,
    ),
    Operation(
        name="get_motor",
        method="GET",
        path="/v1/grinders/<grinder_id>/motor",
        tag=TAG,
        summary="How hot a motor is, and how it warms and cools",
        description=(
            "A temperature model of one body, fitted to the readings at runs' ends and between "
            "runs of the last 31 days, and the temperature now by it. Intervals are two-sided 90 % "
            "intervals. The model knows what lies before the ten minutes around `as_of`; the "
            "estimate goes on from there with every run and reading up to `as_of`. Of the body "
            "that carries the sensor: a housing is never held to a winding's limit."
        ),
        act=_get_motor,
        scope="read",
        query=MotorQuerySchema,
        gives=MotorReportSchema,
        refuses=(FutureInstant, InstantArchived),
        gives_example=MOTOR,
    ),
    Operation(
        name="get_readiness",
        method="GET",
        path="/v1/grinders/<grinder_id>/readiness",
        tag=TAG,
        summary="Whether a run of a given length may begin now, and if not, when",
        description=(
            "By the plate's duty rating and the motor's temperature limit, whichever asks for "
            "more. Without either it is `unknown`, never `ready`. Ready is advice, not permission: "
            "burrline is no protective device and never switches a grinder on."
        ),
        act=_get_readiness,
        scope="read",
        query=ReadinessQuerySchema,
        gives=RunReadinessSchema,
        refuses=(FutureInstant, InstantArchived),
        gives_example=READINESS,
    ),
)
