"""What may be said of a difference: does it differ, is it alike, or can't it be told? How large without its luck?

One rule, made once; with how far batches of one formula differ, as the study states it or as its scores show it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtrit

from panel.checks.confounds import BATCH, IN_THESE_BATCHES, MAKING_DAY, OF_TEST, WHOLLY, Confounds
from panel.stats.arrays import Array, Codes
from panel.stats.comparing.group_means import seen_alike
from panel.stats.comparing.multiplicity import ALPHA, below, deciding_alpha, holm, letters_for, serial_gatekeeping
from panel.stats.comparing.power import two_one_sided_tests
from panel.stats.comparing.shrinkage import own_variances, shrink_differences, shrink_effects
from panel.stats.maps.links import correlation_interval
from panel.study.scores_used import scores_used
from panel.study.study import Study, kept, natural_order

DIFFERS, ALIKE, CANNOT_TELL = "differs", "alike", "cannot tell"
_MATTERS = "differs and matters"
_MAY_MATTER = "differs, may matter"
SMALL = "differs but small"
WOULD_BE_SMALL = "differs, would be small"
EQUIVALENT = "alike within the margin"
WOULD_BE = "would be within the margin"
NOT_BESIDE_THE_OTHERS = "over all attributes together nothing is told apart here"
_TYPED_IN = "the margin was typed in after the scores, and shows nothing"
_NOT_OF_ALL = "over all prototypes together nothing is told apart"


Columns = dict[str, NDArray[Any]]
"""The columns of a table by their names, texts as objects."""
Table = pd.DataFrame | Columns


def tabled(columns: Columns) -> pd.DataFrame:
    """Return columns, some of which are texts, as a table; all texts at once are made sooner than one after another."""
    texts = [name for name, own in columns.items() if own.dtype == object]
    every, n = pd.array(np.concatenate([columns[name] for name in texts]), dtype="str"), len(columns[texts[0]])
    cut = {name: every[k * n : (k + 1) * n] for k, name in enumerate(texts)}
    return pd.DataFrame(columns | cut, copy=False)


def difference_verdicts(differences: pd.DataFrame, margins: Mapping[str, float], **asked: Any) -> pd.DataFrame:
    """Return `differences` with the columns of `verdict_columns`, which says what may be `asked`."""
    columns = verdict_columns(differences, margins, **asked)
    own = differences.drop(columns=[name for name in differences.columns if name in columns])
    return pd.concat([own, tabled(columns).set_axis(differences.index)], axis=1)


def verdict_columns(
    differences: Table,
    margins: Mapping[str, float],
    *,
    told_apart: Mapping[str, bool] | None = None,
    confounds: Confounds | None = None,
    closed: Mapping[str, str] | None = None,
    margin_stated: bool = True,
) -> Columns:
    """Return the columns `alike_p alike_low alike_high alike_level verdict said because` of differences.

    Parameters
    ----------
    differences
        `estimate std_error df ci_low ci_high`, NaN where there is no estimate; all rows are one family for "alike".
    margins
        Attribute, empty where there is none, to the smallest difference that matters on it, where there is one.
    told_apart
        Attribute, empty where there is none, to whether its prototypes differ at all, over all attributes; by default
        every attribute does.
    confounds
        What the pairs cannot be told from; where they come with batches, `said` names them.
    closed
        Attribute to why its turn has not come in the order of testing, empty where it has; see `attribute_verdicts`.
    margin_stated
        Whether the margin was stated before the scores; else it shows nothing, and `said` is what it would be.

    `verdict` is `differs` where the simultaneous interval leaves out zero and the attribute is told apart at all;
    `alike` where two one-sided tests are below 0.05, adjusted by Holm over all rows, which is so exactly where both
    ends of (`alike_low`, `alike_high`), the interval of that step, lie within the margin; else, wherever a factor of
    the test goes wholly along with the pair, and where its turn has not come, `cannot tell`. `said` is how it is told,
    `because` what else could explain it.
    """
    low, high = (np.asarray(differences[end], dtype=float) for end in ("ci_low", "ci_high"))
    untold, because = _asked(differences, confounds)
    of_attribute = _by_attribute(differences)
    after = of_attribute(closed, "")
    asked = ~untold & (after == "")
    alone = ((low > 0) | (high < 0)) & asked
    apart = alone & of_attribute(told_apart, True).astype(bool)
    reach = of_attribute(margins, np.nan).astype(float)
    alike = _alike(differences, reach, untold)
    within = below(alike["alike_p"]) & (after == "")
    beyond, inside = (low > reach) | (high < -reach), (low > -reach) & (high < reach)
    said = np.select(
        [apart & beyond, apart & within & inside, apart & np.isfinite(reach), within, apart], (0, 1, 2, 3, 5), 4
    )
    verdict = np.select([apart, within & margin_stated], (0, 1), 2)
    small, equal = (SMALL, EQUIVALENT) if margin_stated else (WOULD_BE_SMALL, WOULD_BE)
    words = (_MATTERS, small, _MAY_MATTER, equal, CANNOT_TELL, DIFFERS)
    few = (verdict < 2) & (confounds is not None and IN_THESE_BATCHES in holds_alone(confounds))
    why = (
        after.tolist(),
        np.where(within & (not margin_stated), _TYPED_IN, "").tolist(),
        np.where(alone & ~apart, NOT_BESIDE_THE_OTHERS if "attribute" in differences else _NOT_OF_ALL, "").tolist(),
        because,
    )
    return alike | {
        "verdict": _picked((DIFFERS, ALIKE, CANNOT_TELL), verdict),
        "said": _picked([*words, *(f"{each}, {IN_THESE_BATCHES}" for each in words)], said + len(words) * few),
        "because": np.array(["; ".join(filter(None, each)) for each in zip(*why, strict=True)], dtype=object),
    }


def holds_alone(confounds: Confounds, groups: Sequence[str] = ()) -> str:
    """Return for what alone verdicts on prototypes hold, for the end of a sentence; empty where they hold at large.

    Batches that were made once, and several `groups` of assessors: two laboratories are no sample of laboratories.
    """
    parts = [IN_THESE_BATCHES] if confounds.with_batches and confounds.one_batch else []
    parts += [f"for these {len(groups)} groups of assessors"] if len(groups) > 1 else []
    return " and ".join(parts)


def wanted_ways(study: Study) -> dict[str, str]:
    """Return the attributes of which `more` or `less` is wanted, each with that."""
    listed = zip(*study.listed("attributes", "attribute", "direction"), strict=True)
    return {name: way for name, way in listed if way in ("more", "less")}


def groups_scoring(study: Study) -> tuple[str, ...]:
    """Return the groups of assessors that gave scores."""
    scored, both = set(study.numbered["assessor"][1]), zip(*study.listed("assessors", "assessor", "group"), strict=True)
    return tuple(natural_order({group for who, group in both if group and who in scored}))


def _student_ends(rows: pd.DataFrame, alpha: Array) -> tuple[Array, Array]:
    estimate, half = rows["estimate"].to_numpy(float), stdtrit(rows["df"], 1 - alpha / 2) * rows["std_error"]
    return estimate - half, estimate + half


def correlation_ends(rows: pd.DataFrame, alpha: Array) -> tuple[Array, Array]:
    """Return the ends of intervals of correlations (`estimate n`), for `with_deciding`."""
    return correlation_interval(rows["estimate"], rows["n"], alpha)


def with_deciding(
    rows: pd.DataFrame,
    adjust: Callable[[Array], Array] = holm,
    ends: Callable[[pd.DataFrame, Array], tuple[Array, Array]] = _student_ends,
) -> pd.DataFrame:
    """Return two-sided tests of one family (`p_value`) with `p_adjusted told_low told_high told_level`.

    (`told_low`, `told_high`) leaves out zero exactly where `p_adjusted` is below 0.05; see `deciding_alpha`. `ends`
    gives the intervals of rows that leave out zero where the p-values are below these; by default those of t tests
    (`estimate std_error df`).
    """
    p = rows["p_value"].to_numpy(float)
    step = deciding_alpha(p, ALPHA, adjust)
    low, high = ends(rows, step)
    return rows.assign(p_adjusted=adjust(p), told_low=low, told_high=high, told_level=1 - step)


def _picked(words: Sequence[str], places: Codes) -> NDArray[Any]:
    """Return the words at these places."""
    return np.array(words, dtype=object)[places]


def untold_pairs(differences: pd.DataFrame, confounds: Confounds | None) -> np.ndarray:
    """Return which differences have no estimate, or go wholly along with a factor of the test."""
    return _asked(differences, confounds)[0]


def with_pairs_told(p_value: float, p_pairs: Array, lost: NDArray[np.bool_]) -> float:
    """Return the p-value of a test over all prototypes; where it takes in pairs that are `lost`, the others say so too.

    Lost are pairs that cannot be told from a factor of the test; `p_pairs` are their adjusted p-values.
    """
    return max(p_value, float(np.nanmin(p_pairs[~lost], initial=1.0))) if lost.any() else p_value


def attribute_verdicts(
    attributes: Table,
    pairs: Table,
    confounds: Confounds,
    words: Callable[[str], str] = str,
) -> Columns:
    """Return the columns `p_adjusted closed verdict because` of `attributes`.

    `p_adjusted` is that of families tested one after another, which `test_order` numbers: Holm within each. `closed`
    says after which attribute (in `words`) a row comes whose turn has not come, as one before it shows no difference;
    `verdict` is `differs` where the F test says so, its turn has come and some pair can be told. Where position or site
    go wholly along with some pairs only, the F test takes them in: there the pairs that can be told must say so too.
    """
    place = np.nan_to_num(np.asarray(attributes["test_order"], dtype=float), nan=np.inf)
    lost, because = _asked(pairs, confounds)
    names, own = pairs["attribute"].tolist(), attributes["attribute"].tolist()
    told = {name for name, open_one in zip(names, lost.tolist(), strict=True) if not open_one}
    untold = {name: why for name, why in zip(reversed(names), reversed(because), strict=True) if name not in told}
    inside = (lost & np.isfinite(np.asarray(pairs["estimate"], dtype=float))).tolist()
    taken_in = dict(reversed([row[:2] for row in zip(names, because, inside, strict=True) if row[2]]))
    beside = np.zeros(len(own))
    if taken_in:
        clearest = pd.Series(pairs["p_adjusted"])[~lost].groupby(np.array(names, dtype=object)[~lost]).min()
        beside = np.where(np.isin(own, list(taken_in)), clearest.reindex(own).fillna(0.0), 0.0)
    p_adjusted = serial_gatekeeping(np.maximum(np.asarray(attributes["p_value"], dtype=float), beside), place)
    shut = np.flatnonzero(~below(p_adjusted) & np.isfinite(p_adjusted))
    gate = shut[np.argsort(place[shut], kind="stable")][:1]
    first = place[gate].min(initial=np.inf)
    why = ""
    if (place > first).any():
        why = f"comes after {words(str(own[gate[0]]))} in the order fixed beforehand"
    closed = np.where(place > first, why, "").astype(object)
    apart = below(p_adjusted) & np.array([name not in untold for name in own], dtype=bool)
    open_ones = untold | {name: why for name, why in taken_in.items() if not apart[own.index(name)]}
    return {
        "p_adjusted": p_adjusted,
        "closed": closed,
        "verdict": _picked((DIFFERS, CANNOT_TELL), np.where(apart, 0, 1)),
        "because": np.where(closed != "", closed, np.array([open_ones.get(name, "") for name in own], dtype=object)),
    }


def why_not_apart(attributes: pd.DataFrame) -> dict[str, str]:
    """Return the attributes of `attribute_verdicts` on which nothing may be told apart, and why."""
    rows = attributes.loc[attributes["verdict"] != DIFFERS]
    return dict(
        zip(rows["attribute"], rows["because"].where(rows["because"] != "", NOT_BESIDE_THE_OTHERS), strict=True)
    )


def verdict_letters(means: Table, pairs: Table, versus: Table) -> NDArray[Any]:
    """Return the letters of each mean, from the one verdict that is given on each pair; attributes stand together."""
    apart: dict[str, list[list[str]]] = {}
    of_benchmark = np.zeros(len(versus["verdict"]), dtype=bool)
    for table, elsewhere in ((pairs, np.asarray(pairs["with_benchmark"], dtype=bool)), (versus, of_benchmark)):
        differ = (np.asarray(table["verdict"], dtype=object) == DIFFERS) & ~elsewhere
        columns = (
            np.asarray(table[name], dtype=object)[differ].tolist() for name in ("attribute", "prototype", "versus")
        )
        for attribute, *ends in zip(*columns, strict=True):
            apart.setdefault(attribute, []).append(ends)
    letters: list[str] = []
    rows = zip(*(means[name].tolist() for name in ("attribute", "prototype", "estimate")), strict=True)
    for attribute, own in groupby(rows, itemgetter(0)):
        _, names, estimates = zip(*own, strict=True)
        which = np.zeros((len(names), len(names)), dtype=bool)
        for ends in apart.get(attribute, ()):
            one, other = map(names.index, ends)
            which[one, other] = which[other, one] = True
        letters += letters_for(np.array(estimates), which)
    return np.array(letters, dtype=object)


def _places(frame: pd.DataFrame, *names: Sequence[str]) -> list[Codes]:
    """Return the places of attribute, prototype and versus of each row among their `names`: attributes, prototypes."""
    found = []
    columns = [name for name in ("attribute", "prototype", "versus") if name in frame]
    for column, among in zip(columns, (*names, names[-1]), strict=False):
        code, different = pd.factorize(frame[column])
        place = {name: number for number, name in enumerate(among)}
        found.append(np.array([place[name] for name in different.tolist()], dtype=np.intp)[code])
    return found


def _by_attribute(differences: Table) -> Callable[[Mapping[str, Any] | None, object], NDArray[Any]]:
    """Return what gives, for the attribute of each row, what `values` hold for it, `usual` where they hold nothing."""
    n = len(differences["estimate"])
    code, names = pd.factorize(differences["attribute"]) if "attribute" in differences else (np.zeros(n, np.intp), [""])

    def of_attribute(values: Mapping[str, Any] | None, usual: object) -> NDArray[Any]:
        return np.array([(values or {}).get(name, usual) for name in list(names)], dtype=object)[code]

    return of_attribute


def _alike(differences: Table, margin: Array, open_ones: np.ndarray) -> Columns:
    """Return the columns with the test of lying within the margin, and the interval that decides it."""
    estimate, error, df = (np.asarray(differences[name], dtype=float) for name in ("estimate", "std_error", "df"))
    known = ~np.isnan(error) & ~open_ones & (margin > 0)
    if not known.any():
        return {name: np.full(len(known), np.nan) for name in ("alike_p", "alike_low", "alike_high", "alike_level")}
    margin = np.where(known, margin, 1.0)
    tested = two_one_sided_tests(estimate, error, df, -margin, margin, ALPHA)
    p = np.where(known, np.maximum(*(each.p_value for each in tested)), np.nan)
    step = deciding_alpha(p, ALPHA)
    half = stdtrit(df, 1 - step) * error
    return {
        "alike_p": holm(p),
        "alike_low": estimate - half,
        "alike_high": estimate + half,
        "alike_level": 1 - 2 * step,
    }


def _asked(differences: Table, confounds: Confounds | None) -> tuple[np.ndarray, list[str]]:
    """Return which pairs cannot be told at all, and what else could explain each difference, in words."""
    lost = np.isnan(np.asarray(differences["estimate"], dtype=float))
    if confounds is None or confounds.pairs.empty or not len(lost):
        return lost, [""] * len(lost)
    open_ones, because = [], []
    attributes = differences["attribute"].tolist() if "attribute" in differences else [""] * len(lost)
    rows = confounds.by_pair()
    ends = (differences[name].tolist() for name in ("prototype", "versus"))
    for attribute, prototype, versus in zip(attributes, *ends, strict=True):
        pair = frozenset((prototype, versus))
        own = [row for name in dict.fromkeys(("", attribute)) for row in rows.get((name, pair), ())]
        untold = [why for factor, kind, why in own if kind == WHOLLY and factor in OF_TEST]
        beside = [why for factor, kind, why in own if kind != WHOLLY or factor == MAKING_DAY]
        batch = [why for factor, _, why in own if factor == BATCH]
        open_ones.append(bool(untold))
        because.append("; ".join(untold or [*beside, *batch]))
    return lost | np.array(open_ones), because


# How large is what was picked because it came out large, and might its sign be wrong?


def shrunken_differences(means: pd.DataFrame, *tables: pd.DataFrame) -> list[dict[str, Array]]:
    """Return the columns `shrunken wrong_sign` of each of `tables`, of all pairs and from the benchmark.

    `means` (`attribute prototype estimate`) and the first table (`attribute prototype versus std_error df`) are of all
    prototypes. `shrunken` is the difference drawn towards none as far as the prototypes of the attribute say that luck
    made them differ; `wrong_sign` the chance that its sign is the other one. NaN where not all pairs of an attribute
    were estimated.
    """
    names, pairs = (means["attribute"].unique().tolist(), means["prototype"].unique().tolist()), tables[0]
    estimate = np.full(tuple(map(len, names)), np.nan)
    estimate[tuple(_places(means, *names))] = means["estimate"].to_numpy(float)
    estimate -= estimate.mean(axis=1, keepdims=True)
    squared, dfs = np.zeros((*estimate.shape, len(names[1]))), np.full((*estimate.shape, len(names[1])), np.nan)
    places = [_places(table, *names) for table in tables]
    row, first, second = places[0]
    squared[row, first, second] = squared[row, second, first] = pairs["std_error"].to_numpy(float) ** 2
    dfs[row, first, second] = pairs["df"].to_numpy(float)
    whole = np.isfinite(estimate).all(axis=1) & np.isfinite(squared).all(axis=(1, 2))
    variance = np.where(whole[:, None], own_variances(np.nan_to_num(squared)), np.nan)
    df = pd.DataFrame(dfs.reshape(len(dfs), -1)).median(axis=1).to_numpy()
    row, first, second = (np.concatenate(each) for each in zip(*places, strict=True))
    found = shrink_differences(np.where(whole[:, None], estimate, np.nan), variance, first, second, row, df)
    ends = np.cumsum([len(table) for table in tables])[:-1]
    shrunken, wrong_sign = (np.split(each, ends) for each in found)
    return [{"shrunken": one, "wrong_sign": other} for one, other in zip(shrunken, wrong_sign, strict=True)]


def shrunken_effects(rows: pd.DataFrame, family: str) -> pd.DataFrame:
    """Return effects (`estimate std_error df`, such as of swaps) with `shrunken` and `wrong_sign`.

    All rows with the same value of the column `family` are drawn towards none together; NaN where one has no estimate.
    """
    found = pd.DataFrame(np.nan, index=rows.index, columns=["shrunken", "wrong_sign"])
    for _, own in rows.groupby(family, sort=False):
        known = own.loc[own["estimate"].notna() & (own["std_error"] > 0)]
        if len(known):
            estimate, error, df = (known[name].to_numpy(float) for name in ("estimate", "std_error", "df"))
            found.loc[known.index] = np.column_stack(shrink_effects(estimate, error, float(np.median(df))))
    return rows.assign(shrunken=found["shrunken"], wrong_sign=found["wrong_sign"])


# Do the prototypes differ alike in all sessions, and for all groups of assessors?


_LARGEST_FILL = 20  # cells of the full plan per score from which on too little of it was scored to compare


@kept
def seen_differently(study: Study) -> dict[str, str]:
    """Return the attributes on which sessions, or groups of assessors, show other differences, and which of these do.

    F tests of `seen_alike` on the means of people who scored every prototype, each by Holm over the attributes.
    """
    used = scores_used(study).numbered
    codes, names = zip(*(used[column] for column in ("assessor", "prototype", "session", "attribute")), strict=True)
    shape = tuple(map(len, names))
    group_of = dict(zip(*map(reversed, study.listed("assessors", "assessor", "group")), strict=True))
    group = np.array([group_of.get(name, "") for name in names[0]], dtype=object)
    asked = [("sessions", None)] * (shape[2] > 1) + [("groups of assessors", group)] * (len({*group} - {""}) > 1)
    if not asked or not np.prod(shape, dtype=float) <= _LARGEST_FILL * len(codes[0]):
        return {}
    place, size = np.ravel_multi_index(codes, shape), int(np.prod(shape))
    count: Array = np.bincount(place, minlength=size).astype(float).reshape(shape)
    total: Array = np.zeros(size)
    np.add.at(total, place, used.rows["score"].to_numpy(float))
    told: dict[str, list[str]] = {}
    for words, of in asked:
        p = [_p_alike(total.reshape(shape)[..., k], count[..., k], of) for k in range(shape[-1])]
        known = np.isfinite(p)
        for name in np.array(names[-1], dtype=object)[known][below(holm(np.array(p)[known]))].tolist():
            told.setdefault(name, []).append(words)
    return {name: " and ".join(words) for name, words in told.items()}


def _p_alike(total: Array, count: Array, group: NDArray[Any] | None) -> float:
    """Return p that prototypes differ alike, of sums and counts (assessors, prototypes, sessions) of one attribute."""
    if group is not None:
        total, count = total.sum(axis=2, keepdims=True), count.sum(axis=2, keepdims=True)
    there = count > 0
    total, count = (of[:, there.any(axis=(0, 2))][:, :, there.any(axis=(0, 1))] for of in (total, count))
    whole = (count > 0).all(axis=(1, 2)) & (True if group is None else group != "")
    if whole.sum() < 2 or total.shape[1] < 2:
        return float("nan")
    scores = total[whole] / count[whole]
    return seen_alike(scores, None if group is None else pd.factorize(group[whole])[0])[-1]


SD_FACT, DF_FACT = "batch_sd", "batch_sd_df"


@dataclass(frozen=True, slots=True)
class BatchSpread:
    """Standard deviation between batches, and how many batches of each prototype were scored.

    `sd`: attribute to standard deviation in scale units, the empty name for all others. `df`: degrees of freedom behind
    it, infinite where it is stated as known. `batches`: prototype to the number scored, 1 where it is not known.
    """

    sd: Mapping[str, float]
    df: float
    batches: Mapping[str, int]

    def of(self, attribute: str) -> float:
        """Return the standard deviation on an attribute, NaN where nothing is known."""
        return self.sd.get(attribute, self.sd.get("", float("nan")))

    def variance(self, attribute: str, weights: Mapping[str, float]) -> float:
        """Return what batches add to the variance of a weighted sum of means; 0 where nothing is known."""
        sd = self.of(attribute)
        if np.isnan(sd):
            return 0.0
        return sd**2 * sum(weight**2 / max(self.batches.get(name, 1), 1) for name, weight in weights.items())

    def words(self, attribute: str) -> str:
        """Return how batches enter the standard error on an attribute; empty where they do not."""
        sd = self.of(attribute)
        if np.isnan(sd):
            return ""
        known = "as stated for the study" if np.isinf(self.df) else f"learned with {self.df:g} degrees of freedom"
        return f"a standard deviation of {sd:g} between batches, {known}, is in the standard error"

    @property
    def sentence(self) -> str:
        """How batches enter the standard errors, for the method; empty where they do not."""
        if not self.sd:
            return ""
        low, high = min(self.sd.values()), max(self.sd.values())
        size = f"{low:.3g}" if low == high else f"{low:.3g} to {high:.3g}"
        known = "stated for the study" if np.isinf(self.df) else f"learned with {self.df:g} degrees of freedom"
        return f"A standard deviation of {size} between batches, {known}, is in the standard errors."


def batch_spread(study: Study, confounds: Confounds) -> BatchSpread:
    """Return what the facts `batch_sd` (a number, or one by attribute) and `batch_sd_df` of `study` say of batches."""
    stated, df = study.facts.get(SD_FACT), study.facts.get(DF_FACT)
    by_attribute = stated if isinstance(stated, Mapping) else {"": stated}
    sd = {
        str(name): float(value)
        for name, value in by_attribute.items()
        if isinstance(value, int | float) and not isinstance(value, bool) and np.isfinite(value) and value >= 0
    }
    known = float(df) if isinstance(df, int | float) and not isinstance(df, bool) and df >= 1 else float("inf")
    return BatchSpread(sd, known, {name: len(own) for name, own in confounds.batches.items()})
