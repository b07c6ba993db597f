"""Is there too little or too much of something, and do those who say so like it less? Just-about-right questions."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.checks.confounds import Confounds, untold_findings
from panel.errors import ModelError
from panel.models.consumers.answers import (
    AnswerGrid,
    QuestionFacts,
    answer_grid,
    kind_confounds,
    lost_pairs,
    numeric_answers,
    question_facts,
    questions_of,
    shares_of,
)
from panel.models.consumers.liking_checks import without_order
from panel.models.emollients.swaps import TracedSwaps, trace_swaps
from panel.models.prototypes.verdict import with_deciding
from panel.stats.answers.paired_answers import paired_tables, stuart_maxwell, within_people
from panel.stats.arrays import Array, ratio
from panel.stats.comparing.group_means import welch_differences
from panel.stats.comparing.multiplicity import LEVEL, below, holm
from panel.study.formulas import SAME_AMOUNT, formula_percents
from panel.study.knowledge import shared_table
from panel.study.study import Study
from panel.words import level_words

_RIGHT = 3  # the answer in the middle of 1 to 5
ALL_SIDES = ("too little", "just about right", "too much")


@dataclass(frozen=True, eq=False, slots=True)
class JustAboutRight:
    """What the just-about-right questions say; frames tidy and unrounded.

    Parameters
    ----------
    shares
        `prototype question side count base share ci_low ci_high most`: sides `too little`, `just about right`, `too
        much`; Wilson intervals; `most` where the interval lies above a half.
    drops
        One row per prototype, question and off side: `prototype question side count base share n_off off_mean n_right
        right_mean estimate std_error df statistic p_value p_adjusted ci_low ci_high told_low told_high told_level own_p
        weighted split verdict n grand_mean`. The estimate is the mean drop: mean liking of those who find it just about
        right minus that of those on the side. `told_low told_high` decide. `own_p`: of the drop beside what each of
        them gives the other prototypes. `weighted` is share times drop, the shares being of those who also gave a
        liking. `split` is True where both sides pass the screen. Verdicts: `move`, `perhaps` (alone, not among so
        many), `own level` (those may like everything less), `no cost seen`, `few people`, `small group`.
    within
        `question side estimate std_error df statistic p_value p_adjusted ci_low ci_high told_low told_high
        told_level n_consumers beside_estimate beside_p verdict`: the drop over all prototypes within consumers, who are
        the units; `beside` also within prototypes. Verdicts: `shown`, `between prototypes` (shown, but not of those who
        judged the same one), `perhaps` (alone, not among so many), `not shown`, `few people`.
    pairs
        `question prototype versus n statistic df p_value p_adjusted`: do the same people spread differently over the
        three sides; Stuart and Maxwell's test, Holm over all pairs of all questions; without p-values where session or
        position go wholly along with the pair.
    moves
        `prototype question side attribute wanted swap removed added percent made estimate ci_low ci_high told_low
        told_high told_level p_adjusted gives also`: tested changes of emollients whose effect on the matching attribute
        goes the wanted way (`more`, `less`), as they would be made from that prototype; `made` is `yes` or `undone`.
        `gives` names the prototype of the study that this would be, if there is one. `also` names emollients these data
        cannot tell apart from those of the change.
    refused
        `question why`: questions that cannot be asked both ways. Their answers are counted, no drop is worked out.
    liking
        The liking question the drops are in; empty if there is none.
    facts
        What the study says about the questions, by their names.
    untold
        What pairs cannot be told from, in words.
    """

    shares: pd.DataFrame
    drops: pd.DataFrame
    within: pd.DataFrame
    pairs: pd.DataFrame
    moves: pd.DataFrame
    refused: pd.DataFrame
    liking: str
    facts: dict[str, QuestionFacts]
    untold: tuple[str, ...]
    method: str
    notes: tuple[str, ...]


def weigh_just_about_right(study: Study, *, swaps: TracedSwaps | None = None) -> JustAboutRight:
    """Weigh what people find too little or too much by how much less they like it, by the first liking question.

    Parameters
    ----------
    swaps
        What the emollient swaps did, where it is at hand already.

    Raises
    ------
    ModelError
        If the study has no just-about-right answers.
    """
    grid, confounds = answer_grid(study, "just_about_right"), kind_confounds(study, "just_about_right")
    facts = question_facts(study, "just_about_right")
    side = np.sign(grid.values - _RIGHT) + 1  # 0 too little, 1 right, 2 too much
    refused = _refused(grid, side, facts)
    asked = np.array([name not in set(refused["question"]) for name in grid.questions], dtype=bool)
    liked, liking = _liking(study, grid)
    within = _within_frame(grid, side, liked, asked)
    drops = _beside_own_level(_drop_frame(grid, side, liked, asked), within)
    traced, why_not = _swaps(study, drops, facts, swaps)
    formulas = formula_percents(study) if traced is not None else None
    return JustAboutRight(
        shares=_shares(grid, side),
        drops=drops,
        within=within,
        pairs=_pairs(grid, side, confounds),
        moves=_move_frame(drops, facts, traced, formulas),
        refused=refused,
        liking=liking,
        facts=facts,
        untold=tuple(finding.message for finding in untold_findings(confounds)),
        method=_method(int(drops["p_value"].notna().sum())),
        notes=(*grid.notes(), *_notes(grid, drops, refused, facts, liking), *why_not),
    )


def _refused(grid: AnswerGrid, side: Array, facts: dict[str, QuestionFacts]) -> pd.DataFrame:
    """Return the questions of which nobody could want more, unless the answers say that people do."""
    rows = []
    for place, name in enumerate(grid.questions):
        known = facts.get(name, QuestionFacts())
        why = _why_one_sided(name, known.words, attribute=known.attribute)
        little, base = (side[place] == 0).sum(axis=0), np.isfinite(side[place]).sum(axis=0)
        if _STOP in why:
            rows.append((name, why))
        elif why and (little < LEAST_SHARE * np.maximum(base, 1)).all():
            told = why.replace("nobody wants", "few want") if little.any() else why
            rows.append((name, f"{told}: {little.sum()} of {base.sum()} answers say too little"))
    return pd.DataFrame(rows, columns=["question", "why"], dtype="str")


_STOP = "stop"  # what no count of answers makes a wish


def _why_one_sided(*texts: str, attribute: str = "") -> str:
    """Return why a question cannot be asked both ways, empty if it can.

    Parameters
    ----------
    texts
        Name and wording of the question; a word of the list counts where it stands as a word of its own.
    attribute
        Short name of the attribute the question follows, if the study says.
    """
    known = shared_table("one_sided")
    if attribute:
        by_attribute = known.loc[known["attribute"] == attribute, "why"]
        if len(by_attribute):
            return str(by_attribute.iloc[0])
    asked = " ".join(texts).casefold()
    for word, why in zip(known["word"], known["why"], strict=True):
        if re.search(rf"(?<!\w){re.escape(word)}(?!\w)", asked):
            return str(why)
    return ""


def _liking(study: Study, grid: AnswerGrid) -> tuple[Array, str]:
    """Return liking by consumer and prototype, all NaN where the study asks none, and the name of its question."""
    if not questions_of(study, "liking"):
        return np.full(grid.values.shape[1:], np.nan), ""
    read, _ = without_order(numeric_answers(study, "liking"))
    return grid.matched(read.frame), read.question


_HALF = 0.5


def _shares(grid: AnswerGrid, side: Array) -> pd.DataFrame:
    counts = np.stack([(side == place).sum(axis=1) for place in range(3)], axis=-1)
    base = counts.sum(axis=2, keepdims=True) + np.zeros_like(counts)
    place = np.indices(counts.shape).reshape(3, -1)
    kept = base.ravel() > 0
    question, prototype, which = (row[kept] for row in place)
    names = {
        "prototype": np.array(grid.prototypes, dtype=object)[prototype],
        "question": np.array(grid.questions, dtype=object)[question],
        "side": np.array(ALL_SIDES, dtype=object)[which],
    }
    frame = pd.DataFrame(names | shares_of(counts.ravel()[kept], base.ravel()[kept])).astype(_TEXT)
    return frame.assign(most=frame["ci_low"] > _HALF)


def _pairs(grid: AnswerGrid, side: Array, confounds: Confounds) -> pd.DataFrame:
    """Return the tests between prototypes, question by question."""
    parts = []
    for question, answers in zip(grid.questions, side, strict=True):
        first, second, tables = paired_tables(answers, 3)
        found = stuart_maxwell(tables)
        found["p_value"] = np.where(lost_pairs(confounds, grid.prototypes, first, second), np.nan, found["p_value"])
        parts.append(
            pd.DataFrame(
                {
                    "question": question,
                    "prototype": np.array(grid.prototypes, dtype=object)[second],
                    "versus": np.array(grid.prototypes, dtype=object)[first],
                    **found,
                }
            )
        )
    frame = pd.concat(parts, ignore_index=True).astype(dict.fromkeys(("question", "prototype", "versus"), "str"))
    return frame.assign(p_adjusted=holm(frame["p_value"]))


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


def _method(n_tests: int) -> str:
    return (
        "Answers 1 and 2 are too little, 3 is just about right, 4 and 5 are too much. The mean drop is the mean liking "
        "of those who find it just about right minus the mean liking of those on one side (not the mean of everybody, "
        f"which would make it look smaller), with Welch's {level_words(LEVEL)}; for one prototype each consumer "
        f"counts once. P-values by Holm over all {n_tests} drops tested. A side is weighed if at least "
        f"{100 * LEAST_SHARE:.0f} % are on it (common practice, no source) and at least {LEAST_GROUP} people on either "
        "side of the comparison. Over all prototypes the drop is worked out within consumers, each left out in turn, "
        "because one consumer judges several; it counts as shown where it also shows with a level of each prototype. "
        "A change is worth a test only where those people do not merely like everything less: beside what they give "
        "the others (Holm over all drops tested), or within consumers, it must show too; a perhaps is clear in this "
        "way alone, not among so many. Prototypes are compared by Stuart and Maxwell's test over the people who judged "
        "both, Holm over all pairs of all questions."
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
            "Without a liking question nobody can say whether those who mind like it less; only counts are given."
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


# How much less is a prototype liked by those who find too little or too much of something? Mean drops.


_SIDES = ("too little", "too much")
LEAST_SHARE = 0.20  # of people on one side: common practice, no source
LEAST_GROUP = 10  # people with a liking; common practice, no source
_COLUMNS = [
    *("prototype", "question", "side", "count", "base", "share", "n_off", "off_mean", "n_right", "right_mean"),
    *("estimate", "std_error", "df", "statistic", "p_value", "p_adjusted", "ci_low", "ci_high"),
    *("told_low", "told_high", "told_level"),
    *("own_p", "weighted", "split", "verdict", "n", "grand_mean"),
]
_TEXT = dict.fromkeys(("prototype", "question", "side"), "str")


def _drop_frame(grid: AnswerGrid, side: Array, liked: Array, asked: NDArray[np.bool_]) -> pd.DataFrame:
    """Return the mean drops, two rows per prototype and question that may be asked both ways.

    `side` (questions, consumers, prototypes) is 0 too little, 1 just about right, 2 too much; `liked` (consumers,
    prototypes). Besides the columns of `JustAboutRight.drops`: `n` people with both answers, and their `grand_mean`.
    """
    side = side[asked]
    questions = [name for name, both_ways in zip(grid.questions, asked, strict=True) if both_ways]
    counts = np.stack([(side == place).sum(axis=1) for place in range(3)])
    size, mean, variance = _groups(side, liked)
    own_size, own_mean, own_variance = _groups(side, _beside_the_others(liked))
    n = size.sum(axis=0)
    frames = []
    for off, name in ((0, _SIDES[0]), (2, _SIDES[1])):
        found = welch_differences(size[1], mean[1], variance[1], size[off], mean[off], variance[off], LEVEL)
        tested = (size[1] >= LEAST_GROUP) & (size[off] >= LEAST_GROUP)
        own = (own_size[off], own_mean[off], own_variance[off])
        beside = welch_differences(own_size[1], own_mean[1], own_variance[1], *own, LEVEL)
        parts = {
            "count": counts[off],
            "base": counts.sum(axis=0),
            "n_off": size[off],
            "off_mean": mean[off],
            "n_right": size[1],
            "right_mean": mean[1],
            "estimate": found.estimate,
            **{
                column: np.where(tested, getattr(found, column), np.nan)
                for column in ("std_error", "df", "statistic", "p_value", "ci_low", "ci_high")
            },
            "own_p": np.where(beside.estimate > 0, beside.p_value, 1.0),
            "weighted": ratio(size[off], n) * np.where(size[off] > 0, found.estimate, 0.0),
            "n": n,
            "grand_mean": ratio(np.where(size > 0, size * mean, 0.0).sum(axis=0), n),
        }
        place = np.indices(n.shape).reshape(2, -1)
        names = {
            "prototype": np.array(grid.prototypes, dtype=object)[place[1]],
            "question": np.array(questions, dtype=object)[place[0]],
            "side": name,
        }
        frames.append(pd.DataFrame(names | {column: values.ravel() for column, values in parts.items()}))
    together = np.argsort(np.tile(np.arange(n.size), 2), kind="stable")
    return _judged(pd.concat(frames, ignore_index=True).iloc[together])


def _beside_the_others(liked: Array) -> Array:
    """Return each liking less what the same person gives the other prototypes on average, each less its own mean."""
    there = ~np.isnan(liked)
    own = np.where(there, liked - ratio(np.where(there, liked, 0.0).sum(axis=0), there.sum(axis=0)), 0.0)
    others = ratio(own.sum(axis=1, keepdims=True) - own, there.sum(axis=1, keepdims=True) - there)
    return np.where(there, own - others, np.nan)


def _beside_own_level(drops: pd.DataFrame, within: pd.DataFrame) -> pd.DataFrame:
    """Return the drops with `own level`, or no cost, where only other people's lower level may stand behind it.

    So it is where those who mind are not shown to like this prototype less beside what they give the others (among all
    drops tested for a `move`, alone for a `perhaps`), nor consumers to like less what they find so. Of both ways only
    one direction counts, so that each errs in half of what the level allows.
    """
    keys = ["question", "side"]
    open_ones = within["verdict"].isin(["not shown", "perhaps", "between prototypes"])
    not_within = pd.MultiIndex.from_frame(drops[keys]).isin(pd.MultiIndex.from_frame(within.loc[open_ones, keys]))
    shown = below(holm(drops["own_p"].where(drops["p_value"].notna())))
    own_level = (drops["verdict"] == "move") & ~shown & not_within
    nothing = (drops["verdict"] == "perhaps") & ~below(drops["own_p"]) & not_within
    return drops.assign(verdict=drops["verdict"].mask(own_level, "own level").mask(nothing, "no cost seen"))


def _groups(side: Array, liked: Array) -> tuple[NDArray[np.int64], Array, Array]:
    """Return sizes, mean likings and variances of the three groups, each (3, questions, prototypes)."""
    y = np.where(np.isnan(liked), 0.0, liked)
    there = ~np.isnan(liked)
    marks = [((side == place) & there).astype(np.float64) for place in range(3)]
    size = np.stack([mark.sum(axis=1) for mark in marks])
    mean = ratio(np.stack([np.einsum("qnp,np->qp", mark, y) for mark in marks]), size)
    squares = np.stack([np.einsum("qnp,np->qp", mark, y**2) for mark in marks])
    # likings are small whole numbers: the difference of sums of squares loses nothing that matters
    variance = ratio(np.maximum(squares - size * np.nan_to_num(mean) ** 2, 0.0), size - 1)
    return size.astype(np.int64), mean, variance


def _judged(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rows with shares, adjusted p-values and verdicts; those nobody answered are left out."""
    rows = rows.loc[rows["base"] > 0].reset_index(drop=True)
    rows = rows.assign(share=rows["count"] / rows["base"])
    screened = rows["share"] >= LEAST_SHARE
    tested = rows["p_value"].where(screened)
    rows = with_deciding(rows.assign(p_value=tested))
    groups = np.minimum(rows["n_off"], rows["n_right"]) >= LEAST_GROUP
    shown = groups & (rows["estimate"] > 0) & below(rows["p_adjusted"])
    perhaps = groups & (rows["ci_low"] > 0)
    verdict = np.select(
        [~screened, ~groups, shown, perhaps], ["few people", "small group", "move", "perhaps"], "no cost seen"
    )
    both = screened.groupby([rows["prototype"], rows["question"]]).transform("all").astype(bool)
    return rows.assign(split=both, verdict=pd.Series(verdict, index=rows.index, dtype="str"))[_COLUMNS].astype(_TEXT)


