"""Check-all results as tables a person reads."""

from __future__ import annotations

import pandas as pd

from panel.models.consumers.check_all import CheckAll
from panel.views.consumers.share_words import share_words
from panel.views.drawing.formats import NOTHING, format_change, format_interval, format_number, format_p, format_share


def term_counts_table(result: CheckAll) -> pd.DataFrame:
    """Return one row per term and one column per prototype: count, base and per cent."""
    rows = result.shares
    told = [share_words(int(x), int(n)) for x, n in zip(rows["ticked"], rows["base"], strict=True)]
    cell = dict(zip(zip(rows["term"], rows["prototype"], strict=True), told, strict=True))
    terms, prototypes = (list(dict.fromkeys(rows[name])) for name in ("term", "prototype"))
    columns = {str(prototype): [cell.get((term, prototype), NOTHING) for term in terms] for prototype in prototypes}
    return pd.DataFrame({"Term": terms} | columns, dtype="str")


def term_tests_table(result: CheckAll) -> pd.DataFrame:
    """Return one row per term: how often ticked, Cochran's Q, who was lost for it."""
    rows = result.terms
    return pd.DataFrame(
        {
            "Term": list(rows["term"]),
            "Ticked": [share_words(int(x), int(n)) for x, n in zip(rows["ticked"], rows["base"], strict=True)],
            "Rare": ["rare" if rare else "" for rare in rows["rare"]],
            "Cochran's Q": [format_number(value) for value in rows["statistic"]],
            "Degrees of freedom": [f"{df:d}" for df in rows["df"]],
            "p": [format_p(value) for value in rows["p_value"]],
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
            "Way": ["exact" if exact else "chi-square" for exact in rows["exact"]],
            "Consumers": [f"{n:d}" for n in rows["n_consumers"]],
            "Lost (not all prototypes)": [f"{n:d}" for n in rows["n_lost"]],
        },
        dtype="str",
    )


def term_pairs_table(result: CheckAll) -> pd.DataFrame:
    """Return one row per term and pair of prototypes, from the larger difference to the smaller within a term."""
    rows = result.pairs
    return pd.DataFrame(
        {
            "Term": list(rows["term"]),
            "Prototype": list(rows["prototype"]),
            "Compared with": list(rows["versus"]),
            "Consumers": [f"{n:d}" for n in rows["n"]],
            "Ticked for the first only": [f"{n:d}" for n in rows["only_prototype"]],
            "Ticked for the second only": [f"{n:d}" for n in rows["only_versus"]],
            "Difference in points of per cent": [format_change(100 * value) for value in rows["estimate"]],
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
        },
        dtype="str",
    )


def lift_table(result: CheckAll) -> pd.DataFrame:
    """Return one row per term: liking where it is ticked minus where it is not, plain and within consumers."""
    rows = result.lift
    level = f"{100 * result.level:g} % interval"
    return pd.DataFrame(
        {
            "Term": list(rows["term"]),
            "Answers ticked": [f"{n:d}" for n in rows["n_ticked"]],
            "Not ticked": [f"{n:d}" for n in rows["n_not"]],
            "Liking, ticked minus not": [format_change(value) for value in rows["estimate"]],
            level: [format_interval(a, b) for a, b in zip(rows["ci_low"], rows["ci_high"], strict=True)],
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
            "Within consumers": [format_change(value) for value in rows["within_estimate"]],
            f"{level} within": [
                format_interval(a, b) for a, b in zip(rows["within_ci_low"], rows["within_ci_high"], strict=True)
            ],
            "p after Holm, within": [format_p(value) for value in rows["within_p_adjusted"]],
        },
        dtype="str",
    )


def term_components_table(result: CheckAll) -> pd.DataFrame:
    """Return one row per component of the map; without rows if there is none."""
    if result.map is None:
        return pd.DataFrame({"Component": [], "Canonical correlation": [], "Inertia": [], "Share": []}, dtype="str")
    rows = result.map.components
    return pd.DataFrame(
        {
            "Component": [f"{number:d}" for number in rows["component"]],
            "Canonical correlation": [format_number(value, 3) for value in rows["correlation"]],
            "Inertia": [format_number(value, 4) for value in rows["inertia"]],
            "Share": [format_share(value, 1) for value in rows["share"]],
        },
        dtype="str",
    )
