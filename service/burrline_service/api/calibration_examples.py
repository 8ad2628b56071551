"""Examples of the calibration, the comparison and the cups, lists shortened: invented burrs."""

from __future__ import annotations

from typing import Any

CALIBRATION: dict[str, Any] = {
    "grinder_id": "bar-1",
    "burr_set_id": "north-98-a",
    "as_of": "2027-03-02T08:00:00.000Z",
    "verdict": "calibrated",
    "sentence": "The checkpoints tell how far a step of the dial moves the grind.",
    "burr_grams": 40000.0,
    "setting": 5.0,
    "zero_setting": None,
    "setting_step": 0.5,
    "coarser": "higher",
    "grind": {
        "log_d50_per_setting": {"low": 0.045621912, "best": 0.0499998499, "high": 0.0543777878},
        "d50_micrometres_per_step": {"low": 6.8432868, "best": 7.49997748, "high": 8.15666817},
        "fines_fraction_per_step": {"low": -0.00521890135, "best": -0.005, "high": -0.00478109862},
    },
    "flow": {
        "verdict": "flow_unknown",
        "sentence": "The runs do not tell how the flow goes with the setting.",
        "log_flow_per_setting": {"low": None, "best": None, "high": None},
        "grams_per_second_per_step": {"low": None, "best": None, "high": None},
    },
    "reference": {
        "basis": "asked",
        "checkpoint_id": None,
        "d50_micrometres": 300.0,
        "grams_per_second": None,
        "flow_basis": None,
    },
    "redials": [
        {
            "response": "d50",
            "verdict": "turn",
            "sentence": "Setting 2.5 (5 steps finer) brings D50 back (95 %: 2.141 to 2.999). "
            "Grind away 4 g first.",
            "from_setting": 5.0,
            "exact_setting": {"low": 2.14113295, "best": 2.60588681, "high": 2.99920651},
            "setting": 2.5,
            "steps_count": -5,
            "purge_grams": 4.0,
        }
    ],
    "break_in_shift": {
        "verdict": "fewer_fines",
        "sentence": "The break-in did what 4.79 steps of the dial (95 %: 3.56 to 6.1) would do; "
        "beside that fines became fewer, by -2.99 percentage points (95 %: -4.01 to -1.97) of "
        "fines at an equal D50.",
        "from_grams": 0.0,
        "to_grams": 40000.0,
        "equal_steps": {"low": 3.56200242, "best": 4.79235433, "high": 6.10226614},
        "log_d50_change": {"low": 0.0900546116, "best": 0.119808499, "high": 0.149702526},
        "fines_change": {"low": -0.061975327, "best": -0.0539085176, "high": -0.0459130544},
        "fines_change_at_equal_d50": {
            "low": -0.0401114446,
            "best": -0.0299467459,
            "high": -0.0196581798,
        },
    },
    "ladder": None,
    "checkpoints": [
        {
            "checkpoint_id": "bar-1-40.0kg-5.0",
            "grinder_id": "bar-1",
            "ground_at": "2027-01-01T08:20:00.000Z",
            "session_id": "ladder",
            "setting": 5.0,
            "burr_grams": 40000.0,
            "coffee_lot": "lot-7",
            "pooled": {
                "replicate_count": 3,
                "d10_micrometres": None,
                "d50_micrometres": 338.1970601848324,
                "d90_micrometres": None,
                "span": None,
                "fines_fraction": 0.086069,
                "fines_cut_micrometres": 100.0,
                "d50_log_sd": 0.00999991937402244,
                "fines_sd_fraction": 0.000999999999999994,
                "missing": [
                    {
                        "name": "d10_micrometres",
                        "code": "missing_in_replicate",
                        "detail": "3 of 3 replicates have no such number.",
                    },
                ],
            },
            "is_used": True,
            "left_out": [],
        }
    ],
    "cautions": [
        {
            "code": "outside_settings",
            "sentence": "The setting lies outside those that were measured; the dial may do "
            "something else there.",
        }
    ],
}

