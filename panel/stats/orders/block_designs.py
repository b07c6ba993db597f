"""Which samples go together when not all fit into one sitting? Incomplete blocks, balanced where they can be.

A design of t samples in b blocks of k is balanced if each sample stands in r blocks and each two samples meet in
lambda blocks. Then bk = tr, lambda(t - 1) = r(k - 1) and b >= t (Fisher). Cochran and Cox (1957), Experimental Designs.

Searches start at random, exchange two samples as long as that makes a sum of squares of counts smaller, and keep the
best of several starts. The same `rng` gives the same result. Nothing promises the best
design there is: the counts say how even it became.

Can a contrast be told from a factor that was not held even, and how much of its information is left? It is estimated
by least squares with the factor added as fixed (Bose 1950; John 1980, Incomplete Block Designs, ch. 1): with counts N
(groups x levels), R and K their margins, the information on the groups is C = R - N K^-1 N'. A contrast has an
estimate if and only if it lies in the row space of C.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations
from math import comb, gcd, isqrt

import numpy as np
from numpy.typing import ArrayLike

from panel.errors import ModelError
from panel.stats.arrays import Array, Codes, Whole


def _fewest_blocks(t: int, k: int) -> int:
    """Return the smallest b that nothing known here forbids; whether such a design exists is not said."""
    if not 2 <= k < t:
        raise ModelError(f"Blocks of {k} out of {t} samples are none: a block holds at least 2, and fewer than all.")
    b = step = t // gcd(t, k)  # so that every sample stands in a whole number of blocks
    while not _is_possible(t, k, b):
        b += step
    return b


def _is_possible(t: int, k: int, b: int) -> bool:
    """Return whether nothing known here forbids a balanced design with these numbers."""
    r = b * k // t
    left = r - r * (k - 1) // (t - 1)
    whole = b * k % t == 0 and r * (k - 1) % (t - 1) == 0
    # as many blocks as samples, and these even: k - lambda has to be a square (Bruck, Ryser and Chowla)
    return whole and b >= t and not (b == t and t % 2 == 0 and isqrt(left) ** 2 != left)


def _meetings(blocks: Whole, t: int) -> Whole:
    """Return in how many blocks each two samples meet, (t, t), with the number of blocks of each on the diagonal."""
    rows = np.zeros((len(blocks), t), dtype=np.int64)
    np.put_along_axis(rows, blocks, 1, axis=1)
    return rows.T @ rows


def _is_balanced(blocks: Whole, t: int) -> bool:
    """Return True if every sample stands in equally many blocks and every two meet in equally many."""
    met = _meetings(blocks, t)
    return bool(np.ptp(np.diagonal(met)) == 0 and np.ptp(met[~np.eye(t, dtype=bool)]) == 0)


# How precise are differences between samples that meet in incomplete blocks?


_NO_DIRECTION = 1e-9


def pair_variances(incidence: ArrayLike) -> Array:
    """Return the variance of each difference within blocks, (t, t), in units of one score's variance.

    From C = R - N' K^-1 N (Yates; John and Williams 1995, Cyclic and Computer Generated Designs), `incidence` N being
    (blocks, samples). A difference that the blocks cannot tell is infinite.
    """
    N = np.asarray(incidence, dtype=float)
    N = N[N.sum(axis=1) > 0]
    C = np.diag(N.sum(axis=0)) - N.T @ (N / N.sum(axis=1, keepdims=True))
    values, vectors = np.linalg.eigh(C)
    told = values > _NO_DIRECTION * max(float(values[-1]), 1.0)
    inverse = (vectors[:, told] / values[told]) @ vectors[:, told].T
    own = np.diagonal(inverse)
    variance = own[:, None] + own[None, :] - 2 * inverse
    # a difference is told only if it has no part in the directions that the blocks leave open
    open_part = vectors[:, ~told] @ vectors[:, ~told].T
    outside = np.diagonal(open_part)[:, None] + np.diagonal(open_part)[None, :] - 2 * open_part
    variance = np.where(outside > _NO_DIRECTION, np.inf, np.maximum(variance, 0.0))
    np.fill_diagonal(variance, 0.0)
    return np.asarray(variance)


_STARTS, _FEWEST_STARTS = 8, 2
_MOST_ROWS_STARTED = 240  # rows times starts: large plans are even enough from few starts
_PASSES = 50  # over all rows, at most; a search ends earlier when no exchange helps
_PLACE_WEIGHT = 3  # how much an uneven place counts beside an uneven following: places come first
_PAIR_WEIGHT = 4  # how much uneven meetings count beside uneven sittings: only meetings cost precision


def nearly_balanced_blocks(t: int, k: int, b: int, rng: np.random.Generator) -> Whole:
    """Return b blocks of k out of t samples, (b, k), balanced if these numbers can be and a design is found.

    Otherwise every sample stands in equally many blocks, or in one more, and the sum of squares of the numbers of
    blocks in which two samples meet is made small by exchanges. As many whole balanced designs as fit are kept.

    Raises
    ------
    ModelError
        If there can be no blocks of this size.
    """
    size = _fewest_blocks(t, k)
    whole = np.empty((0, k), dtype=np.int64)
    if size <= b:
        if size == comb(t, k):
            found = np.array(list(combinations(range(t), k)), dtype=np.int64)
        else:
            found = _evenest(t, k, size, np.zeros((t, t), dtype=np.int64), rng)
        if _is_balanced(found, t):  # else possible by the numbers, but not found: all blocks are searched together
            whole = np.tile(found, (b // size, 1))
    if len(whole) < b:
        whole = np.concatenate([whole, _evenest(t, k, b - len(whole), _meetings(whole, t), rng)])
    return np.sort(whole, axis=1)


def _evenest(t: int, k: int, b: int, before: Whole, rng: np.random.Generator) -> Whole:
    """Return the blocks of several searches, beside those `before`, in which samples meet most evenly."""
    starts: list[Whole] = []
    while len(starts) < _STARTS and not (starts and _is_balanced(starts[-1], t)):
        starts.append(_exchanged(_spread_out(t, k, b, before, rng), before))
    return min(starts, key=lambda blocks: _pair_squares(_meetings(blocks, t) + before))


def split_into_sittings(sets: Whole, sizes: Sequence[int], rng: np.random.Generator) -> Whole:
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
    return min(_STARTS, max(_FEWEST_STARTS, _MOST_ROWS_STARTED // rows))


def _pair_squares(met: Whole) -> int:
    return int((met[~np.eye(len(met), dtype=bool)] ** 2).sum())


def _spread_out(t: int, k: int, b: int, before: Whole, rng: np.random.Generator) -> Whole:
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


def _exchanged(blocks: Whole, before: Whole) -> Whole:
    """Return the blocks after exchanges of two samples between two blocks, which leave every sample's number alone."""
    t, (b, k) = len(before), blocks.shape
    met = _meetings(blocks, t) + before
    inside = np.zeros((b, t), dtype=np.int64)
    np.put_along_axis(inside, blocks, 1, axis=1)
    for _ in range(_PASSES):
        improved = False
        for (one, other), here, there in (
            (pair, here, there) for pair in combinations(range(b), 2) for here in range(k) for there in range(k)
        ):
            first, second = blocks[one, here], blocks[other, there]
            if inside[other, first] or inside[one, second]:
                continue
            moved = inside[one] - inside[other]  # whom the first no longer meets, and the second now does
            moved[[first, second]] = 0
            if moved @ (met[second] - met[first] + moved) < 0:
                for sample, change in ((first, -moved), (second, moved)):
                    met[sample] += change
                    met[:, sample] += change
                blocks[one, here], blocks[other, there] = second, first
                inside[one, [first, second]], inside[other, [first, second]] = (0, 1), (1, 0)
                improved = True
        if not improved:
            break
    return blocks


