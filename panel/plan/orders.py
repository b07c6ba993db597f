"""Who gets which prototype, when, under which code and where on the skin?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.plan.codes import session_codes
from panel.stats.orders.block_designs import nearly_balanced_blocks, ordered_blocks, pair_variances, split_into_sittings
from panel.stats.orders.order_designs import serving_orders
from panel.study.study import those_in

# How even is a plan: places in the order, what follows what, sites, and who tries which two prototypes?


_EVEN, _NEAREST, _NEARLY, _UNEVEN = "even", "as even as whole numbers allow", "nearly even", "uneven"
_NEARLY_COUNT, _NEARLY_SHARE = 2, 0.25
"""Nearly even: counts that differ by 2, or by a quarter of their mean; a choice of ours, no source."""

_COUNTED_HOW = (
    "Counted over all servings without the warm-up: how often each prototype stands at each place of the order, comes "
    "straight after each other one in a session, and goes to each site. Precision is that of differences within "
    "sessions, as a share of what the same number of servings would give if every session held every prototype "
    "(intrablock analysis, C = R - N' K^-1 N); what can be learned between sessions comes on top."
)


@dataclass(frozen=True, eq=False, slots=True)
class ServingBalance:
    """How even a serving plan is; frames tidy, counts as whole numbers.

    Parameters
    ----------
    summary
        `what session smallest largest verdict`: for places (`place`), followings (`carry-over`) and sites (`site`), in
        all (`session` empty) and, for places, in each session in which everybody gets everything. The verdict is
        `even`, `as even as whole numbers allow` (counts differ by 1), `nearly even` or `uneven`.
    positions
        `prototype position count`.
    carry_over
        `prototype after count`: how often `prototype` comes straight after `after`.
    sites
        `prototype site count`; no rows without sites.
    together
        `prototype versus assessors sessions share`: assessors who try both, sessions in which both come, and the
        precision of their difference as a share of the complete plan; 0 where they cannot be compared.
    """

    summary: pd.DataFrame
    positions: pd.DataFrame
    carry_over: pd.DataFrame
    sites: pd.DataFrame
    together: pd.DataFrame
    method: str


def serving_balance(
    servings: pd.DataFrame, *, prototypes: Sequence[str] = (), planned: float = float("nan")
) -> ServingBalance:
    """Return how even the servings are.

    Parameters
    ----------
    servings
        `session assessor position prototype`, and `site` if there are sites; as the table of a study.
    prototypes
        In their order; by default those served. One that nobody gets is uneven.
    planned
        Servings of each prototype that were meant; by default the mean of those there are.
    """
    rows = servings.sort_values(["session", "assessor", "position"], kind="stable")
    names = list(prototypes) or list(dict.fromkeys(rows["prototype"]))
    places = sorted(set(rows["position"]))
    positions = _counted(rows, names, "position", places)
    before = rows.groupby(["session", "assessor"], sort=False)["prototype"].shift()
    pairs = pd.DataFrame({"prototype": rows["prototype"], "after": before}).dropna()
    found = _counted(pairs, names, "after", names)
    follows = found.loc[found["prototype"] != found["after"]].reset_index(drop=True)
    sites = sorted({str(site) for site in rows.get("site", pd.Series(dtype="str")) if site})
    at_sites = _counted(rows.loc[rows["site"] != ""], names, "site", sites) if sites else _counted(rows, [], "site", [])
    summary = [
        _balance_line("place", "", positions["count"]),
        *(_balance_line("place", session, counts) for session, counts in _whole_sessions(rows, names)),
        _balance_line("carry-over", "", follows["count"]),
    ]
    if sites:
        summary.append(_balance_line("site", "", at_sites["count"]))
    return ServingBalance(
        summary=pd.DataFrame(summary, columns=["what", "session", "smallest", "largest", "verdict"]),
        positions=positions,
        carry_over=follows,
        sites=at_sites,
        together=_together(rows, names, planned),
        method=_COUNTED_HOW,
    )


def _counted(rows: pd.DataFrame, names: Sequence[str], column: str, values: Iterable[object]) -> pd.DataFrame:
    """Return `prototype column count` for every prototype and value, also where the count is zero."""
    cells = pd.MultiIndex.from_product([list(names), list(values)], names=["prototype", column])
    found = rows.groupby(["prototype", column]).size() if len(cells) else pd.Series(dtype="int64")
    return found.reindex(cells, fill_value=0).rename("count").astype("int64").reset_index()


def _whole_sessions(rows: pd.DataFrame, names: Sequence[str]) -> Iterator[tuple[str, pd.Series]]:
    """Return the counts of places in the sessions in which everybody gets every prototype."""
    for session, part in rows.groupby("session", sort=False):
        if len(part) == part["assessor"].nunique() * len(names):
            places = sorted(set(part["position"]))
            yield (str(session), _counted(part, names, "position", places)["count"])


def _balance_line(what: str, session: str, counts: pd.Series) -> tuple[str, str, int, int, str]:
    smallest, largest = (int(counts.min()), int(counts.max())) if len(counts) else (0, 0)
    spread = largest - smallest
    nearly = max(_NEARLY_COUNT, _NEARLY_SHARE * float(counts.mean())) if len(counts) else 0
    verdict = (_EVEN, _NEAREST)[spread] if spread < 2 else _NEARLY if spread <= nearly else _UNEVEN
    return what, session, smallest, largest, verdict


def _tried(rows: pd.DataFrame, names: Sequence[str], by: list[str]) -> NDArray[np.float64]:
    """Return 1 where a group of rows, down, holds a prototype, across, and else 0."""
    group, prototype = rows.groupby(by).ngroup().to_numpy(), pd.Index(names).get_indexer(pd.Index(rows["prototype"]))
    found = np.zeros((group.max(initial=-1) + 1, len(names)))
    found[group[prototype >= 0], prototype[prototype >= 0]] = 1.0
    return found


def _together(rows: pd.DataFrame, names: Sequence[str], planned: float) -> pd.DataFrame:
    """Return who tries both of two prototypes, in how many sessions both come, and how precise their difference is."""
    place = {name: number for number, name in enumerate(names)}
    in_sitting, of_person = (_tried(rows, names, by) for by in (["session", "assessor"], ["assessor"]))
    sessions, assessors = in_sitting.T @ in_sitting, of_person.T @ of_person
    meant = planned if np.isfinite(planned) else len(rows) / max(len(names), 1)
    variance = pair_variances(in_sitting) if len(in_sitting) else np.full((len(names),) * 2, np.inf)
    pairs = [(one, other) for number, one in enumerate(names) for other in names[number + 1 :]]
    cells = [(place[one], place[other]) for one, other in pairs]
    return pd.DataFrame(
        {
            "prototype": pd.Series([one for one, _ in pairs], dtype="str"),
            "versus": pd.Series([other for _, other in pairs], dtype="str"),
            "assessors": [int(assessors[cell]) for cell in cells],
            "sessions": [int(sessions[cell]) for cell in cells],
            "share": [2 / meant / variance[cell] for cell in cells],
        }
    )


# Where on the skin does each sample go? Sites are turned from person to person, side by side and place by place.


_FOREARMS = tuple(tuple(f"{side} forearm {place}" for place in range(1, 5)) for side in ("left", "right"))
"""Four marked areas on each inner forearm, 1 nearest to the wrist; samples first on one arm, then on the other."""

_PASSES = 20  # over all people, at most
_STARTS = 10
_PROTOTYPE_AT_SITE = 2.0  # how much uneven sites of a prototype count beside uneven sites of a place in the order


def _site_sequences(number: int) -> list[tuple[str, ...]]:
    """Return the sequences of sites that are served in turn, as many as there are samples.

    Over all of them each site stands once at each place of the order. Where each side takes equally many samples, one
    side is done before the other, and sequences differ in the side they begin with and the place they begin at.

    Raises
    ------
    ModelError
        If there are fewer sites than samples (`number`): no site may be used twice in a session.
    """
    total = sum(len(side) for side in _FOREARMS)
    if number > total:
        raise ModelError(
            f"{number} samples in a session need {number} sites, and there are {total}: no site may be used twice. "
            "Serve fewer samples in a session, or name more sites."
        )
    each, left = divmod(number, len(_FOREARMS))
    if left:
        taken = [(side, place) for place in range(len(_FOREARMS[0])) for side in range(len(_FOREARMS))]
        line = [_FOREARMS[side][place] for side, place in sorted(taken[:number])]
        return [tuple(line[turn:] + line[:turn]) for turn in range(number)]
    found = []
    for first in range(len(_FOREARMS)):
        for turn in range(each):
            sides = [side[:each] for side in (*_FOREARMS[first:], *_FOREARMS[:first])]
            found.append(tuple(site for side in sides for site in (*side[turn:], *side[:turn])))
    return found


def _given_sites(
    orders: Sequence[Sequence[str]], seen: Counter[tuple[str, str]], rng: np.random.Generator
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
    sequences = _site_sequences(longest)
    sequences = list(dict.fromkeys([*sequences, *(_mirrored(sequence) for sequence in sequences)]))
    side_of = {site: f"side {number}" for number, side in enumerate(_FOREARMS) for site in side}
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
    weight = np.sqrt([_PROTOTYPE_AT_SITE if kind in names and site in side_of else 1.0 for kind, site in numbers])
    use = np.zeros((len(orders), len(sequences), len(numbers)))
    for person, row in enumerate(cells):
        for turn, part in enumerate(row):
            np.add.at(use[person, turn], [numbers[cell] for cell in part], 1)
    before = np.array([seen[cell] for cell in numbers], dtype=float)
    chosen = min((_even_turns(weight * use, weight * before, rng) for _ in range(_STARTS)), key=lambda found: found[0])[
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
    for _ in range(_PASSES):
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


def _mirrored(sequence: tuple[str, ...]) -> tuple[str, ...]:
    """Return the sequence with the places of each side in reverse order, the sides as they were."""
    side_of = {site: number for number, side in enumerate(_FOREARMS) for site in side}
    runs: list[list[str]] = []
    for site in sequence:
        if runs and side_of[runs[-1][-1]] == side_of[site]:
            runs[-1].append(site)
        else:
            runs.append([site])
    return tuple(site for run in runs for site in reversed(run))


# Who gets which prototype, when, under which code and where on the skin?


MOST_PER_SESSION = 8
"""Samples in one session, four on each forearm with a break between; common practice, no source."""

_COLUMNS = ("session", "assessor", "position", "prototype", "code", "site")

_NO_GAPS = pd.DataFrame({name: pd.Series(dtype="str") for name in ("assessor", "prototype", "reason")})
"""Nothing is forbidden."""


@dataclass(frozen=True, eq=False, slots=True)
class ServingPlan:
    """Who gets what, when, under which code and where.

    Parameters
    ----------
    servings
        `session assessor position prototype code site`, exactly as the table of a study.
    balance
        How even the plan is.
    gaps
        `assessor prototype reason`: what somebody does not get because it was forbidden.
    """

    servings: pd.DataFrame
    balance: ServingBalance
    gaps: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def plan_servings(
    prototypes: Sequence[str],
    assessors: Sequence[str],
    rng: np.random.Generator,
    *,
    replicates: int = 1,
    per_session: int = MOST_PER_SESSION,
    sessions: int | None = None,
    forbidden: pd.DataFrame = _NO_GAPS,
) -> ServingPlan:
    """Plan the servings on the forearms.

    Parameters
    ----------
    prototypes, assessors
        Short names.
    rng
        Source of orders, sites and codes; the same one gives the same plan.
    replicates
        How often everybody tries everything.
    per_session
        The most samples one person gets in a session. With more prototypes, each replicate takes several sessions.
    sessions
        Sessions each person comes to, if that is too few to try everything: then everybody tries a part.
    forbidden
        `assessor prototype reason`, as `panel.plan.safety.forbidden_pairs` gives them.

    Raises
    ------
    ModelError
        If names are missing or given twice, numbers make no plan, or codes or sites do not suffice.
    """
    _ask(prototypes, assessors, replicates, per_session)
    largest = min(per_session, len(prototypes))
    _site_sequences(largest)  # says so if they do not suffice
    turns = _session_orders(
        prototypes, len(assessors), rng, replicates=replicates, per_session=per_session, sessions=sessions
    )
    gaps = _design_gaps(forbidden, prototypes, assessors)
    servings = _served(turns, assessors, gaps, rng)
    codes = session_codes(prototypes, list(turns), rng)
    servings = servings.merge(codes, on=["session", "prototype"], how="left")[list(_COLUMNS)]
    meant = sum(len(order) for orders in turns.values() for order in orders) / len(prototypes)
    balance = serving_balance(servings, prototypes=prototypes, planned=meant)
    return ServingPlan(
        servings=servings,
        balance=balance,
        gaps=gaps,
        method=_method(prototypes, assessors, replicates, largest, len(turns), sessions),
        notes=(_NO_WARM_UP, *_gap_notes(gaps, balance, prototypes, assessors)),
    )


def _ask(prototypes: Sequence[str], assessors: Sequence[str], replicates: int, per_session: int) -> None:
    for names, what in ((prototypes, "prototype"), (assessors, "assessor")):
        twice = [name for name, times in Counter(names).items() if times > 1]
        if twice:
            raise ModelError(f"The {what} {twice[0]!r} is named twice. Name each once.")
        if not all(names):
            raise ModelError(f"A {what} has no name. Give every {what} a short name.")
    if len(prototypes) < 2 or not assessors:
        raise ModelError("A plan needs at least two prototypes and one assessor. Add what is missing to the study.")
    if replicates < 1 or per_session < 2:
        raise ModelError("A plan needs at least one replicate, and at least two samples in a session.")


def _served(
    turns: dict[str, list[_Order]], assessors: Sequence[str], gaps: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """Return the servings without codes; what is forbidden is left out and the others move up."""
    left_out = set(zip(gaps["assessor"], gaps["prototype"], strict=True))
    seen: Counter[tuple[str, str]] = Counter()
    rows = []
    for session, orders in turns.items():
        for assessor, order, where in zip(assessors, orders, _given_sites(orders, seen, rng), strict=True):
            pairs = zip(order, where, strict=True)
            given = [(prototype, site) for prototype, site in pairs if (assessor, prototype) not in left_out]
            rows += [
                (session, assessor, float(place), prototype, site)
                for place, (prototype, site) in enumerate(given, start=1)
            ]
    frame = pd.DataFrame(rows, columns=["session", "assessor", "position", "prototype", "site"])
    return frame.astype({name: "str" for name in frame.columns if name != "position"} | {"position": "float64"})


def _method(
    prototypes: Sequence[str], assessors: Sequence[str], replicates: int, largest: int, sessions: int, part: int | None
) -> str:
    t, n = len(prototypes), len(assessors)
    if part is not None:
        how = (
            f"each tries {part * largest} of them, chosen so that every two meet about equally often (balanced "
            "incomplete blocks where the numbers allow, else exchanges)"
        )
    elif largest < t:
        how = "each tries all of them, split over sessions so that every two meet about equally often"
    else:
        how = "each tries all of them in every session, in the orders of a Williams square or what comes nearest to it"
    return (
        f"{t} prototypes, {n} assessors, {sessions} session{'s' if sessions > 1 else ''}"
        f"{f', {replicates} replicates' if replicates > 1 else ''}: {how}. Codes are new in each session."
    )


_NO_WARM_UP = (
    "There is no warm-up: the first sample of a session is often scored differently. Serve a warm-up, or take the "
    "position into the analysis."
)


# What does each person try in each session, and in which order?


_Order = list[str]


def _session_orders(
    prototypes: Sequence[str],
    n: int,
    rng: np.random.Generator,
    *,
    replicates: int = 1,
    per_session: int = 8,
    sessions: int | None = None,
) -> dict[str, list[_Order]]:
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
    if sessions is not None and replicates > 1:
        raise ModelError("Who tries a part tries it once. Ask for one replicate, or leave the number of sessions out.")
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


# What does it do to a plan that somebody may not get a prototype?


_FEW = 6
"""With fewer people a difference rests on so few that one odd person decides; a choice of ours, no source."""

_NOTHING_LEFT = 1e-9
_SHOWN = 4


def _design_gaps(forbidden: pd.DataFrame, prototypes: Sequence[str], assessors: Sequence[str]) -> pd.DataFrame:
    """Return `assessor prototype reason` of what is forbidden among these people and prototypes, each pair once."""
    concerned = forbidden["assessor"].isin(list(assessors)) & forbidden["prototype"].isin(list(prototypes))
    rows = forbidden.loc[concerned, ["assessor", "prototype", "reason"]]
    together = rows.groupby(["assessor", "prototype"], sort=False)["reason"].agg(
        lambda found: "; ".join(found.unique())
    )
    return together.reset_index().astype("str") if len(rows) else _NO_GAPS.copy()


def _gap_notes(
    gaps: pd.DataFrame, balance: ServingBalance, prototypes: Sequence[str], assessors: Sequence[str]
) -> list[str]:
    """Return in words what the gaps do to the design, from the numbers of the plan."""
    notes = []
    for assessor, rows in gaps.groupby("assessor", sort=False):
        missed = list(those_in(prototypes, rows["prototype"]))
        reason = "; ".join(dict.fromkeys(rows["reason"]))
        left = len(prototypes) - len(missed)
        if left == 0:
            notes.append(f"{assessor} is served nothing: {reason}.")
            continue
        notes.append(f"{assessor} does not get {', '.join(missed)}: {reason}.")
        if left == 1:
            notes.append(f"{assessor} tries only one prototype, which says nothing about differences.")
    return [*notes, *_precision_notes(gaps, balance, len(assessors))] if len(gaps) else []


def _precision_notes(gaps: pd.DataFrame, balance: ServingBalance, n: int) -> Iterator[str]:
    """Return which differences rest on fewer people than planned, and which cannot be told at all."""
    together = balance.together
    lost = together.loc[together["share"] < _NOTHING_LEFT]
    if len(lost):
        pairs = [f"{one} and {other}" for one, other in zip(lost["prototype"], lost["versus"], strict=True)]
        yield f"Cannot be compared, because nobody links them: {_some(pairs)}."
    fewest = int(together["assessors"].min()) if len(together) else 0
    if 0 < fewest < n:
        weakest = together.loc[together["share"] >= _NOTHING_LEFT].nsmallest(1, "share")
        for row in weakest.to_dict("records"):
            wider = 1 / row["share"] ** 0.5 - 1
            yield (
                f"The weakest difference, {row['prototype']} against {row['versus']}, is tried by {row['assessors']} "
                f"of {n} assessors: its standard error is about {100 * wider:.0f} % larger than if all tried both in "
                "the same session."
            )
    if 0 < fewest < _FEW <= n:
        yield f"Some differences rest on {fewest} assessors. Invite others in place of those who cannot take part."
    missing = gaps.groupby("prototype")["assessor"].nunique()
    if len(missing):
        yield (
            "The gaps do not come by chance: people with an allergy may perceive differently, so what is said about "
            f"{', '.join(missing.index)} holds for the others."
        )


def _some(names: Sequence[str]) -> str:
    shown = ", ".join(names[:_SHOWN])
    return f"{shown} and {len(names) - _SHOWN} more" if len(names) > _SHOWN else shown
