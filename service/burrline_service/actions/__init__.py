"""The room that does: each function is one thing somebody wants done, in one transaction.

The database comes first, then who asks; everything else is keyword-only, the clock included.
"""

from ..store.database import Database

__all__ = ["Database"]  # what callers hand to an action, without looking inside
