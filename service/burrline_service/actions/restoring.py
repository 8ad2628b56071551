"""Putting the lines of an export back, one after the other, within one transaction."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from ..store import accounts, entries, incoming, readings, recount, run_inserts, runs, state, sums
from ..store import stream_cells as store_cells
from ..store.database import Connection
from ..store.row_columns import RowColumns, RunRow
from ..store.run_rows import run_key_of
from ..store.sums import Held, Sums
from ..store.types import EPOCH
from .export_lines import ENTRY_KINDS, Thing
from .import_lines import (
    check_all_new,
    check_new,
    entry_row,
    instant,
    instant_or_none,
    milliseconds,
    purpose_number,
    reading_row,
    run_row,
    stream_cells,
)
from .restored_grinder import RestoredGrinder
from .restoring_alerts import put_alert_setting, put_alerts

CHUNK_COUNT = 1000


class Restoring:
    """Takes the things of an export in their order; ``finish`` after the last one."""

    def __init__(self, connection: Connection, account_no: int) -> None:
        self.connection, self.account_no = connection, account_no
        self.sites: dict[str, int] = {}
        self.grinders: dict[str, RestoredGrinder] = {}
        self.sources: dict[str, int] = {}
        self.entry_ids: set[tuple[int, str]] = set()
        self.burr_set_ids: set[str] = set()
        self._waiting: list[Thing] = []
        self._last_no = 0
        self._one_by_one: dict[str, Callable[[Thing], None]] = {
            "header": lambda thing: None,
            "account": self._account,
            "site": self._site,
            "grinder": self._grinder,
            "burr_set": self._burr_set,
            "source": lambda thing: self._new_source(thing["name"]),
            "alert_setting": partial(put_alert_setting, self),
            "archived_hours": self._archived_hours,
            **dict.fromkeys(ENTRY_KINDS, self._entry),
        }
        self._in_chunks: dict[str, Callable[[list[Thing]], None]] = {
            "alert": partial(put_alerts, self),
            "watched": self._watched,
            "reading": self._readings,
            "run": self._runs,
            "archived_run": self._archived_runs,
        }

    def take(self, thing: Thing) -> None:
        waiting = self._waiting
        if waiting and (waiting[0]["kind"] != thing["kind"] or len(waiting) == CHUNK_COUNT):
            self._flush()
        if thing["kind"] in self._in_chunks:
            self._waiting.append(thing)
        else:
            self._one_by_one[thing["kind"]](thing)

    def finish(self) -> None:
        """Work out what other devices make of the runs, and what is kept once per grinder."""
        self._flush()
        for grinder in self.grinders.values():
            self._keep_state(grinder)
        incoming.raise_last_no(self.connection, self.account_no, self._last_no)

    def _flush(self) -> None:
        if self._waiting:
            waiting, self._waiting = self._waiting, []
            self._in_chunks[waiting[0]["kind"]](waiting)

    # --- what stands ----------------------------------------------------------------------------

    def _account(self, thing: Thing) -> None:
        self._last_no = thing["last_no"]

    def _site(self, thing: Thing) -> None:
        check_new(self.sites, thing["site_id"])
        self.sites[thing["site_id"]] = incoming.put_site(
            self.connection,
            self.account_no,
            site_id=thing["site_id"],
            created_at=instant(thing["created_at"]),
            revision=thing["revision"],
            facts=[
                {"effective_at": instant(fact["effective_at"]), "patch": fact["patch"]}
                for fact in thing["facts"]
            ],
        )

    def _grinder(self, thing: Thing) -> None:
        check_new(self.grinders, thing["grinder_id"])
        number = incoming.put_grinder(
            self.connection,
            self.account_no,
            grinder_id=thing["grinder_id"],
            created_at=instant(thing["created_at"]),
            revision=thing["revision"],
            facts=[
                {
                    "effective_at": instant(fact["effective_at"]),
                    "site_no": None if fact["site_id"] is None else self.sites[fact["site_id"]],
                    "patch": fact["patch"],
                }
                for fact in thing["facts"]
            ],
        )
        kept = thing["state"] or {}
        self.grinders[thing["grinder_id"]] = RestoredGrinder(
            number, kept, archived_before=instant_or_none(kept.get("archived_before"))
        )

    def _burr_set(self, thing: Thing) -> None:
        check_new(self.burr_set_ids, thing["burr_set_id"])
        self.burr_set_ids.add(thing["burr_set_id"])
        incoming.put_burr_set(
            self.connection,
            self.account_no,
            burr_set_id=thing["burr_set_id"],
            created_at=instant(thing["created_at"]),
            revision=thing["revision"],
            description=thing["description"],
            voided_at=instant_or_none(thing["voided_at"]),
            fittings=[
                {
                    "grinder_no": self.grinders[fitting["grinder_id"]].number,
                    "fitted_at": instant(fitting["fitted_at"]),
                    "removed_at": instant_or_none(fitting["removed_at"]),
                }
                for fitting in thing["fittings"]
            ],
        )

    def _new_source(self, name: str) -> None:
        check_new(self.sources, name)
        self.sources[name] = accounts.next_no(self.connection, self.account_no)
        state.add_source(self.connection, self.account_no, name, self.sources[name])

    def _entry(self, thing: Thing) -> None:
        grinder = self.grinders[thing["grinder_id"]]
        row = entry_row(thing, grinder.number)
        check_new(self.entry_ids, (row.kind, row.entry_id))
        self.entry_ids.add((row.kind, row.entry_id))
        entries.add(self.connection, self.account_no, row)
        if row.voided_at is not None:
            entries.void(
                self.connection, self.account_no, row.kind, row.entry_id, now=row.voided_at
            )
        if entries.changes_runs(row):
            grinder.is_corrected = True
            if row.voided_at is None:
                grinder.corrections.append(recount.correction_of(row))

    def _source(self, thing: Thing) -> int | None:
        return None if "source" not in thing else self.sources[thing["source"]]

    # --- what was reported ----------------------------------------------------------------------

    def _watched(self, things: list[Thing]) -> None:
        spans = [
            (
                self.grinders[thing["grinder_id"]].number,
                milliseconds(thing["from"]),
                milliseconds(thing["to"]),
            )
            for thing in things
        ]
        readings.add_watched(self.connection, self.account_no, spans)

    def _readings(self, things: list[Thing]) -> None:
        rows = [
            reading_row(thing, self.grinders[thing["grinder_id"]].number, self._source(thing))
            for thing in things
        ]
        keys = [row.reading_key for row in rows]
        check_all_new(keys, readings.known(self.connection, self.account_no, keys))
        readings.add(self.connection, self.account_no, rows)

    def _runs(self, things: list[Thing]) -> None:
        rows = []
        for thing in things:
            grinder = self.grinders[thing["grinder_id"]]
            row = run_row(thing, grinder.number, self._source(thing))
            grinder.sources.add(row.source_no or 0)
            rows.append(recount.corrected(row, thing.get("source") or "", grinder.corrections))
        keys = [row.run_key for row in rows]
        check_all_new(keys, runs.fingerprints(self.connection, self.account_no, keys))
        run_inserts.add(self.connection, self.account_no, RowColumns.of(rows))

    def _archived_hours(self, thing: Thing) -> None:
        """Take over the sums of archived runs, and what counts of those left beside them."""
        grinder = self.grinders[thing["grinder_id"]]
        archived_before = instant(thing["archived_before"])
        grinder.archived_before = max(grinder.archived_before or EPOCH, archived_before)
        if thing["names"] != list(Sums._fields):
            raise ValueError(f"sums of {thing['names']} are not known")
        hours = {
            (hour, purpose_number(purpose)): Sums(*counted)
            for hour, purpose, *counted in thing["sums"]
        }
        sums.add_hours(self.connection, self.account_no, grinder.number, hours)
        store_cells.put_archived(
            self.connection, self.account_no, grinder.number, stream_cells(thing, self.sources)
        )
        before = []
        after = []
        for run_id, part in thing["kept_runs"]:
            row = runs.by_key(self.connection, self.account_no, run_key_of(run_id))
            if row is not None:  # else it came after its page of runs was written
                grinder.kept.add(row.run_key)
                before.append(row)
                after.append(row._replace(part=part))
        recount.replace(
            self.connection,
            self.account_no,
            grinder.number,
            before=before,
            after=after,
            is_shared=False,
        )

    def _archived_runs(self, things: list[Thing]) -> None:
        """Remember the ids; a run that was archived while the export ran is in its sums already."""
        seen = {
            bytes.fromhex(thing["run_key"]): bytes.fromhex(thing["fingerprint"]) for thing in things
        }
        by_number = {grinder.number: grinder for grinder in self.grinders.values()}
        moved: list[RunRow] = []
        for key in runs.fingerprints(self.connection, self.account_no, seen):
            row = runs.by_key(self.connection, self.account_no, key)
            if row is None:
                raise ValueError(f"archived run {key.hex()} comes twice")
            grinder = by_number[row.grinder_no]
            is_counted_by_sums = (
                grinder.archived_ms is not None
                and row.started_ms < grinder.archived_ms
                and key not in grinder.kept
            )
            if is_counted_by_sums:
                moved.append(row)
            else:
                del seen[key]  # archived after its hours were written: here it is still a run
        sums.add(self.connection, self.account_no, moved, sign=-1)
        incoming.drop_runs(self.connection, self.account_no, [row.run_key for row in moved])
        incoming.add_seen(self.connection, self.account_no, seen.items())

    def _keep_state(self, grinder: RestoredGrinder) -> None:
        kept = grinder.state
        if not kept and not grinder.sources and not grinder.is_corrected:
            return
        name = kept.get("first_source")
        first = None if name is None else self.sources[name] if name else 0
        if first is None:
            first = min(grinder.sources, default=None)
        is_shared = bool(kept.get("is_shared")) or len(grinder.sources | {first}) > 1
        if is_shared:
            incoming.share_out(
                self.connection, self.account_no, grinder.number, from_ms=grinder.archived_ms
            )
        incoming.put_state(
            self.connection,
            self.account_no,
            Held(
                grinder_no=grinder.number,
                first_source_no=first,
                is_shared=is_shared,
                is_corrected=bool(kept.get("is_corrected")) or grinder.is_corrected,
            ),
            revision=kept.get("revision", 1),
            archived_before=grinder.archived_before,
        )