def _better_sittings(rows: Whole, sitting: Whole, t: int) -> float:
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


def _turn_sittings(rows: Whole, sitting: Whole) -> None:
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


NO_DIRECTION = 1e-9  # eigenvalue, relative to the largest, and squared share of a contrast, that is only rounding


def joined(counts: ArrayLike) -> Codes:
    """Return for each group (row of counts) the number of the set of groups that common levels join it to.

    Numbers in the order of the groups. A group without any count is a set of its own.
    """
    met = np.asarray(counts) > 0
    reached = met.astype(float) @ met.T + np.eye(len(met)) > 0
    while True:
        further = reached.astype(float) @ reached > 0  # twice as many steps
        if (further == reached).all():
            return _in_order(reached.argmax(axis=1))
        reached = further


def information_left(counts: ArrayLike, contrasts: ArrayLike, columns: ArrayLike | None = None) -> Array:
    """Return for each contrast the share of its information that is left with the factor as fixed, (m,).

    Parameters
    ----------
    counts
        (n, f) scores of each group at each level of the factor.
    contrasts
        (m, b) contrasts of the columns.
    columns
        (n, b) model of the groups; by default each group has a mean of its own.

    1 where the factor takes nothing, 0 where the contrast cannot be told from it, NaN where it has no estimate even
    without the factor.
    """
    N, c = np.asarray(counts, dtype=float), np.asarray(contrasts, dtype=float)
    L = np.eye(len(N)) if columns is None else np.asarray(columns, dtype=float)
    totals = N.sum(axis=0)
    N, totals = N[:, totals > 0], totals[totals > 0]
    without = L.T @ (N.sum(axis=1)[:, None] * L)
    within = without - (L.T @ N / totals) @ (N.T @ L)
    return _share(_variances(without, c), _variances(within, c))


