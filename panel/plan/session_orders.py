"""What does each person try in each session, and in which order?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from panel.errors import ModelError
from panel.stats.orders.near_balance import nearly_balanced_blocks, ordered_blocks, split_into_sittings
from panel.stats.orders.order_designs import serving_orders

Order = list[str]


def session_orders(
    prototypes: Sequence[str],
    n: int,
    rng: np.random.Generator,
    *,
    replicates: int = 1,
    per_session: int = 8,
    sessions: int | None = None,
) -> dict[str, list[Order]]:
    """Return each session's orders of prototypes, one for each of n people; sessions are called 1, 2, ...

    Parameters
    ----------
    replicates
        How often everybody tries everything.
    per_session
        The most samples in a session; with more prototypes each replicate takes several sessions of about equal size.
    sessions
        Sessions each person comes to, if that is too few to try everything: then everybody tries a part, once.

    Raises
    ------
    ModelError
        If that number of sessions would be enough to try everything, or none.
    """
    t = len(prototypes)
    needed = -(-t // per_session)
    if sessions is not None and not 1 <= sessions < needed:
        raise ModelError(
            f"{t} prototypes, at most {per_session} in a session, take {needed} session{'s' if needed > 1 else ''}, so "
            f"{sessions} would not make everybody try a part. Leave the number of sessions out and ask for replicates "
            "instead."
        )
    if needed == 1:
        rows = serving_orders(n, t, replicates, rng).tolist()
    elif sessions is None:
        sizes = [t // needed + (number < t % needed) for number in range(needed)]
        rows = _split(np.tile(np.arange(t), (n * replicates, 1)), sizes, replicates, t, rng)
    else:
        chosen = nearly_balanced_blocks(t, sessions * per_session, n, rng)
        chosen = rng.permutation(t)[rng.permutation(chosen)]
        rows = _split(chosen, [per_session] * sessions, 1, t, rng)
    return {
        str(number + 1): [[prototypes[sample] for sample in order] for order in orders]
        for number, orders in enumerate(rows)
    }


def _split(
    sets: np.ndarray, sizes: Sequence[int], replicates: int, t: int, rng: np.random.Generator
) -> list[list[list[int]]]:
    """Return orders, [session][person], of samples that are split into sittings of these sizes."""
    n = len(sets) // replicates
    split = split_into_sittings(sets, sizes, rng)
    ends = np.cumsum(sizes)[:-1]
    blocks = [part.tolist() for row in split for part in np.split(row, ends)]
    ordered = ordered_blocks(blocks, t, rng)
    sittings = len(sizes)
    return [
        [ordered[(replicate * n + person) * sittings + sitting] for person in range(n)]
        for replicate in range(replicates)
        for sitting in range(sittings)
    ]
