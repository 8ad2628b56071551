"""Refusals: everything burrline says no to, each with the numbers that explain it.

A refusal is raised by the core, the store or an action; the api turns it into a problem
document by one table (``api/problems.py``). The message is for a person.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing wrong with one value.

    ``pointer`` is a JSON pointer into the body (RFC 6901, ``/runs/3/grams``); for a value
    outside the body ``parameter`` names it and ``place`` is ``query``, ``path`` or ``header``.
    """

    detail: str
    pointer: str | None = None
    parameter: str | None = None
    place: str | None = None


class Refusal(Exception):
    """Base of all refusals; ``str()`` is a sentence for a person."""

    faults: tuple[Fault, ...] = ()


class NotFound(Refusal):
    """Nothing by that id that this key may see (absent and foreign look the same)."""

    def __init__(self, noun: str, name: str) -> None:
        super().__init__(f"There is no {noun} named {name!r} here.")
        self.noun, self.name = noun, name


class AlreadyExists(Refusal):
    """The id is taken in this account."""

    def __init__(self, noun: str, name: str) -> None:
        super().__init__(f"A {noun} named {name!r} exists already.")
        self.noun, self.name = noun, name


class RunConflict(Refusal):
    """The run id was used before with other content; the first run is kept."""

    def __init__(self, run_id: str) -> None:
        super().__init__(
            f"Run {run_id!r} was recorded before with other content; the first one is kept."
        )
        self.run_id = run_id


class RunArchived(Refusal):
    """The run has left the raw store by retention and cannot be changed any more."""

    def __init__(self, run_id: str) -> None:
        super().__init__(
            f"Run {run_id!r} is archived: its sums are kept, the run itself can no longer be "
            "read, voided or corrected."
        )
        self.run_id = run_id


class PeriodArchived(Refusal):
    """A date at which counting begins anew falls inside an hour whose runs are archived."""

    def __init__(self, at: str, archived_before: str) -> None:
        super().__init__(
            f"{at} lies in a period whose runs are archived (before {archived_before}); there "
            "burrs or a motor can come and go, a purpose can begin and end, and kilograms can be "
            "counted only on a full hour (UTC)."
        )
        self.at, self.archived_before = at, archived_before


class Invalid(Refusal):
    """The content is readable but wrong; ``faults`` says where."""

    def __init__(self, *faults: Fault) -> None:
        super().__init__(
            "The request was understood, but "
            + ("one value is" if len(faults) == 1 else f"{len(faults)} values are")
            + " not acceptable."
        )
        self.faults = faults


class FittingsOverlap(Refusal):
    """Two burr sets would sit in one grinder, or one set in two grinders, at the same time."""

    def __init__(self, detail: str) -> None:
        super().__init__(detail)


class RevisionMismatch(Refusal):
    """If-Match names another revision than the stored one."""

    def __init__(self, found_revision: int) -> None:
        super().__init__(
            f'The object has changed meanwhile; it is now at revision "r{found_revision}". '
            "Read it again and repeat the change."
        )
        self.found_revision = found_revision


class RevisionRequired(Refusal):
    """If-Match is missing where a change needs it."""

    def __init__(self) -> None:
        super().__init__("Send If-Match with the ETag of the object you mean to change.")


class KeyReused(Refusal):
    """An Idempotency-Key came back with another request."""

    def __init__(self) -> None:
        super().__init__("This Idempotency-Key was used before with another request.")


class ScopeMissing(Refusal):
    """The key is good but may not do this."""

    def __init__(self, scope: str) -> None:
        super().__init__(f"This key lacks the scope {scope!r}.")
        self.scope = scope


class OutOfReach(Refusal):
    """A bound key tried to make something beyond the sites and grinders it is bound to."""

    def __init__(self, detail: str) -> None:
        super().__init__(detail)


class ReceiverUnproven(Refusal):
    """A webhook's receiver did not give back what it was sent to prove that it wants to be told."""

    def __init__(self, detail: str) -> None:
        super().__init__(
            f"The receiver was asked to give back a challenge, and did not: {detail}. See the "
            "description of create_webhook."
        )
        self.faults = (Fault("did not give back the challenge", pointer="/url"),)


