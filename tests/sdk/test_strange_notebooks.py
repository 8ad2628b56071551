"""Notebooks of shapes that are easily read wrong: read right, left out as faults, or asked about.

What a person reads in each was written by hand beside it.
"""

from __future__ import annotations

from datetime import date

import pytest

from burrline._notebook import Notebook, Question, Settings, Unreadable, read_notebook

TODAY = date(2026, 6, 1)
NAMES = ("bar-1", "bar-2", "Standard", "Batch")


def read(text: str, **told: object) -> Notebook:
    settings = Settings(**told)  # type: ignore[arg-type]
    return read_notebook(text.encode(), settings, today=TODAY, known_names=NAMES)


# the notebook; grinder, days and grams of each entry; lines that are faults
READ: list[tuple[str, list[tuple[str | None, str, float]], list[int]]] = [
    (  # numbered days under a month; 31 April is no day
        "Coffee, bar\nMarch 2026;kg\n1;4.25\n2.;3.9\n3;-\n\nApril 2026;kg\n1;4\n31;2\n"
        "Total;14.15\n",
        [(None, "2026-03-01", 4250), (None, "2026-03-02", 3900), (None, "2026-04-01", 4000)],
        [9],
    ),
    (
        "2026-03\nday,weekday,kg\n1,Sun,4.2\n2,Wed,3.9\n",
        [(None, "2026-03-01", 4200)],
        [4],  # 2 March 2026 is a Monday
    ),
    ("März 2026\n31;4 kg\n30;5 kg\n", [(None, "2026-03-30", 5e3), (None, "2026-03-31", 4e3)], []),
    (  # under one title the numbers begin anew: of which month?
        "March 2026\n30;4 kg\n31;5 kg\n1;1 kg\n2;2 kg\n",
        [(None, "2026-03-30", 4e3), (None, "2026-03-31", 5e3)],
        [4, 5],
    ),
    (
        "March 2026\nbar-1\n1;4 kg\n2;5 kg\nGrinder: bar-2\n1;1 kg\n",
        [("bar-1", "2026-03-01", 4e3), ("bar-1", "2026-03-02", 5e3), ("bar-2", "2026-03-01", 1e3)],
        [],
    ),
    (  # nobody knows whose the second part is: it is not added to the first
        "left\n2026-03-01;4 kg\nright\n2026-03-01;1 kg\n2026-03-02;2 kg\n",
        [(None, "2026-03-01", 4e3), (None, "2026-03-02", 2e3)],
        [4],
    ),
    (
        "year;month;day;kg\n2026;3;1;4\n;;2;5\n2026;4;1;6\n",
        [(None, "2026-03-01", 4e3), (None, "2026-03-02", 5e3), (None, "2026-04-01", 6e3)],
        [],
    ),
    (
        "Month;Day;kg\nMarch 2026;1;4\n;2;5\nApril 2026;1;5\n",
        [(None, "2026-03-01", 4e3), (None, "2026-03-02", 5e3), (None, "2026-04-01", 5e3)],
        [],
    ),
    (
        "from;to;kg\n2026-03-01;2026-03-07;30\n2026-03-08;soon;4\n",
        [(None, "2026-03-01 to 2026-03-07", 30e3)],
        [3],
    ),
    (
        "roast date;date;kg\n2026-02-20;2026-03-01;4\n2026-02-20;2026-03-02;5\n",
        [(None, "2026-03-01", 4e3), (None, "2026-03-02", 5e3)],
        [],
    ),
    (  # the year first, of two digits
        "26/03/01,4.2kg\n26/03/02,3.9kg\n",
        [(None, "2026-03-01", 4200), (None, "2026-03-02", 3900)],
        [],
    ),
    (
        "01-03-26,4.2kg\n02-03-26,3.9kg\n13-03-26,4kg\n",
        [(None, "2026-03-01", 4200), (None, "2026-03-02", 3900), (None, "2026-03-13", 4e3)],
        [],
    ),
    (  # 2 March 2026 is a Monday, 3 February 2026 a Tuesday
        "Mon 2/3/2026;4 kg\nTue 3/3/2026;5 kg\n",
        [(None, "2026-03-02", 4e3), (None, "2026-03-03", 5e3)],
        [],
    ),
    (  # marks for "as above": a day, a grinder, an amount; none of them swallows lines
        'date;grinder;kg\n2026-03-01;bar-1;4.2\n";bar-2;3.9\n2026-03-02;";"\n',
        [("bar-1", "2026-03-01", 4200), ("bar-2", "2026-03-01", 3900),
         ("bar-2", "2026-03-02", 3900)],
        [],
    ),
    (
        "date;amount;unit\n2026-03-01;4.2;kg\n2026-03-02;3900;g\n2026-03-03;16;oz\n",
        [(None, "2026-03-01", 4200), (None, "2026-03-02", 3900), (None, "2026-03-03", 453.592)],
        [],
    ),
    (  # a day that goes on over merged cells, and a sum below
        "date;grinder;kg\n2026-03-01;bar-1;4\n;bar-2;1\n;;5\n",
        [("bar-1", "2026-03-01", 4e3), ("bar-2", "2026-03-01", 1e3)],
        [],
    ),
    (  # notes that begin like words for totals; line 5 is one
        "Datum;Bemerkung;kg\n1.11.2025;Allerheiligen;4\n2.11.2025;Sommerfest;5\n3.11.2025;zu;\n"
        "3.11.2025;Summe;9\n",
        [(None, "2025-11-01", 4e3), (None, "2025-11-02", 5e3)],
        [],
    ),
    (  # a line without its day is no less wrong for being short; sums are sums without a word
        "date;kg\n2026-03-01;4\n;3\n2026-03-02;5\n;9\nWeek total;9\n",
        [(None, "2026-03-01", 4e3), (None, "2026-03-02", 5e3)],
        [3],
    ),
    (  # slips of the pen: another year, another month
        "date;kg\n2026-03-01;4\n2016-03-02;4\n2026-03-03;5\n2026-04-04;6\n2026-03-05;4\n",
        [(None, "2026-03-01", 4e3), (None, "2026-03-03", 5e3), (None, "2026-03-05", 4e3)],
        [3, 5],
    ),
    (
        "date;kg;€/kg\n2026-03-01;4;12\n2026-03-02;5;12\n",
        [(None, "2026-03-01", 4e3), (None, "2026-03-02", 5e3)],
        [],
    ),
    (
        "date;target kg;actual kg;waste kg\n2026-03-01;5;4.2;.2\n2026-03-02;5;3.9;.1\n",
        [(None, "2026-03-01", 4200), (None, "2026-03-02", 3900)],
        [],
    ),
    (  # "Standard" is no "stand" of a counter
        "date;Standard kg;Batch kg\n2026-03-01;4;1\n",
        [("Batch", "2026-03-01", 1e3), ("Standard", "2026-03-01", 4e3)],
        [],
    ),
    (
        ",,bar-1,,bar-2,\ndate,,kg,note,kg,note\n2026-03-01,,4,a,1,b\n",
        [("bar-1", "2026-03-01", 4e3), ("bar-2", "2026-03-01", 1e3)],
        [],
    ),
    (
        "Grinders;bar-1;bar-2\nDate;kg;g\n1.3.2026;4;900\n",
        [("bar-1", "2026-03-01", 4e3), ("bar-2", "2026-03-01", 900)],
        [],
    ),
    (  # decimal commas in cells that are parted by commas
        "Datum,kg,Notiz\n1.3.2026,4,2,gut\n2.3.2026,3,9,\n3.3.2026,5,,x\n",
        [(None, "2026-03-03", 5e3)],
        [2, 3],
    ),
    (  # the clock of elsewhere tells no local day
        "time;g\n2026-03-01T23:30:00Z;18\n2026-03-02 08:30;18\n",
        [(None, "2026-03-02", 18)],
        [2],
    ),
    (  # 4,2 kg and 3,9 kg in cells that are parted by commas, without headings
        "2026-03-01,4,2 kg\n2026-03-02,3,9 kg\n2026-03-03,,5 kg\n",
        [(None, "2026-03-03", 5e3)],
        [1, 2],
    ),
    (  # what was delivered is not ground, by its title or beside each line
        "date;kg\n2026-03-01;4\n\nDelivered\ndate;kg\n2026-03-02;20\n",
        [(None, "2026-03-01", 4e3)],
        [6],
    ),
    (
        "date;type;kg\n2026-03-01;delivery;20\n2026-03-01;ground;4\n",
        [(None, "2026-03-01", 4e3)],
        [2],
    ),
    (  # other headings amid the lines: columns that change places, another unit
        "date;kg;note\n2026-03-01;4;x\ndate;note;kg\n2026-03-02;2;5\n"
        "Date;KG;remark\n2026-03-03;6;\n",
        [(None, "2026-03-01", 4e3), (None, "2026-03-03", 6e3)],
        [4],
    ),
    ("date;amount\n;kg\n2026-03-01;4\n;g\n2026-03-02;3\n", [(None, "2026-03-01", 4e3)], [5]),
    (  # grams under a heading of kilograms
        "date;kg\n2026-03-01;4.1\n2026-03-02;3900\n",
        [(None, "2026-03-01", 4100)],
        [3],
    ),
    (  # a grinder in two spellings is one
        "date;grinder;kg\n2026-03-01;bar-1;2\n2026-03-01;Bar-1;2\n",
        [("bar-1", "2026-03-01", 4e3)],
        [],
    ),
    (  # years go back from the line that tells one
        "date;kg\n2.1.;3\n1.1.;2\n31.12.;4\n30.12.2025;5\n",
        [(None, "2025-12-30", 5e3), (None, "2025-12-31", 4e3), (None, "2026-01-01", 2e3),
         (None, "2026-01-02", 3e3)],
        [],
    ),
    (
        "| date | kg |\n|---|---|\n| 2026-03-01 | 4.2 |\n",
        [(None, "2026-03-01", 4200)],
        [],
    ),
]  # fmt: skip


