"""Example of a break-in answer: five checkpoints of an invented set, of which the last is shown."""

from __future__ import annotations

from typing import Any

BREAK_IN: dict[str, Any] = {
    "grinder_id": "bar-1",
    "burr_set_id": "north-98-a",
    "as_of": "2026-05-09T08:00:00.000Z",
    "stage": "settled",
    "basis": "measured",
    "verdict": "settled",
    "sentence": "The burrs have settled: at most 5.5 µm of median size (D50) and 0.61 percentage "
    "points of fines may still come (95 %, for any time constant up to 30 kg); changes up to "
    "10.3 µm and 1.00 percentage points do not matter.",
    "findings": [],
    "settled_at": "2026-05-08T08:00:00.000Z",
    "burr_grams": 21640.5,
    "total_burr_grams": 21640.5,
    "low_remaining_grams": 0.0,
    "remaining_grams": 0.0,
    "high_remaining_grams": 0.0,
    "next_checkpoint_grams": None,
    "rated_life_grams": None,
    "fit": {
        "tau_grams": {"low": 3981.07171, "best": 5956.62144, "high": 10000.0},
        "settles_at_grams": {"low": 5892.91135, "best": 9579.87533, "high": 17714.1384},
        "d50_micrometres": {
            "is_judged": True,
            "start": {"low": 292.394654, "best": 299.958324, "high": 307.365778},
            "settled": {"low": 337.244382, "best": 344.905947, "high": 355.824428},
            "remaining": {"low": 0.258172984, "best": 1.56500632, "high": 7.20233649},
            "change": {"low": 33.7146446, "best": 44.9476238, "high": 57.0317155},
            "least_to_come": 0.393736563,
            "most_to_come": 5.45687683,
            "smallest_change": 10.3018401,
            "sitting_sd": 3.0,
            "sitting_basis": "default",
            "dose_sd": 4.0,
        },
        "fines_fraction": {
            "is_judged": True,
            "start": {"low": 0.132526288, "best": 0.140046307, "high": 0.147704157},
            "settled": {"low": 0.0784192701, "best": 0.0901045029, "high": 0.0981072199},
            "remaining": {"low": -0.00795657742, "best": -0.00173889591, "high": -0.000289107883},
            "change": {"low": -0.0622466219, "best": -0.0499418043, "high": -0.0386421376},
            "least_to_come": 0.000441219589,
            "most_to_come": 0.00603011547,
            "smallest_change": 0.01,
            "sitting_sd": 0.003,
            "sitting_basis": "default",
            "dose_sd": 0.004,
        },
    },
    "forecast": {
        "prior": {
            "class_name": "98 mm flat burrs",
            "measured_set_count": 0,
            "tau_grams": {"low": 2439.52214, "best": 6500.0, "high": 17318.9656},
            "enough_grams": 17889.0,
        },
        "checkpoint_count": 5,
        "response": "d50",
        "tau_grams": {"low": 3518.20335, "best": 6167.09923, "high": 12025.4573},
        "settles_at_grams": {"low": 4619.39579, "best": 8869.78675, "high": 19279.4904},
        "remaining_grams": {"low": 0.0, "best": 0.0, "high": 0.0},
        "settled_probability": 0.985686,
        "is_prior_conflict": False,
    },
    "checkpoints": [
        {
            "checkpoint_id": "north-98-a-20kg",
            "grinder_id": "bar-1",
            "ground_at": "2026-05-08T08:00:00.000Z",
            "burr_grams": 20000.0,
            "burr_grams_basis": "runs",
            "method": "laser",
            "setting": 7.0,
            "coffee_lot": "lot-0712",
            "pooled": {
                "replicate_count": 3,
                "d10_micrometres": None,
                "d50_micrometres": 343.37913839095705,
                "d90_micrometres": None,
                "span": None,
                "fines_fraction": 0.09178369966736262,
                "fines_cut_micrometres": 100.0,
                "d50_log_sd": 0.011648997176377626,
                "fines_sd_fraction": 0.0040000000000000036,
                "missing": [
                    {
                        "name": "d10_micrometres",
                        "code": "missing_in_replicate",
                        "detail": "3 of 3 replicates have no such number.",
                    }
                ],
            },
            "is_joined": True,
            "left_out": [],
            "compared": [
                {
                    "response": "d50",
                    "before_checkpoint_id": "north-98-a-10kg",
                    "difference": {
                        "change": 6.894072427063975,
                        "low": -5.035664032177152,
                        "high": 18.823808886305102,
                        "verdict": "no_change_shown",
                    },
                    "reason": None,
                    "sentence": "D50 +6.9 µm (95 %: -5.0 to +18.8): no "
                    "change is shown, which does not prove there is "
                    "none.",
                },
                {
                    "response": "fines",
                    "before_checkpoint_id": "north-98-a-10kg",
                    "difference": {
                        "change": -0.007660080474515482,
                        "low": -0.019589816933756613,
                        "high": 0.004269655984725649,
                        "verdict": "no_change_shown",
                    },
                    "reason": None,
                    "sentence": "Fines -0.77 percentage points (95 %: -1.96 to "
                    "+0.43): no change is shown, which does not "
                    "prove there is none.",
                },
            ],
        }
    ],
    "curve": {
        "d50_micrometres": [
            {"burr_grams": 0.0, "low": 292.394654, "best": 299.958324, "high": 307.365778},
            {"burr_grams": 12500.0, "low": 334.082466, "best": 339.393587, "high": 344.711631},
            {"burr_grams": 25000.0, "low": 337.058676, "best": 344.229914, "high": 352.59413},
        ],
        "fines_fraction": [
            {"burr_grams": 0.0, "low": 0.132526288, "best": 0.140046307, "high": 0.147704157},
            {"burr_grams": 12500.0, "low": 0.0909101629, "best": 0.0962293476, "high": 0.101540967},
            {
                "burr_grams": 25000.0,
                "low": 0.0821324559,
                "best": 0.0908556516,
                "high": 0.0982884459,
            },
        ],
    },
    "cautions": [],
    "changes": [
        {
            "at": "2026-05-08T08:00:00.000Z",
            "from_stage": "undecided",
            "to_stage": "settled",
            "basis": "measured",
            "verdict": "settled",
            "burr_grams": 20000.0,
        }
    ],
    "stream": {
        "verdict": "setting_unrecorded",
        "sentence": "The setting is not recorded. A barista who keeps the shots alike by the "
        "setting makes the flow look steady whatever the burrs do, so nothing is concluded. Record "
        "the setting with the runs, or tell it for a period.",
        "next": "Record feed and setting with the runs, or tell them once for a period.",
        "steadied_at": None,
        "steadied_grams": None,
        "setting": None,
        "grams_per_second": {"low": None, "best": None, "high": None},
        "settled_grams_per_second": {"low": None, "best": None, "high": None},
        "tau_grams": {"low": None, "best": None, "high": None},
        "least_to_come_ratio": None,
        "most_to_come_ratio": None,
        "smallest_change_ratio": 0.03,
        "log_flow_per_setting": {"low": None, "best": None, "high": None},
        "grams_per_second_per_step": {"low": None, "best": None, "high": None},
        "session_count": 0,
        "run_count": 0,
        "from_grams": None,
        "at_grams": None,
        "cautions": [],
        "left_out": [
            {
                "code": "setting_unrecorded",
                "run_count": 1204,
                "sentence": "Nobody recorded the setting.",
            }
        ],
    },
}
