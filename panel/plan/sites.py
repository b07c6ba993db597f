"""Where on the skin does each sample go? Sites are turned from person to person, side by side and place by place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from panel.errors import ModelError

Sites = tuple[tuple[str, ...], ...]

FOREARMS: Sites = tuple(tuple(f"{side} forearm {place}" for place in range(1, 5)) for side in ("left", "right"))
"""Four marked areas on each inner forearm, 1 nearest to the wrist; samples first on one arm, then on the other."""

HANDS: Sites = (("back of left hand",), ("back of right hand",))

PASSES = 20  # over all people, at most
STARTS = 10
PROTOTYPE_AT_SITE = 2.0  # how much uneven sites of a prototype count beside uneven sites of a place in the order


def site_sequences(sites: Sites, number: int) -> list[tuple[str, ...]]:
    """Return the sequences of sites that are served in turn, as many as there are samples.

    Over all of them each site stands once at each place of the order. Where each side takes equally many samples, one
    side is done before the other, and sequences differ in the side they begin with and the place they begin at.

    Parameters
    ----------
    sites
        Names of the sites, one tuple for each side.
    number
        How many samples one person gets in a session.

    Raises
    ------
    ModelError
        If there are fewer sites than samples: no site may be used twice in a session.
    """
    total = sum(len(side) for side in sites)
    if number > total:
        raise ModelError(
            f"{number} samples in a session need {number} sites, and there are {total}: no site may be used twice. "
            "Serve fewer samples in a session, or name more sites."
        )
    each, left = divmod(number, len(sites))
    if left or any(len(side) < each for side in sites):
        line = _first_sites(sites, number)
        return [tuple(line[turn:] + line[:turn]) for turn in range(number)]
    found = []
    for first in range(len(sites)):
        for turn in range(each):
            sides = [side[:each] for side in (*sites[first:], *sites[:first])]
            found.append(tuple(site for side in sides for site in (*side[turn:], *side[:turn])))
    return found


def given_sites(
    orders: Sequence[Sequence[str]], sites: Sites, seen: Counter[tuple[str, str]], rng: np.random.Generator
) -> list[tuple[str, ...]]:
    """Return the sites of each person's samples in one session.

    Sequences and their mirror images are given out so that each prototype comes equally often to each site and side,
    and each site equally often at each place of the order, as nearly as changing one person's sequence at a time can
    make it.

    Parameters
    ----------
    orders
        Each person's prototypes in their order.
    seen
        How often each prototype has come to each site in the sessions before; what is planned here is added to it.
    """
    names = {prototype for order in orders for prototype in order}
    longest = max(len(order) for order in orders)
    sequences = site_sequences(sites, longest)
    sequences = list(dict.fromkeys([*sequences, *(_mirrored(sequence, sites) for sequence in sequences)]))
    side_of = {site: f"side {number}" for number, side in enumerate(sites) for site in side}
    cells = [
        [
            [
                *((prototype, site) for prototype, site in zip(order, sequence, strict=False)),
                *((prototype, side_of[site]) for prototype, site in zip(order, sequence, strict=False)),
                *((f"place {place}", site) for place, site in enumerate(sequence[: len(order)])),
            ]
            for sequence in sequences
        ]
        for order in orders
    ]
    numbers = {
        cell: number for number, cell in enumerate(dict.fromkeys(c for row in cells for part in row for c in part))
    }
    weight = np.sqrt([PROTOTYPE_AT_SITE if kind in names and site in side_of else 1.0 for kind, site in numbers])
    use = np.zeros((len(orders), len(sequences), len(numbers)))
    for person, row in enumerate(cells):
        for turn, part in enumerate(row):
            np.add.at(use[person, turn], [numbers[cell] for cell in part], 1)
    before = np.array([seen[cell] for cell in numbers], dtype=float)
    chosen = min((_even_turns(weight * use, weight * before, rng) for _ in range(STARTS)), key=lambda found: found[0])[
        1
    ]
    for row, turn in zip(cells, chosen, strict=True):
        seen.update(row[turn])
    return [sequences[turn][: len(order)] for order, turn in zip(orders, chosen, strict=True)]


def _even_turns(use: np.ndarray, before: np.ndarray, rng: np.random.Generator) -> tuple[float, list[int]]:
    """Return the sum of squared counts and the sequence of each person, from a random start."""
    people, turns, _ = use.shape
    chosen = rng.permutation(np.arange(people) % turns)
    counts = before + use[np.arange(people), chosen].sum(axis=0)
    for _ in range(PASSES):
        changed = False
        for person in rng.permutation(people):
            without = counts - use[person, chosen[person]]
            costs = ((without + use[person]) ** 2).sum(axis=1)
            if costs.min() < costs[chosen[person]]:
                chosen[person] = costs.argmin()
                counts = without + use[person, chosen[person]]
                changed = True
        if not changed:
            break
    return float((counts**2).sum()), chosen.tolist()


def _mirrored(sequence: tuple[str, ...], sites: Sites) -> tuple[str, ...]:
    """Return the sequence with the places of each side in reverse order, the sides as they were."""
    side_of = {site: number for number, side in enumerate(sites) for site in side}
    runs: list[list[str]] = []
    for site in sequence:
        if runs and side_of[runs[-1][-1]] == side_of[site]:
            runs[-1].append(site)
        else:
            runs.append([site])
    return tuple(site for run in runs for site in reversed(run))


def _first_sites(sites: Sites, number: int) -> list[str]:
    """Return the sites used when the sides cannot share the samples equally: filled place by place."""
    places = range(max(len(side) for side in sites))
    taken = [
        (number_of_side, place) for place in places for number_of_side, side in enumerate(sites) if place < len(side)
    ]
    return [sites[side][place] for side, place in sorted(taken[:number])]
