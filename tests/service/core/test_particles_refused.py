"""Tables that cannot be read one way only are refused by name; doubtful ones carry a finding."""

from __future__ import annotations

import math
from typing import Any

import pytest

from burrline_service.core.errors import SampleRefused
from burrline_service.core.particles import measure_sample, summarize
from burrline_service.core.particles_reading import distribution_of
from burrline_service.core.particles_records import ClassTable, ParticleList, SieveTable

SIEVE: dict[str, Any] = {
    "kind": "sieve",
    "aperture_micrometres": [850, 600, 425, 300, 212, 150, 106],
    "retained_grams": [0.2, 3.1, 7.4, 6.3, 3.4, 1.9, 1.2, 1.5],
}
CLASSES: dict[str, Any] = {
    "kind": "classes",
    "edge_micrometres": [50, 100, 200, 400, 800],
    "volume_fraction": [0.1, 0.2, 0.4, 0.3],
}
COUNTS: dict[str, Any] = {
    "kind": "classes",
    "edge_micrometres": [50, 100, 200, 400, 800],
    "count": [9000, 2000, 400, 3],
}
PARTICLES: dict[str, Any] = {"kind": "particles", "diameter_micrometres": [80, 240, 310, 420]}
PERCENTILES: dict[str, Any] = {
    "kind": "percentiles",
    "d10_micrometres": 150,
    "d50_micrometres": 390,
    "d90_micrometres": 700,
    "fines_fraction": 0.08,
    "fines_cut_micrometres": 100,
}

