"""Notebooks in many shapes, and what a person reads in them: written by hand beside each."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burrline._notebook import Notebook, Question, Settings, Unreadable, read_notebook
from burrline._notebook_dates import MONTHS, days_in

FOLDER = Path(__file__).parent / "notebooks"
TODAY = date(2026, 6, 1)
NAMES = ("bar-1", "bar-2", "Left of the till", "Batch")


def read(name: str, told: Settings = Settings()) -> Notebook:  # noqa: B008
    return read_notebook((FOLDER / name).read_bytes(), told, today=TODAY, known_names=NAMES)


# File; what was told beside it; (grinder, days, kilograms, note); lines left out, "!" for faults.
UNDERSTOOD: list[tuple[str, Settings, list[tuple[str | None, str, float, str | None]], str]] = [
    (
        "plain.csv",
        Settings(),
        [
            (None, "2026-03-02", 4.2, None),
            (None, "2026-03-03", 3.95, "hopper cleaned"),
            (None, "2026-03-06", 5.1, "busy, two coaches"),
        ],
        "4 5",
    ),
    (  # a title, a mark at the file's start, decimal commas, grouped thousands, a total
        "german.csv",
        Settings(),
        [
            (None, "2026-03-01", 12.5, None),
            (None, "2026-03-02", 9.75, "neue Bohnen"),
            (None, "2026-03-04", 1012.25, "Rösterei"),
        ],
        "1 7 9",
    ),
    (  # UTF-16, tabs, names of days and months, units in the cells
        "french.csv",
        Settings(),
        [
            (None, "2026-03-01", 3.5, None),
            (None, "2026-03-02", 4.0, "meules nettoyées"),
            (None, "2026-03-03", 0.85, None),
        ],
        "5",
    ),
    (
        "latin.csv",
        Settings(),
        [
            (None, "2026-03-01", 2.25, "mañana tranquila"),
            (None, "2026-03-02", 3.5, None),
            (None, "2026-05-03", 4.0, None),
        ],
        "",
    ),
    (  # line 4 shows that the month stands first
        "month_first.csv",
        Settings(decimal_mark="."),
        [
            (None, "2026-03-01", 18.2, None),
            (None, "2026-03-02", 17.45, None),
            (None, "2026-03-14", 20.0, None),
        ],
        "",
    ),
    (
        "open_order.csv",
        Settings(is_day_first=True),
        [(None, "2026-01-03", 1.5, None), (None, "2026-02-03", 2.5, None)],
        "",
    ),
    (
        "open_order.csv",
        Settings(is_day_first=False),
        [(None, "2026-03-01", 1.5, None), (None, "2026-03-02", 2.5, None)],
        "",
    ),
    (  # two lines of one day add up, the same line twice counts once
        "no_headings.csv",
        Settings(),
        [
            (None, "2026-03-01", 4.5, None),
            (None, "2026-03-02", 3.8, "burrs cleaned"),
            (None, "2026-03-03", 4.5, "evening"),
        ],
        "5",
    ),
    (
        "no_headings.csv",
        Settings(counts_repeats=True),
        [
            (None, "2026-03-01", 4.5, None),
            (None, "2026-03-02", 7.6, "burrs cleaned"),
            (None, "2026-03-03", 4.5, "evening"),
        ],
        "",
    ),
    (  # readings at the end of the day; line 6 has a digit too many, in line 8 it began anew
        "meter.csv",
        Settings(),
        [
            (None, "2026-03-01", 5.5, None),
            (None, "2026-03-02", 6.25, None),
            (None, "2026-03-03 to 2026-03-05", 15.0, None),
            (None, "2026-03-06 to 2026-03-07", 10.5, None),
            (None, "2026-03-09", 3.5, None),
        ],
        "2 6! 8!",
    ),
    (
        "grinder_columns.csv",
        Settings(),
        [
            ("bar-1", "2026-03-01", 4.5, None),
            ("bar-1", "2026-03-02", 5.25, "bar-2 resting"),
            ("bar-1", "2026-03-03", 4.0, "scale broken"),
            ("bar-2", "2026-03-01", 1.2, None),
            ("bar-2", "2026-03-03", 1.1, "scale broken"),
        ],
        "1 6",
    ),
    (  # line 3 is of the day above it
        "grinder_column.csv",
        Settings(),
        [
            ("Attic", "2026-03-04", 2.0, None),
            ("Batch", "2026-03-02", 1.2, None),
            ("Left of the till", "2026-03-02", 4.2, None),
            ("Left of the till", "2026-03-03", 3.9, None),
        ],
        "5!",
    ),
    (  # weeks of ISO 8601: 4 January is always in week 1, which in 2026 begins on 29 December
        "weeks.csv",
        Settings(),
        [
            (None, "2026-02-23 to 2026-03-01", 31.5, None),
            (None, "2026-03-02 to 2026-03-08", 28.0, None),
            (None, "2026-03-09 to 2026-03-15", 30.25, None),
        ],
        "",
    ),
    (
        "ranges.csv",
        Settings(),
        [
            (None, "2026-03-01 to 2026-03-07", 31.5, None),
            (None, "2026-03-08 to 2026-03-14", 28.25, None),
            (None, "2026-03-15", 4.0, None),
            (None, "2026-03-28 to 2026-04-03", 20.0, None),
            (None, "2026-04-04", 5.0, None),
            (None, "2026-04-08", 4.0, None),
        ],
        "7 8!",
    ),
    (  # the pound is 453.59237 g: 10 lb are 4535.924 g, 5.5 lb 2494.758 g
        "over_new_year.csv",
        Settings(),
        [
            (None, "2025-12-28", 4.535924, None),
            (None, "2025-12-31", 2.494758, None),
            (None, "2026-01-02", 1.814369, None),
            (None, "2026-01-05", 2.721554, None),
        ],
        "1",
    ),
    ("broken_commas.csv", Settings(), [(None, "2026-03-02", 11.0, "ok")], "2! 4! 5! 6! 7!"),
    (
        "growing.csv",
        Settings(is_running_total=True),
        [
            (None, f"2026-03-{day:02}", kilograms, None)
            for day, kilograms in ((2, 3.5), (3, 6.0), (4, 4.5), (5, 5.5), (6, 3.0))
        ],
        "2",
    ),
    (
        "not_over.csv",
        Settings(),
        [(None, "2026-05-30", 4.0, None), (None, "2026-05-31", 5.0, None)],
        "4 5!",
    ),
    (
        "thousands.csv",
        Settings(decimal_mark=","),
        [(None, "2026-03-01", 0.001234, None), (None, "2026-03-02", 0.002345, None)],
        "",
    ),
    (  # a page for each month, with headings again and a sum carried over
        "april_pages.csv",
        Settings(),
        [
            (None, "2026-04-30", 4.5, None),
            (None, "2026-05-01", 5.0, None),
            (None, "2026-05-02", 4.25, None),
        ],
        "1 4 5 8 9",
    ),
]


@pytest.mark.parametrize(
    ("name", "told", "entries", "left_out"), UNDERSTOOD, ids=[one[0] for one in UNDERSTOOD]
)
def test_a_notebook_is_read_as_a_person_reads_it(
    name: str,
    told: Settings,
    entries: list[tuple[str | None, str, float, str | None]],
    left_out: str,
) -> None:
    found = read(name, told)
    assert [(one.grinder, one.days_words, one.note) for one in found.entries] == [
        (grinder, days, note) for grinder, days, _, note in entries
    ]
    kilograms = [one.grams / 1000 for one in found.entries]
    assert kilograms == pytest.approx([one[2] for one in entries], abs=1e-6)
    shown = " ".join(f"{one.line}{'!' if one.is_fault else ''}" for one in found.left_out)
    assert shown == left_out


def test_about_is_kept_apart_and_every_reason_is_told() -> None:
    found = read("grinder_columns.csv")
    assert [one.grams for one in found.entries if one.is_about] == [4000.0]
    reasons = {one.line: one.reason for one in read("broken_commas.csv").left_out}
    assert "quote the number" in reasons[2]
    assert reasons[4] == "there is no such day"
    assert reasons[5] == "'x12' is no amount"
    assert reasons[6] == "'1995' is no date"
    assert {one.line: one.reason for one in read("ranges.csv").left_out} == {
        7: "the sum of line 6",
        8: "some of its days are told by line 9 as well",
    }


@pytest.mark.parametrize(
    ("name", "question", "flag"),
    [
        ("open_order.csv", "is_day_first", "--day-first or --month-first"),
        ("month_first.csv", "decimal_mark", "--decimal-mark"),
        ("thousands.csv", "decimal_mark", "--decimal-mark"),
        ("growing.csv", "is_running_total", "--running-total"),
    ],
)
def test_what_only_a_person_can_tell_is_asked(name: str, question: str, flag: str) -> None:
    with pytest.raises(Question, match=flag) as raised:
        read(name)
    assert raised.value.name == question


def test_neither_unit_nor_year_nor_column_is_guessed() -> None:
    def asked(text: str, told: Settings = Settings()) -> str:  # noqa: B008
        with pytest.raises(Question) as raised:
            read_notebook(text.encode(), told, today=TODAY, known_names=NAMES)
        return raised.value.name

    assert asked("date;coffee\n2026-03-01;12\n") == "unit"
    assert asked("day;kg\n1 March;12\n") == "year"
    assert asked("date;left;right\n2026-03-01;12;3\n", Settings(unit="kg")) == "columns"
    found = read_notebook(b"day;kg\n1 March;12\n", Settings(year=2024), today=TODAY)
    assert found.entries[0].first == date(2024, 3, 1)
    told = Settings(unit="kg", columns=("left", "right"))
    found = read_notebook(b"date;left;right\n2026-03-01;12;3\n", told, today=TODAY)
    assert [(one.grinder, one.grams) for one in found.entries] == [("left", 12e3), ("right", 3e3)]


@pytest.mark.parametrize(
    ("text", "entries"),
    [
        # a column of weeks that names one day of each; the same heading over single days
        ("week of;kg\n2026-03-02;31\n2026-03-09;30", ["2026-03-02 to 2026-03-08", 31e3,
                                                      "2026-03-09 to 2026-03-15", 30e3]),
        ("week ending;kg\n2026-03-08;31", ["2026-03-02 to 2026-03-08", 31e3]),
        ("week/day;kg\n2026-03-02;4\n2026-03-03;5", ["2026-03-02", 4e3, "2026-03-03", 5e3]),
        ("month;kg\nFebruary 2026;110", ["2026-02-01 to 2026-02-28", 110e3]),
        # faulty amounts above the first good one are no headings
        ("date;kg\n2026-03-01;x1\n2026-03-02;kg .5", ["2026-03-02", 500]),
        # a line for every dose adds up to its day
        ("2026-03-01 08:31;18.2 g\n2026-03-01 08:33;18.2 g\n2026-03-01 8:40 PM;18 g",
         ["2026-03-01", 54.4]),
        ("date;bar-1;bar-2\n;kg;lb\n2026-03-01;4;1", ["2026-03-01", 4e3, "2026-03-01", 453.592]),
        ("Datum;kg heute;Zählerstand kg\n1.3.2026;4;104\n2.3.2026;5;109",
         ["2026-03-01", 4e3, "2026-03-02", 5e3]),
        ("kg;date\n4;2026-03-01", ["2026-03-01", 4e3]),
        ('date;kg;notes\n2026-03-01;4;"a\nb"\n2026-03-02;5;',
         ["2026-03-01", 4e3, "2026-03-02", 5e3]),
    ],
)  # fmt: skip
def test_further_shapes(text: str, entries: list[str | float]) -> None:
    found = read_notebook(text.encode(), today=TODAY, known_names=NAMES)
    assert [x for one in found.entries for x in (one.days_words, one.grams)] == entries


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "no line has a date"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "is no text"),
        (b"date;kg\nsoon;12\n", "no line has a date"),
        (b"2026-03-01,12,5\n", "more than one column of numbers"),
        ((FOLDER / "both_orders.csv").read_bytes(), "lines 2, 3: the day stands first"),
        (b'date;kg\n2026-03-01;"12\n' + b"x" * 200_000, "line 2: "),
        (b"date;kg;lb\n2026-03-01;12;26\n", "name one by --column"),
    ],
    ids=range(7),
)
def test_what_makes_no_sense_is_refused_with_its_lines(content: bytes, words: str) -> None:
    with pytest.raises(Unreadable, match=words):
        read_notebook(content, today=TODAY)


# --- any shape ----------------------------------------------------------------------------------

SHAPES = (
    lambda day: day.isoformat(),
    lambda day: f"{day.day}.{day.month}.{day.year}",
    lambda day: f"{day:%d.%m.%y}",
    lambda day: f"{day:%A}, {day.day} {day:%B} {day.year}",
    lambda day: f"{day:%b} {day.day}, {day.year}",
    lambda day: f"{day.month}/{day.day}/{day.year}",
    lambda day: f"{day.isoformat()} 18:30",
    lambda day: f"{day:%Y%m%d}",
)
UNIT_GRAMS = {"kg": 1000, "g": 1}


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_kilograms_of_a_day_survive_any_shape(data: st.DataObject) -> None:
    days = data.draw(st.lists(st.integers(0, 400), min_size=1, max_size=8, unique=True))
    grams = data.draw(
        st.lists(st.integers(1, 99_999), min_size=len(days), max_size=len(days), unique=True)
    )
    told = {date(2025, 4, 1) + timedelta(days=n): g for n, g in zip(days, grams, strict=True)}
    shape = data.draw(st.sampled_from(SHAPES))
    separator = data.draw(st.sampled_from(";\t|,"))
    mark = data.draw(st.sampled_from(".,"))
    unit = data.draw(st.sampled_from(["kg", "g"]))
    is_in_cell = data.draw(st.booleans())
    has_headings = data.draw(st.booleans()) or not is_in_cell or shape is SHAPES[-1]
    is_running = data.draw(st.booleans()) and has_headings

    def number(amount: int) -> str:
        text = f"{amount / 1000:.3f}0" if unit == "kg" else str(amount)
        return text.replace(".", mark) + (f" {unit}" if is_in_cell else "")

    def line(*cells: str) -> str:
        return separator.join(f'"{cell}"' if "," in cell or separator == "," else cell
                              for cell in cells)  # fmt: skip

    lines, total = [], 0
    if data.draw(st.booleans()):
        lines += [line("What the bar ground", ""), ""]
    if has_headings:
        lines.append(line("Date", f"coffee {'so far ' if is_running else ''}({unit})"))
    if is_running:
        lines.append(line(shape(min(told) - timedelta(days=1)), number(5)))
        total = 5
    for day in sorted(told):
        total += told[day]
        lines.append(line(shape(day), number(total if is_running else told[day])))
        if data.draw(st.booleans()):
            lines.append(data.draw(st.sampled_from(["", separator, "# a remark"])))
    lines.append(line("Total", number(total)))
    text = data.draw(st.sampled_from(["\n", "\r\n"])).join(lines)
    content = text.encode(data.draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16"])))
    found = read_notebook(
        content,
        Settings(is_day_first=False, is_running_total=is_running),
        today=TODAY,
    )
    assert [one for one in found.left_out if one.is_fault] == []
    if is_running:  # a reading after some days tells of all of them
        assert {one.last: one.grams for one in found.entries} == told
    else:
        assert {one.first: one.grams for one in found.entries} == told
        assert all(one.first == one.last for one in found.entries)


CELLS = st.sampled_from(
    ["2026-03-01", "1.3.", "31.2.2026", "3/1/26", "2026-W60", "99.99.9999", "0/0/0", "1.-7.3.",
     "29.2.-1.1.", "mar 3", "kg", "12,5 kg", "-1", "1,234", "0", "~3", "9" * 50, ".,", "Total",
     "week", "meter", "bar-1", '"', "\0", "2026", "März 2026", "08:30", "", " ", "\n", "#",
     "²", "１"]
)  # fmt: skip


@settings(max_examples=30, deadline=None)
@given(st.lists(st.lists(CELLS, max_size=4), max_size=8), st.sampled_from(";,\t|"), st.booleans())
def test_whatever_a_file_holds_it_is_read_or_refused(
    rows: list[list[str]], separator: str, is_told: bool
) -> None:
    text = "\n".join(separator.join(row) for row in rows)
    told = Settings(True, "kg", 2025, ".", False) if is_told else Settings()
    try:
        found = read_notebook(text.encode(), told, today=TODAY, known_names=NAMES)
    except (Unreadable, Question):
        return
    assert all(one.grams > 0 and one.first <= one.last < TODAY for one in found.entries)


def test_every_name_of_a_month_is_read_with_its_weekday_too() -> None:
    for month, number in MONTHS.items():
        for text in (f"3 {month} 2026", f"{month} 3 2026", f"Mon, 3. {month} 2026"):
            found = days_in(text)
            assert found is not None
            assert (found.first.month, found.first.day, found.first.year) == (number, 3, 2026)


def test_a_first_line_that_is_none_is_told_and_no_heading() -> None:
    for text in ("from 2026-02-01 to 2026-02-07", "am 1.2.26 ff"):
        content = f"date,kg\n{text},30\n2026-02-10,5\n".encode()
        notebook = read_notebook(content, Settings(), today=TODAY, known_names=())
        kilograms = sum(one.grams for one in notebook.entries) / 1000
        faults = [one.line for one in notebook.left_out if one.is_fault]
        assert (kilograms, faults) == ((35, []) if text.startswith("from") else (5, [2]))
