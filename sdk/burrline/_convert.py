"""Between Python and JSON: instants, ids, request bodies, and readers for the models.

A reader takes a value out of an answer and a name for it, and returns it typed or raises
``ValueError`` naming the place. The generated models are built from these.
"""

from __future__ import annotations

import dataclasses
import re
import secrets
from collections.abc import Callable, Collection, Iterable, Mapping
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from numbers import Integral, Real
from typing import Any, TypeVar

T = TypeVar("T")
Reader = Callable[[object, str], T]

_INSTANT = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt](\d\d):(\d\d):(\d\d)(?:\.(\d{1,9}))?(?:([Zz])|([+-])(\d\d):(\d\d))",
    re.ASCII,
)


class Model:
    """Base of the generated models; ``extra`` keeps the fields this release does not know."""

    __slots__ = ()

    def to_json(self) -> dict[str, Any]:
        """The model as the JSON object it was read from; an absent value is ``None``."""
        answer: dict[str, Any] = {}
        for one in dataclasses.fields(self):  # type: ignore[arg-type]
            if one.name not in ("extra", "etag"):
                answer[one.metadata.get("json", one.name)] = to_json(getattr(self, one.name))
        answer.update(getattr(self, "extra", {}))
        return answer


class Unset:
    """The type of ``UNSET``: tells an argument left out from one that is ``None``."""

    def __repr__(self) -> str:
        return "UNSET"


UNSET = Unset()


def parse_instant(text: str) -> datetime:
    """An RFC 3339 instant as an aware UTC datetime; digits below a microsecond are dropped.

    Source: RFC 3339 section 5.6; a leap second (``:60``) is read as the second before it.

    >>> parse_instant("2026-03-01T09:30:00.250+01:00")
    datetime.datetime(2026, 3, 1, 8, 30, 0, 250000, tzinfo=datetime.timezone.utc)
    """
    found = _INSTANT.fullmatch(text)
    if found is None:
        raise ValueError(f"not an RFC 3339 instant with an offset: {text!r}")
    year, month, day, hour, minute, second = (int(found[n]) for n in range(1, 7))
    micros = int((found[7] or "0")[:6].ljust(6, "0"))
    local = datetime(year, month, day, hour, minute, min(second, 59), micros, timezone.utc)
    if second > 60:
        raise ValueError(f"no such second: {text!r}")
    if found[8]:
        return local
    if int(found[10]) > 23 or int(found[11]) > 59:
        raise ValueError(f"no such offset: {text!r}")
    offset = timedelta(hours=int(found[10]), minutes=int(found[11]))
    try:
        return local - offset if found[9] == "+" else local + offset
    except OverflowError:
        raise ValueError(f"out of range: {text!r}") from None


def format_instant(instant: datetime) -> str:
    """An aware datetime as RFC 3339 in UTC with milliseconds (more digits are cut off).

    >>> format_instant(datetime(2026, 3, 1, 8, 30, tzinfo=timezone.utc))
    '2026-03-01T08:30:00.000Z'
    """
    if instant.utcoffset() is None:
        raise ValueError(f"{instant!r} has no time zone; burrline takes aware datetimes only")
    text = instant.astimezone(timezone.utc).isoformat(timespec="milliseconds")
    return text.removesuffix("+00:00") + "Z"


def uuid7(unix_milliseconds: int, rand_a: int, rand_b: int) -> str:
    """A UUID version 7 of a time and 12 + 62 random bits, lower case, 36 characters.

    Source: RFC 9562 section 5.7; its example A.6:

    >>> uuid7(0x017F22E279B0, 0xCC3, 0x18C4DC0C0C07398F)
    '017f22e2-79b0-7cc3-98c4-dc0c0c07398f'
    """
    value = (
        (unix_milliseconds & (1 << 48) - 1) << 80
        | 0x7 << 76
        | (rand_a & (1 << 12) - 1) << 64
        | 0b10 << 62
        | rand_b & (1 << 62) - 1
    )
    digits = f"{value:032x}"
    return "-".join((digits[:8], digits[8:12], digits[12:16], digits[16:20], digits[20:]))


def new_run_id(now: datetime | None = None) -> str:
    """A fresh run id: a UUID version 7 of this instant. Keep it and send it with every try."""
    moment = now or datetime.now(timezone.utc)
    return uuid7(int(moment.timestamp() * 1000), secrets.randbits(12), secrets.randbits(62))