REFUSED: list[tuple[dict[str, Any], dict[str, Any], str, str | None]] = [
    # kinds and members
    ({}, {}, "unknown_kind", "/kind"),
    ({"kind": "sediment"}, {}, "unknown_kind", "/kind"),
    ({"kind": ["sieve"]}, {}, "unknown_kind", "/kind"),
    (SIEVE, {"edge_micrometres": [1, 2]}, "unknown_member", "/edge_micrometres"),
    (SIEVE, {"retained_grams": None}, "missing_member", "/retained_grams"),
    (SIEVE, {"retained_grams": 3}, "not_a_list", "/retained_grams"),
    (SIEVE, {"retained_grams": "12"}, "not_a_list", "/retained_grams"),
    (PARTICLES, {"diameter_micrometres": ["80"]}, "not_a_number", "/diameter_micrometres/0"),
    (PARTICLES, {"diameter_micrometres": [80, True]}, "not_a_number", "/diameter_micrometres/1"),
    (PARTICLES, {"diameter_micrometres": [math.nan]}, "not_a_number", "/diameter_micrometres/0"),
    (PARTICLES, {"diameter_micrometres": [math.inf]}, "not_a_number", "/diameter_micrometres/0"),
    (PARTICLES, {"diameter_micrometres": [10**400]}, "not_a_number", "/diameter_micrometres/0"),
    # sieves
    (SIEVE, {"aperture_micrometres": [], "retained_grams": [1]}, "no_apertures", None),
    (SIEVE, {"retained_grams": [0.2, 3.1, 7.4, 6.3, 3.4, 1.9, 1.2]}, "pan_missing", None),
    (SIEVE, {"retained_grams": [0.2, 3.1]}, "mass_count", "/retained_grams"),
    (
        SIEVE,
        {"aperture_micrometres": [850, 600, 600, 300, 212, 150, 106]},
        "aperture_repeated",
        "/aperture_micrometres/2",
    ),
    (
        SIEVE,
        {"aperture_micrometres": [850, 600, 425, 500, 212, 150, 106]},
        "apertures_not_ordered",
        "/aperture_micrometres/3",
    ),
    (
        SIEVE,
        {"aperture_micrometres": [850, 600, 425, 300, 212, 150, 0]},
        "size_out_of_range",
        "/aperture_micrometres/6",
    ),
    (
        SIEVE,
        {"retained_grams": [0.2, -3.1, 7.4, 6.3, 3.4, 1.9, 1.2, 1.5]},
        "negative_value",
        "/retained_grams/1",
    ),
    (SIEVE, {"retained_grams": [0.2, 1e13, 7, 6, 3, 1, 1, 1]}, "value_out_of_range", None),
    (SIEVE, {"retained_grams": [0] * 8}, "no_mass", "/retained_grams"),
    (SIEVE, {"retained_grams": [0] * 7 + [25]}, "all_in_pan", "/retained_grams"),
    (SIEVE, {"retained_grams": [25] + [0] * 7}, "all_on_top_sieve", "/retained_grams"),
    (SIEVE, {"retained_grams": [0, 0, 0, 25, 0, 0, 0, 0]}, "all_in_one_class", None),
    (SIEVE, {"pan_low_micrometres": 200}, "bound_out_of_place", "/pan_low_micrometres"),
    (SIEVE, {"top_high_micrometres": 850}, "bound_out_of_place", "/top_high_micrometres"),
    (SIEVE, {"pan_low_micrometres": 0}, "size_out_of_range", "/pan_low_micrometres"),
    # classes
    (CLASSES, {"count": [1, 2, 3, 4]}, "which_quantity", None),
    (CLASSES, {"volume_fraction": None}, "which_quantity", None),
    (CLASSES, {"edge_micrometres": [50], "volume_fraction": []}, "no_edges", None),
    (CLASSES, {"volume_fraction": [0.1, 0.2, 0.2, 0.2, 0.3]}, "value_per_edge", None),
    (CLASSES, {"volume_fraction": [0.5, 0.5]}, "value_count", "/volume_fraction"),
    (CLASSES, {"edge_micrometres": [50, 100, 100, 400, 800]}, "edge_repeated", None),
    (CLASSES, {"edge_micrometres": [50, 200, 100, 400, 800]}, "edges_not_ordered", None),
    (CLASSES, {"edge_micrometres": [0, 0, 100, 400, 800]}, "size_out_of_range", None),
    (CLASSES, {"edge_micrometres": [-1, 50, 100, 400, 800]}, "size_out_of_range", None),
    (CLASSES, {"volume_fraction": [0.1, -0.2, 0.8, 0.3]}, "negative_value", "/volume_fraction/1"),
    (CLASSES, {"volume_fraction": [0, 0, 0, 0]}, "no_mass", "/volume_fraction"),
    (CLASSES, {"volume_fraction": [10, 20, 40, 30]}, "percent_for_fraction", None),
    (CLASSES, {"volume_fraction": [0.1, 0.3, 0.7, 1.0]}, "cumulative_undersize", None),
    (CLASSES, {"volume_fraction": [10, 30, 70, 100]}, "cumulative_undersize", None),
    (CLASSES, {"volume_fraction": [1.0, 0.9, 0.7, 0.3]}, "cumulative_oversize", None),
    (CLASSES, {"volume_fraction": [100, 90, 70, 30]}, "cumulative_oversize", None),
    (
        CLASSES,
        {"edge_micrometres": [800, 400, 200, 100, 50], "volume_fraction": [1.0, 0.7, 0.3, 0.1]},
        "cumulative_undersize",
        None,
    ),
    (CLASSES, {"volume_fraction": [0.1, 0.2, 0.3, 0.3]}, "fractions_do_not_sum", None),
    (CLASSES, {"volume_fraction": [0, 0, 1, 0]}, "all_in_one_class", "/volume_fraction"),
    (COUNTS, {"count": [0, 0, 7, 0]}, "all_in_one_class", "/count"),
    (
        CLASSES,
        {"edge_micrometres": [0, 100], "volume_fraction": [1.0]},
        "all_in_one_class",
        "/volume_fraction",
    ),
    (COUNTS, {"count": [12.5, 50, 30, 7.5]}, "count_not_whole", "/count/0"),
    # particles
    (PARTICLES, {"diameter_micrometres": []}, "no_particles", "/diameter_micrometres"),
    (PARTICLES, {"diameter_micrometres": [80, 0]}, "size_out_of_range", "/diameter_micrometres/1"),
    # percentiles
    ({"kind": "percentiles", "d10_micrometres": 100}, {}, "nothing_given", ""),
    (PERCENTILES, {"d10_micrometres": 400}, "percentiles_not_ordered", "/d10_micrometres"),
    (PERCENTILES, {"fines_fraction": 8.0}, "percent_for_fraction", "/fines_fraction"),
    (PERCENTILES, {"fines_fraction": -0.1}, "fraction_out_of_range", "/fines_fraction"),
    (PERCENTILES, {"fines_fraction": 101}, "fraction_out_of_range", "/fines_fraction"),
    (PERCENTILES, {"fines_fraction": None}, "cut_without_fines", "/fines_cut_micrometres"),
    (PERCENTILES, {"d50_micrometres": 0}, "size_out_of_range", "/d50_micrometres"),
]


@pytest.mark.parametrize(
    ("good", "change", "code", "pointer"),
    REFUSED,
    ids=[f"{index}-{code}" for index, (_, _, code, _) in enumerate(REFUSED)],
)
def test_a_table_is_refused_by_name_and_place(
    good: dict[str, Any], change: dict[str, Any], code: str, pointer: str | None
) -> None:
    with pytest.raises(SampleRefused) as caught:
        summarize(distribution_of({**good, **change}))
    assert caught.value.code == code
    assert str(caught.value).endswith((".", "?"))
    (fault,) = caught.value.faults
    if pointer is not None:
        assert fault.pointer == pointer


@pytest.mark.parametrize("good", [SIEVE, CLASSES, COUNTS, PARTICLES, PERCENTILES])
def test_the_tables_that_were_spoiled_are_good_themselves(good: dict[str, Any]) -> None:
    assert measure_sample(distribution_of(good)).d50_micrometres is not None


