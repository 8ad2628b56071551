"""The verb ``export``: a whole account to standard output."""

from __future__ import annotations

import argparse
import sys

from burrline._terminal import EX_OK, Verbs
from burrline.client import Client


def add(verbs: Verbs) -> None:
    verbs.add("export", _export, "Write the whole account to standard output.", has_json=False)


def _export(client: Client, options: argparse.Namespace) -> int:
    """Every line as it comes; where the last one is missing, an error tells so."""
    sys.stdout.buffer.writelines(client.export_account())
    sys.stdout.buffer.flush()
    return EX_OK
