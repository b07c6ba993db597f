"""Which samples go together when not all fit into one sitting? Balanced incomplete blocks, found and verified.

A design of t samples in b blocks of k is balanced if each sample stands in r blocks and each two samples meet in
lambda blocks. Then bk = tr, lambda(t - 1) = r(k - 1) and b >= t (Fisher). Cochran and Cox (1957), Experimental Designs.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import combinations
from math import comb, gcd, isqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panel.errors import ModelError

Blocks = NDArray[np.int64]

MOST_SUBSETS = 20_000  # samples and block sizes with more possible blocks are not searched
MOST_STEPS = 20_000  # of the search with one symmetry
MOST_MULTIPLES = 4  # of the smallest possible number of blocks, tried before all possible blocks are taken


@dataclass(frozen=True, slots=True)
class BlockNumbers:
    """Numbers of a balanced design: `t` samples, blocks of `k`, `b` blocks, `r` blocks per sample, `lam` per pair."""

    t: int
    k: int
    b: int
    r: int
    lam: int


def block_numbers(t: int, k: int, b: int) -> BlockNumbers:
    """Return r and lambda of a balanced design with these numbers.

    Raises
    ------
    ModelError
        If no design can have these numbers; the reason is given.
    """
    numbers = smallest_numbers(t, k)
    reason = _impossible(t, k, b)
    if reason:
        raise ModelError(
            f"{t} samples in {b} blocks of {k} cannot be balanced: {reason}. The smallest possible number of blocks is "
            f"{numbers.b}; any number can be nearly balanced."
        )
    return _numbers(t, k, b)


def smallest_numbers(t: int, k: int) -> BlockNumbers:
    """Return the smallest numbers that nothing known here forbids; whether such a design exists is not said.

    Raises
    ------
    ModelError
        If there can be no blocks of this size.
    """
    if not 2 <= k < t:
        raise ModelError(f"Blocks of {k} out of {t} samples are none: a block holds at least 2, and fewer than all.")
    b = step = t // gcd(t, k)  # so that every sample stands in a whole number of blocks
    while _impossible(t, k, b):
        b += step
    return _numbers(t, k, b)


def _numbers(t: int, k: int, b: int) -> BlockNumbers:
    r = b * k // t
    return BlockNumbers(t, k, b, r, r * (k - 1) // (t - 1))


def _impossible(t: int, k: int, b: int) -> str:
    """Return why no balanced design has these numbers, empty if nothing known here forbids it."""
    if b * k % t:
        return f"every sample would stand in {b}*{k}/{t} = {b * k / t:.2f} blocks"
    r = b * k // t
    if r * (k - 1) % (t - 1):
        return f"each two samples would meet in {r}*{k - 1}/{t - 1} = {r * (k - 1) / (t - 1):.2f} blocks"
    if b < t:
        return "a balanced design has at least as many blocks as samples (Fisher)"
    left = r - r * (k - 1) // (t - 1)
    if b == t and t % 2 == 0 and isqrt(left) ** 2 != left:
        return (
            "with as many blocks as samples, and an even number of them, k - lambda would have to be a square "
            f"(Bruck, Ryser and Chowla), and it is {left}"
        )
    return ""


def balanced_blocks(t: int, k: int, b: int | None = None) -> Blocks:
    """Return a balanced design, (b, k), samples from 0, each row sorted; without `b` the smallest that was found.

    Designs are searched among those that a symmetry maps onto themselves (cyclic, or cyclic in parts); larger ones are
    put together from smaller ones. Whatever is returned has been checked to be balanced.

    Raises
    ------
    ModelError
        If the numbers are impossible, or if they are possible but no design was found.
    """
    smallest = smallest_numbers(t, k)
    if b is None:
        sizes = [size for size in range(smallest.b, MOST_MULTIPLES * smallest.b + 1) if not _impossible(t, k, size)]
        sizes.append(comb(t, k))  # all possible blocks: always balanced
    else:
        whole = block_numbers(t, k, b).b
        sizes = [size for size in range(smallest.b, whole + 1) if not whole % size and not _impossible(t, k, size)]
    for size in sizes:
        found = _searched(t, k, size)
        if found is not None:
            return np.tile(found, ((b or size) // size, 1))
    raise ModelError(
        f"{t} samples in {b} blocks of {k} could be balanced as far as the numbers go, but no such design was found. "
        "Use another number of blocks, or a nearly balanced design."
    )


def meetings(blocks: Blocks, t: int) -> Blocks:
    """Return in how many blocks each two samples meet, (t, t), with the number of blocks of each on the diagonal."""
    rows = np.zeros((len(blocks), t), dtype=np.int64)
    np.put_along_axis(rows, blocks, 1, axis=1)
    return rows.T @ rows


def is_balanced(blocks: Blocks, t: int) -> bool:
    """Return True if every sample stands in equally many blocks and every two meet in equally many."""
    met = meetings(blocks, t)
    return bool(np.ptp(np.diagonal(met)) == 0 and np.ptp(met[~np.eye(t, dtype=bool)]) == 0)


@cache
def _searched(t: int, k: int, b: int) -> Blocks | None:
    """Return a balanced design with these numbers, or None if none was found."""
    if b == comb(t, k):
        return np.array(list(combinations(range(t), k)), dtype=np.int64)
    if 2 * k > t and t - k >= 2:
        other = _searched(t, t - k, b)
        return None if other is None else _complement(other, t)
    if comb(t, k) > MOST_SUBSETS:
        return None
    for cycles in _symmetries(t):
        found = _symmetric(t, k, block_numbers(t, k, b), cycles)
        if found is not None and is_balanced(found, t):
            return found
    return None


def _complement(blocks: Blocks, t: int) -> Blocks:
    """Return what each block leaves out: balanced if the blocks are."""
    return np.array([np.setdiff1d(np.arange(t), block) for block in blocks], dtype=np.int64)


def _symmetries(t: int) -> list[tuple[int, ...]]:
    """Return the cycles of the symmetries tried: all samples in one, one left out, in two halves, one left out."""
    tried = [(t,), (t - 1, 1)]
    tried.append((t // 2, t // 2) if t % 2 == 0 else (t // 2, t // 2, 1))
    return [cycles for cycles in tried if max(cycles) > 1]


def _symmetric(t: int, k: int, numbers: BlockNumbers, cycles: tuple[int, ...]) -> Blocks | None:
    """Search blocks that a permutation with these cycles maps onto each other (Kramer and Mesner 1976).

    Blocks then come in whole orbits, and so do pairs: wanted are block orbits that meet each pair lambda times.
    """
    image = _rotation(cycles)
    block_orbits, pair_orbits = _orbits(t, k, image), _orbits(t, 2, image)
    pair_of = {pair: number for number, orbit in enumerate(pair_orbits) for pair in orbit}
    covers = np.zeros((len(block_orbits), len(pair_orbits)), dtype=np.int64)
    for number, orbit in enumerate(block_orbits):
        for pair in combinations(orbit[0], 2):
            covers[number, pair_of[pair]] += len(orbit)
    # an orbit of blocks meets every pair of one orbit equally often
    covers //= np.array([len(orbit) for orbit in pair_orbits])
    usable = np.flatnonzero((covers <= numbers.lam).all(axis=1))
    chosen = _exact_cover(covers[usable], numbers.lam)
    if chosen is None:
        return None
    return np.array(sorted(block for place in chosen for block in block_orbits[usable[place]]), dtype=np.int64)


def _rotation(cycles: tuple[int, ...]) -> list[int]:
    image, start = [], 0
    for length in cycles:
        image += [start + (place + 1) % length for place in range(length)]
        start += length
    return image


def _orbits(t: int, size: int, image: list[int]) -> list[list[tuple[int, ...]]]:
    """Return the subsets of one size, gathered into orbits of the permutation."""
    seen: set[tuple[int, ...]] = set()
    orbits = []
    for subset in combinations(range(t), size):
        orbit = []
        while subset not in seen:
            seen.add(subset)
            orbit.append(subset)
            subset = tuple(sorted(image[sample] for sample in subset))
        if orbit:
            orbits.append(orbit)
    return orbits


def _exact_cover(covers: Blocks, lam: int) -> list[int] | None:
    """Return rows, each at most once, whose sum is lambda everywhere; None if not found within the steps allowed."""
    steps = 0

    def complete(left: Blocks, allowed: Blocks) -> list[int] | None:
        nonlocal steps
        steps += 1
        if not left.any():
            return []
        if steps > MOST_STEPS:
            return None
        allowed = allowed[(covers[allowed] <= left).all(axis=1)]
        helpful = covers[allowed] > 0
        open_columns = np.flatnonzero(left)
        tightest = open_columns[helpful[:, open_columns].sum(axis=0).argmin()]
        for row in allowed[helpful[:, tightest]]:
            rest = complete(left - covers[row], allowed[allowed != row])
            if rest is not None:
                return [int(row), *rest]
            allowed = allowed[allowed != row]
        return None

    return complete(np.full(covers.shape[1], lam), np.arange(len(covers)))


# How precise are differences between samples that meet in incomplete blocks?


Floats = NDArray[np.float64]

_NO_DIRECTION = 1e-9


def pair_variances(incidence: ArrayLike) -> Floats:
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
