"""A whole account, line by line."""

from __future__ import annotations

import json
from collections.abc import Iterator
from hashlib import sha256
from typing import Any

import requests

from burrline import errors
from burrline._calls import Calls

MEDIA_TYPE = "application/x-ndjson"
CHUNK_BYTES = 64 * 1024


class Export(Calls):
    """What a client can take away."""

    def export_account(self) -> Iterator[bytes]:
        """Everything the account holds but its keys, as lines of JSON.

        ``with open("account.ndjson", "wb") as file: file.writelines(client.export_account())``
        writes a file that ``burrline-service import`` puts back. Where the answer breaks off, or
        is not closed by its last line, the iterator raises ``TransportError``: what came until
        then is not the whole account.
        """
        response = self._transport.send("GET", "/v1/export", wants="lines").body
        found = response.headers.get("Content-Type", "nothing")
        if found != MEDIA_TYPE:
            response.close()
            raise errors.TransportError(f"the export was answered with {found}, not {MEDIA_TYPE}")
        return _whole(response)


def _whole(response: requests.Response) -> Iterator[bytes]:
    digest = sha256()
    count = 0
    closing: bytes | None = None
    try:
        for line in _lines(response):
            if closing is not None:
                count += 1
                yield closing
                if count > 1:  # the first line stands apart
                    digest.update(closing)
            closing = line
    except requests.RequestException as error:
        raise _broken_off(count, str(error)) from error
    finally:
        response.close()
    if closing is None or not _closes(closing, digest.hexdigest()):
        raise _broken_off(count, "it is not closed by its last line")
    yield closing


def _lines(response: requests.Response) -> Iterator[bytes]:
    rest = b""
    for chunk in response.iter_content(CHUNK_BYTES):
        *lines, rest = (rest + chunk).split(b"\n")
        for line in lines:
            yield line + b"\n"
    if rest:
        yield rest


def _closes(line: bytes, digest: str) -> bool:
    try:
        end: Any = json.loads(line)
    except ValueError:
        return False
    return isinstance(end, dict) and end.get("kind") == "end" and end.get("sha256") == digest


def _broken_off(count: int, detail: str) -> errors.TransportError:
    return errors.TransportError(f"the export broke off after {count} lines: {detail}")
