"""Tables of particle sizes as text: what is read, what is asked about, never a guess."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline.grind_table import GrindTableRefused, read_grind_table
from burrline_service.core.particles import measure_sample
from burrline_service.core.particles_reading import distribution_of


def table(*lines: str) -> str:
    return "\n".join(lines) + "\n"


SIEVES = {"kind": "sieve", "aperture_micrometres": [850, 425, 212],
          "retained_grams": [1.5, 12, 8.25, 3]}  # fmt: skip
CLASSES = {"kind": "classes", "edge_micrometres": [50, 100, 200, 400],
           "volume_fraction": [0.1, 0.35, 0.55]}  # fmt: skip
COUNTS = {"kind": "classes", "edge_micrometres": [50, 100, 200], "count": [120, 7]}


@pytest.mark.parametrize(
    ("text", "decimal_mark", "expected"),
    [
        (
            table("aperture_micrometres,retained_grams", "850,1.5", "425,12", "212,8.25", "pan,3"),
            ".",
            SIEVES,
        ),
        (  # in any order, since each mass has its aperture beside it
            table("retained_grams;aperture_micrometres", "3;PAN", "8.25;212", "1.5;850", "12;425"),
            ".",
            SIEVES,
        ),
        (
            table(
                "aperture_micrometres\tretained_grams", "850\t1,5", "425\t12", "212\t8,25", "pan\t3"
            ),
            ",",
            SIEVES,
        ),
        (
            '\ufeff"aperture_micrometres" , "retained_grams"\r\n\r\n"850", 1.5\r\n425,12\r\n,\r\n'
            "212,8.25\r\npan,3.0",
            ".",
            SIEVES,
        ),
        (  # the value beside its lower edge, the top edge alone at the end
            table("edge_micrometres,volume_fraction", "50,.1", "100,0.35", "200,5.5e-1", "400,"),
            ".",
            CLASSES,
        ),
        (  # the value beside its upper edge, as instruments export it
            table("edge_micrometres,volume_fraction", "50,", "100,.1", "200,0.35", "400,0.55"),
            ".",
            CLASSES,
        ),
        (  # falling edges: beside the upper edge again
            table("edge_micrometres,volume_fraction", "400,0.55", "200,0.35", "100,0.1", "50,"),
            ".",
            CLASSES,
        ),
        (
            table(
                "lower_edge_micrometres,upper_edge_micrometres,volume_fraction",
                "200,400,0.55",
                "50,100,0.1",
                "100,200,0.35",
            ),
            ".",
            CLASSES,
        ),
        (table("edge_micrometres,count", "50,120", "100,7", "200,"), ".", COUNTS),
        (
            table("diameter_micrometres", "80.5", "240", "310"),
            ".",
            {"kind": "particles", "diameter_micrometres": [80.5, 240, 310]},
        ),
        (
            table("diameter_micrometres", "80,5", "240", "310"),
            ",",
            {"kind": "particles", "diameter_micrometres": [80.5, 240, 310]},
        ),
    ],
)
def test_a_plain_table_is_read(text: str, decimal_mark: str, expected: dict[str, object]) -> None:
    found = read_grind_table(text, decimal_mark=decimal_mark)
    assert found == expected
    assert json.loads(json.dumps(found)) == expected
    measure_sample(distribution_of(found))  # and the service understands it


REFUSED: list[tuple[Sequence[str], str, int | None]] = [
    ([], "empty_table", None),
    (["", " , "], "empty_table", None),
    (["aperture_micrometres,retained_grams"], "empty_table", 1),
    # names: units and columns are asked about
    (["aperture,retained_grams", "850,1"], "which_unit", 1),
    (["aperture_mm,retained_grams", "0.85,1"], "which_unit", 1),
    (["size_um,volume_fraction", "85,1"], "which_unit", 1),
    (["aperture_micrometres,mass", "850,1"], "which_unit", 1),
    (["aperture_micrometres,passing", "850,1"], "cumulative", 1),
    (["edge_micrometres,cumulative_volume", "850,1"], "cumulative", 1),
    (["edge_micrometres,oversize_fraction", "850,1"], "cumulative", 1),
    (["edge_micrometres,volume_percent", "850,1"], "percent_for_fraction", 1),
    (["edge_micrometres,volume_%", "850,1"], "percent_for_fraction", 1),
    (["upper_edge_micrometres,volume_fraction", "850,1"], "which_edge", 1),
    (["lower_edge_micrometres,count", "850,1"], "which_edge", 1),
    (["colour,taste", "1,2"], "unknown_columns", 1),
    (["850,1.5", "425,3"], "unknown_columns", 1),
    (["aperture_micrometres,aperture_micrometres", "850,1"], "name_repeated", 1),
    # separators and numbers
    (["aperture_micrometres;retained_grams,note", "850;1,x"], "which_separator", 1),
    (["aperture_micrometres,retained_grams", "850,1,5"], "cell_count", 2),
    (["aperture_micrometres;retained_grams", "850;1,5", "pan;2"], "which_decimal_mark", 2),
    (["aperture_micrometres,retained_grams", "850,1g", "pan,2"], "not_a_number", 2),
    (["aperture_micrometres,retained_grams", "850,nan", "pan,2"], "not_a_number", 2),
    (["aperture_micrometres,retained_grams", "850,inf", "pan,2"], "not_a_number", 2),
    (["aperture_micrometres,retained_grams", "850,1_0", "pan,2"], "not_a_number", 2),
    (["aperture_micrometres,retained_grams", "850,٣", "pan,2"], "not_a_number", 2),
    (["aperture_micrometres,retained_grams", "850,-1", "pan,2"], "out_of_range", 2),
    (["aperture_micrometres,retained_grams", "850,1e999", "pan,2"], "out_of_range", 2),
    (["aperture_micrometres,retained_grams", "850,", "pan,2"], "empty_cell", 2),
    # sieves
    (["aperture_micrometres,retained_grams", "850,1", "425,2"], "pan_missing", None),
    (["aperture_micrometres,retained_grams", "850,1", "pan,2", "pan,3"], "pan_repeated", 4),
    (["aperture_micrometres,retained_grams", "pan,2"], "no_sieves", None),
    (["aperture_micrometres,retained_grams", "850,1", "0,2"], "aperture_zero", 3),
    (["aperture_micrometres,retained_grams", "850,1", "850,2", "pan,1"], "aperture_repeated", 3),
    # classes
    (["edge_micrometres,volume_fraction", "50,0.1", "100,0.4", "200,0.5"], "which_edge", None),
    (["edge_micrometres,volume_fraction", "50,", "100,1.0", "200,"], "which_edge", 4),
    (["edge_micrometres,volume_fraction", "50,0.5", "100,", "200,0.5"], "which_edge", 3),
    (["edge_micrometres,volume_fraction", "50,"], "which_edge", 2),
    (["edge_micrometres,volume_fraction", "50,", "50,0.5", "90,0.5"], "edges_not_ordered", 3),
    (["edge_micrometres,volume_fraction", "50,", "90,0.5", "70,0.5"], "edges_not_ordered", 4),
    (["edge_micrometres,volume_fraction", "50,", "100,30", "200,70"], "percent_for_fraction", None),
    (["edge_micrometres,volume_fraction", "50,", "100,0.3", "200,1"], "cumulative", None),
    (["edge_micrometres,volume_fraction", "50,", "100,30", "200,100"], "cumulative", None),
    (["edge_micrometres,volume_fraction", "50,1", "100,0.7", "200,"], "cumulative", None),
    (["edge_micrometres,volume_fraction", "50,", "100,.3", "200,.5"], "fractions_do_not_sum", None),
    (["edge_micrometres,count", "50,", "100,1.5", "200,3"], "count_not_whole", None),
    (
        ["lower_edge_micrometres,upper_edge_micrometres,count", "50,100,3", "120,200,3"],
        "classes_not_joined",
        3,
    ),
    (
        ["lower_edge_micrometres,upper_edge_micrometres,count", "100,50,3"],
        "edges_not_ordered",
        2,
    ),
]


@pytest.mark.parametrize(
    ("lines", "code", "line_number"),
    REFUSED,
    ids=[f"{index}-{code}" for index, (_, code, _) in enumerate(REFUSED)],
)
def test_what_can_be_read_in_two_ways_is_asked_about(
    lines: Sequence[str], code: str, line_number: int | None
) -> None:
    with pytest.raises(GrindTableRefused) as caught:
        read_grind_table(table(*lines))
    assert (caught.value.code, caught.value.line_number) == (code, line_number)
    assert str(caught.value).endswith((".", "?"))


def test_commas_cannot_part_columns_and_mark_decimals() -> None:
    with pytest.raises(GrindTableRefused) as caught:
        read_grind_table("aperture_micrometres,retained_grams\n850,1\n", decimal_mark=",")
    assert caught.value.code == "which_separator"
    with pytest.raises(GrindTableRefused) as caught:
        read_grind_table("aperture_micrometres;retained_grams\n850;1.5\n", decimal_mark=",")
    assert caught.value.code == "which_decimal_mark"
    with pytest.raises(ValueError, match="decimal_mark"):
        read_grind_table("", decimal_mark="'")


# --- properties -----------------------------------------------------------------------------------

cells = st.one_of(
    st.sampled_from(
        ["", "pan", "0", "100", "50", "0.5", "1,5", "1e9", "-3", "nan", "850", '"7"', "x", "²"]
    ),
    st.floats(0, 3000).map(str),
    st.text(max_size=4),
)
heads = st.sampled_from(
    [
        "aperture_micrometres,retained_grams",
        "edge_micrometres,volume_fraction",
        "edge_micrometres;count",
        "lower_edge_micrometres\tupper_edge_micrometres\tcount",
        "diameter_micrometres",
        "size,volume_percent",
    ]
)


@st.composite
def texts(draw: st.DrawFn) -> str:
    head = draw(heads)
    mark = next((mark for mark in ",;\t" if mark in head), ",")
    width = len(head.split(mark))
    rows = draw(st.lists(st.lists(cells, min_size=width, max_size=width), max_size=8))
    return "\n".join([head, *(mark.join(row) for row in rows)])


@given(st.one_of(st.text(max_size=80), texts()), st.sampled_from([".", ","]))
def test_any_text_at_all_is_read_or_refused(text: str, decimal_mark: str) -> None:
    try:
        found = read_grind_table(text, decimal_mark=decimal_mark)
    except GrindTableRefused:
        return
    assert found["kind"] in {"sieve", "classes", "particles"}
    json.dumps(found, allow_nan=False)


@given(
    st.lists(st.integers(20, 2000), min_size=1, max_size=10, unique=True),
    st.lists(st.floats(0, 30), min_size=11, max_size=11),
    st.randoms(use_true_random=False),
)
def test_a_written_stack_is_read_back_in_whatever_order(
    apertures: list[int], masses: list[float], dice: object
) -> None:
    pairs = [*zip(map(str, apertures), masses, strict=False), ("pan", masses[-1])]
    dice.shuffle(pairs)  # type: ignore[attr-defined]
    found = read_grind_table(
        table("aperture_micrometres,retained_grams", *(f"{a},{m!r}" for a, m in pairs))
    )
    falling = sorted(apertures, reverse=True)
    by_aperture = dict(zip(apertures, masses, strict=False))
    assert found["aperture_micrometres"] == falling
    assert found["retained_grams"] == [*(by_aperture[one] for one in falling), masses[-1]]


@given(st.lists(st.integers(1, 10**6), min_size=1, max_size=12), st.booleans())
def test_written_classes_are_read_back_from_either_edge(parts: list[int], is_upper: bool) -> None:
    edges = [50.0 * 1.5**i for i in range(len(parts) + 1)]
    fractions = [part / sum(parts) for part in parts]
    beside = ["", *map(repr, fractions)] if is_upper else [*map(repr, fractions), ""]
    lines = [f"{edge!r},{cell}" for edge, cell in zip(edges, beside, strict=True)]
    found = read_grind_table(table("edge_micrometres,volume_fraction", *lines))
    assert found["edge_micrometres"] == edges
    assert found["volume_fraction"] == fractions
    assert math.fsum(found["volume_fraction"]) == pytest.approx(1)
