"""The verbs for the dial: ``calibration``, ``compare`` and ``cups``."""

from __future__ import annotations

import argparse

from burrline._calibration_words import calibration_lines, comparison_lines, cups_lines
from burrline._terminal import Verbs, finite, given, instant, tell
from burrline.client import Client


def add(verbs: Verbs) -> None:
    made = verbs.add(
        "calibration", _calibration, "Tell what a step of the dial does, and how to go back."
    )
    made.add_argument("grinder_id", metavar="GRINDER")
    reference = made.add_mutually_exclusive_group()
    reference.add_argument(
        "--d50", dest="reference_d50_micrometres", type=finite, metavar="MICROMETRES",
        help="the D50 to go back to; default that of the first checkpoint that proved it settled",
    )  # fmt: skip
    reference.add_argument(
        "--checkpoint", dest="reference_checkpoint_id", metavar="ID",
        help="the checkpoint whose D50 to go back to",
    )  # fmt: skip
    made.add_argument(
        "--flow", dest="reference_grams_per_second", type=finite, metavar="GRAMS_PER_SECOND",
        help="the flow to go back to",
    )  # fmt: skip
    _add_as_of(made)

    made = verbs.add("compare", _compare, "Set burr sets side by side, the first against others.")
    made.add_argument("burr_set_ids", nargs="+", metavar="BURR_SET")
    made.add_argument(
        "--d50", dest="d50_micrometres", type=finite, metavar="MICROMETRES",
        help="the D50 to compare at; default the mean of the sets' latest ones",
    )  # fmt: skip
    _add_as_of(made)

    made = verbs.add("cups", _cups, "Tell what the cups say before and after settling.")
    made.add_argument("grinder_id", metavar="GRINDER")
    _add_as_of(made)


def _add_as_of(made: argparse.ArgumentParser) -> None:
    made.add_argument(
        "--as-of", type=instant, metavar="INSTANT", help="a past instant; default now"
    )


def _calibration(client: Client, options: argparse.Namespace) -> int:
    asked = given(
        options,
        "reference_d50_micrometres",
        "reference_checkpoint_id",
        "reference_grams_per_second",
        "as_of",
    )
    answer = client.get_calibration(options.grinder_id, **asked)
    return tell(options, answer, calibration_lines(answer))


def _compare(client: Client, options: argparse.Namespace) -> int:
    asked = given(options, "d50_micrometres", "as_of")
    answer = client.compare_burr_sets(options.burr_set_ids, **asked)
    return tell(options, answer, comparison_lines(answer))


def _cups(client: Client, options: argparse.Namespace) -> int:
    answer = client.get_cups(options.grinder_id, **given(options, "as_of"))
    return tell(options, answer, cups_lines(answer))
