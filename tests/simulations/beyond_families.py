"""Scale scenes beyond what a scale can always tell, and what all families share."""

from __future__ import annotations

from collections.abc import Callable

from simulations.scale_scenes import Bench

Play = Callable[[Bench], None]


def cup_down(bench: Bench) -> None:
    bench.wait(2, 4)
    bench.place()
    bench.wait(3, 5)
    if bench.chance(0.6):
        bench.tare()
        bench.wait(0.5, 3)


def cup_away(bench: Bench) -> None:
    bench.wait(3, 6)
    bench.lift()
    bench.wait(2, 4)
    if bench.chance(0.3):
        bench.tare()
        bench.wait(1, 2)


def lifted_at_once(bench: Bench) -> None:
    """Beyond: the cup goes before the weight has come to rest."""
    for _ in range(2):
        cup_down(bench)
        bench.run()
        bench.wait(0.1, 0.9)
        bench.lift()
        bench.wait(3, 5)


def lifted_during(bench: Bench) -> None:
    """Beyond: the cup goes while it grinds, and what falls later is not weighed."""
    for _ in range(2):
        cup_down(bench)
        bench.run(least_seconds=3, cut_fraction=bench.uniform(0.4, 0.95))
        bench.lift()
        bench.wait(3, 5)


def placed_at_once(bench: Bench) -> None:
    """Beyond: it grinds before the step of the cup has settled."""
    for _ in range(2):
        bench.wait(2, 4)
        bench.place()
        bench.wait(0.4, 1.0)
        bench.run(least_seconds=1.5)
        cup_away(bench)


BEYOND: dict[str, Play] = {
    play.__name__: play for play in (placed_at_once, lifted_at_once, lifted_during)
}
"""What a scale cannot always tell: reported, and held to no bar."""