@pytest.mark.parametrize(("text", "entries", "faults"), READ, ids=range(len(READ)))
def test_nothing_is_read_as_what_it_is_not(
    text: str, entries: list[tuple[str | None, str, float]], faults: list[int]
) -> None:
    found = read(text)
    assert [(one.grinder, one.days_words, one.grams) for one in found.entries] == entries
    assert [one.line for one in found.left_out if one.is_fault] == faults


@pytest.mark.parametrize(
    ("text", "question"),
    [
        ("day;kg\n1;4.2\n2;3.9\n", "month"),
        ("March\n1;4.2 kg\n2;3.9 kg\n", "year"),
        ("Date;kg\n46082;4,2\n46083;3,9\n", "is_serial"),
        ("12.03.13;4 kg\n", "is_year_first"),
        ("entered;ground;kg\n2026-03-09;2026-03-01;4\n", "date_column"),
        ("delivery date;kg\n2026-03-01;20\n2026-03-09;20\n", "date_column"),
        # running totals under plain headings: the newest first, few of them, anew each month
        ("date;total kg\n2026-03-02;120\n2026-03-01;104\n", "is_running_total"),
        ("date;kg\n2026-03-01;104\n2026-03-02;110\n2026-03-03;115\n", "is_running_total"),
        ("date;kg\n" + "".join(f"2026-0{m}-{d:02};{d * 4 + m}\n" for m in (3, 4)
                               for d in range(1, 8)), "is_running_total"),
        ("date,amount\n2026-03-01,4.2 kg\n2026-03-02,5\n", "unit"),
    ],
)  # fmt: skip
def test_what_a_strange_notebook_leaves_open_is_asked(text: str, question: str) -> None:
    with pytest.raises(Question) as raised:
        read(text)
    assert raised.value.name == question


