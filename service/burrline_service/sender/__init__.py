"""The one door through which burrline calls others: webhooks, and nothing else.

A host is resolved once, every answer is judged, and the connection goes to an address that was
judged. It imports core and the standard library; proxies and redirections do not exist here.
"""

from __future__ import annotations

from .exchange import Exchange, Sender

__all__ = ["Exchange", "Sender"]
