"""Is there too little or too much of something, and what does it cost in liking? Just-about-right questions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.consumers.answer_grid import AnswerGrid, Floats, answer_grid
from panel.models.consumers.answers_read import numeric_answers, questions_of
from panel.models.consumers.question_facts import QuestionFacts, question_facts
from panel.models.consumers.right_drops import LEAST_GROUP, LEAST_SHARE, SIDES, balance_frame, drop_frame, within_frame
from panel.models.consumers.right_moves import move_frame
from panel.models.emollients.swaps import TracedSwaps, trace_swaps
from panel.stats.answers.binomial_tests import wilson_interval
from panel.stats.answers.paired_categories import paired_tables, stuart_maxwell
from panel.stats.comparing.multiplicity import holm
from panel.study.formulas import all_formulas
from panel.study.one_sided import why_one_sided
from panel.study.study import Study

RIGHT = 3  # the answer in the middle of 1 to 5
ALL_SIDES = ("too little", "just about right", "too much")


@dataclass(frozen=True, eq=False, slots=True)
class JustAboutRight:
    """What the just-about-right questions say; frames tidy and unrounded.

    Parameters
    ----------
    shares
        `prototype question side count base share ci_low ci_high`: sides `too little`, `just about right`, `too much`;
        Wilson intervals.
    drops
        One row per prototype, question and off side: `prototype question side count base share n_off off_mean n_right
        right_mean estimate std_error df statistic p_value p_adjusted ci_low ci_high weighted split verdict n
        grand_mean`. The estimate is the mean drop: mean liking of those who find it just about right minus that of
        those on the side.
        `weighted` is share times drop, the shares being of those who also gave a liking. `split` is True where both
        sides pass the screen. Verdicts: `move`, `perhaps`, `no cost seen`, `few people`, `small group`.
    balance
        `prototype question n right_mean grand_mean weighted`: the weighted drops of both sides add up to the mean of
        the just-about-right group minus the mean of everybody.
    within
        `question side estimate std_error df statistic p_value p_adjusted ci_low ci_high n_consumers`: the drop over
        all prototypes within consumers, who are the units.
    pairs
        `question prototype versus n statistic df p_value p_adjusted`: do the same people spread differently over the
        three sides; Stuart and Maxwell's test, Holm over the pairs of a question.
    moves
        `prototype question side attribute wanted swap removed added percent made estimate ci_low ci_high p_adjusted
        gives also`: tested changes of emollients whose effect on the matching attribute goes the wanted way (`more`,
        `less`), as they would be made from that prototype; `made` is `yes` or `undone`. `gives` names
        the prototype of the study that this would be, if there is one. `also` names emollients these
        data cannot tell apart from those of the change.
    refused
        `question why`: questions that cannot be asked both ways. Their answers are counted, no drop is worked out.
    liking
        The liking question the drops are in; empty if there is none.
    facts
        What the study says about the questions, by their names.
    level, method, notes
        Confidence level, how it was done, and what to know before trusting it.
    """

    shares: pd.DataFrame
    drops: pd.DataFrame
    balance: pd.DataFrame
    within: pd.DataFrame
    pairs: pd.DataFrame
    moves: pd.DataFrame
    refused: pd.DataFrame
    liking: str
    facts: dict[str, QuestionFacts]
    level: float
    method: str
    notes: tuple[str, ...]


def weigh_just_about_right(
    study: Study, *, level: float = 0.95, liking: str | None = None, swaps: TracedSwaps | None = None
) -> JustAboutRight:
    """Weigh what people find too little or too much by how much less they like it.

    Parameters
    ----------
    liking
        The liking question; by default the first one of the study.
    swaps
        What the emollient swaps did, where it is at hand already.

    Raises
    ------
    ModelError
        If the study has no just-about-right answers, or there is no such liking question.
    """
    grid = answer_grid(study, "just_about_right")
    facts = question_facts(study, "just_about_right")
    refused = _refused(grid, facts)
    side = np.sign(grid.values - RIGHT) + 1  # 0 too little, 1 right, 2 too much
    asked = np.array([name not in set(refused["question"]) for name in grid.questions], dtype=bool)
    liked, liking = _liking(study, grid, liking)
    drops = drop_frame(grid, side, liked, asked, level)
    traced, why_not = _swaps(study, drops, facts, swaps)
    formulas = all_formulas(study).percent if traced is not None else None
    return JustAboutRight(
        shares=_shares(grid, side, level),
        drops=drops,
        balance=balance_frame(drops),
        within=within_frame(grid, side, liked, asked, level),
        pairs=_pairs(grid, side),
        moves=move_frame(drops, facts, traced, formulas),
        refused=refused,
        liking=liking,
        facts=facts,
        level=level,
        method=_method(level, int(drops["p_value"].notna().sum())),
        notes=(*grid.notes(), *_notes(grid, drops, refused, facts, liking), *why_not),
    )


def _refused(grid: AnswerGrid, facts: dict[str, QuestionFacts]) -> pd.DataFrame:
    rows = []
    for name in grid.questions:
        known = facts.get(name, QuestionFacts())
        if why := why_one_sided(name, known.words, attribute=known.attribute):
            rows.append((name, why))
    return pd.DataFrame(rows, columns=["question", "why"], dtype="str")


def _liking(study: Study, grid: AnswerGrid, liking: str | None) -> tuple[Floats, str]:
    """Return liking by consumer and prototype, all NaN where the study asks none, and the name of its question."""
    if liking is None and not questions_of(study, "liking"):
        return np.full(grid.values.shape[1:], np.nan), ""
    read = numeric_answers(study, "liking", liking)
    return grid.matched(read.frame), read.question


def _shares(grid: AnswerGrid, side: Floats, level: float) -> pd.DataFrame:
    counts = np.stack([(side == place).sum(axis=1) for place in range(3)], axis=-1)
    base = counts.sum(axis=2, keepdims=True) + np.zeros_like(counts)
    place = np.indices(counts.shape).reshape(3, -1)
    kept = base.ravel() > 0
    question, prototype, which = (row[kept] for row in place)
    count, of = counts.ravel()[kept], base.ravel()[kept]
    low, high = wilson_interval(count, of, level)
    return pd.DataFrame(
        {
            "prototype": np.array(grid.prototypes, dtype=object)[prototype],
            "question": np.array(grid.questions, dtype=object)[question],
            "side": np.array(ALL_SIDES, dtype=object)[which],
            "count": count,
            "base": of,
            "share": count / of,
            "ci_low": low,
            "ci_high": high,
        }
    ).astype(dict.fromkeys(("prototype", "question", "side"), "str"))


def _pairs(grid: AnswerGrid, side: Floats) -> pd.DataFrame:
    """Return the tests between prototypes, question by question."""
    parts = []
    for question, answers in zip(grid.questions, side, strict=True):
        first, second, tables = paired_tables(answers, 3)
        found = stuart_maxwell(tables)
        parts.append(
            pd.DataFrame(
                {
                    "question": question,
                    "prototype": np.array(grid.prototypes, dtype=object)[second],
                    "versus": np.array(grid.prototypes, dtype=object)[first],
                    "n": found.n,
                    "statistic": found.statistic,
                    "df": found.df,
                    "p_value": found.p_value,
                    "p_adjusted": holm(found.p_value),
                }
            )
        )
    return pd.concat(parts, ignore_index=True).astype(dict.fromkeys(("question", "prototype", "versus"), "str"))


def _swaps(
    study: Study, drops: pd.DataFrame, facts: dict[str, QuestionFacts], swaps: TracedSwaps | None
) -> tuple[TracedSwaps | None, list[str]]:
    """Return what the swaps did if a prototype may have to move and the study says on which attribute."""
    worth = set(drops.loc[drops["verdict"].isin(["move", "perhaps"]), "question"])
    if not any(facts[name].attribute for name in worth if name in facts):
        return None, []
    try:
        return (trace_swaps(study) if swaps is None else swaps), []
    except ModelError as error:
        return None, [f"No change of emollients can be proposed: {error}"]


def _method(level: float, n_tests: int) -> str:
    return (
        "Answers 1 and 2 are too little, 3 is just about right, 4 and 5 are too much. The mean drop is the mean liking "
        "of those who find it just about right minus the mean liking of those on one side (not the mean of everybody, "
        f"which would make it look smaller), with Welch's {100 * level:g} % interval; for one prototype each consumer "
        f"counts once. P-values by Holm over all {n_tests} drops tested. A side is weighed if at least "
        f"{100 * LEAST_SHARE:.0f} % are on it (common practice, no source) and at least {LEAST_GROUP} people on either "
        "side of the comparison. Over all prototypes the drop is worked out within consumers, each left out in turn, "
        "because one consumer judges several. Prototypes are compared by Stuart and Maxwell's test over the people who "
        "judged both, Holm over the pairs of a question."
    )


def _notes(
    grid: AnswerGrid, drops: pd.DataFrame, refused: pd.DataFrame, facts: dict[str, QuestionFacts], liking: str
) -> list[str]:
    notes = [
        f"{name} cannot be asked as too little or too much: {why}. Its answers are counted, but no direction is drawn "
        "from them; ask how much of it there is, or whether people agree that there is none."
        for name, why in zip(refused["question"], refused["why"], strict=True)
    ]
    if not liking:
        notes.append(
            "Without a liking question nobody can say what too little or too much costs; only counts are given."
        )
    small = int((drops["verdict"] == "small group").sum())
    if small:
        notes.append(
            f"In {small} case{'s' if small > 1 else ''} at least {100 * LEAST_SHARE:.0f} % are on a side, but a group "
            f"has fewer than {LEAST_GROUP} people who gave a liking: no test, and the drop may be chance."
        )
    open_ones = [name for name in grid.questions if not facts.get(name, QuestionFacts()).attribute]
    if open_ones:
        notes.append(
            f"The study does not say which attribute goes with {', '.join(open_ones)}, so no change of emollients is "
            "proposed for it. Write `attribute` into the fact `questions`."
        )
    if len(grid.prototypes) > 1 and np.isnan(grid.values).any():
        notes.append("Not every consumer judged every prototype; pairs are compared over those who judged both.")
    return notes


__all__ = ["ALL_SIDES", "SIDES", "JustAboutRight", "weigh_just_about_right"]
