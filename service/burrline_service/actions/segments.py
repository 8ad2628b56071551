"""From when on readings count: a new motor or cleaned vents make the readings before tell of
something else."""

from __future__ import annotations

from typing import Any, Literal, NamedTuple

from ..store import entries, grinders
from ..store.database import Connection
from ..store.grinders import GrinderRow
from ..store.types import EPOCH, to_milliseconds

RESTARTING = ("motor_replaced", "vents_cleaned")
TRIP_CHECKED = "trip_checked"
MOTOR_NAMES = ("rated_watts", "thermal_class", "sensor", "fan")
Reason = Literal["motor_replaced", "vents_cleaned", "plate_changed"]


class Care(NamedTuple):
    """What care and plate changes up to an instant mean for a motor; instants in ms, ascending."""

    changes: tuple[tuple[int, Reason], ...]
    trip_checked_ms: tuple[int, ...]

    @property
    def started_ms(self) -> int | None:
        """When the motor, or its cooling, last became another one."""
        return self.changes[-1][0] if self.changes else None

    @property
    def reason(self) -> Reason | None:
        return self.changes[-1][1] if self.changes else None

    def until(self, at_ms: int) -> int | None:
        """``started_ms`` as it was at an earlier instant."""
        return max((changed for changed, _ in self.changes if changed <= at_ms), default=None)


def care_of(connection: Connection, account_no: int, found: GrinderRow, *, at_ms: int) -> Care:
    """Changes of the motor and looks after trips, with times up to an instant."""
    changes: list[tuple[int, Reason]] = []
    checked: list[int] = []
    for row in entries.in_force(
        connection, account_no, [found.grinder_no], [entries.CARE], until_ms=at_ms
    ):
        task = row.body["task"]
        if task in RESTARTING:
            changes.append((row.from_ms, task))
        elif task == TRIP_CHECKED:
            checked.append(row.from_ms)
    before: dict[str, Any] = {}
    for at, plate in grinders.plates_from(connection, account_no, found.grinder_no, since=EPOCH):
        motor = _motor_of(plate)
        if to_milliseconds(at) > at_ms:
            break
        # what was not known before has not changed
        if any(name in before and before[name] != value for name, value in motor.items()):
            changes.append((to_milliseconds(at), "plate_changed"))
        before |= motor
    return Care(tuple(sorted(changes)), tuple(sorted(checked)))


def _motor_of(plate: dict[str, Any]) -> dict[str, Any]:
    """What the plate says of which motor it is and where its sensor sits."""
    motor = plate.get("motor") or {}
    told = {name: motor.get(name) for name in MOTOR_NAMES} | {"serial": plate.get("serial")}
    return {name: value for name, value in told.items() if value is not None}
