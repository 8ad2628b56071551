"""The room that thinks: pure functions on records and numbers.

No clock, environment, file, log or randomness of its own; the caller passes instants in.
It may import the standard library and numpy, and nothing that can be down.
"""
