"""How many people agree with a statement, of how many, and is that the share somebody wants to claim?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.checks.moments_recorded import STAMPED, when_stamped
from panel.models.consumers.answers import AnswerGrid, QuestionFacts, answer_grid, question_facts, share_of_bar
from panel.stats.answers.binomial import exact_interval, minimum_count, upper_tail, wilson_interval
from panel.stats.arrays import Array
from panel.stats.comparing.multiplicity import ALPHA, LEVEL, below, holm
from panel.study.knowledge import shared_table
from panel.study.scores_used import agreement_words
from panel.study.study import Study
from panel.words import level_words, typed_share

_AGREED = (4, 5)  # fixed before anything is looked at: the two upper answers of five
_NEUTRAL = 3
MOST_STRANGE = 0.5  # share of the answers to a statement that may be not understood
MAJORITY = 0.5
DEFAULT, _FROM_CLAIM, FROM_QUESTION = "default", "claim", "question"


@dataclass(frozen=True, eq=False, slots=True)
class Agreement:
    """How many agreed with each statement; frames tidy and unrounded.

    Parameters
    ----------
    statements
        One row per prototype and statement: `prototype question words foil agreed neutral disagreed dont_know strange
        base share ci_low ci_high exact_low exact_high opinion_base opinion_share started dropped`. `base` is everybody
        who answered the statement, don't-knows and who could not be understood (`strange`) among them; there is no row
        where the latter are more than half. The `opinion` columns leave don't-knows out. `ci_` Wilson, `exact_` Clopper
        and Pearson. `started` people who were served the prototype where these answers come from (NaN if the study does
        not say), `dropped` those of them who did not answer.
    bars
        One row per statement and bar: `prototype question claim bar source stamped needed agreed base share
        p_value p_adjusted passed together stands`. `bar` as a share; `source` says who set it (`claim`, `question`, or
        `default`: a majority), `stamped` whether that claim was stamped before the data; `needed` the fewest who would
        have to agree; exact one-sided test, `passed` for this bar alone, `together` by Holm over all bars. `stands`:
        it would still be passed without as many agreements as the untrue statement got that most agreed with.
    foils
        `prototype question agreed base share ci_low ci_high` of the statements that are untrue for the product.
    without_foil
        `prototype question agreed base share lost`: the counts again without those who agreed with an untrue
        statement; `lost` is how many of the agreed were theirs.
    agrees
        Where 1 was read as full agreement, or nothing in the study says which point is; what was not understood.
    """

    statements: pd.DataFrame
    bars: pd.DataFrame
    foils: pd.DataFrame
    without_foil: pd.DataFrame
    agrees: tuple[str, ...]
    method: str
    notes: tuple[str, ...]


def count_agreement(study: Study) -> Agreement:
    """Count who agrees with each statement, and test the share against its bar.

    The bar comes from the table of claims (a claim of a kind that needs a question, and names this one), else from the
    fact `questions`, else it is a majority. Claims with the same bar make one test, told by the first of them that was
    stamped beforehand. ModelError if the study has no agreement answers.
    """
    grid, (usual, odd) = answer_grid(study, "agreement"), agreement_words(study)
    facts = question_facts(study, "agreement")
    statements = _statements(study, grid, facts)
    bars, bar_notes = _bars(study, statements, facts)
    foils = statements.loc[
        statements["foil"], ["prototype", "question", "agreed", "base", "share", "ci_low", "ci_high"]
    ].reset_index(drop=True)
    untrue = foils.groupby("prototype")["agreed"].max().to_dict()
    left = [row["agreed"] - untrue.get(row["prototype"], 0) for row in bars.to_dict("records")]
    return Agreement(
        statements=statements,
        bars=bars.assign(stands=np.array(left, dtype=float) >= bars["needed"].to_numpy(dtype=float)),
        foils=foils,
        without_foil=_without_foil(grid, statements),
        method=f"{_method(len(bars))} {usual}".rstrip(),
        agrees=(*odd, *_not_told(grid)),
        notes=(*grid.notes(), *bar_notes, *_notes(statements, foils)),
    )


def _statements(study: Study, grid: AnswerGrid, facts: dict[str, QuestionFacts]) -> pd.DataFrame:
    agreed = np.isin(grid.values, _AGREED)
    counts = {
        "agreed": agreed.sum(axis=1),
        "neutral": (grid.values == _NEUTRAL).sum(axis=1),
        "disagreed": (grid.values < _NEUTRAL).sum(axis=1),
        "dont_know": grid.dont_know.sum(axis=1),
        "strange": grid.strange.sum(axis=1),
    }
    all_ = np.array(sum(counts.values()))
    question, prototype = np.nonzero((all_ > 0) & (MOST_STRANGE * all_ >= counts["strange"]))
    names = np.array(grid.questions, dtype=object)[question]
    known = [facts.get(str(name), QuestionFacts()) for name in names]
    rows = pd.DataFrame(
        {
            "prototype": pd.Series(np.array(grid.prototypes, dtype=object)[prototype], dtype="str"),
            "question": pd.Series(names, dtype="str"),
            "words": pd.Series([about.words for about in known], dtype="str"),
            "foil": np.array([about.foil for about in known], dtype=bool),
            **{name: count[question, prototype] for name, count in counts.items()},
        }
    )
    x, n = rows["agreed"].to_numpy(), rows[list(counts)].sum(axis=1).to_numpy()
    opinion = n - rows["dont_know"].to_numpy()
    low, high = wilson_interval(x, n, LEVEL)
    exact_low, exact_high = exact_interval(x, n, LEVEL)
    started, dropped = _started(study, grid)
    return rows.assign(
        **{"base": n, "share": x / n, "ci_low": low, "ci_high": high, "exact_low": exact_low, "exact_high": exact_high},
        **{"opinion_base": opinion, "opinion_share": np.where(opinion > 0, x / np.maximum(opinion, 1), np.nan)},
        **{"started": started[question, prototype], "dropped": dropped[question, prototype]},
    )


def _not_told(grid: AnswerGrid) -> list[str]:
    """Return of which statements nothing is told, as most of their answers were not understood."""
    strange, all_ = grid.strange.sum(axis=1), (grid.strange | grid.dont_know | ~np.isnan(grid.values)).sum(axis=1)
    places = zip(*np.nonzero(strange > MOST_STRANGE * all_), strict=True)
    return [
        f"“{grid.questions[n]}” of {grid.prototypes[of]}: cannot tell, {strange[n, of]} of {all_[n, of]} answers were "
        "not understood."
        for n, of in places
    ]


def _started(study: Study, grid: AnswerGrid) -> tuple[Array, Array]:
    """Return for each statement and prototype how many were served it, and how many of them did not answer."""
    answers, servings = study.table("answers"), study.table("servings")
    sessions = set(answers.loc[answers["kind"] == "agreement", "session"]) - {""}
    served = servings.loc[servings["session"].isin(sessions)]
    shape = len(grid.questions), len(grid.prototypes)
    started, dropped = np.full(shape, np.nan), np.full(shape, np.nan)
    answered = ~np.isnan(grid.values) | grid.dont_know | grid.strange
    for column, prototype in enumerate(grid.prototypes):
        people = set(served.loc[served["prototype"] == prototype, "assessor"])
        if not people:
            continue
        came = np.isin(np.array(grid.people, dtype=object), list(people))
        started[:, column] = len(people)
        dropped[:, column] = len(people) - (answered[:, :, column] & came).sum(axis=1)
    return started, dropped


def _bars(study: Study, statements: pd.DataFrame, facts: dict[str, QuestionFacts]) -> tuple[pd.DataFrame, list[str]]:
    """Return the tests against the bars, and what is wrong with a bar."""
    claims = study.table("claims")
    claims = claims.loc[claims["kind"].isin(_asking())]
    stamped = [
        when_stamped(study, int(place) + 1, row)[0]
        for place, row in zip(claims.index, claims.to_dict("records"), strict=True)
    ]
    claims = claims.assign(stamped=stamped)
    rows, notes = [], []
    for claim in claims.to_dict("records"):
        if not claim["question"] or claim["question"] not in set(statements["question"]):
            notes.append(f"The claim {claim['claim']!r} names no statement that was asked; it is not tested here.")
        elif not np.isnan(claim["bar"]) and np.isnan(share_of_bar(claim["bar"])):
            notes.append(f"The bar {claim['bar']:g} of the claim {claim['claim']!r} is no share between 0 and 100 %.")
    for statement in statements.loc[~statements["foil"]].to_dict("records"):
        about = claims.loc[
            (claims["question"] == statement["question"]) & claims["prototype"].isin(["", statement["prototype"]])
        ]
        stated = about[["claim", "bar", "stamped"]].itertuples(index=False, name=None)
        own = [(str(claim), share_of_bar(bar), _FROM_CLAIM, before) for claim, bar, before in stated]
        own = [bar for bar in own if not np.isnan(bar[1])]
        beforehand_first = sorted(own, key=lambda bar: bar[-1] != STAMPED)
        first = {bar[1]: bar for bar in beforehand_first[::-1]}
        own = [bar for bar in own if bar is first[bar[1]]]
        fact = facts.get(str(statement["question"]), QuestionFacts()).bar
        fallback = ("", MAJORITY, DEFAULT, "") if np.isnan(fact) else ("", fact, FROM_QUESTION, "")
        rows += [
            (statement["prototype"], statement["question"], *bar, statement["agreed"], statement["base"])
            for bar in own or [fallback]
        ]
    stated = ["prototype", "question", "claim", "bar", "source", "stamped"]
    frame = pd.DataFrame(rows, columns=[*stated, "agreed", "base"])
    frame = frame.astype(dict.fromkeys(("prototype", "question", "claim", "source", "stamped"), "str"))
    return _tested(frame), notes


def _asking() -> list[str]:
    """Return the kinds of claims that rest on how many agree with a statement."""
    kinds = shared_table("claim_kinds")
    return [kind for kind, needs in zip(kinds["kind"], kinds["needs"], strict=True) if "question" in needs.split("; ")]


def _tested(frame: pd.DataFrame) -> pd.DataFrame:
    x, n, bar = (frame[name].to_numpy(dtype=float) for name in ("agreed", "base", "bar"))
    p_value = upper_tail(x, n, bar)
    tested = frame.assign(
        needed=minimum_count(n, bar, ALPHA) if len(frame) else np.empty(0, dtype=np.int64),
        share=x / n,
        p_value=p_value,
        p_adjusted=holm(p_value),
    )
    columns = ["prototype", "question", "claim", "bar", "source", "stamped"]
    columns += ["needed", "agreed", "base", "share", "p_value"]
    tested = tested.assign(passed=tested["agreed"] >= tested["needed"], together=below(tested["p_adjusted"]))
    return tested[[*columns, "p_adjusted", "passed", "together"]]


def _without_foil(grid: AnswerGrid, statements: pd.DataFrame) -> pd.DataFrame:
    """Return the counts without the people who agreed with an untrue statement about the same prototype."""
    place = {name: number for number, name in enumerate(grid.questions)}
    column = {name: number for number, name in enumerate(grid.prototypes)}
    rows = []
    for prototype, own in statements.groupby("prototype", sort=False):
        where = column[str(prototype)]
        foils = [place[str(name)] for name in own.loc[own["foil"], "question"]]
        if not foils:
            continue
        sayers = np.isin(grid.values[foils, :, where], _AGREED).any(axis=0)
        for statement in own.loc[~own["foil"]].to_dict("records"):
            values = grid.values[place[statement["question"]], :, where]
            other = grid.dont_know | grid.strange
            answered = (~np.isnan(values) | other[place[statement["question"]], :, where]) & ~sayers
            agreed, base = int((np.isin(values, _AGREED) & ~sayers).sum()), int(answered.sum())
            share = agreed / base if base else float("nan")
            rows.append((prototype, statement["question"], agreed, base, share, statement["agreed"] - agreed))
    frame = pd.DataFrame(rows, columns=["prototype", "question", "agreed", "base", "share", "lost"])
    return frame.astype({"prototype": "str", "question": "str"})


def _method(n_bars: int) -> str:
    return (
        "Agreed means the answers 4 and 5 of 1 to 5, fixed before looking; 3 is neutral. The base is everybody who "
        "answered the statement, among them don't-knows and who could not be understood; the share of those with an "
        f"opinion stands beside it. {level_words(LEVEL)}s by Wilson's method, and exact ones by Clopper and Pearson. "
        "The bar is tested one-"
        f"sided with the exact binomial count at {typed_share(ALPHA)}, for each statement alone; p-values adjusted "
        f"by Holm over all {n_bars} bars stand beside it. Shares of those who agreed are never "
        "rounded up, shares of those who did not never down."
    )


def _notes(statements: pd.DataFrame, foils: pd.DataFrame) -> Iterator[str]:
    if foils.empty:
        yield (
            "No statement is marked as untrue for the product, so nothing measures how readily these people say yes. "
            "Add one sentence that is untrue, with `foil` in the fact `questions`."
        )
    if statements["started"].isna().any():
        yield (
            "The servings do not say how many people started, so nobody can tell how many dropped out. Give the "
            "answers the session of their servings."
        )
