"""What the page says in words."""

from __future__ import annotations

from dataclasses import replace

from burrline_service.core.answers import MotorState
from burrline_service.pages.words import motor_estimate


def test_an_estimate_in_words_claims_no_more_than_is_known() -> None:
    nothing = MotorState("unknown", None, None, None, None, None)
    assert motor_estimate(nothing) == ""
    bare = replace(nothing, estimate_celsius=44.2, low_celsius=41.0, high_celsius=47.0)
    assert motor_estimate(bare) == "estimated now, motor: 44 °C (41 to 47 °C, 90 %)"
    assert motor_estimate(replace(bare, seconds_to_limit=0.0)).endswith("; may be at its limit")
