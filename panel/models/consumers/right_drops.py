"""How much less is a prototype liked by those who find too little or too much of something? Mean drops."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.models.consumers.answer_grid import AnswerGrid, Floats
from panel.stats.answers.within_people import within_people
from panel.stats.comparing.multiplicity import holm
from panel.stats.comparing.welch import welch_differences

SIDES = ("too little", "too much")
LEAST_SHARE = 0.20  # of people on one side: common practice, no source
LEAST_GROUP = 10  # people with a liking; common practice, no source
LEAST_DROP = 1.0  # liking points that make a side worth a look: common practice, no source
_COLUMNS = [
    *("prototype", "question", "side", "count", "base", "share", "n_off", "off_mean", "n_right", "right_mean"),
    *("estimate", "std_error", "df", "statistic", "p_value", "p_adjusted", "ci_low", "ci_high"),
    *("weighted", "split", "verdict", "n", "grand_mean"),
]
_TEXT = dict.fromkeys(("prototype", "question", "side"), "str")


def drop_frame(grid: AnswerGrid, side: Floats, liked: Floats, asked: NDArray[np.bool_], level: float) -> pd.DataFrame:
    """Return the mean drops, two rows per prototype and question that may be asked both ways.

    `side` (questions, consumers, prototypes) is 0 too little, 1 just about right, 2 too much; `liked` (consumers,
    prototypes). Besides the columns of `JustAboutRight.drops`: `n` people with both answers, and their `grand_mean`.
    """
    side = side[asked]
    questions = [name for name, both_ways in zip(grid.questions, asked, strict=True) if both_ways]
    counts = np.stack([(side == place).sum(axis=1) for place in range(3)])
    size, mean, variance = _groups(side, liked)
    n = size.sum(axis=0)
    frames = []
    for off, name in ((0, SIDES[0]), (2, SIDES[1])):
        found = welch_differences(size[1], mean[1], variance[1], size[off], mean[off], variance[off], level)
        tested = (size[1] >= LEAST_GROUP) & (size[off] >= LEAST_GROUP)
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
            "weighted": _over(size[off], n) * np.where(size[off] > 0, found.estimate, 0.0),
            "n": n,
            "grand_mean": _over(np.where(size > 0, size * mean, 0.0).sum(axis=0), n),
        }
        place = np.indices(n.shape).reshape(2, -1)
        names = {
            "prototype": np.array(grid.prototypes, dtype=object)[place[1]],
            "question": np.array(questions, dtype=object)[place[0]],
            "side": name,
        }
        frames.append(pd.DataFrame(names | {column: values.ravel() for column, values in parts.items()}))
    together = np.argsort(np.tile(np.arange(n.size), 2), kind="stable")
    return _judged(pd.concat(frames, ignore_index=True).iloc[together], level)


def _groups(side: Floats, liked: Floats) -> tuple[NDArray[np.int64], Floats, Floats]:
    """Return sizes, mean likings and variances of the three groups, each (3, questions, prototypes)."""
    y = np.where(np.isnan(liked), 0.0, liked)
    there = ~np.isnan(liked)
    marks = [((side == place) & there).astype(np.float64) for place in range(3)]
    size = np.stack([mark.sum(axis=1) for mark in marks])
    mean = _over(np.stack([np.einsum("qnp,np->qp", mark, y) for mark in marks]), size)
    squares = np.stack([np.einsum("qnp,np->qp", mark, y**2) for mark in marks])
    # likings are small whole numbers: the difference of sums of squares loses nothing that matters
    variance = _over(np.maximum(squares - size * np.nan_to_num(mean) ** 2, 0.0), size - 1)
    return size.astype(np.int64), mean, variance


def _over(above: Floats, below: Floats) -> Floats:
    return np.asarray(np.divide(above, below, out=np.full(np.shape(above), np.nan), where=np.asarray(below) > 0))


def _judged(rows: pd.DataFrame, level: float) -> pd.DataFrame:
    """Return the rows with shares, adjusted p-values and verdicts; those nobody answered are left out."""
    rows = rows.loc[rows["base"] > 0].reset_index(drop=True)
    rows = rows.assign(share=rows["count"] / rows["base"])
    screened = rows["share"] >= LEAST_SHARE
    tested = rows["p_value"].where(screened)
    rows["p_value"], rows["p_adjusted"] = tested, holm(tested.to_numpy())
    groups = np.minimum(rows["n_off"], rows["n_right"]) >= LEAST_GROUP
    shown = groups & (rows["estimate"] > 0) & (rows["p_adjusted"] < 1 - level)
    perhaps = groups & ((rows["ci_low"] > 0) | (rows["estimate"] >= LEAST_DROP))
    verdict = np.select(
        [~screened, ~groups, shown, perhaps], ["few people", "small group", "move", "perhaps"], "no cost seen"
    )
    both = screened.groupby([rows["prototype"], rows["question"]]).transform("all").astype(bool)
    return rows.assign(split=both, verdict=pd.Series(verdict, index=rows.index, dtype="str"))[_COLUMNS].astype(_TEXT)


def balance_frame(drops: pd.DataFrame) -> pd.DataFrame:
    """Return `prototype question n right_mean grand_mean weighted`; both sides' weighted drops added up.

    They equal `right_mean` - `grand_mean`; NaN where nobody found it just about right.
    """
    keys = ["prototype", "question"]
    first = drops.groupby(keys, sort=False)[["n", "right_mean", "grand_mean"]].first()
    weighted = drops.groupby(keys, sort=False)["weighted"].sum(min_count=2)
    return first.assign(weighted=weighted).reset_index()


def within_frame(grid: AnswerGrid, side: Floats, liked: Floats, asked: NDArray[np.bool_], level: float) -> pd.DataFrame:
    """Return the drop over all prototypes within consumers, as `JustAboutRight.within` holds it."""
    chosen = side[asked]
    questions = [name for name, both_ways in zip(grid.questions, asked, strict=True) if both_ways]
    marks = np.stack([np.where(np.isnan(chosen), np.nan, chosen == off) for off in (0, 2)], axis=1)
    found = within_people(liked, marks, level)
    tests = found.tests
    count = len(questions)
    frame = pd.DataFrame(
        {
            "question": np.repeat(np.array(questions, dtype=object), 2),
            "side": np.tile(np.array(SIDES, dtype=object), count),
            "estimate": -tests.estimate.ravel(),
            "std_error": tests.std_error.ravel(),
            "df": tests.df.ravel(),
            "statistic": -tests.statistic.ravel(),
            "p_value": tests.p_value.ravel(),
            "p_adjusted": holm(tests.p_value.ravel()),
            "ci_low": -tests.ci_high.ravel(),
            "ci_high": -tests.ci_low.ravel(),
            "n_consumers": found.n_people.ravel(),
        }
    )
    return frame.astype({"question": "str", "side": "str"})
