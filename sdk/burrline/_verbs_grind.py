"""The verbs for the grind: ``checkpoint add | list | void | summarize`` and ``break-in``."""

from __future__ import annotations

import argparse
from typing import Any

from burrline._break_in_words import break_in_lines, checkpoint_line, table
from burrline._terminal import (
    EX_DATAERR,
    Stop,
    Verbs,
    content_of,
    finite,
    given,
    instant,
    tell,
    tell_all,
    wrong_usage,
)
from burrline._verbs_entries import add_id, void
from burrline.client import Client
from burrline.grind_table import GrindTableRefused, read_grind_table
from burrline.models import SampleSummary

KINDS = {"sieve": "sieve", "laser": "classes", "particles": "particles"}
METHODS = {"sieve": "sieve", "laser": "laser", "particles": "imaging"}
TOLD = (
    "checkpoint_id",
    "ground_at",
    "measured_at",
    "session_id",
    "setting",
    "rpm",
    "burr_grams",
    "instrument_id",
    "sieve_set_id",
    "dispersant",
    "coffee_lot",
    "fines_cut_micrometres",
    "note",
)
TABLES = """\
Each FILE is the table (CSV) of one dose; its first line names the columns:
  --sieve      aperture_micrometres,retained_grams; the pan's row is "pan"
  --laser      edge_micrometres,volume_fraction (or count); one value empty
  --particles  diameter_micrometres
Three doses of 25 g, each ground cool and at one setting, make a good checkpoint."""


def add(verbs: Verbs) -> None:
    made = verbs.add("break-in", _break_in, "Tell how far the burrs in a grinder have broken in.")
    made.add_argument("grinder_id", metavar="GRINDER")
    made.add_argument(
        "--as-of", type=instant, metavar="INSTANT", help="a past instant; default now"
    )

    group = verbs.group("checkpoint", "Record, list or void measurements of the grind.")
    made = group.add("add", _add, "Record the grind, measured in doses.", more=TABLES)
    made.add_argument("grinder_id", metavar="GRINDER")
    _add_tables(made, nargs="+")
    made.add_argument(
        "--at", dest="ground_at", type=instant, metavar="INSTANT",
        help="when the doses were ground: decides the kilograms; default now",
    )  # fmt: skip
    made.add_argument(
        "--measured-at", type=instant, metavar="INSTANT", help="when the sizes were measured"
    )
    made.add_argument("--setting", type=finite, metavar="N", help="the grind setting")
    made.add_argument("--rpm", type=finite, metavar="N", help="speed of the burrs")
    made.add_argument("--lot", dest="coffee_lot", metavar="TEXT", help="which coffee")
    made.add_argument(
        "--dose", dest="dose_grams", type=finite, metavar="GRAMS", help="grams of each dose"
    )
    made.add_argument(
        "--session", dest="session_id", metavar="ID", help="doses measured in one sitting share it"
    )
    made.add_argument("--sieves", dest="sieve_set_id", metavar="ID", help="which set of sieves")
    made.add_argument("--instrument", dest="instrument_id", metavar="ID", help="which instrument")
    made.add_argument("--dispersant", metavar="TEXT", help="what the grounds were dispersed in")
    made.add_argument(
        "--burr-grams", type=finite, metavar="N",
        help="grams through the set by then, where you know better than the recorded runs",
    )  # fmt: skip
    _add_fines_cut(made)
    made.add_argument("--note", metavar="TEXT", help="what else there is to say")
    add_id(made, "checkpoint_id")

    made = group.add("list", _list, "List the checkpoints of a grinder.")
    made.add_argument("grinder_id", metavar="GRINDER")

    made = group.add("void", void, "Take checkpoints out of every answer.")
    made.add_argument("ids", nargs="+", metavar="ID")
    made.set_defaults(kind="checkpoint")

    made = group.add("summarize", _summarize, "Sum up one dose; nothing is kept.", more=TABLES)
    _add_tables(made, nargs=1)
    made.add_argument(
        "--dose", dest="dose_grams", type=finite, metavar="GRAMS", help="grams of the dose"
    )
    _add_fines_cut(made)


def _add_tables(made: argparse.ArgumentParser, *, nargs: int | str) -> None:
    tables = made.add_mutually_exclusive_group(required=True)
    for name in KINDS:
        tables.add_argument(f"--{name}", nargs=nargs, metavar="FILE", help="see below; - is stdin")
    made.add_argument(
        "--decimal-mark",
        choices=(".", ","),
        default=".",
        help="in the tables (default %(default)s)",
    )


def _add_fines_cut(made: argparse.ArgumentParser) -> None:
    made.add_argument(
        "--fines-cut", dest="fines_cut_micrometres", type=finite, metavar="MICROMETRES",
        help="fines are finer than this; default 100",
    )  # fmt: skip


def _tables(options: argparse.Namespace) -> tuple[str, list[dict[str, Any]]]:
    """Which kind of table was given, and the distribution of each file."""
    (name,) = given(options, *KINDS)
    found = []
    for file in getattr(options, name):
        try:
            text = content_of(file).decode("utf-8-sig")
            distribution = read_grind_table(text, decimal_mark=options.decimal_mark)
        except (GrindTableRefused, UnicodeDecodeError) as refused:
            raise Stop(EX_DATAERR, f"burrline: {file}: {refused}") from None
        if distribution["kind"] != KINDS[name]:
            raise wrong_usage(options, f"{file} is no table for --{name}")
        found.append(distribution)
    return name, found


def _add(client: Client, options: argparse.Namespace) -> int:
    name, distributions = _tables(options)
    dose = given(options, "dose_grams")
    checkpoint = client.add_checkpoint(
        options.grinder_id,
        method=METHODS[name],
        replicates=[{**dose, "distribution": distribution} for distribution in distributions],
        **given(options, *TOLD),
    )
    return tell(options, checkpoint, checkpoint_line(checkpoint))


def _list(client: Client, options: argparse.Namespace) -> int:
    found = client.list_checkpoints(options.grinder_id, limit=200)
    return tell_all(options, found, checkpoint_line)


def _summarize(client: Client, options: argparse.Namespace) -> int:
    _, (distribution,) = _tables(options)
    told = given(options, "dose_grams", "fines_cut_micrometres")
    summary = client.summarize_sample(distribution, **told)
    return tell(options, summary, _summary_lines(summary))


def _summary_lines(summary: SampleSummary) -> str:
    sizes = summary.sizes
    numbers = (
        ("D10 um", sizes.d10_micrometres),
        ("D50 um", sizes.d50_micrometres),
        ("D90 um", sizes.d90_micrometres),
        ("span", sizes.span),
        (
            f"finer than {sizes.fines_cut_micrometres:g} um, %",
            None if sizes.fines_fraction is None else 100 * sizes.fines_fraction,
        ),
        ("D[4,3] um", summary.volume_mean_micrometres),
        ("D[3,2] um", summary.surface_mean_micrometres),
    )
    rows = [(name, "-" if value is None else f"{value:.5g}") for name, value in numbers]
    missing = {one.detail for one in (*sizes.missing, *summary.missing)}
    rows += [("missing", detail) for detail in sorted(missing)]
    found = {one.detail for one in (*sizes.findings, *summary.findings)}
    rows += [("finding", detail) for detail in sorted(found)]
    return table(rows)


def _break_in(client: Client, options: argparse.Namespace) -> int:
    answer = client.get_break_in(options.grinder_id, **given(options, "as_of"))
    return tell(options, answer, break_in_lines(answer))
