"""Lugs of a drum head: how they are numbered, and in which order they are turned and tapped.

Lugs are numbered clockwise from 1, seen from above the head. From finger-tight, a head is
brought up across: each lug is followed by the one opposite, or nearly so, so that the head
settles evenly on its edge. Fine passes go round clockwise. Common practice, no source; the
orders below follow from the rule told at `cross_order`.
"""

from __future__ import annotations

from station.errors import DrumError

LUG_COUNTS = (4, 5, 6, 8, 10, 12)


def check_lugs(lugs: int) -> int:
    """The number of lugs; raises DrumError unless heads have so many."""
    if lugs not in LUG_COUNTS:
        listed = ", ".join(str(each) for each in LUG_COUNTS[:-1])
        raise DrumError(f"{lugs} lugs: a head has {listed} or {LUG_COUNTS[-1]}")
    return lugs


def clockwise_order(lugs: int, start: int = 1) -> tuple[int, ...]:
    """Every lug once, clockwise from `start`; raises DrumError."""
    check_lug(start, lugs)
    return tuple((start - 1 + step) % lugs + 1 for step in range(lugs))


def cross_order(lugs: int) -> tuple[int, ...]:
    """Every lug once from lug 1 on, each pair of opposite lugs together; raises DrumError.

    The next pair is the one farthest from those already done, of equally far ones the next
    clockwise. Five lugs have no opposites: it goes on two lugs each time, as a star is drawn.
    """
    check_lugs(lugs)
    if lugs % 2:
        return tuple(2 * step % lugs + 1 for step in range(lugs))
    half = lugs // 2
    done = [0]
    while len(done) < half:
        left = [pair for pair in range(half) if pair not in done]
        done.append(max(left, key=lambda pair: (_gap(pair, done, half), -pair)))
    return tuple(lug + 1 for pair in done for lug in (pair, pair + half))


def _gap(pair: int, done: list[int], half: int) -> int:
    """How many lugs lie between a pair and the nearest pair done."""
    return min(min((pair - each) % half, (each - pair) % half) for each in done)


def opposite_lug(lug: int, lugs: int) -> int:
    """The lug across the head; with five lugs the first clockwise of the two across."""
    return (check_lug(lug, lugs) - 1 + lugs // 2) % lugs + 1


def check_lug(lug: int, lugs: int) -> int:
    """A lug's number; raises DrumError unless the head has it."""
    if not 1 <= lug <= check_lugs(lugs):
        raise DrumError(f"lug {lug}: this head's lugs are 1 to {lugs}")
    return lug