def sieved(masses: list[float], dose_grams: float | None) -> set[str]:
    table = SieveTable((850.0, 600.0, 425.0, 300.0, 212.0, 150.0, 106.0), tuple(masses))
    return {finding.code for finding in measure_sample(table, dose_grams=dose_grams).findings}


HELD = [0.2, 3.1, 7.4, 6.3, 3.4, 1.9, 1.2, 1.5]


@pytest.mark.parametrize(
    ("dose", "codes"),
    [
        (None, set()),
        (25.0, set()),
        (25.2, set()),
        (25.3, {"mass_balance_off"}),
        (24.7, {"mass_balance_off"}),
        (50.0, {"mass_balance_off"}),  # half of it was sieved: possible, so it is only said
    ],
)
def test_a_mass_balance_that_is_off_is_said(dose: float | None, codes: set[str]) -> None:
    assert sieved(HELD, dose) == codes


@pytest.mark.parametrize(
    ("masses", "dose", "code"),
    [
        (HELD, 24.0, "more_sieved_than_dosed"),
        ([4 * mass for mass in HELD], 25.0, "percent_for_grams"),
        ([0.2, 3.3, 10.7, 17.0, 20.4, 22.3, 23.5, 25.0], 25.0, "cumulative_for_retained"),
        ([0.2, 3.3, 10.7, 17.0, 20.4, 22.3, 25.0, 0.0], 25.0, "cumulative_for_retained"),
        ([24.8, 21.7, 14.3, 8.0, 4.6, 2.7, 1.5, 0.0], 25.0, "cumulative_for_retained"),
        (HELD, 0.0, "bad_dose"),
        (HELD, -1.0, "bad_dose"),
        (HELD, math.nan, "bad_dose"),
        (HELD, math.inf, "bad_dose"),
    ],
)
def test_masses_that_cannot_be_of_the_dose_are_refused(
    masses: list[float], dose: float, code: str
) -> None:
    with pytest.raises(SampleRefused) as caught:
        sieved(masses, dose)
    assert caught.value.code == code
    assert "dose_grams" in caught.value.numbers


def test_a_refusal_tells_the_numbers_it_was_judged_by() -> None:
    with pytest.raises(SampleRefused) as caught:
        sieved(HELD, 20.0)
    assert caught.value.numbers == {"total_grams": math.fsum(HELD), "dose_grams": 20.0}
    assert "25 g" in str(caught.value)
    assert "20 g" in str(caught.value)
    assert "25.0 %" in str(caught.value)


@pytest.mark.parametrize(
    ("distribution", "code"),
    [
        (SieveTable((841.0, 420.0, 149.0), (1.0, 9.0, 9.0, 6.0)), "aperture_not_standard"),
        (SieveTable((150.0, 425.0, 850.0), (9.0, 9.0, 1.0, 6.0)), "apertures_ascending"),
        (SieveTable((850.0, 425.0, 212.0), (1.0, 5.0, 9.0, 10.0)), "perhaps_cumulative"),
        (SieveTable((850.0, 425.0), (1.0, 9.0, 4.0)), "few_classes"),
        (SieveTable((850.0, 425.0, 90.0), (1.0, 9.0, 4.0, 2.0)), "fines_interpolated"),
        (ClassTable((800.0, 400.0, 200.0), (0.4, 0.6)), "edges_descending"),
        (ClassTable((50.0, 100.0, 200.0), (0.4, 0.595)), "fractions_rescaled"),
        (ClassTable((1, 2, 3, 4, 5), count=(1, 10, 100, 1000)), "perhaps_cumulative"),
        (ClassTable((50.0, 100.0, 300.0, 500.0), (0.5, 0.0, 0.5)), "percentile_in_gap"),
        (ClassTable((0.05, 0.1, 0.2, 0.4), (0.2, 0.5, 0.3)), "perhaps_millimetres"),
        (ParticleList((100.0, 200.0, 300.0)), "too_few_particles"),
        (ParticleList((100.0, 200.0, 300.0)), "largest_particle_weighs"),
        (distribution_of({"kind": "percentiles", "fines_fraction": 0.1}), "fines_cut_assumed"),
        (distribution_of({**PERCENTILES, "fines_fraction": 0.3}), "fines_contradict_percentiles"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_doubtful_table_carries_a_finding(distribution: Any, code: str) -> None:
    found = [finding.code for finding in measure_sample(distribution).findings]
    assert found.count(code) == 1


@pytest.mark.parametrize("cut", [0.0, -1.0, math.nan, math.inf])
@pytest.mark.parametrize("good", [CLASSES, PERCENTILES])
def test_a_cut_that_is_no_size_is_refused(good: dict[str, Any], cut: float) -> None:
    for work in (measure_sample, summarize):
        with pytest.raises(SampleRefused) as caught:
            work(distribution_of(good), fines_cut_micrometres=cut)
        assert caught.value.code == "bad_cut"