def test_the_answers_are_taken() -> None:
    def days(text: str, **told: object) -> list[str]:
        return [one.days_words for one in read(text, **told).entries]

    assert days("day;kg\n1;4.2\n2;3.9\n", month=(2026, 3)) == ["2026-03-01", "2026-03-02"]
    assert days("March\n1;4 kg\n2;3 kg\n", year=2025) == ["2025-03-01", "2025-03-02"]
    # 46082 days after 1899-12-30: ECMA-376 part 1, 18.17.4.1 counts 1 for 1 January 1900 and has
    # a 29 February in that year, so that 61 is 1 March 1900; 46021 days later is 1 March 2026
    assert date(1900, 3, 1).toordinal() + 46082 - 61 == date(2026, 3, 1).toordinal()
    assert days("Date;kg\n46082;4,2\n", is_serial=True) == ["2026-03-01"]
    assert days("12.03.13;4 kg\n", is_year_first=True) == ["2012-03-13"]
    assert days("12.03.13;4 kg\n", is_year_first=False) == ["2013-03-12"]
    two = "entered;ground;kg\n2026-03-09;2026-03-01;4\n"
    assert days(two, date_column="ground") == ["2026-03-01"]
    assert days("2026-03-09;2026-03-01;4 kg\n", date_column="2") == ["2026-03-01"]
    # weeks by their numbers: week 10 of 2026 begins on Monday 2 March (ISO 8601)
    assert days("KW;kg\n10;31\n11;30\n", year=2026) == [
        "2026-03-02 to 2026-03-08",
        "2026-03-09 to 2026-03-15",
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("date;stock kg\n2026-03-01;30\n2026-03-02;26\n", "no column of coffee ground"),
        ("date;dose (g);shots\n2026-03-01;18;220\n2026-03-02;18;210\n", "multiply them first"),
        ("date;lb;oz\n2026-03-01;4;8\n", "more than one column of amounts"),
        ("week;Mon;Tue\n2026-W10;4;5\n2026-W11;4;6\n", "one line for each day"),
        ("shots;kg\n12;4.2\n13;3.9\n", "no line has a date"),
        ("date;kg;date;kg\n2026-03-01;4;2026-03-16;1\n", "side by side"),
        ("date;bags (250 g)\n2026-03-01;2\n2026-03-02;3\n", "counts pieces"),
        ("date;5 lb bags\n2026-03-01;2\n2026-03-02;3\n", "counts pieces"),
        ("date;x100 g\n2026-03-01;42\n2026-03-02;39\n", "counts pieces"),
        ("date;kg\n03.01.2026;4\n03.15.2026;5\n", "line 3: the month stands first"),
        # in January one writes the old year
        ("date;kg\n2025-12-30;4\n2025-12-31;5\n2025-01-01;3\n2025-01-02;4\n",
         "lines 3, 4: after 2025-12-31 comes 2025-01-01"),
    ],
)  # fmt: skip
def test_what_cannot_be_a_days_kilograms_is_refused(text: str, words: str) -> None:
    with pytest.raises(Unreadable, match=words):
        read(text, unit="kg")


def test_pieces_are_not_taken_for_grams_by_a_word_either() -> None:
    with pytest.raises(Unreadable, match=r"'bags \(250 g\)' counts pieces"):
        read("date;bags (250 g);kg\n2026-03-01;2;0.5\n", columns=("bags (250 g)",))
    assert read("date;bags (250 g);kg\n2026-03-01;2;0.5\n").entries[0].grams == 500
