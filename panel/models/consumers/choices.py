"""Which of two samples did people choose, as it was written down; and which one do consumers prefer?

Forced choices are judged in `panel.models.consumers.forced_choice`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.consumers.answers import recorded_questions
from panel.stats.answers.binomial import exact_interval, lower_tail, minimum_count, parity_region, upper_tail
from panel.stats.answers.discrimination import fit_beta_binomial
from panel.stats.comparing.multiplicity import ALPHA, LEVEL, below
from panel.stats.comparing.power import same_share_p
from panel.study.scores_used import named_rows
from panel.study.study import Study
from panel.words import typed_share

METHOD_OF = MappingProxyType(
    {"triangle": "triangle", "duo_trio": "duo-trio", "three_afc": "3-AFC", "tetrad": "tetrad", "paired": "paired"}
)
"""Kind of answer to the method in the words of `panel.stats.answers.discrimination`."""

_RIGHT, _WRONG = "1", "0"
TEST = ["question", "kind", "prototype", "versus"]
_COLUMNS = [*TEST, "assessor", "session", "replicate", "chosen", "first"]


def read_choices(study: Study, kinds: Sequence[str]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the answers of these kinds that could be read, one row each, and those that could not.

    The first has `question kind prototype versus assessor session replicate chosen first`: `chosen` is 1 where
    `prototype` was chosen, or where the answer was right; 0 where `versus` was, or it was wrong; NaN for no preference.
    `first` is 1 where `prototype` was tried first, 0 where `versus` was, NaN where that is not known. The second has
    `question kind prototype versus assessor session answer why`.

    A pair is named one way, whichever of the two stands first in the row: what is expected to be chosen, if that is
    recorded, before the other; else the benchmark second; else in the order of the study.
    """
    rows = named_rows(study, "answers")
    rows = rows.loc[rows["kind"].isin(kinds)].reset_index(drop=True)
    texts = rows["answer"].astype("str").str.strip()
    by_name = rows["kind"].isin(("preference", "paired"))
    first_named = np.where(by_name, texts == rows["prototype"], texts == _RIGHT)
    second_named = np.where(by_name, texts == rows["versus"], texts == _WRONG)
    undecided = ((rows["kind"] == "preference") & (texts.str.lower() == "no preference")).to_numpy()
    why = np.select(
        [
            (rows["versus"] == "") | (rows["versus"] == rows["prototype"]),
            first_named | second_named | undecided,
            by_name,
        ],
        ["the other prototype is not named in the column versus", "", "names neither of the two prototypes"],
        "neither 1 (right) nor 0 (wrong)",
    )
    chosen = np.where(first_named, 1.0, np.where(second_named, 0.0, np.nan))
    first = rows["position"].map({1.0: 1.0, 2.0: 0.0}).to_numpy(dtype=float)
    turned = _turned(study, rows)
    named = rows.assign(
        prototype=np.where(turned, rows["versus"], rows["prototype"]),
        versus=np.where(turned, rows["prototype"], rows["versus"]),
        chosen=np.where(turned & by_name, 1 - chosen, chosen),
        first=np.where(turned, 1 - first, first),
        why=why,
    )
    blank = (texts == "").to_numpy()
    return (
        named.loc[why == "", _COLUMNS].reset_index(drop=True),
        named.loc[(why != "") & ~blank, [*TEST, "assessor", "session", "answer", "why"]].reset_index(drop=True),
    )


def _turned(study: Study, rows: pd.DataFrame) -> np.ndarray:
    """Return where the two prototypes of a row change places."""
    order = {name: place for place, name in enumerate(study.prototypes)}
    for name in [*rows["prototype"], *rows["versus"]]:
        order.setdefault(str(name), len(order))
    expected = {
        (question, kind): str(recorded_questions(study, str(kind)).get(str(question), {}).get("expected", ""))
        for question, kind in rows[["question", "kind"]].drop_duplicates().itertuples(index=False)
    }

    benchmark = study.benchmark

    def rank(row: tuple[str, str], name: str) -> tuple[bool, bool, int]:
        return name != expected[row], name == benchmark, order[name]

    each = zip(zip(rows["question"], rows["kind"], strict=True), rows["prototype"], rows["versus"], strict=True)
    return np.array([rank(row, one) > rank(row, other) for row, one, other in each], dtype=bool)


def share_fact(facts: Mapping[str, Any], name: str, most: float = 1.0) -> float | None:
    """Return a recorded share above 0 and below `most`; None if there is none or it is no such number."""
    value = facts.get(name)
    fits = isinstance(value, int | float) and not isinstance(value, bool) and 0 < value < most
    return float(value) if fits and value is not None else None


def tried_first_by_all(rows: pd.DataFrame) -> str:
    """Return the one of the two samples that was always tried first, as far as that is known; empty where neither was.

    Who is tried first is often chosen for it: always in one order, a choice cannot be told from that.
    """
    first = set(rows["first"].dropna())
    if len(first) != 1:
        return ""
    return str(rows["prototype" if first.pop() else "versus"].iloc[0])


