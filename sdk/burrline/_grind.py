"""The grind: samples summed up, checkpoints of a burr set, how far it has settled."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from burrline._calls import Calls, encode, path_of
from burrline._convert import body_of
from burrline._http import Answer
from burrline._paging import Page
from burrline._places import Given, known
from burrline.models import (
    BreakInAnswer,
    Calibration,
    Checkpoint,
    CheckpointWithSamples,
    Cups,
    SampleSummary,
    SetComparison,
)


class Grind(Calls):
    """The operations on the grind."""

    def summarize_sample(
        self,
        distribution: Given,
        *,
        dose_grams: float | None = None,
        fines_cut_micrometres: float | None = None,
    ) -> SampleSummary:
        """All that one distribution tells; nothing is kept.

        ``distribution`` has a ``kind``: ``sieve``, ``classes``, ``particles`` or ``percentiles``.
        """
        named = {
            "distribution": distribution,
            "dose_grams": dose_grams,
            "fines_cut_micrometres": fines_cut_micrometres,
        }
        content = encode(body_of(None, known(named)))
        answer = self._transport.send(
            "POST",
            "/v1/grind-samples/summary",
            body=lambda elapsed_seconds: content,
            is_harmless=True,
        )
        return self._read(answer, lambda one: SampleSummary.from_json(one.body))

    def add_checkpoint(
        self,
        grinder_id: str,
        *,
        method: str,
        replicates: Iterable[Given],
        checkpoint_id: str | None = None,
        ground_at: datetime | None = None,
        measured_at: datetime | None = None,
        session_id: str | None = None,
        setting: float | None = None,
        rpm: float | None = None,
        burr_grams: float | None = None,
        instrument_id: str | None = None,
        sieve_set_id: str | None = None,
        dispersant: str | None = None,
        coffee_lot: str | None = None,
        fines_cut_micrometres: float | None = None,
        note: str | None = None,
    ) -> CheckpointWithSamples:
        """Record the grind, measured in doses ground at an instant (left out, now).

        Each replicate has a ``distribution`` and perhaps ``dose_grams`` and ``ground_at``. The
        kilograms are counted from the runs unless ``burr_grams`` tells them. The same checkpoint
        under its ``checkpoint_id`` again is once; another one raises ``Conflict``.
        """
        named = {
            "checkpoint_id": checkpoint_id,
            "ground_at": ground_at,
            "measured_at": measured_at,
            "session_id": session_id,
            "setting": setting,
            "rpm": rpm,
            "burr_grams": burr_grams,
            "method": method,
            "instrument_id": instrument_id,
            "sieve_set_id": sieve_set_id,
            "dispersant": dispersant,
            "coffee_lot": coffee_lot,
            "fines_cut_micrometres": fines_cut_micrometres,
            "note": note,
            "replicates": [body_of(one, {}) for one in replicates],
        }
        path = path_of("/v1/grinders/{}/checkpoints", grinder_id)
        return self._post(path, _checkpoint, body_of(None, known(named)))

    def list_checkpoints(
        self,
        grinder_id: str,
        *,
        from_at: datetime | None = None,
        to_at: datetime | None = None,
        limit: int | None = None,
        cursor: str | None = None,
    ) -> Page[Checkpoint]:
        """The checkpoints of a grinder ground in [``from_at``, ``to_at``), without samples."""
        return self._list(
            path_of("/v1/grinders/{}/checkpoints", grinder_id),
            Checkpoint.from_json,
            {"from": from_at, "to": to_at},
            limit=limit,
            cursor=cursor,
        )

    def get_checkpoint(self, checkpoint_id: str) -> CheckpointWithSamples:
        """A checkpoint with every distribution as it was sent."""
        return self._get(path_of("/v1/checkpoints/{}", checkpoint_id), _checkpoint)

    def void_checkpoint(self, checkpoint_id: str) -> CheckpointWithSamples:
        """Let a checkpoint never have been measured."""
        return self._post(path_of("/v1/checkpoints/{}/void", checkpoint_id), _checkpoint)

    def get_break_in(self, grinder_id: str, *, as_of: datetime | None = None) -> BreakInAnswer:
        """How far the burrs in a grinder have broken in, now or at a past instant."""
        path = path_of("/v1/grinders/{}/break-in", grinder_id)
        return self._get(path, lambda one: BreakInAnswer.from_json(one.body), {"as_of": as_of})

    def get_calibration(
        self,
        grinder_id: str,
        *,
        reference_d50_micrometres: float | None = None,
        reference_checkpoint_id: str | None = None,
        reference_grams_per_second: float | None = None,
        as_of: datetime | None = None,
    ) -> Calibration:
        """What a step of the dial does, and where to turn it to go back to a reference.

        Left out, the reference is the first checkpoint that proved the burr set settled.
        """
        query = {
            "reference_d50_micrometres": reference_d50_micrometres,
            "reference_checkpoint_id": reference_checkpoint_id,
            "reference_grams_per_second": reference_grams_per_second,
            "as_of": as_of,
        }
        path = path_of("/v1/grinders/{}/calibration", grinder_id)
        return self._get(path, lambda one: Calibration.from_json(one.body), query)

    def compare_burr_sets(
        self,
        burr_set_ids: Iterable[str],
        *,
        d50_micrometres: float | None = None,
        as_of: datetime | None = None,
    ) -> SetComparison:
        """Two to six burr sets side by side, at an equal D50 where their dials were measured."""
        query = {
            "burr_set_ids": ",".join(burr_set_ids),
            "d50_micrometres": d50_micrometres,
            "as_of": as_of,
        }
        path = "/v1/burr-set-comparison"
        return self._get(path, lambda one: SetComparison.from_json(one.body), query)

    def get_cups(self, grinder_id: str, *, as_of: datetime | None = None) -> Cups:
        """Extraction and shot times before and after the burrs settled: evidence, no verdict."""
        path = path_of("/v1/grinders/{}/cups", grinder_id)
        return self._get(path, lambda one: Cups.from_json(one.body), {"as_of": as_of})


def _checkpoint(answer: Answer) -> CheckpointWithSamples:
    return CheckpointWithSamples.from_json(answer.body)
