"""Amounts as people write them: decimal comma or point, grouped thousands, units."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from burrline._notebook_cells import plain

GRAMS = {
    "kg": Decimal(1000),
    "g": Decimal(1),
    "lb": Decimal("453.59237"),
    "oz": Decimal("28.349523125"),
}
"""The pound: exactly 0.45359237 kg by the international agreement of 1959 (NIST SP 811, B.6); the
ounce is a sixteenth of it (NIST Handbook 44, appendix C)."""
_UNITS = {
    "kg": "kg kgs kilo kilos kilogram kilograms kilogramm kilogramme kilogrammes kilogramo "
    "kilogramos chilo chili chilogrammi kg/day kg/tag",
    "g": "g gr gram grams gramm gramme grammes gramo gramos grammi",
    "lb": "lb lbs pound pounds",
    "oz": "oz ounce ounces",
}
UNITS = {word: unit for unit, words in _UNITS.items() for word in words.split()}
_ABOUT = r"(?P<about>~|≈|ca\.?|about|approx\.?|circa|env\.?|etwa)?"
_AMOUNT = re.compile(
    rf"{_ABOUT} ?(?:(?P<before>[a-z]+)\.? )?(?P<sign>-)?(?P<number>\d[\d.,' ’]*?|[.,]\d+)"
    r" ?(?P<unit>[a-z/]+)?\.?"
)


@dataclass(frozen=True)
class Amount:
    """A cell's number as written, its unit if it has one, whether it says "about"."""

    number: str
    unit: str | None
    is_about: bool
    is_negative: bool


@lru_cache(maxsize=100_000)  # every cell is looked at more than once
def amount_in(text: str) -> Amount | None:
    """What a cell says of an amount, or None where it is none.

    >>> amount_in("12,5 kg")
    Amount(number='12,5', unit='kg', is_about=False, is_negative=False)
    >>> amount_in(".5 kg").number, amount_in("kg. .5").number
    ('.5', '.5')
    >>> amount_in("12 shots") is None, amount_in("kg 4") == amount_in("4 kg")
    (True, True)
    """
    found = _AMOUNT.fullmatch(plain(text))
    if found is None:
        return None
    unit = None
    for word in (found["before"], found["unit"]):
        if word is not None:
            if word not in UNITS or unit is not None:
                return None
            unit = UNITS[word]
    number = found["number"].rstrip(" ").replace("’", "'")
    return Amount(number, unit, found["about"] is not None, found["sign"] is not None)


def unit_in(heading: str) -> str | None:
    """The one unit that a heading names.

    >>> unit_in("Kaffee (kg)"), unit_in("kg or lb"), unit_in("grinder")
    ('kg', None, None)
    """
    words = re.split(r"[^a-z/]+", plain(heading))
    units = {UNITS[word] for word in words if word in UNITS}
    return units.pop() if len(units) == 1 else None


def mark_of(number: str) -> str | None:
    """The decimal mark that a number shows; "" where it has none, None where nobody can tell.

    >>> [mark_of(one) for one in ("12,5", "1.234,5", "1'234.50", "12", "1.234.567", "1,234")]
    [',', ',', '.', '', '', None]
    """
    marks = [one for one in number if one in ".,"]
    if not marks:
        return ""
    if len(set(marks)) == 2:
        return marks[-1]
    if len(marks) > 1:
        return ""
    before, _, after = number.partition(marks[0])
    is_grouping_possible = len(after) == 3 and 1 <= len(before) <= 3 and before != "0"
    if is_grouping_possible and "'" not in number and " " not in number:
        return None if not before.startswith("0") else marks[0]
    return marks[0]


def common_mark(numbers: Iterable[str]) -> str | None:
    """The one mark that a column's numbers show; None where they show none, or both.

    A number of grouped thousands shows that the other mark would be the decimal one.
    """
    shown = set()
    for number in numbers:
        mark = mark_of(number)
        if mark == "" and {".", ","} & set(number):
            mark = "," if "." in number else "."
        if mark:
            shown.add(mark)
    return shown.pop() if len(shown) == 1 else None


def value_of(number: str, mark: str | None) -> Decimal:
    """The number's value; ``mark`` is the decimal mark where the number itself does not tell.

    >>> value_of("1.234,5", None), value_of("1,234", ","), value_of("1,234", ".")
    (Decimal('1234.5'), Decimal('1.234'), Decimal('1234'))

    ``ValueError``: grouped in another way than by thousands.
    """
    own = mark_of(number)
    decimal = mark if own is None else own
    whole, found, part = number.rpartition(decimal) if decimal else (number, "", "")
    if not found:
        whole, part = number, ""
    groups = re.split(r"[.,' ]", whole) if whole else [""]
    if len(groups) > 1 and (
        any(len(one) != 3 for one in groups[1:]) or not 1 <= len(groups[0]) <= 3
    ):
        raise ValueError(f"{number!r} is not a number")
    if not part.isdigit() and part:
        raise ValueError(f"{number!r} is not a number")
    if found and not part:
        raise ValueError(f"{number!r} is not a number")
    return Decimal(f"{''.join(groups) or '0'}.{part or '0'}").normalize() + 0
