"""Python client for burrline: post the runs of coffee grinders, read their state.

``Client`` has one method per operation of the API. What it answers are the frozen models of
``burrline.models``; what goes wrong is raised as one of ``burrline.errors``.
"""

import logging

from burrline import errors, models
from burrline._convert import new_run_id
from burrline._paging import Page
from burrline._version import __version__
from burrline.client import Client
from burrline.errors import APIError

__all__ = ["APIError", "Client", "Page", "__version__", "errors", "models", "new_run_id"]

logging.getLogger("burrline").addHandler(logging.NullHandler())