def to_json(value: object) -> Any:
    """A Python value as JSON-ready lists, dicts, strings and numbers."""
    if value is None or isinstance(value, (str, bool)):
        return value
    if isinstance(value, Model):
        return value.to_json()
    if isinstance(value, datetime):
        return format_instant(value)
    if isinstance(value, Integral):
        return int(value)
    if isinstance(value, (Real, Decimal)):
        number = float(value)
        if number != number or number in (float("inf"), float("-inf")):
            raise ValueError(f"{number} is not a number that can be sent")
        return number
    if isinstance(value, Mapping):
        return {str(name): to_json(one) for name, one in value.items()}
    if isinstance(value, (set, frozenset)):
        return sorted((to_json(one) for one in value), key=str)
    if isinstance(value, Iterable) and not isinstance(value, (bytes, bytearray)):
        return [to_json(one) for one in value]
    raise TypeError(f"{type(value).__name__} cannot be sent as JSON")


def body_of(given: Mapping[str, Any] | Model | None, named: Mapping[str, Any]) -> dict[str, Any]:
    """A request body from a mapping or model and named values; ``UNSET`` ones are left out.

    The ``None`` fields of a model are left out too: there they mean "not known". In a mapping
    and among the named values ``None`` is sent as null.
    """
    body: dict[str, Any] = {}
    if isinstance(given, Model):
        body = without_nulls(given.to_json())
    elif given is not None:
        body = {name: to_json(one) for name, one in given.items() if one is not UNSET}
    for name, one in named.items():
        if one is not UNSET:
            body[name] = without_nulls(one.to_json()) if isinstance(one, Model) else to_json(one)
    return body


def without_nulls(value: Any) -> Any:
    """The same JSON without the null members of its objects."""
    if isinstance(value, dict):
        return {name: without_nulls(one) for name, one in value.items() if one is not None}
    if isinstance(value, list):
        return [without_nulls(one) for one in value]
    return value


class Fields:
    """The members of one JSON object, taken out one by one; what nobody took is the rest."""

    def __init__(self, answer: object, where: str) -> None:
        if not isinstance(answer, Mapping):
            raise ValueError(f"{where} should be an object, is {_kind(answer)}")
        self._members, self._where, self._taken = answer, where, set[str]()

    def need(self, name: str, read: Reader[T]) -> T:
        self._taken.add(name)
        where = f"{self._where}.{name}"
        if name not in self._members:
            raise ValueError(f"{where} is missing")
        return read(self._members[name], where)

    def maybe(self, name: str, read: Reader[T]) -> T | None:
        self._taken.add(name)
        value = self._members.get(name)
        return None if value is None else read(value, f"{self._where}.{name}")

    def rest(self) -> dict[str, Any]:
        return {name: one for name, one in self._members.items() if name not in self._taken}


def text(value: object, where: str) -> str:
    if isinstance(value, str):
        return value
    raise ValueError(f"{where} should be a string, is {_kind(value)}")


def number(value: object, where: str) -> float:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return float(value)
    raise ValueError(f"{where} should be a number, is {_kind(value)}")


def integer(value: object, where: str) -> int:
    if isinstance(value, int) and not isinstance(value, bool):
        return value
    if isinstance(value, float) and value.is_integer():
        return int(value)
    raise ValueError(f"{where} should be a whole number, is {_kind(value)}")


def flag(value: object, where: str) -> bool:
    if isinstance(value, bool):
        return value
    raise ValueError(f"{where} should be true or false, is {_kind(value)}")


def instant(value: object, where: str) -> datetime:
    try:
        return parse_instant(text(value, where))
    except ValueError as error:
        raise ValueError(f"{where}: {error}") from None


def choice(value: object, where: str) -> Any:
    """One of a fixed list; a value a later service added is kept, not refused."""
    if isinstance(value, (str, int)):
        return value
    raise ValueError(f"{where} should be a string or whole number, is {_kind(value)}")


def anything(value: object, where: str) -> Any:
    return value


def nullable(read: Reader[T]) -> Reader[T | None]:
    return lambda value, where: None if value is None else read(value, where)


def listed(read: Reader[T]) -> Reader[tuple[T, ...]]:
    def read_list(value: object, where: str) -> tuple[T, ...]:
        if not isinstance(value, Collection) or isinstance(value, (str, Mapping)):
            raise ValueError(f"{where} should be a list, is {_kind(value)}")
        return tuple(read(one, f"{where}[{index}]") for index, one in enumerate(value))

    return read_list


def mapped(read: Reader[T]) -> Reader[dict[str, T]]:
    def read_map(value: object, where: str) -> dict[str, T]:
        if not isinstance(value, Mapping):
            raise ValueError(f"{where} should be an object, is {_kind(value)}")
        return {str(name): read(one, f"{where}.{name}") for name, one in value.items()}

    return read_map


def _kind(value: object) -> str:
    return "null" if value is None else type(value).__name__
