"""What answers with limits share: a number between two limits, and a sentence."""

from __future__ import annotations

from typing import Any

from .fields import Inner, Text
from .schemas_common import LimitsSchema


def limits(description: str) -> Any:
    return Inner(LimitsSchema, f"{description}; two-sided 95 % limits.")


def sentence() -> Any:
    return Text("The same for a person.", low=0, high=1000)
