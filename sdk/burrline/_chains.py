"""Which straight pieces rise as grounds do, and which of those belong to one run."""

from __future__ import annotations

from collections.abc import Sequence

from burrline._pieces import Piece

LEAST_FLOW, MOST_FLOW = 0.22, 13.0  # g/s
JOIN_SECONDS = 2.0
HIDDEN_SECONDS = 1.5
"""The longest pause that may hide in the lines beside it."""
BRIDGE_SECONDS = 15.0
"""Longer than this no hand is taken to have pressed while it ground on."""


def chains_of(pieces: Sequence[Piece], noise: float) -> list[list[int]]:
    """Places of flowing pieces that belong to one run."""
    chains: list[list[int]] = []
    for place, piece in enumerate(pieces):
        if not _is_flow(piece, noise) or not _persists(pieces, place):
            continue
        for back in range(1, min(6, len(chains)) + 1):
            if _is_one_run(pieces, chains[-back], place):
                # what lay between was no run of its own: a hand that came and went
                del chains[len(chains) - back + 1 :]
                chains[-1].append(place)
                break
        else:
            chains.append([place])
    chains = [_without_steps(pieces, chain) for chain in chains]
    return [kept for chain in chains if (kept := _without_settling(pieces, chain))]


def _is_flow(piece: Piece, noise: float) -> bool:
    return (
        LEAST_FLOW <= piece.flow <= MOST_FLOW
        and piece.rise >= max(0.25, 1.5 * noise)
        and piece.seconds >= 0.15
        and piece.spread <= max(0.35, 0.08 * piece.rise)
    )


def _is_one_run(pieces: Sequence[Piece], chain: Sequence[int], place: int) -> bool:
    last, piece = pieces[chain[-1]], pieces[place]
    gap, net = piece.start - last.end, piece.first - last.last
    usual = sum(pieces[i].rise for i in chain) / sum(pieces[i].seconds for i in chain)
    if gap >= JOIN_SECONDS:
        goes_on = abs(net - usual * gap) <= 0.5 + 0.25 * usual * gap
        return goes_on and gap < BRIDGE_SECONDS and 0.5 < piece.flow / usual < 2
    return _is_small(net, gap, usual)


def _is_small(net: float, gap: float, usual: float) -> bool:
    """Whether the weight between two pieces changed no more than grounds can.

    A pause that has no piece of its own lies in the lines beside it, and the one goes on below
    where the other ends: by what would have come in that pause.
    """
    hidden = min(HIDDEN_SECONDS, max(0.4, JOIN_SECONDS - gap))
    return -0.5 - hidden * usual <= net <= 1.5 * usual * gap + 1.0 + 0.4 * usual


def between(last: Piece, piece: Piece, usual: float) -> float:
    gap, net = piece.start - last.end, piece.first - last.last
    is_told = gap >= JOIN_SECONDS or _is_small(net, gap, usual)
    return net if is_told else usual * gap


def _persists(pieces: Sequence[Piece], place: int) -> bool:
    """Whether the weight is higher after a piece than before it, as far as that can be told."""
    piece, before, after = pieces[place], None, None
    if piece.seconds > 2:
        return True
    for one in reversed(pieces[max(0, place - 3) : place]):
        if one.seconds >= 0.28 and abs(one.flow) <= MOST_FLOW:
            before = one
            break
    for one in pieces[place + 1 : place + 4]:
        if one.seconds >= 0.28 and abs(one.flow) <= MOST_FLOW:
            after = one
            break
    if before is None or after is None:
        return True
    if piece.start - before.end > 1.0 or after.start - piece.end > 1.0:
        return True
    net = after.first - before.last
    return not -max(0.8, 0.6 * piece.rise) <= net < 0.5 * piece.rise


def _without_settling(pieces: Sequence[Piece], chain: list[int]) -> list[int]:
    """Without first pieces that die away after a step: a lag that is not known yet."""
    while chain:
        place = chain[0]
        piece = pieces[place]
        before = pieces[place - 1] if place else None
        later = pieces[place + 1] if place + 1 < len(pieces) else None
        is_dying = (
            before is not None
            and later is not None
            and piece.seconds < 1.5
            and before.flow > 1.4 * piece.flow
            and abs(later.flow) < 0.6 * piece.flow
        )
        is_last_of_it = (
            before is not None
            and len(chain) > 1
            and piece.seconds < 1.8
            and piece.rise < 1.5
            and before.flow > 5 * piece.flow
        )
        if not (is_dying or is_last_of_it):
            break
        chain = chain[1:]
    return chain


def _without_steps(pieces: Sequence[Piece], chain: list[int]) -> list[int]:
    """Without the short pieces that rise much faster than the rest: what was put down, taps."""
    flows = sorted((pieces[i].flow, pieces[i].seconds) for i in chain)
    half, so_far, usual = sum(seconds for _, seconds in flows) / 2, 0.0, 0.0
    for flow, seconds in flows:
        so_far += seconds
        if so_far >= half:
            usual = flow
            break
    return [i for i in chain if pieces[i].seconds > 0.8 or pieces[i].flow < 2 * usual + 0.5]
