"""The file of ``burrline apply``: what its lines say, and what is wrong with them."""

from __future__ import annotations

import pytest

from burrline._fleet import COLUMNS, Unreadable, read_fleet


def faults_of(text: str) -> list[tuple[int, str]]:
    return read_fleet(text.encode())[1]


def test_a_line_speaks_of_a_site_a_grinder_and_the_burrs_in_it() -> None:
    things, faults = read_fleet(
        b"\xef\xbb\xbfsite_id,site_name,time_zone,grinder_id,name,serial,limit_celsius,burr_set_id,"
        b"geometry,prior_grams,burr_serial,fitted_at\r\n"
        b'mill-lane,"Mill, Lane",Europe/Oslo,bar-1,Bar left,T-1,75,flat-a,flat,unknown,B-1,'
        b"2026-07-01T08:30:00+02:00\r\n"
        b"# put aside for now\r\n"
        b",,,,,,,,,,,\r\n"
        b"mill-lane,,,bar-2,Bar right,-,,,,,,\r\n"
    )
    assert faults == []
    found = [(one.noun, one.name, one.line, one.place, one.values) for one in things]
    assert found == [
        ("site", "mill-lane", 2, None, {"site_name": "Mill, Lane", "time_zone": "Europe/Oslo"}),
        ("grinder", "bar-1", 2, "mill-lane",
         {"name": "Bar left", "serial": "T-1", "limit_celsius": 75.0}),
        ("burr set", "flat-a", 2, "bar-1",
         {"geometry": "flat", "prior_grams": None, "burr_serial": "B-1"}),
        ("grinder", "bar-2", 5, "mill-lane", {"name": "Bar right", "serial": None}),
    ]  # fmt: skip
    assert things[2].fitted_at == "2026-07-01T06:30:00.000Z"


def test_cells_may_be_parted_by_semicolons() -> None:
    things, faults = read_fleet(b"site_id;site_name\nmill-lane;Mill, Lane\n")
    assert (things[0].values, faults) == ({"site_name": "Mill, Lane"}, [])


@pytest.mark.parametrize(
    ("line", "detail"),
    [
        (",Bar,bar-1,,,", "site_id is needed"),
        ("mill-lane,Bar,,,,", "grinder_id is needed"),
        ("mill-lane,,,flat-a,,", "grinder_id is needed"),
        ("mill-lane,,bar-1,,7,", "burr_set_id is needed"),
        ("mill-lane,,bar-1,,,2026-07-01T08:30:00Z", "burr_set_id is needed"),
        ("mill-lane,,bar-1,flat-a,much,", "prior_grams: 'much' is not a number"),
        ("mill-lane,,bar-1,flat-a,nan,", "prior_grams: 'nan' is not a number"),
        ("mill-lane,,bar-1,flat-a,,yesterday", "fitted_at: 'yesterday' is not an instant"),
        ("mill-lane,Bar,bar-1,,,,more", "has more cells than there are columns: 'more'"),
    ],
)
def test_a_faulty_line_is_named_with_what_is_wrong(line: str, detail: str) -> None:
    header = "site_id,name,grinder_id,burr_set_id,prior_grams,fitted_at"
    ((number, found),) = faults_of(f"{header}\nmill-lane,,,,,\n{line}\n")
    assert number == 3
    assert found.startswith(detail)


@pytest.mark.parametrize(
    ("lines", "detail"),
    [
        (
            ["mill-lane,Mill,bar-1,,", "mill-lane,Mull,bar-2,,"],
            "site_name of site mill-lane is another one in line 2",
        ),
        (["a,,bar-1,,", "b,,bar-1,,"], "grinder bar-1 is at a by line 2"),
        (["a,,bar-1,s-1,", "a,,bar-2,s-1,"], "burr set s-1 stands in line 2 already"),
        (
            ["a,,bar-1,s-1,", "a,,bar-1,s-2,2026-07-01T08:30:00Z"],
            "grinder bar-1 has several burr sets in this file: each needs its fitted_at",
        ),
    ],
)
def test_lines_that_contradict_each_other_are_refused(lines: list[str], detail: str) -> None:
    header = "site_id,site_name,grinder_id,burr_set_id,fitted_at"
    assert faults_of("\n".join([header, *lines])) == [(3, detail)]


@pytest.mark.parametrize(
    ("content", "detail"),
    [
        (b"", "holds no line of column names"),
        (b"# only a remark\n", "holds no line of column names"),
        (b"site_id,colour\n", "'colour'"),
        (b"site_id,name,name\n", "twice"),
        (b"grinder_id\nbar-1\n", "site_id"),
        (b"site_id\n\xff\n", "UTF-8"),
        (b'site_id\n"mill\n', "line 2"),
    ],
)
def test_what_is_no_such_table_is_refused_whole(content: bytes, detail: str) -> None:
    with pytest.raises(Unreadable, match=detail):
        read_fleet(content)


def test_no_column_has_the_name_of_another() -> None:
    assert len(set(COLUMNS)) == len(COLUMNS)
