"""What comes nearest to balance when no balanced design fits: blocks, sittings and orders found by exchanges.

Every search starts at random, exchanges two samples as long as that makes a sum of squares of counts smaller, and
keeps the best of several starts. The same `rng` gives the same result. Nothing here promises the best design there
is: the counts say how even it became.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from itertools import combinations

import numpy as np

from panel.errors import ModelError
from panel.stats.orders.block_designs import Blocks, balanced_blocks, meetings, smallest_numbers

STARTS, FEWEST_STARTS = 8, 2
_MOST_ROWS_STARTED = 240  # rows times starts: large plans are even enough from few starts
_PASSES = 50  # over all rows, at most; a search ends earlier when no exchange helps
_PLACE_WEIGHT = 3  # how much an uneven place counts beside an uneven following: places come first
_PAIR_WEIGHT = 4  # how much uneven meetings count beside uneven sittings: only meetings cost precision


def nearly_balanced_blocks(t: int, k: int, b: int, rng: np.random.Generator) -> Blocks:
    """Return b blocks of k out of t samples, (b, k), balanced if these numbers can be and a design is found.

    Otherwise every sample stands in equally many blocks, or in one more, and the sum of squares of the numbers of
    blocks in which two samples meet is made small by exchanges. As many whole balanced designs as fit are kept.

    Raises
    ------
    ModelError
        If there can be no blocks of this size.
    """
    size = smallest_numbers(t, k).b
    whole = np.empty((0, k), dtype=np.int64)
    if size <= b:
        # possible by the numbers, but perhaps not found: then all blocks are searched by exchange
        with suppress(ModelError):
            whole = balanced_blocks(t, k, size * (b // size))
    rest = b - len(whole)
    if rest:
        before = meetings(whole, t)
        starts = [_exchanged(_spread_out(t, k, rest, before, rng), before) for _ in range(STARTS)]
        whole = np.concatenate([whole, min(starts, key=lambda blocks: _pair_squares(meetings(blocks, t) + before))])
    return np.sort(whole, axis=1)


def split_into_sittings(sets: Blocks, sizes: Sequence[int], rng: np.random.Generator) -> Blocks:
    """Return each person's samples in an order of sittings: the first `sizes[0]` belong to the first, and so on.

    Two samples should meet in one sitting equally often over all people, and each sample should come equally often in
    each sitting.

    Parameters
    ----------
    sets
        The samples of each person, (people, samples), counted from 0.
    sizes
        How many are served in each sitting; their sum is the number of samples of a person.

    Raises
    ------
    ModelError
        If the sittings do not hold exactly the samples of a person.
    """
    if sum(sizes) != sets.shape[1]:
        raise ModelError(f"Sittings of {', '.join(map(str, sizes))} samples do not add up to {sets.shape[1]}.")
    sitting = np.repeat(np.arange(len(sizes)), sizes)
    best, found = np.inf, sets
    for _ in range(_starts(len(sets))):
        rows = rng.permuted(sets, axis=1)
        cost = _better_sittings(rows, sitting, int(sets.max()) + 1)
        if cost < best:
            best, found = cost, rows
    _turn_sittings(found, sitting)
    return found


def ordered_blocks(blocks: Sequence[Sequence[int]], t: int, rng: np.random.Generator) -> list[list[int]]:
    """Return the samples of each block in an order of serving.

    Over all blocks a sample should stand equally often at each place, and equally often straight after each other one.
    """
    longest = max(len(block) for block in blocks)
    best, found = np.inf, [list(block) for block in blocks]
    for _ in range(_starts(len(blocks))):
        rows = [rng.permutation(np.asarray(block)).tolist() for block in blocks]
        cost = _better_orders(rows, t, longest)
        if cost < best:
            best, found = cost, rows
    return found


def _starts(rows: int) -> int:
    return min(STARTS, max(FEWEST_STARTS, _MOST_ROWS_STARTED // rows))


def _pair_squares(met: Blocks) -> int:
    return int((met[~np.eye(len(met), dtype=bool)] ** 2).sum())


def _spread_out(t: int, k: int, b: int, before: Blocks, rng: np.random.Generator) -> Blocks:
    """Return blocks filled one by one with the samples used least, those that have met least first."""
    met, used = before.copy(), np.zeros(t, dtype=np.int64)
    blocks = np.empty((b, k), dtype=np.int64)
    for block in blocks:
        inside: list[int] = []
        for _ in range(k):
            rank = used * (10 * b * k) + met[:, inside].sum(axis=1) + rng.random(t)
            rank[inside] = np.inf
            inside.append(int(rank.argmin()))
        used[inside] += 1
        met[np.ix_(inside, inside)] += 1
        block[:] = inside
    return blocks


def _exchanged(blocks: Blocks, before: Blocks) -> Blocks:
    """Return the blocks after exchanges of two samples between two blocks, which leave every sample's number alone."""
    t, (b, k) = len(before), blocks.shape
    cost = _pair_squares(meetings(blocks, t) + before)
    for _ in range(_PASSES):
        improved = False
        for (one, other), here, there in (
            (pair, here, there) for pair in combinations(range(b), 2) for here in range(k) for there in range(k)
        ):
            first, second = blocks[one, here], blocks[other, there]
            if first in blocks[other] or second in blocks[one]:
                continue
            blocks[one, here], blocks[other, there] = second, first
            new = _pair_squares(meetings(blocks, t) + before)
            if new < cost:
                cost, improved = new, True
            else:
                blocks[one, here], blocks[other, there] = first, second
        if not improved:
            break
    return blocks


