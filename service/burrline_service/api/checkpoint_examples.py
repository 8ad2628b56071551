"""Examples of the operations on the grind: one sieve stack, three doses."""

from __future__ import annotations

from typing import Any

SAMPLE: dict[str, Any] = {
    "distribution": {
        "kind": "sieve",
        "aperture_micrometres": [850, 600, 425, 300, 212, 150, 106, 75],
        "retained_grams": [0.4, 3.1, 7.2, 6.6, 3.4, 1.9, 1.2, 0.8, 0.4],
    },
    "dose_grams": 25.2,
}
SUMMARY: dict[str, Any] = {
    "kind": "sieve",
    "sizes": {
        "d10_micrometres": 153.522,
        "d50_micrometres": 389.44,
        "d90_micrometres": 651.8,
        "span": 1.27947,
        "fines_fraction": 0.0416854,
        "fines_cut_micrometres": 100.0,
        "missing": [],
        "findings": [],
    },
    "percentile_method": "pchip_ln_size",
    "modes": [
        {
            "mode_micrometres": 504.975,
            "low_micrometres": 425.0,
            "high_micrometres": 600.0,
            "volume_fraction": 0.288,
        }
    ],
    "volume_mean_micrometres": None,
    "surface_mean_micrometres": None,
    "mean_method": None,
    "rosin_rammler": [
        {
            "method": "loglog_least_squares",
            "exponent": 2.20786,
            "scale_micrometres": 448.732,
            "r_squared": 0.996234,
            "point_count": 8,
        },
        {
            "method": "undersize_least_squares",
            "exponent": 2.26123,
            "scale_micrometres": 453.76,
            "r_squared": 0.999041,
            "point_count": 8,
        },
    ],
    "log_normal": [
        {
            "method": "probit_least_squares",
            "log_sd": 0.598811,
            "median_micrometres": 319.562,
            "r_squared": 0.953752,
            "point_count": 8,
        },
        {
            "method": "undersize_least_squares",
            "log_sd": 0.521312,
            "median_micrometres": 369.739,
            "r_squared": 0.989168,
            "point_count": 8,
        },
    ],
    "particle_count": None,
    "missing": [
        {
            "name": "volume_mean_micrometres",
            "code": "top_without_upper_size",
            "detail": "The sample is open: 1.6 % below 75 micrometres and 1.6 % above 850 "
            "micrometres, of unknown size.",
        },
        {
            "name": "surface_mean_micrometres",
            "code": "top_without_upper_size",
            "detail": "The sample is open: 1.6 % below 75 micrometres and 1.6 % above 850 "
            "micrometres, of unknown size.",
        },
    ],
    "findings": [],
}
NEW_CHECKPOINT: dict[str, Any] = {
    "checkpoint_id": "flat-64-a-05kg",
    "ground_at": "2026-07-06T06:10:00Z",
    "setting": 5.0,
    "method": "sieve",
    "sieve_set_id": "sieves-2",
    "coffee_lot": "lot-0712",
    "replicates": [
        {
            "dose_grams": 25.2,
            "ground_at": "2026-07-06T06:10:00Z",
            "distribution": {
                "kind": "sieve",
                "aperture_micrometres": [850, 600, 425, 300, 212, 150, 106, 75],
                "retained_grams": [0.4, 3.1, 7.2, 6.6, 3.4, 1.9, 1.2, 0.8, 0.4],
            },
        },
        {
            "dose_grams": 25.2,
            "ground_at": "2026-07-06T07:15:00Z",
            "distribution": {
                "kind": "sieve",
                "aperture_micrometres": [850, 600, 425, 300, 212, 150, 106, 75],
                "retained_grams": [0.5, 3.2, 7.1, 6.4, 3.4, 1.9, 1.3, 0.8, 0.4],
            },
        },
        {
            "dose_grams": 25.2,
            "ground_at": "2026-07-06T08:20:00Z",
            "distribution": {
                "kind": "sieve",
                "aperture_micrometres": [850, 600, 425, 300, 212, 150, 106, 75],
                "retained_grams": [0.4, 3.0, 7.3, 6.7, 3.3, 1.9, 1.2, 0.8, 0.4],
            },
        },
    ],
}
CHECKPOINT: dict[str, Any] = {
    "checkpoint_id": "flat-64-a-05kg",
    "grinder_id": "bar-1",
    "burr_set_id": "flat-64-a",
    "ground_at": "2026-07-06T06:10:00.000Z",
    "measured_at": None,
    "session_id": None,
    "setting": 5.0,
    "rpm": None,
    "burr_grams": 5012.4,
    "burr_grams_basis": "runs",
    "method": "sieve",
    "instrument_id": None,
    "sieve_set_id": "sieves-2",
    "dispersant": None,
    "coffee_lot": "lot-0712",
    "note": None,
    "fines_cut_micrometres": 100.0,
    "replicates": [
        {
            "dose_grams": 25.2,
            "ground_at": "2026-07-06T06:10:00.000Z",
            "sizes": {
                "d10_micrometres": 153.522,
                "d50_micrometres": 389.44,
                "d90_micrometres": 651.8,
                "span": 1.27947,
                "fines_fraction": 0.0416854,
                "fines_cut_micrometres": 100.0,
                "missing": [],
                "findings": [],
            },
        },
        {
            "dose_grams": 25.2,
            "ground_at": "2026-07-06T07:15:00.000Z",
            "sizes": {
                "d10_micrometres": 150.0,
                "d50_micrometres": 390.377,
                "d90_micrometres": 662.221,
                "span": 1.31212,
                "fines_fraction": 0.0414965,
                "fines_cut_micrometres": 100.0,
                "missing": [],
                "findings": [],
            },
        },
        {
            "dose_grams": 25.2,
            "ground_at": "2026-07-06T08:20:00.000Z",
            "sizes": {
                "d10_micrometres": 153.518,
                "d50_micrometres": 390.04,
                "d90_micrometres": 647.068,
                "span": 1.26538,
                "fines_fraction": 0.0416854,
                "fines_cut_micrometres": 100.0,
                "missing": [],
                "findings": [],
            },
        },
    ],
    "pooled": {
        "replicate_count": 3,
        "d10_micrometres": 152.338,
        "d50_micrometres": 389.952,
        "d90_micrometres": 653.666,
        "span": 1.28566,
        "fines_fraction": 0.0416224,
        "fines_cut_micrometres": 100.0,
        "d50_log_sd": 0.00121697,
        "fines_sd_fraction": 0.000109062,
        "missing": [],
    },
    "created_at": "2026-07-06T09:02:31.118Z",
    "voided_at": None,
}
CHECKPOINT_WITH_SAMPLES: dict[str, Any] = {
    **CHECKPOINT,
    "replicates": [
        {**told, "distribution": sent["distribution"]}
        for told, sent in zip(CHECKPOINT["replicates"], NEW_CHECKPOINT["replicates"], strict=True)
    ],
}
