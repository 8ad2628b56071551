"""Examples of what is answered about a motor."""

from __future__ import annotations

from typing import Any

CAUTIONS = [
    {
        "text": ("Unplug the grinder and keep the plug in sight before touching burrs or housing."),
        "source": "29 CFR 1910.147(a)(2)(iii)(A), on cord-and-plug equipment",
    }
]
DUTY: dict[str, Any] = {
    "grinder_id": "bar-1",
    "time_zone": "Europe/Lisbon",
    "as_of": "2026-07-06T09:10:00.000Z",
    "from": "2026-07-06T08:30:00.000Z",
    "to": "2026-07-06T09:10:00.000Z",
    "on_seconds": 268.4,
    "low_fraction": 0.111833,
    "high_fraction": 0.111833,
    "coverage_fraction": 1.0,
    "cycle_seconds": 600.0,
    "rated_on_seconds": 150.0,
    "rolling_maximum_on_seconds": 96.2,
    "rolling_maximum_at": "2026-07-06T08:51:12.400Z",
    "state": "ok",
    "ready_at": "2026-07-06T09:10:00.000Z",
    "rest_seconds": 0.0,
    "longest_run_seconds": 98.1,
    "hours": [
        {
            "from": "2026-07-06T08:30:00.000Z",
            "to": "2026-07-06T09:00:00.000Z",
            "on_seconds": 216.5,
            "low_fraction": 0.120278,
            "high_fraction": 0.120278,
            "coverage_fraction": 1.0,
        },
        {
            "from": "2026-07-06T09:00:00.000Z",
            "to": "2026-07-06T09:10:00.000Z",
            "on_seconds": 51.9,
            "low_fraction": 0.0865,
            "high_fraction": 0.0865,
            "coverage_fraction": 1.0,
        },
    ],
}
MOTOR: dict[str, Any] = {
    "grinder_id": "bar-1",
    "as_of": "2026-07-06T09:10:00.000Z",
    "model": "identified",
    "body": "housing",
    "sentence": (
        "The housing is at about 48 °C (45 to 51). Run on without a rest, it reaches its limit of "
        "75 °C in 11 min 8 s at the earliest. It was never seen to run longer than 41 s at once, "
        "so take that with caution."
    ),
    "parameters": {
        "rise_kelvin": {"low": 88.0, "best": 95.2, "high": 104.1},
        "heating_time_constant_seconds": {"low": 1310.0, "best": 1480.0, "high": 1660.0},
        "cooling_time_constant_seconds": {"low": 2700.0, "best": 2950.0, "high": 3230.0},
        "ambient_celsius": {"low": 20.4, "best": 21.3, "high": 22.2},
    },
    "estimate_celsius": 48.1,
    "low_celsius": 45.3,
    "high_celsius": 50.9,
    "reading_celsius": 48.5,
    "read_at": "2026-07-06T09:08:48.400Z",
    "caution_celsius": 60.0,
    "limit_celsius": 75.0,
    "ambient_source": "estimated",
    "segment": {"started_at": "2026-06-21T16:00:00.000Z", "reason": "vents_cleaned"},
    "fitted_at": "2026-07-06T09:08:48.400Z",
    "reading_count": 1904,
    "used_count": 400,
    "residual_kelvin": 0.7,
    "noise_kelvin": 1.0,
    "longest_run_seconds": 41.0,
    "valid_up_to_seconds": 61.5,
    "seconds_to_limit": 668.0,
    "sustainable_duty_fraction": 0.42,
    "run_seconds": 60.0,
    "rest_seconds": 0.0,
    "suspected_trip": None,
    "cautions": CAUTIONS,
}
READINESS: dict[str, Any] = {
    "grinder_id": "bar-1",
    "as_of": "2026-07-06T09:10:00.000Z",
    "run_seconds": 120.0,
    "state": "wait",
    "ready_at": "2026-07-06T09:12:40.000Z",
    "wait_seconds": 160.0,
    "limited_by": "duty",
    "longest_run_seconds": 98.1,
    "coverage_fraction": 1.0,
    "sentence": ("Wait 2 min 40 s, then 2 min are within the duty rating. Advice, not permission."),
    "cautions": CAUTIONS,
}
