"""How even is a serving plan: places in the order, what follows what, sites, and who tries which two prototypes?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.stats.orders.block_designs import pair_variances

_EVEN, _NEAREST, _NEARLY, _UNEVEN = "even", "as even as whole numbers allow", "nearly even", "uneven"
_NEARLY_COUNT, _NEARLY_SHARE = 2, 0.25
"""Nearly even: counts that differ by 2, or by a quarter of their mean; a choice of ours, no source."""

_METHOD = (
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
        _line("place", "", positions["count"]),
        *(_line("place", session, counts) for session, counts in _whole_sessions(rows, names)),
        _line("carry-over", "", follows["count"]),
    ]
    if sites:
        summary.append(_line("site", "", at_sites["count"]))
    return ServingBalance(
        summary=pd.DataFrame(summary, columns=["what", "session", "smallest", "largest", "verdict"]),
        positions=positions,
        carry_over=follows,
        sites=at_sites,
        together=_together(rows, names, planned),
        method=_METHOD,
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


def _line(what: str, session: str, counts: pd.Series) -> tuple[str, str, int, int, str]:
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
