"""Just-about-right results as tables a person reads."""

from __future__ import annotations

import pandas as pd

from panel.models.consumers.just_about_right import ALL_SIDES, JustAboutRight
from panel.views.consumers.right_words import side_words
from panel.views.consumers.share_words import share_words
from panel.views.drawing.formats import NOTHING, format_change, format_interval, format_number, format_p
from panel.views.drawing.naming import Naming

VERDICT_WORDS = {
    "move": "worth a move",
    "perhaps": "perhaps; can be chance",
    "no cost seen": "no cost shown",
    "few people": "fewer than 20 %, not weighed",
    "small group": "group too small, not tested",
}


def right_shares_table(result: JustAboutRight, question: str) -> pd.DataFrame:
    """Return one row per prototype for one question: count, base and per cent of the three sides."""
    rows = result.shares.loc[result.shares["question"] == question]
    told = [share_words(int(x), int(n)) for x, n in zip(rows["count"], rows["base"], strict=True)]
    cell = dict(zip(zip(rows["prototype"], rows["side"], strict=True), told, strict=True))
    prototypes = list(dict.fromkeys(rows["prototype"]))
    columns = {
        side_words(result, question, side).capitalize(): [cell[prototype, side] for prototype in prototypes]
        for side in ALL_SIDES
    }
    return pd.DataFrame({"Prototype": prototypes} | columns, dtype="str")


def drops_table(result: JustAboutRight) -> pd.DataFrame:
    """Return one row per prototype, question and side with its mean drop and verdict."""
    rows = result.drops
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Question": list(rows["question"]),
            "Side": _sides(result, rows),
            "People": [share_words(int(x), int(n)) for x, n in zip(rows["count"], rows["base"], strict=True)],
            "Liked less by (against just about right)": [format_number(value) for value in rows["estimate"]],
            _interval_heading(result.level): _intervals(rows, 1),
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
            "Share times drop": [format_number(value, 2) for value in rows["weighted"]],
            "What it says": [VERDICT_WORDS[verdict] for verdict in rows["verdict"]],
        },
        dtype="str",
    )


def balance_table(result: JustAboutRight) -> pd.DataFrame:
    """Return one row per prototype and question: the weighted drops beside the means they follow from."""
    rows = result.balance
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Question": list(rows["question"]),
            "People": [f"{n:d}" for n in rows["n"]],
            "Mean liking, just about right": [format_number(value, 2) for value in rows["right_mean"]],
            "Mean liking, everybody": [format_number(value, 2) for value in rows["grand_mean"]],
            "Both drops weighted by their shares": [format_number(value, 2) for value in rows["weighted"]],
        },
        dtype="str",
    )


def within_table(result: JustAboutRight) -> pd.DataFrame:
    """Return one row per question and side: the drop within consumers over all prototypes."""
    rows = result.within
    return pd.DataFrame(
        {
            "Question": list(rows["question"]),
            "Side": _sides(result, rows),
            "Liked less by, within consumers": [format_number(value) for value in rows["estimate"]],
            _interval_heading(result.level): _intervals(rows, 1),
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
            "Consumers whose answers differ": [f"{n:d}" for n in rows["n_consumers"]],
        },
        dtype="str",
    )


def right_pairs_table(result: JustAboutRight) -> pd.DataFrame:
    """Return one row per question and pair of prototypes: do the same people answer differently?"""
    rows = result.pairs
    return pd.DataFrame(
        {
            "Question": list(rows["question"]),
            "Prototype": list(rows["prototype"]),
            "Compared with": list(rows["versus"]),
            "People who judged both": [f"{n:d}" for n in rows["n"]],
            "Chi-square": [format_number(value) for value in rows["statistic"]],
            "Degrees of freedom": [f"{df:d}" for df in rows["df"]],
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
        },
        dtype="str",
    )


def moves_table(result: JustAboutRight, names: Naming) -> pd.DataFrame:
    """Return one row per tested change that goes the wanted way."""
    rows = result.moves
    found = zip(rows["question"], _sides(result, rows), strict=True)
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Found": [f"{question}: {side}" for question, side in found],
            "Take out": list(rows["removed"]),
            "Put in": list(rows["added"]),
            "% of the formula": [format_number(value, 2) for value in rows["percent"]],
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "Change the panel scored": [format_change(value, names.digits) for value in rows["estimate"]],
            _interval_heading(result.level): _intervals(rows, names.digits),
            "Already made as": [name or NOTHING for name in rows["gives"]],
        },
        dtype="str",
    )


def refused_table(result: JustAboutRight) -> pd.DataFrame:
    """Return the questions that cannot be asked both ways, with the reason."""
    return pd.DataFrame(
        {"Question": list(result.refused["question"]), "Why not": list(result.refused["why"])}, dtype="str"
    )


def _sides(result: JustAboutRight, rows: pd.DataFrame) -> list[str]:
    return [side_words(result, str(q), str(s)) for q, s in zip(rows["question"], rows["side"], strict=True)]


def _interval_heading(level: float) -> str:
    return f"{100 * level:g} % interval"


def _intervals(rows: pd.DataFrame, digits: int) -> list[str]:
    return [format_interval(low, high, digits) for low, high in zip(rows["ci_low"], rows["ci_high"], strict=True)]