def by_person(rows: pd.DataFrame) -> pd.DataFrame:
    """Return `assessor right n`, one row each, of the answers with a choice."""
    decided = rows.loc[rows["chosen"].notna()]
    counted = decided.groupby("assessor", sort=False)["chosen"].agg(right="sum", n="size")
    return counted.reset_index()


def unread_notes(unread: pd.DataFrame) -> list[str]:
    """Return one note for each reason why answers could not be used."""
    return [
        f"{len(rows)} {'answer' if len(rows) == 1 else 'answers'} could not be used: {why}, such as "
        f"{rows['answer'].iloc[0]!r} of {rows['assessor'].iloc[0]}."
        for why, rows in unread.groupby("why", sort=False)
    ]


HALF = 0.5
_USUAL_MARGIN = 0.05
"""Half the width of the parity region: preference between 45 and 55 %, as in ASTM E1958."""

LEFT_OUT, _SPLIT, _NOT_PREFERRING = "left out", "split equally", "counted as not preferring"
WAYS = (LEFT_OUT, _SPLIT, _NOT_PREFERRING)


@dataclass(frozen=True, eq=False, slots=True)
class Preferences:
    """What paired preferences say, question by question; frames tidy and unrounded.

    Parameters
    ----------
    counts
        `question kind prototype versus n_people n chosen other no_preference margin margin_recorded needed
        needed_two_sided p_order order_first order_n order_matters always_first p_above p_two_sided rho p_no_spread
        repeated`.
        `chosen` prefer `prototype`, `other` prefer `versus`. `needed`: fewest of those who chose, for a preference at
        the level. `order_first` of `order_n` chose what they tried first; `p_order`: exact test that the order does
        not matter; `always_first`: what everybody tried first, so that no verdict is given.
        `p_above p_two_sided rho p_no_spread`: where people answered more than once, allowing for each
        person's leaning.
    ways
        One row for each question, direction and way to treat votes for no preference: `question prototype versus way
        count base share told_low told_high told_level p_value needed unsurpassed_needed parity_low parity_high
        p_preferred p_unsurpassed p_parity superior preferred unsurpassed parity`. `p_value` is one-sided, that no more
        than half prefer `prototype`; `superior` is for a prototype named beforehand, `preferred` for whichever of the
        two is ahead, each side at half the error. The interval leaves as much out on either side as each test may err:
        it lies above half where `prototype` is superior, above the lower margin where it is unsurpassed, within both at
        parity.
    """

    counts: pd.DataFrame
    ways: pd.DataFrame
    unread: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def count_preferences(study: Study) -> Preferences:
    """Count the paired preferences of a study.

    Raises
    ------
    ModelError
        If the study has no preferences, or none that can be read.
    """
    read, unread = read_choices(study, ("preference",))
    if read.empty:
        raise ModelError(
            "The study has no preferences that can be read. Add them to the table answers: kind preference, prototype "
            "and versus name the two samples, answer is the one preferred or 'no preference'."
        )
    counts: list[dict[str, Any]] = []
    ways: list[dict[str, Any]] = []
    asked = recorded_questions(study, "preference")
    for key, rows in read.groupby(TEST, sort=False):
        names = dict(zip(TEST, map(str, key), strict=True))
        recorded = share_fact(asked.get(names["question"], {}), "margin", HALF)
        row = names | _counts(rows) | {"margin": recorded or _USUAL_MARGIN, "margin_recorded": bool(recorded)}
        counts.append(row)
        ways += _all_ways(row)
    table = pd.DataFrame(counts)
    return Preferences(
        counts=table,
        ways=pd.DataFrame(ways),
        unread=unread,
        method=_method(),
        notes=(*_notes(table), *unread_notes(unread)),
    )


def _counts(rows: pd.DataFrame) -> dict[str, Any]:
    chosen, other = int((rows["chosen"] == 1).sum()), int((rows["chosen"] == 0).sum())
    decided = chosen + other
    people = by_person(rows)
    return (
        {
            "n_people": int(rows["assessor"].nunique()),
            "n": len(rows),
            "chosen": chosen,
            "other": other,
            "no_preference": len(rows) - decided,
            "needed": int(minimum_count(decided, HALF, ALPHA)) if decided else np.nan,
            "needed_two_sided": int(minimum_count(decided, HALF, ALPHA / 2)) if decided else np.nan,
            "repeated": bool(rows["assessor"].duplicated().any()),
        }
        | _order(rows)
        | _with_leaning(rows, people)
    )


def _order(rows: pd.DataFrame) -> dict[str, Any]:
    """Return whether people lean to what they tried first: exact test of order against choice."""
    always = {"always_first": tried_first_by_all(rows)}
    known = rows.loc[rows["first"].notna() & rows["chosen"].notna()]
    if known["first"].nunique() < 2 or rows["assessor"].duplicated().any():
        return always | {"order_first": np.nan, "order_n": len(known), "p_order": np.nan, "order_matters": False}
    table = pd.crosstab(known["first"], known["chosen"]).reindex(columns=[0.0, 1.0], fill_value=0)
    p_order = same_share_p(table[1.0], table.sum(axis=1))[0]
    return always | {
        "order_first": int((known["first"] == known["chosen"]).sum()),
        "order_n": len(known),
        "p_order": p_order,
        "order_matters": bool(below(p_order)),
    }


