"""From a file's bytes to rows of cells: encoding, separator, lines."""

from __future__ import annotations

import codecs
import csv
import io
import re
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

SEPARATORS = {"\t": "tab", ";": "semicolon", "|": "bar", ",": "comma"}
"""In the order in which they win where more than one makes sense."""
_DASHES = dict.fromkeys(map(ord, "\u2010\u2011\u2012\u2013\u2014\u2212"), "-")
_SPACES = dict.fromkeys(map(ord, "\u00a0\u2007\u2009\u202f"), " ")


DITTO = "\u3003"
_DITTO_CELLS = (
    "''", '-"-', '"-"', '- " -', '""', '"', "\u201d", "\u201c", "\u201e", "ditto", "dito", "idem",
)  # fmt: skip
DITTOS = frozenset({DITTO, *_DITTO_CELLS})


class Unreadable(ValueError):
    """The notebook cannot be understood; ``lines`` are those it shows in."""

    def __init__(self, detail: str, lines: Sequence[int] = ()) -> None:
        shown = ", ".join(map(str, lines[:6])) + (", ..." if len(lines) > 6 else "")
        where = f"line{'s' if len(lines) > 1 else ''} {shown}: " if lines else ""
        super().__init__(where + detail)
        self.lines = tuple(lines)


class Question(ValueError):
    """What only a person can tell: ``name`` of the setting, what may be answered, the flags."""

    def __init__(self, name: str, text: str, answers: Sequence[str], flags: str) -> None:
        super().__init__(f"{text} (say {flags})")
        self.name, self.text, self.answers = name, text, tuple(answers)


@dataclass(frozen=True)
class Row:
    """One line (or more, where a quoted cell has line breaks) as its cells."""

    line: int
    cells: tuple[str, ...]
    has_ditto: bool = False
    """Whether a mark in it stood for what is written above."""

    def cell(self, column: int | None) -> str:
        return self.cells[column] if column is not None and column < len(self.cells) else ""

    @property
    def filled(self) -> tuple[str, ...]:
        return tuple(one for one in self.cells if one)

    @property
    def text(self) -> str:
        return " | ".join(self.filled)


def text_of(content: bytes) -> tuple[str, str]:
    """The text and the name of the encoding it was in.

    >>> text_of("Müsli".encode("utf-16")), text_of("März".encode("latin-1"))
    (('Müsli', 'UTF-16'), ('März', 'Windows-1252'))
    """
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        names = [("utf-16", "UTF-16")]
    elif content[1:2] == b"\0" or content[:1] == b"\0":
        names = [("utf-16-le" if content[1:2] == b"\0" else "utf-16-be", "UTF-16")]
    else:
        names = [("utf-8-sig", "UTF-8"), ("cp1252", "Windows-1252"), ("latin-1", "Latin-1")]
    for codec, name in names:
        try:
            text = content.decode(codec)
        except UnicodeDecodeError:
            continue
        if "\0" in text:
            break
        return text, name
    raise Unreadable("is no text: export the notebook as CSV first")


def rows_of(text: str, separator: str) -> list[Row]:
    """The lines that say something; those that begin with # do not."""
    found: list[Row] = []
    begins = 1
    marked = with_dittos(text, separator)
    table = csv.reader(io.StringIO(marked, newline=""), delimiter=separator, skipinitialspace=True)
    try:
        for cells in table:
            row = _undittoed(Row(begins, tuple(map(tidy, cells))), found[-1] if found else None)
            begins = table.line_num + 1
            is_ruled = all(re.fullmatch(r"[-=_:+]{3,}", one) for one in row.filled)
            if not is_ruled and not row.filled[0].startswith("#"):
                found.append(row)
    except csv.Error as error:
        raise Unreadable(str(error), [begins]) from None
    return found


def with_dittos(text: str, separator: str) -> str:
    """Cells that are one quotation mark alone begin no quoted cell: they mean "as above".

    >>> with_dittos('1.3.;"a;";4\\n";b;"', ";")
    '1.3.;"a;";4\\n\u3003;b;\u3003'
    """
    if f'"{separator}' not in text and '"\n' not in text and not text.endswith('"'):
        return text
    pattern = re.compile(
        # a quoted cell, or a mark alone, or anything else up to the next cell
        rf'(?P<mark>"(?=[ \t]*(?:{re.escape(separator)}|\r?\n|\Z)))'
        rf'|"(?:[^"]|"")*"|[^{re.escape(separator)}\n]+|[{re.escape(separator)}\n]'
    )
    made, at, begins_cell = [], 0, True
    while at < len(text):
        found = pattern.match(text, at)
        if found is None or (found["mark"] and not begins_cell):
            made.append(text[at])
            at += 1
            begins_cell = False
            continue
        said = found[0]
        made.append(DITTO if found["mark"] else said)
        begins_cell = said in (separator, "\n") or (begins_cell and not said.strip())
        at = found.end()
    return "".join(made)


def _undittoed(row: Row, above: Row | None) -> Row:
    if above is None or not any(plain(one) in DITTOS for one in row.cells):
        return row
    cells = tuple(above.cell(n) if plain(one) in DITTOS else one for n, one in enumerate(row.cells))
    return Row(row.line, cells, True)


def best_split(text: str, score_of: Callable[[list[Row]], int]) -> tuple[str, list[Row]]:
    """The separator under which most rows make sense, and those rows."""
    best: tuple[int, str, list[Row]] | None = None
    for separator in SEPARATORS:
        if separator not in text:
            continue
        rows = rows_of(text, separator)
        score = score_of(rows)
        if best is None or score > best[0]:
            best = (score, separator, rows)
    if best is None or not best[0]:
        raise Unreadable("no line has a date in one cell and an amount in another")
    return best[1], best[2]


def tidy(cell: str) -> str:
    """A cell with plain dashes and spaces, nothing at its ends, no line breaks."""
    if cell.isascii():
        return " ".join(cell.split())
    text = unicodedata.normalize("NFC", cell).translate(_DASHES).translate(_SPACES)
    return " ".join(text.split())


@lru_cache(maxsize=100_000)  # every cell is looked at more than once
def plain(text: str) -> str:
    """Lower case without accents, for comparing words.

    >>> plain("  Mühle  Épicée ")
    'muhle epicee'
    """
    if text.isascii():
        return tidy(text).lower()
    parts = unicodedata.normalize("NFKD", tidy(text).casefold())
    return "".join(one for one in parts if not unicodedata.combining(one))
