"""When an attempt to deliver is repeated, and when it is given up."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Literal

# seconds from each attempt to the next; the first is made at once
DELAYS_SECONDS = (
    0.0, 5.0, 300.0, 1800.0, 7200.0, 18_000.0, 36_000.0, 50_400.0, 72_000.0, 86_400.0
)  # fmt: skip
MOST_ATTEMPTS = len(DELAYS_SECONDS)
JITTER_FRACTION = 0.1
MOST_RETRY_AFTER_SECONDS = 86_400.0
GIVE_UP_SECONDS = 5 * 86_400.0  # whatever was attempted until then: the schedule takes 75.6 hours

Verdict = Literal["delivered", "gone", "slow_down", "failed"]
SLOW_DOWN = frozenset({429, 502, 503, 504})


def verdict_of(status: int | None) -> Verdict:
    """Say what a receiver's answer means.

    ``2xx: delivered; 410: gone; 429, 502, 503, 504: slow down; all else: failed``

    Parameters
    ----------
    status : int or None
        The status of its answer; None where there was none.

    Returns
    -------
    str
        ``delivered``, ``gone``, ``slow_down`` or ``failed``.

    Valid
    -----
    Redirections are failures: they are never followed.

    Source
    ------
    Standard Webhooks 1.0.0, "Deliverability and reliability"; 503 beside its 502 and 504 (RFC
    9110, section 15.6.4: the one that Retry-After is made for).

    Examples
    --------
    >>> [verdict_of(status) for status in (200, 204, 301, 410, 429, 500, None)]
    ['delivered', 'delivered', 'failed', 'gone', 'slow_down', 'failed', 'failed']
    """
    if status is None:
        return "failed"
    if 200 <= status < 300:
        return "delivered"
    if status == 410:
        return "gone"
    return "slow_down" if status in SLOW_DOWN else "failed"


def retry_delay_seconds(
    attempt_count: int, *, jitter_fraction: float, retry_after_seconds: float | None = None
) -> float | None:
    """Give the time until the next attempt, or None: no further one is made.

    ``delay = max(step[attempts], min(retry after, one day)) * (1 + 0.1 * jitter)``

    Parameters
    ----------
    attempt_count : int
        Attempts made so far, 1 or more.
    jitter_fraction : float
        0 to 1, from the dice.
    retry_after_seconds : float or None
        What the receiver asked for.

    Returns
    -------
    float or None
        Seconds; None after the tenth attempt.

    Raises
    ------
    ValueError
        No attempt made, or dice outside of 0 to 1.

    Source
    ------
    Standard Webhooks 1.0.0: immediately, then 5 s, 5 min, 30 min, 2 h, 5 h, 10 h, 14 h, 20 h,
    24 h.

    Examples
    --------
    >>> [retry_delay_seconds(made, jitter_fraction=0.0) for made in (1, 2, 9, 10)]
    [5.0, 300.0, 86400.0, None]
    >>> retry_delay_seconds(1, jitter_fraction=1.0, retry_after_seconds=60.0)
    66.0
    """
    if attempt_count < 1 or not 0.0 <= jitter_fraction <= 1.0:
        raise ValueError(f"{attempt_count} attempts, dice {jitter_fraction}")
    if attempt_count >= MOST_ATTEMPTS:
        return None
    floor_seconds = min(retry_after_seconds or 0.0, MOST_RETRY_AFTER_SECONDS)
    base_seconds = max(DELAYS_SECONDS[attempt_count], floor_seconds)
    return base_seconds * (1.0 + JITTER_FRACTION * jitter_fraction)


def asked_seconds(retry_after: str | None, *, at: datetime) -> float | None:
    """Read a Retry-After header: seconds, or a date.

    ``seconds = delay-seconds, or HTTP-date - now``, never below 0

    Parameters
    ----------
    retry_after : str or None
        The header's value as it came.
    at : datetime
        When it came.

    Returns
    -------
    float or None
        Seconds to wait, at most one day; None for none and for garbage.

    Source
    ------
    RFC 9110, section 10.2.3; its own two examples are in the tests.

    Examples
    --------
    >>> asked_seconds("120", at=datetime(2026, 3, 2, tzinfo=UTC))
    120.0
    >>> asked_seconds("soon", at=datetime(2026, 3, 2, tzinfo=UTC)) is None
    True
    """
    if retry_after is None:
        return None
    text = retry_after.strip(" \t")
    if re.fullmatch("[0-9]{1,20}", text, re.ASCII):
        return min(float(text), MOST_RETRY_AFTER_SECONDS)
    if len(text) > 64 or not text.isascii():
        return None
    try:
        until = parsedate_to_datetime(text)
    except (ValueError, IndexError, TypeError, OverflowError):
        return None
    if until.tzinfo is None:
        until = until.replace(tzinfo=UTC)
    return min(max((until - at).total_seconds(), 0.0), MOST_RETRY_AFTER_SECONDS)
