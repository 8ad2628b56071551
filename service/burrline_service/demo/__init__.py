"""The demo: an invented chain of sites, posted to a running service like any customer's.

``scenario`` tells the story and is pure; ``filling`` posts it with the SDK and knows nothing of
the service but its address and a key.
"""

from __future__ import annotations

from .filling import fill

__all__ = ["fill"]
