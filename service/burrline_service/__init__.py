"""burrline: runs of coffee grinders in, kilograms, duty, motor and break-in state out.

Rooms, each importing only from its left: core (numbers) <- store (rows) <- actions (verbs)
<- api (HTTP) | pages (HTML) <- app, worker, __main__. Core thinks, store remembers, actions do,
api and pages speak; DEVELOPERS.md says more.
"""

__version__ = "0.1.0"