class WebhookDisabled(Refusal):
    """Something was to be sent to a webhook that is disabled."""

    def __init__(self, webhook_id: str) -> None:
        super().__init__(f"Webhook {webhook_id!r} is disabled; enable it first.")
        self.webhook_id = webhook_id


class TooManyWebhooks(Refusal):
    """The account has as many webhooks as one may have."""

    def __init__(self, most_count: int) -> None:
        super().__init__(f"An account has at most {most_count} webhooks.")
        self.most_count = most_count


class Unauthenticated(Refusal):
    """No key, or one that is malformed, unknown, revoked or expired."""

    def __init__(self, detail: str, *, error: str | None = None) -> None:
        super().__init__(detail)
        self.error = error


class BadCursor(Refusal):
    """The cursor was not made by this list with these filters."""

    def __init__(self) -> None:
        super().__init__(
            "The cursor is not one this list gave for these filters; start again without it."
        )


class FutureInstant(Refusal):
    """An answer was asked for an instant that has not come yet."""

    def __init__(self, as_of: str, now: str) -> None:
        super().__init__(f"as_of {as_of} lies in the future (it is {now}).")
        self.faults = (Fault("lies in the future", parameter="as_of", place="query"),)


class InstantArchived(Refusal):
    """An answer was asked for an instant whose single runs have been archived."""

    def __init__(self, as_of: str, archived_before: str) -> None:
        super().__init__(
            f"as_of {as_of} lies in the period whose runs are archived (before {archived_before})."
        )
        self.as_of, self.archived_before = as_of, archived_before
        self.faults = (Fault("lies in the archived period", parameter="as_of", place="query"),)


class CorrectionArchived(Refusal):
    """A correction reaches into a period whose single runs have been archived."""

    def __init__(self, archived_before: str) -> None:
        super().__init__(
            f"Runs before {archived_before} are archived and can no longer be corrected; let the "
            "correction begin there or later."
        )
        self.archived_before = archived_before


class AccountNotEmpty(Refusal):
    """An import would mix with what an account holds already."""

    def __init__(self, account_id: str, found: str) -> None:
        super().__init__(
            f"Account {account_id!r} is not empty (there is something in {found}); an export can "
            "only be imported into an account that holds nothing yet."
        )
        self.account_id, self.found = account_id, found


class ExportDamaged(Refusal):
    """A file to import is not a whole export as it was written."""

    def __init__(self, line_number: int, detail: str) -> None:
        super().__init__(f"Line {line_number} {detail}. Nothing was imported.")
        self.line_number, self.detail = line_number, detail


class SchemaMismatch(Refusal):
    """The database's schema is not the one this release works on."""

    def __init__(self, found: str | None, needed: str) -> None:
        if found is not None and found > needed:
            super().__init__(
                f"The database is at revision {found}, made by a newer release than this one, "
                f"which needs {needed}. Use the newer release."
            )
        else:
            what = "has no burrline schema yet" if found is None else f"is at revision {found}"
            super().__init__(
                f"The database {what}; this release needs {needed}. Run: burrline-service migrate"
            )
        self.found, self.needed = found, needed


class Unavailable(Refusal):
    """The database cannot be reached or is too busy; nothing was stored."""

    def __init__(self, detail: str = "The store cannot be reached; nothing was recorded.") -> None:
        super().__init__(detail)


class SampleRefused(Refusal):
    """A grind sample cannot be read in one way only, or holds nothing that could be measured.

    ``code`` names what is wrong for programs, ``numbers`` holds what it was judged by; the
    fault's pointer is relative to the distribution.
    """

    def __init__(
        self,
        code: str,
        detail: str,
        *,
        pointer: str | None = None,
        numbers: Mapping[str, float] | None = None,
    ) -> None:
        super().__init__(detail)
        self.code, self.numbers = code, dict(numbers or {})
        self.faults = (Fault(detail, pointer=pointer),)

    def within(self, pointer: str) -> SampleRefused:
        """The same of a distribution that lies deeper in a body."""
        (fault,) = self.faults
        deeper = f"{pointer}{fault.pointer or ''}"
        return SampleRefused(self.code, str(self), pointer=deeper, numbers=self.numbers)