def _within_frame(grid: AnswerGrid, side: Array, liked: Array, asked: NDArray[np.bool_]) -> pd.DataFrame:
    """Return the drop over all prototypes within consumers, as `JustAboutRight.within` holds it."""
    chosen = side[asked]
    questions = [name for name, both_ways in zip(grid.questions, asked, strict=True) if both_ways]
    marks = np.stack([np.where(np.isnan(chosen), np.nan, chosen == off) for off in (0, 2)], axis=1)
    tests = within_people(liked, marks, LEVEL)
    each = np.broadcast_to(np.eye(liked.shape[1])[1:, None], (len(chosen), liked.shape[1] - 1, *liked.shape))
    beside = within_people(liked, np.concatenate([marks, each], axis=1), LEVEL)  # and of each prototype
    count = len(questions)
    frame = pd.DataFrame(
        {
            "question": np.repeat(np.array(questions, dtype=object), 2),
            "side": np.tile(np.array(_SIDES, dtype=object), count),
            "estimate": -tests.estimate.ravel(),
            "std_error": tests.std_error.ravel(),
            "df": tests.df.ravel(),
            "statistic": -tests.statistic.ravel(),
            "p_value": tests.p_value.ravel(),
            "ci_low": -tests.ci_high.ravel(),
            "ci_high": -tests.ci_low.ravel(),
            "n_consumers": tests.n.ravel(),
            "beside_estimate": -beside.estimate[:, :2].ravel(),
            "beside_p": beside.p_value[:, :2].ravel(),
        }
    )
    frame = with_deciding(frame)
    shown = below(frame["p_adjusted"]) & (frame["estimate"] > 0)
    alone = shown & ~(below(frame["beside_p"]) & (frame["beside_estimate"] > 0))
    verdict = np.select(
        [frame["ci_low"].isna(), alone, shown, frame["ci_low"] > 0],
        ["few people", "between prototypes", "shown", "perhaps"],
        "not shown",
    )
    return frame.assign(verdict=verdict).astype({"question": "str", "side": "str", "verdict": "str"})