COMPARISON: dict[str, Any] = {
    "as_of": "2027-03-02T08:00:00.000Z",
    "d50_micrometres": 338.19706,
    "sets": [
        {
            "burr_set_id": "north-98-a",
            "burr_model": None,
            "geometry": "flat",
            "diameter_millimetres": 98.0,
            "verdict": "settled",
            "sentence": "The burrs have settled: at most 0.3 µm of median size (D50) and 0.04 "
            "percentage points of fines may still come (95 %, for any time constant "
            "up to 30 kg); changes up to 10.1 µm and 1.00 percentage points do not "
            "matter.",
            "checkpoint_count": 5,
            "tau_grams": {"low": 4466.83592, "best": 6130.55792, "high": 8175.23038},
            "settles_at_grams": {"low": 7149.38832, "best": 10347.3942, "high": 14386.5165},
            "d50_change_micrometres": {"low": 28.6100934, "best": 38.2839638, "high": 47.9316849},
            "fines_change_fraction": {
                "low": -0.0624351632,
                "best": -0.0540778138,
                "high": -0.0456755939,
            },
            "settled_d50_micrometres": {"low": 332.988894, "best": 338.203978, "high": 343.618626},
            "settled_fines_fraction": {
                "low": 0.0804161562,
                "best": 0.0857855628,
                "high": 0.0909078358,
            },
            "at_equal_d50": {
                "verdict": "told",
                "sentence": "At a D50 of 338.2 µm: 8.61 % of fines (95 %: 8.08 to 9.11).",
                "fines_fraction": {"low": 0.0807933804, "best": 0.0861082882, "high": 0.0911233772},
                "fines_change": {
                    "low": -0.0401114446,
                    "best": -0.0299467459,
                    "high": -0.0196581798,
                },
                "less_first_fines_fraction": {"low": None, "best": None, "high": None},
            },
            "curve": {
                "d50_micrometres": [
                    {"burr_grams": 0.0, "low": 292.383822, "best": 299.920014, "high": 307.270225}
                ],
                "fines_fraction": [
                    {
                        "burr_grams": 0.0,
                        "low": 0.133334151,
                        "best": 0.139863377,
                        "high": 0.146591303,
                    }
                ],
            },
        },
        {
            "burr_set_id": "north-98-b",
            "burr_model": None,
            "geometry": "flat",
            "diameter_millimetres": 98.0,
            "verdict": "settled",
            "sentence": "The burrs have settled: at most 0.3 µm of median size (D50) and 0.04 "
            "percentage points of fines may still come (95 %, for any time constant "
            "up to 30 kg); changes up to 10.1 µm and 1.00 percentage points do not "
            "matter.",
            "checkpoint_count": 5,
            "tau_grams": {"low": 4466.83592, "best": 6130.55792, "high": 8175.23038},
            "settles_at_grams": {"low": 7149.38832, "best": 10347.3942, "high": 14386.5165},
            "d50_change_micrometres": {"low": 28.6100934, "best": 38.2839638, "high": 47.9316849},
            "fines_change_fraction": {
                "low": -0.0624351632,
                "best": -0.0540778138,
                "high": -0.0456755939,
            },
            "settled_d50_micrometres": {"low": 332.988894, "best": 338.203978, "high": 343.618626},
            "settled_fines_fraction": {
                "low": 0.0404161562,
                "best": 0.0457855628,
                "high": 0.0509078358,
            },
            "at_equal_d50": {
                "verdict": "told",
                "sentence": "At a D50 of 338.2 µm: 4.61 % of fines (95 %: 4.08 to 5.11).",
                "fines_fraction": {"low": 0.0407933804, "best": 0.0461082882, "high": 0.0511233772},
                "fines_change": {
                    "low": -0.0401114446,
                    "best": -0.0299467459,
                    "high": -0.0196581798,
                },
                "less_first_fines_fraction": {
                    "low": -0.0473074867,
                    "best": -0.04,
                    "high": -0.0326925133,
                },
            },
            "curve": {
                "d50_micrometres": [
                    {"burr_grams": 0.0, "low": 292.383822, "best": 299.920014, "high": 307.270225}
                ],
                "fines_fraction": [
                    {
                        "burr_grams": 0.0,
                        "low": 0.0933341512,
                        "best": 0.0998633766,
                        "high": 0.106591303,
                    }
                ],
            },
        },
    ],
    "cautions": [],
}

CUPS: dict[str, Any] = {
    "grinder_id": "bar-1",
    "burr_set_id": "north-98-a",
    "as_of": "2027-03-02T08:00:00.000Z",
    "verdict": "both_sides",
    "sentence": "Cups before and after the burrs were proven settled, side by side: evidence.",
    "settled_at": "2026-12-12T08:00:00.000Z",
    "before_from": "2026-11-21T08:00:00.000Z",
    "after_from": "2026-12-12T08:00:00.000Z",
    "cup_count": 80,
    "is_cut_off": False,
    "shot_seconds": {
        "verdict": "compared",
        "sentence": "At one setting and coffee, shot times scatter after settling by "
        "0.5 times what they did before (95 %: 0.349 to 0.716).",
        "before": {
            "cup_count": 32,
            "group_count": 1,
            "freedom_count": 31,
            "mean_seconds": 26.8541667,
            "sd_seconds": {"low": 1.76343055, "best": 2.19960488, "high": 2.92432988},
        },
        "after": {
            "cup_count": 32,
            "group_count": 1,
            "freedom_count": 31,
            "mean_seconds": 26.9270833,
            "sd_seconds": {"low": 0.881715274, "best": 1.09980244, "high": 1.46216494},
        },
        "sd_ratio": {"low": 0.349335988, "best": 0.5, "high": 0.715643417},
        "sd_difference_seconds": {"low": -1.85663025, "best": -1.09980244, "high": -0.53274457},
        "kurtosis": 3.0,
    },
    "extraction": [
        {
            "method": "espresso",
            "before": {
                "cup_count": 16,
                "mean_fraction": {"low": 0.2, "best": 0.2, "high": 0.2},
                "sd_fraction": 0.0,
            },
            "after": {
                "cup_count": 16,
                "mean_fraction": {"low": 0.2, "best": 0.2, "high": 0.2},
                "sd_fraction": 0.0,
            },
            "change_fraction": {"low": 0.0, "best": 0.0, "high": 0.0},
            "sentence": "Mean extraction yield after settling less before: 0 percentage "
            "points (95 %: 0 to 0).",
        },
        {
            "method": "immersion",
            "before": {
                "cup_count": 8,
                "mean_fraction": {"low": 0.210970464, "best": 0.210970464, "high": 0.210970464},
                "sd_fraction": 0.0,
            },
            "after": {
                "cup_count": 8,
                "mean_fraction": {"low": 0.210970464, "best": 0.210970464, "high": 0.210970464},
                "sd_fraction": 0.0,
            },
            "change_fraction": {"low": 0.0, "best": 0.0, "high": 0.0},
            "sentence": "Mean extraction yield after settling less before: 0 percentage "
            "points (95 %: 0 to 0).",
        },
    ],
    "left_out": [
        {
            "use": "extraction",
            "code": "tds_unknown",
            "cup_count": 32,
            "sentence": "Dissolved solids were not measured.",
        }
    ],
}