def _with_leaning(rows: pd.DataFrame, people: pd.DataFrame) -> dict[str, Any]:
    """Return the tests that allow for several answers of one person, NaN where everybody answered once."""
    nothing = dict.fromkeys(["p_above", "p_two_sided", "rho", "p_no_spread"], np.nan)
    if not rows["assessor"].duplicated().any():
        return nothing
    try:
        fit = fit_beta_binomial(people["right"], people["n"], LEVEL)
    except ModelError:  # nobody chose twice, or all chose alike: each person counts once
        return nothing
    above, below = fit.p_above(HALF), fit.p_below(HALF)
    return {
        "p_above": above,
        "p_two_sided": min(2 * min(above, below), 1.0),
        "rho": fit.rho,
        "p_no_spread": fit.p_no_spread,
    }


def _all_ways(row: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Return both directions, votes for no preference treated in three ways."""
    for prototype, versus, mine in (
        (row["prototype"], row["versus"], row["chosen"]),
        (row["versus"], row["prototype"], row["other"]),
    ):
        undecided, n = row["no_preference"], row["n"]
        votes = {LEFT_OUT: (mine, n - undecided), _SPLIT: (mine + undecided / 2, n), _NOT_PREFERRING: (mine, n)}
        names = {"question": row["question"], "prototype": prototype, "versus": versus}
        yield from [names | {"way": way} | _one_way(count, base, row) for way, (count, base) in votes.items() if base]


def _one_way(count: float, base: int, row: Mapping[str, Any]) -> dict[str, Any]:
    """Return share, interval, tests and verdicts of one direction; an odd half vote never helps to show anything."""
    margin = row["margin"]
    sure, possible = int(np.floor(count)), int(np.ceil(count))
    low, high = HALF - margin, HALF + margin
    fewest, most = (int(value) for value in parity_region(base, low, high, ALPHA))
    p_value = float(upper_tail(sure, base, HALF))
    p_unsurpassed = float(upper_tail(sure, base, low))
    p_parity = max(p_unsurpassed, float(lower_tail(possible, base, high)))
    needed = int(minimum_count(base, HALF, ALPHA))
    decides = not (row["repeated"] or row["always_first"])
    told_low, told_high = exact_interval([sure, possible], base, 1 - 2 * ALPHA)
    return {
        "count": count,
        "base": base,
        "share": count / base,
        "told_low": float(told_low[0]),
        "told_high": float(told_high[1]),
        "told_level": 1 - 2 * ALPHA,
        "p_value": p_value,
        "needed": needed,
        "unsurpassed_needed": fewest,
        "parity_low": fewest,
        "parity_high": most,
        "p_preferred": min(2 * p_value, 1.0),
        "p_unsurpassed": p_unsurpassed,
        "p_parity": p_parity,
        "superior": decides and sure >= needed,
        "preferred": decides and sure >= int(minimum_count(base, HALF, ALPHA / 2)),
        "unsurpassed": decides and sure >= fewest,
        "parity": decides and fewest <= sure and possible <= most,
    }


def _method() -> str:
    percent = f"{typed_share(ALPHA)}"
    return (
        f"Exact binomial tests of the counts, each one-sided at {percent}, and Clopper and Pearson's interval that "
        "leaves out as much on either side, so that it decides them all. Superior: more than half prefer it, which "
        "holds for one that was named beforehand; that either is preferred takes half the error on each side. "
        "Unsurpassed: more than half less the margin do. Parity: between half less and half "
        "plus the margin (two one-sided tests). Votes for no preference are treated in three ways: left out; split "
        "equally between the two, an odd half vote counted against what is to be shown; counted among those who do not "
        "prefer the sample, so that shares are of everybody asked."
    )


def _notes(counts: pd.DataFrame) -> Iterator[str]:
    usual = counts.loc[~counts["margin_recorded"], "question"]
    if len(usual):
        yield (
            f"No margin was set beforehand for {', '.join(dict.fromkeys(usual))}: the usual 5 points are used (45 to "
            "55 %, ASTM E1958). Record a margin with the question before the test."
        )
    if counts["repeated"].any():
        yield (
            "Some people gave a preference more than once. Their answers go together, so the exact counts do not hold "
            "and no verdict is given on them; the test that allows for each person's leaning stands beside."
        )
    if (counts["always_first"] != "").any():
        yield (
            "Everybody tried the two in one order, so a choice cannot be told from the order and no verdict is given. "
            "Let one half of the people try the other one first."
        )
    if (counts["no_preference"] > 0).any():
        yield (
            "Votes for no preference are answers. Look at all three ways; a claim that holds in one of them only "
            "depends on how they were counted."
        )