# Which tested change of emollients moves a prototype the way people want it? A question to test, never an order.


_PLUS = " + "
_MOVE_COLUMNS = [
    *("prototype", "question", "side", "attribute", "wanted", "swap", "removed", "added", "percent", "made"),
    *("estimate", "ci_low", "ci_high", "told_low", "told_high", "told_level", "p_adjusted", "gives", "also"),
]


def _move_frame(
    drops: pd.DataFrame, facts: Mapping[str, QuestionFacts], traced: TracedSwaps | None, formulas: pd.DataFrame | None
) -> pd.DataFrame:
    """Return the tested changes that go the wanted way, largest effect first, as `JustAboutRight.moves` holds them.

    A change that the prototype already has can be undone; then its effect counts with the other sign. One that would
    help on one side is left out where as many people are off on the other (`split`): it would lose those. `formulas`:
    index prototype, columns ingredient.
    """
    rows: list[dict[str, Any]] = []
    if traced is not None and formulas is not None:
        tested = pd.concat([traced.swaps, traced.joint], ignore_index=True)
        seen = tested.loc[tested["seen"].astype(bool)]
        worth = drops.loc[drops["verdict"].isin(["move", "perhaps"]) & ~drops["split"]]
        asked = {fact.attribute for fact in facts.values() if fact.attribute}
        by_attribute = {name: seen.loc[seen["attribute"] == name].to_dict("records") for name in asked}
        emollients, gives = traced.aliases.loc[traced.aliases["kind"] == "emollient"], _gives(traced)
        groups = [list(map(str, part)) for _, part in emollients.groupby("group", sort=False)["descriptor"]]
        for drop in worth.to_dict("records"):
            known = facts.get(str(drop["question"]), QuestionFacts())
            if known.attribute and drop["prototype"] in formulas.index:
                amounts = formulas.loc[[str(drop["prototype"])]].iloc[0]
                rows += _helping(drop, known, by_attribute.get(known.attribute, []), amounts, groups, gives)
    frame = pd.DataFrame(rows, columns=_MOVE_COLUMNS)
    text = ["prototype", "question", "side", "attribute", "wanted", "swap", "removed", "added", "made", "gives", "also"]
    numbers = ["percent", "estimate", "ci_low", "ci_high", "told_low", "told_high", "told_level", "p_adjusted"]
    return frame.astype({**dict.fromkeys(text, "str"), **dict.fromkeys(numbers, "float64")})


