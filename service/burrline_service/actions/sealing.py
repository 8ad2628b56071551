"""Lines of JSON that tell when one of them was lost, cut or altered.

Each line ends with a member ``check``: the CRC-32 of the first line, then the running CRC-32 of
all lines after it, so that a change shows at its own line. The closing line counts the lines of
each kind and carries the SHA-256 of all between the first and itself. The first line stands
apart: it may name an instant, and all others are the same for the same content.
"""

from __future__ import annotations

import json
import zlib
from collections import Counter
from collections.abc import Iterable, Iterator
from hashlib import sha256
from typing import Any

from ..core.errors import ExportDamaged

END = "end"
_CHECK = b',"check":"'
_TAIL_COUNT = len(_CHECK) + 8 + len(b'"}\n')


def sealed(things: Iterable[dict[str, Any]]) -> Iterator[bytes]:
    """Things as lines, each with its ``check``, and the closing line after them."""
    counts: Counter[str] = Counter()
    digest = sha256()
    running = 0
    for number, thing in enumerate(things):
        counts[thing["kind"]] += 1
        body = _text(thing)
        if number == 0:
            yield _with_check(body, zlib.crc32(body))
            continue
        running = zlib.crc32(body, running)
        line = _with_check(body, running)
        digest.update(line)
        yield line
    body = _text(
        {"kind": END, "counts": dict(sorted(counts.items())), "sha256": digest.hexdigest()}
    )
    yield _with_check(body, zlib.crc32(body, running))


def opened(lines: Iterable[bytes]) -> Iterator[tuple[int, dict[str, Any]]]:
    """The things of sealed lines with the number of each line, the closing one left out.

    Raises ExportDamaged, with the number of the line, where something is not as it was written;
    a file that was cut raises it after its last whole line.
    """
    counts: Counter[str] = Counter()
    digest = sha256()
    running = number = 0
    is_closed = False
    for number, line in enumerate(lines, 1):
        if is_closed:
            raise ExportDamaged(number, "stands behind the closing line")
        body, check = line[:-_TAIL_COUNT] + b"}", line[-_TAIL_COUNT:]
        if not line.endswith(b'"}\n'):
            raise ExportDamaged(number, "is not whole; the file was cut here")
        current = zlib.crc32(body, running if number > 1 else 0)
        if check != _tail(current):
            raise ExportDamaged(number, "does not fit its check; it was altered, or one before it")
        thing = _thing(body, number)
        if thing["kind"] == END:
            if thing.get("counts") != dict(counts) or thing.get("sha256") != digest.hexdigest():
                raise ExportDamaged(number, "does not close the lines before it")
            is_closed = True
            continue
        counts[thing["kind"]] += 1
        if number > 1:
            running = current
            digest.update(line)
        yield number, thing
    if not is_closed:
        raise ExportDamaged(number, "is the last one, but not the closing line; the file was cut")


def _text(thing: dict[str, Any]) -> bytes:
    text = json.dumps(thing, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.encode()


def _with_check(body: bytes, check: int) -> bytes:
    return body[:-1] + _tail(check)


def _tail(check: int) -> bytes:
    return _CHECK + b'%08x"}\n' % check


def _thing(body: bytes, number: int) -> dict[str, Any]:
    try:
        thing = json.loads(body)
    except ValueError as error:
        raise ExportDamaged(number, f"is not JSON ({error})") from None
    if not isinstance(thing, dict) or not isinstance(thing.get("kind"), str):
        raise ExportDamaged(number, "is not an object with a kind")
    return thing