def _better_sittings(rows: Blocks, sitting: Blocks, t: int) -> float:
    """Exchange samples between the sittings of a person, in place, as long as that helps; return the unevenness."""
    met = np.zeros((t, t), dtype=np.int64)
    times = np.zeros((t, int(sitting[-1]) + 1), dtype=np.int64)
    together = sitting[:, None] == sitting[None, :]
    for row in rows:
        met[np.ix_(row, row)] += together
        times[row, sitting] += 1
    exchanges = [pair for pair in combinations(range(rows.shape[1]), 2) if not together[pair]]

    def cost() -> float:
        return _PAIR_WEIGHT * _pair_squares(met) + float((times**2).sum())

    now = cost()
    for _ in range(_PASSES):
        before = now
        for row in rows:
            for here, there in exchanges:
                met[np.ix_(row, row)] -= together
                times[row, sitting] -= 1
                row[[here, there]] = row[[there, here]]
                met[np.ix_(row, row)] += together
                times[row, sitting] += 1
                new = cost()
                if new < now:
                    now = new
                    continue
                met[np.ix_(row, row)] -= together
                times[row, sitting] -= 1
                row[[here, there]] = row[[there, here]]
                met[np.ix_(row, row)] += together
                times[row, sitting] += 1
        if now == before:
            break
    return now


def _turn_sittings(rows: Blocks, sitting: Blocks) -> None:
    """Let whole sittings of a person change places, so that each sample comes equally often in each of them.

    Fourth powers are compared: in the best designs the sum of squares is the same whatever is turned.
    """
    parts = [np.flatnonzero(sitting == number) for number in range(int(sitting[-1]) + 1)]
    pairs = [(one, other) for one, other in combinations(parts, 2) if len(one) == len(other)]
    times = np.zeros((int(rows.max()) + 1, len(parts)), dtype=np.int64)
    for row in rows:
        times[row, sitting] += 1
    for _ in range(_PASSES):
        improved = False
        for row in rows:
            for one, other in pairs:
                turned = row.copy()
                turned[one], turned[other] = row[other], row[one]
                tried = times.copy()
                tried[row, sitting] -= 1
                tried[turned, sitting] += 1
                if (tried**4).sum() < (times**4).sum():
                    times, improved = tried, True
                    row[:] = turned
        if not improved:
            break


def _better_orders(rows: list[list[int]], t: int, longest: int) -> float:
    """Exchange two samples of a row, in place, as long as that helps; return the unevenness."""
    places, after = np.zeros((t, longest), dtype=np.int64), np.zeros((t, t), dtype=np.int64)

    def count(row: list[int], sign: int) -> None:
        places[row, range(len(row))] += sign
        after[row[:-1], row[1:]] += sign

    def cost() -> float:
        return float(_PLACE_WEIGHT * (places**2).sum() + (after**2).sum())

    for row in rows:
        count(row, 1)
    now = cost()
    for _ in range(_PASSES):
        before = now
        for row in rows:
            for here, there in combinations(range(len(row)), 2):
                count(row, -1)
                row[here], row[there] = row[there], row[here]
                count(row, 1)
                new = cost()
                if new < now:
                    now = new
                    continue
                count(row, -1)
                row[here], row[there] = row[there], row[here]
                count(row, 1)
        if now == before:
            break
    return now