_Gives = dict[tuple[str, str, bool], str]
"""What a prototype becomes by a swap: by swap, prototype, and whether the swap is undone."""


def _helping(
    drop: Mapping[Any, Any],
    known: QuestionFacts,
    seen: list[dict[Any, Any]],
    amounts: pd.Series,
    groups: list[list[str]],
    gives: _Gives,
) -> list[dict[str, Any]]:
    """Return the changes that can be made from this prototype and move the attribute the wanted way."""
    wanted = 1 if drop["side"] == "too little" else -1
    wanted *= -1 if known.opposite else 1
    found = []
    for effect in seen:
        undone = (effect["estimate"] > 0) != (wanted > 0)
        removed, added = (effect["added"], effect["removed"]) if undone else (effect["removed"], effect["added"])
        if not _holds(amounts, removed, effect["percent"]):
            continue
        sign = -1 if undone else 1
        ends, told = (sorted((sign * effect[f"{of}_low"], sign * effect[f"{of}_high"])) for of in ("ci", "told"))
        found.append(
            {
                **{name: drop[name] for name in ("prototype", "question", "side")},
                "attribute": known.attribute,
                "wanted": "more" if wanted > 0 else "less",
                **{name: effect[name] for name in ("swap", "percent", "told_level", "p_adjusted")},
                "removed": removed,
                "added": added,
                "made": "undone" if undone else "yes",
                "estimate": sign * effect["estimate"],
                "ci_low": ends[0],
                "ci_high": ends[1],
                "told_low": told[0],
                "told_high": told[1],
                "gives": gives.get((effect["swap"], drop["prototype"], undone), ""),
                "also": _PLUS.join(_never_apart([*removed.split(_PLUS), *added.split(_PLUS)], groups)),
            }
        )
    return sorted(found, key=lambda row: -abs(row["estimate"]))


def _holds(amounts: pd.Series, removed: str, percent: float) -> bool:
    """Return True if the prototype holds what would have to be taken out."""
    names = removed.split(_PLUS)
    return set(names) <= set(amounts.index) and float(amounts[names].sum()) >= percent - SAME_AMOUNT


def _gives(traced: TracedSwaps) -> _Gives:
    found: _Gives = {}
    for swap, before, after in traced.pairs[["swap", "versus", "prototype"]].itertuples(index=False):
        found.setdefault((swap, before, False), after)
        found.setdefault((swap, after, True), before)
    return found


def _never_apart(names: list[str], groups: list[list[str]]) -> list[str]:
    """Return the other emollients that move together with these in the study."""
    moved = [group for group in groups if set(group) & set(names)]
    return [name for group in moved for name in group if name not in names]
