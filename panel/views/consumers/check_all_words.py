"""Which words people tick for which prototype, and which go with liking: in plain lines made from the numbers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from panel.models.consumers.check_all import FEW_CONSUMERS, LEAST_TICKS, CheckAll
from panel.views.consumers.share_words import share_words
from panel.views.drawing.formats import format_interval, format_list, format_number, format_share, p_words


def check_all_headline(result: CheckAll) -> str:
    """Return the answer in one sentence: how many terms tell the prototypes apart, and which do not."""
    apart = result.terms["p_adjusted"] < 1 - result.level
    total, told = len(apart), int(apart.sum())
    rest = [str(name) for name in result.terms.loc[~apart, "term"]]
    if not told:
        return "No term is ticked more for one prototype than for another, as far as these answers can tell."
    if told == total:
        return f"The prototypes are told apart by {'the term' if total == 1 else f'all {total} terms'}."
    return f"{told} of {total} terms tell the prototypes apart; not {format_list(rest)}."


def what_the_terms_show(result: CheckAll) -> list[str]:
    """Return one plain line per term, in the order of the ballot."""
    own = {str(name): rows for name, rows in result.shares.groupby("term", sort=False)}
    return [_line(row, own[str(row["term"])], result) for row in result.terms.to_dict("records")]


def what_goes_with_liking(result: CheckAll) -> list[str]:
    """Return one line for each term that goes with liking, the strongest first, and one for the rest."""
    if not result.liking:
        return ["Without a liking question nothing can be said about which terms go with liking."]
    rows = result.lift.assign(size=result.lift["estimate"].abs()).sort_values("size", ascending=False, kind="stable")
    seen = rows.loc[rows["p_adjusted"] < 1 - result.level]
    lines = [_lift(row, result) for row in seen.to_dict("records")]
    if len(seen) < len(rows):
        rest = format_list([str(name) for name in rows.loc[~rows.index.isin(seen.index), "term"]])
        lines.append(f"No difference in liking is shown for {rest}. That does not show that there is none.")
    few = [str(name) for name in rows.loc[rows["few"], "term"]]
    if few:
        lines.append(f"Fewer than {LEAST_TICKS} answers on one side, so hardly anything to go by: {format_list(few)}.")
    return lines


def term_map_words(result: CheckAll) -> list[str]:
    """Return what the map shows and how far to trust it."""
    if result.map is None:
        return ["There is no map: fewer than two terms or two prototypes were ticked."]
    shares = result.map.components["share"]
    shown = format_share(min(float(shares.iloc[:2].sum()), 1.0))
    return [
        f"The map shows {shown} of what sets the prototypes apart in the ticks. A term lies in the direction of the "
        "prototypes it is ticked for more than others are; how near a term lies to a prototype says nothing.",
        "The ticks of one consumer belong together, so no test goes with the map; the tests are those of the terms.",
    ]


def what_check_all_cannot_show(result: CheckAll) -> tuple[str, ...]:
    """Return what a reader must not take from ticked terms."""
    return (
        "A tick says that a word came to mind, not how strong the feeling was; a term left open is not a no.",
        "That a term goes with liking does not show that it makes the liking: people who like a product also tick its "
        "pleasant words.",
        f"A map of terms takes about {FEW_CONSUMERS} consumers (common practice, no source); other people may use the "
        "words differently.",
    )


def _line(row: Mapping[Any, Any], shares: pd.DataFrame, result: CheckAll) -> str:
    test = "not tested" if np.isnan(row["p_value"]) else _test(row)
    if not row["p_adjusted"] < 1 - result.level:
        told = (
            f"{row['term']}: no difference shown ({test}); ticked {share_words(int(row['ticked']), int(row['base']))}."
        )
    else:
        most, least = (shares.loc[[shares["share"].idxmax()]], shares.loc[[shares["share"].idxmin()]])
        ends = [
            f"{end['prototype'].iloc[0]}, {share_words(int(end['ticked'].iloc[0]), int(end['base'].iloc[0]))}"
            for end in (most, least)
        ]
        told = f"{row['term']}: ticked most for {ends[0]}; least for {ends[1]}. {test[0].upper()}{test[1:]}."
    return f"{told} Rarely ticked, so it tells little." if row["rare"] else told


def _test(row: Mapping[Any, Any]) -> str:
    if np.isnan(row["statistic"]):
        return "every consumer ticked it everywhere or nowhere"
    exact = "exact " if row["exact"] else ""
    return f"Q {format_number(row['statistic'])}, {exact}{p_words(row['p_adjusted'])} after Holm"


def _lift(row: Mapping[Any, Any], result: CheckAll) -> str:
    higher = "higher" if row["estimate"] > 0 else "lower"
    ends = sorted((abs(row["ci_low"]), abs(row["ci_high"])))
    told = (
        f"{row['term']}: where it is ticked liking is {format_number(abs(row['estimate']))} {higher} "
        f"({100 * result.level:g} % interval {format_interval(ends[0], ends[1])}, {p_words(row['p_adjusted'])} after "
        f"Holm; {row['n_consumers']} consumers)."
    )
    within = row["within_estimate"]
    if np.isnan(within):
        return told
    seen = row["within_p_adjusted"] < 1 - result.level
    same = "the same holds" if seen and within * row["estimate"] > 0 else "it is not sure"
    return f"{told} Within consumers {same} ({format_number(within, 1)})."
