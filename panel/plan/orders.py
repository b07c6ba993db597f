"""Who gets which prototype, when, under which code and where on the skin?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.plan.balance import ServingBalance, serving_balance
from panel.plan.codes import UNLUCKY, session_codes
from panel.plan.gaps import NO_GAPS, design_gaps, gap_notes
from panel.plan.session_orders import Order, session_orders
from panel.plan.sites import FOREARMS, Sites, given_sites, site_sequences

MOST_PER_SESSION = 8
"""Samples in one session, four on each forearm with a break between; common practice, no source."""

COLUMNS = ("session", "assessor", "position", "prototype", "code", "site")


@dataclass(frozen=True, eq=False, slots=True)
class ServingPlan:
    """Who gets what, when, under which code and where.

    Parameters
    ----------
    servings
        `session assessor position prototype code site`, exactly as the table of a study; a warm-up has position 1.
    balance
        How even the plan is.
    gaps
        `assessor prototype reason`: what somebody does not get because it was forbidden.
    warm_up
        Name of the prototype that is only served to get started, empty if there is none.
    per_session
        The largest number of samples in a session, the warm-up not counted.
    """

    servings: pd.DataFrame
    balance: ServingBalance
    gaps: pd.DataFrame
    warm_up: str
    per_session: int
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
    sites: Sites = FOREARMS,
    warm_up: str = "",
    forbidden: pd.DataFrame = NO_GAPS,
    unlucky: Iterable[str] = UNLUCKY,
) -> ServingPlan:
    """Plan the servings.

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
    sites
        Names of the sites, one tuple for each side of the body; empty for none.
    warm_up
        Name of a sample served first in every session and not analysed.
    forbidden
        `assessor prototype reason`, as `panel.plan.allergens.forbidden_pairs` gives them.
    unlucky
        Digits that no code may contain.

    Raises
    ------
    ModelError
        If names are missing or given twice, numbers make no plan, or codes or sites do not suffice.
    """
    _ask(prototypes, assessors, warm_up, replicates, per_session)
    largest = min(per_session, len(prototypes))
    if sites:
        site_sequences(sites, largest)  # says so if they do not suffice
    turns = session_orders(
        prototypes, len(assessors), rng, replicates=replicates, per_session=per_session, sessions=sessions
    )
    gaps = design_gaps(forbidden, prototypes, assessors, warm_up)
    servings = _served(turns, assessors, sites, warm_up, gaps, rng)
    names = [*prototypes, *([warm_up] if warm_up else [])]
    codes = session_codes(names, list(turns), rng, unlucky=unlucky)
    servings = servings.merge(codes, on=["session", "prototype"], how="left")[list(COLUMNS)]
    meant = sum(len(order) for orders in turns.values() for order in orders) / len(prototypes)
    balance = serving_balance(servings, prototypes=prototypes, warm_up=warm_up, planned=meant)
    return ServingPlan(
        servings=servings,
        balance=balance,
        gaps=gaps,
        warm_up=warm_up,
        per_session=largest,
        method=_method(prototypes, assessors, replicates, largest, len(turns), sessions),
        notes=(*_notes(warm_up, sites, largest), *gap_notes(gaps, balance, prototypes, assessors)),
    )


def _ask(prototypes: Sequence[str], assessors: Sequence[str], warm_up: str, replicates: int, per_session: int) -> None:
    for names, what in ((prototypes, "prototype"), (assessors, "assessor")):
        twice = [name for name, times in Counter(names).items() if times > 1]
        if twice:
            raise ModelError(f"The {what} {twice[0]!r} is named twice. Name each once.")
        if not all(names):
            raise ModelError(f"A {what} has no name. Give every {what} a short name.")
    if len(prototypes) < 2 or not assessors:
        raise ModelError("A plan needs at least two prototypes and one assessor. Add what is missing to the study.")
    if warm_up in prototypes:
        raise ModelError(
            f"The warm-up {warm_up!r} is also a prototype of the study: its scores would be mixed with the real ones. "
            "Give the warm-up a name of its own, even if the same cream is in the pot."
        )
    if replicates < 1 or per_session < 2:
        raise ModelError("A plan needs at least one replicate, and at least two samples in a session.")


def _served(
    turns: dict[str, list[Order]],
    assessors: Sequence[str],
    sites: Sites,
    warm_up: str,
    gaps: pd.DataFrame,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Return the servings without codes; what is forbidden is left out and the others move up."""
    left_out = set(zip(gaps["assessor"], gaps["prototype"], strict=True))
    seen: Counter[tuple[str, str]] = Counter()
    rows = []
    for session, orders in turns.items():
        places = given_sites(orders, sites, seen, rng) if sites else [tuple("" for _ in order) for order in orders]
        for assessor, order, where in zip(assessors, orders, places, strict=True):
            pairs = zip(order, where, strict=True)
            given = [(prototype, site) for prototype, site in pairs if (assessor, prototype) not in left_out]
            if warm_up and given and (assessor, warm_up) not in left_out:
                free = [site for side in sites for site in side if site not in where]
                given = [(warm_up, free[0] if free else ""), *given]
            rows += [
                (session, assessor, float(place), prototype, site)
                for place, (prototype, site) in enumerate(given, start=1)
            ]
    frame = pd.DataFrame(rows, columns=["session", "assessor", "position", "prototype", "site"])
    return frame.astype({name: "str" for name in frame.columns if name != "position"} | {"position": "float64"})


def _method(
    prototypes: Sequence[str],
    assessors: Sequence[str],
    replicates: int,
    largest: int,
    sessions: int,
    part: int | None,
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


def _notes(warm_up: str, sites: Sites, largest: int) -> list[str]:
    notes = []
    if warm_up:
        notes.append(
            f"{warm_up} is served first in every session to get started. Leave its scores out by a rule written down "
            "before the first session, and list it among the prototypes as a reference."
        )
        if sites and sum(len(side) for side in sites) <= largest:
            notes.append("No site is left for the warm-up: choose one that no sample of the session uses.")
    else:
        notes.append(
            "There is no warm-up: the first sample of a session is often scored differently. Serve a warm-up, or take "
            "the position into the analysis."
        )
    return notes