def pairs_left(counts: ArrayLike) -> Array:
    """Return what `information_left` gives for the difference of each two groups, (n, n)."""
    N = np.asarray(counts, dtype=float)
    each, totals = np.diag(N.sum(axis=1)), np.maximum(N.sum(axis=0), 1)
    return _share(_pair_variances(each), _pair_variances(each - (N / totals) @ N.T))


def _share(alone: Array, beside: Array) -> Array:
    with np.errstate(divide="ignore", invalid="ignore"):
        left = np.where(np.isinf(alone), np.nan, np.where(np.isinf(beside), 0.0, alone / beside))
    return np.asarray(np.clip(left, 0.0, 1.0))


def _pair_variances(information: Array) -> Array:
    """Return `_variances` of the difference of each two groups: of so many pairs no list of contrasts is made."""
    values, vectors = np.linalg.eigh(information)
    told = values > NO_DIRECTION * max(float(values[-1]), np.finfo(float).tiny)
    outside, variance = (
        np.diag(gram)[:, None] + np.diag(gram) - 2 * gram
        for part in (vectors[:, ~told], vectors[:, told] / np.sqrt(values[told]))
        for gram in (part @ part.T,)
    )
    return np.where(outside > 2 * NO_DIRECTION, np.inf, variance)


def _variances(information: Array, contrasts: Array) -> Array:
    """Return c' C^- c of each contrast c, infinite where it has no estimate."""
    values, vectors = np.linalg.eigh(information)
    told = values > NO_DIRECTION * max(float(values[-1]), np.finfo(float).tiny)
    along = contrasts @ vectors
    outside = (along[:, ~told] ** 2).sum(axis=1) > NO_DIRECTION * (contrasts**2).sum(axis=1)
    return np.where(outside, np.inf, (along[:, told] ** 2 / values[told]).sum(axis=1))


def both_sets(first: ArrayLike, second: ArrayLike) -> Codes:
    """Return the sets of groups that lie together in both of two divisions, numbered in the order of the groups."""
    first, second = np.asarray(first), np.asarray(second)
    return _in_order(first * (int(second.max(initial=0)) + 1) + second)


def _in_order(label: np.ndarray) -> Codes:
    """Return the labels as numbers from 0 in the order in which they first come."""
    _, start, code = np.unique(label, return_index=True, return_inverse=True)
    return np.asarray(np.argsort(np.argsort(start))[code.reshape(-1)], dtype=np.intp)


def contrasts_of(codes: Codes) -> Array:
    """Return the sum-to-zero contrasts of a factor, (n, levels - 1)."""
    each = np.eye(int(codes.max()) + 1)[codes]
    return np.asarray(each[:, :-1] - each[:, -1:])


def sets_told(columns: Array, factors: Iterable[Codes], beside: int = 1) -> Codes:
    """Return the sets of groups between which the fixed factors leave no difference to estimate.

    Each group has so many columns `beside` each other, such as one for each time. Columns that add up to nothing, all
    factors whole, tell: where the weights of two groups in such a sum are not the same, their difference has no
    estimate.
    """
    k = columns.shape[1] // beside
    parts = [contrasts_of(np.unique(codes, return_inverse=True)[1].reshape(-1)) for codes in factors]
    whole = np.hstack([columns, *parts])
    values, vectors = np.linalg.eigh(whole.T @ whole)
    open_part = vectors[: columns.shape[1], values <= NO_DIRECTION * max(float(values[-1]), 1.0)].reshape(k, -1)
    number = np.zeros(k, dtype=np.intp)
    for place in range(k):
        same = np.abs(open_part[:place] - open_part[place]).max(axis=1, initial=0.0) < np.sqrt(NO_DIRECTION)
        number[place] = number[:place][same][0] if same.any() else number[:place].max(initial=-1) + 1
    return number
