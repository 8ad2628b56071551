"""What somebody should look at before a notebook's days are recorded."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from burrline import errors
from burrline._import_plan import NEW, Step, version_of
from burrline.client import Client
from burrline.models import Tally


def cautions_of(
    client: Client, grinder_id: str, steps: Sequence[Step], tallies: Sequence[Tally]
) -> Iterator[str]:
    """Of one grinder's steps, held against the tallies that are recorded."""
    new = [step for step in steps if step.outcome == NEW]
    if new and (count := days_with_runs(client, grinder_id, new)):
        yield (
            f"{grinder_id} has runs on {count} of these days: the notebook's grams count beside "
            "theirs"
        )
    untold = _no_longer_told(grinder_id, steps, tallies)
    if untold:
        first = untold[0]
        more = f" and {len(untold) - 1} more" if untold[1:] else ""
        yield (
            f"{first.tally_id} ({first.grams / 1000:g} kg){more} was recorded of a day that no "
            "line tells any more, and counts: where the notebook was mended, take it out by "
            f"'burrline void --tally {first.tally_id}'"
        )


def _no_longer_told(
    grinder_id: str, steps: Sequence[Step], tallies: Sequence[Tally]
) -> list[Tally]:
    """A notebook's tallies between the days of this one that it does not tell."""
    from_at = min(step.fields["from_at"] for step in steps)
    to_at = max(step.fields["to_at"] for step in steps)
    told = {version_of(step.fields["tally_id"])[0] for step in steps}
    return [
        tally
        for tally in tallies
        if tally.voided_at is None
        and from_at <= tally.from_at
        and tally.to_at <= to_at
        and tally.tally_id.startswith(f"notebook:{grinder_id}:")
        and version_of(tally.tally_id)[0] not in told
    ]


def days_with_runs(client: Client, grinder_id: str, steps: Sequence[Step]) -> int:
    """On how many of these days runs are recorded too; their grams count beside a notebook's."""
    try:
        history = client.get_throughput(
            grinder_id,
            by="day",
            from_at=min(step.fields["from_at"] for step in steps),
            to_at=max(step.fields["to_at"] for step in steps),
        )
    except errors.ClientError as error:
        if isinstance(error, (errors.AuthenticationError, errors.RateLimited)):
            raise
        return 0  # longer than is answered at once: no reason to stop
    return sum(
        bucket.run_count > 0
        and any(
            step.fields["from_at"] < bucket.to_at and bucket.from_at < step.fields["to_at"]
            for step in steps
        )
        for bucket in history.buckets
    )
