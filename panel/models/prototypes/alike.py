"""Which prototypes are alike within the margin, which are not worse, and what is the least difference to be shown?"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtrit

from panel.errors import ModelError
from panel.models.prototypes.differences import Differences
from panel.models.prototypes.panel_design import in_order
from panel.models.prototypes.verdict import (
    CANNOT_TELL,
    DIFFERS,
    EQUIVALENT,
    WOULD_BE,
    untold_pairs,
    wanted_ways,
    with_deciding,
)
from panel.stats.arrays import Array
from panel.stats.comparing.multiplicity import ALPHA, LEVEL, below, deciding_alpha, holm
from panel.stats.comparing.power import smallest_difference as smallest_shown
from panel.stats.comparing.power import two_one_sided_tests
from panel.study.scores_used import stated_differences
from panel.study.study import Study
from panel.words import format_typed, level_words, typed_share

BEYOND, _NOT_SHOWN = "beyond the margin", "not shown"
NOT_WORSE, WORSE, NO_DIRECTION = "not worse", "worse by more than the margin", "no direction"


@dataclass(frozen=True, eq=False, slots=True)
class Alike:
    """Two one-sided tests of each difference, and one of them where the study says which way is better.

    Parameters
    ----------
    differences
        `attribute prototype versus estimate std_error df ci_low ci_high margin low_p high_p p_value p_adjusted
        deciding_low deciding_high deciding_level verdict direction bound not_worse_p not_worse`: the interval is the
        90 % one, `low_p` and `high_p` the tests against a difference at or beyond the lower and the upper margin,
        `p_value` the larger of both, `p_adjusted` by Holm over all rows, which decides: it is below 5 % exactly where
        both ends of the deciding interval lie within the margin. `verdict` is alike within the margin (would be,
        where the study does not state the margin), beyond the margin (the whole deciding interval), not shown, or
        cannot tell.
        `direction` is what is better (more, less, or empty); `bound` the worst difference still credible at 95 %,
        `not_worse_p` its test, `not_worse` the verdict.
    margin_stated
        Whether the study itself states the margins, so that they cannot have been chosen to fit on the spot.
    """

    differences: pd.DataFrame
    margin_stated: bool
    method: str
    notes: tuple[str, ...]


def find_alike(study: Study, result: Differences, pairs: Sequence[tuple[str, str]] | None = None) -> Alike:
    """Test which differences lie within the margin of `result`.

    Parameters
    ----------
    result
        The differences and the margin they were judged by.
    pairs
        (prototype, versus) pairs; by default every prototype with the benchmark of `result`.

    Raises
    ------
    ModelError
        If the margin is not above zero.
    """
    for margin in result.margins.values():
        if not margin > 0:
            raise ModelError(
                f"The margin is {format_typed(margin)}, but it must be above zero: the smallest difference that "
                "matters. Set one such as 5."
            )
    rows = _asked(result, pairs)
    rows = rows.assign(margin=rows["attribute"].map(result.margins).astype(float)).dropna(subset=["margin"])
    ways = wanted_ways(study)
    direction = pd.Series([ways.get(name, "") for name in rows["attribute"]], index=rows.index, dtype="str")
    equal = EQUIVALENT if result.margin_stated else WOULD_BE
    rows = rows.assign(open=untold_pairs(rows, result.confounds), out_of_turn=_out_of_turn(rows, result.attributes))
    return Alike(
        differences=_tested(rows, direction, equal),
        margin_stated=result.margin_stated,
        method=(
            f"Two one-sided t tests at {typed_share(ALPHA)} each with the standard errors and degrees of freedom of "
            f"the mixed model (Schuirmann 1987): one difference alone is alike when its {level_words(1 - 2 * ALPHA)} "
            "lies within the margins. All of them are one family: p-values adjusted by Holm decide, and the "
            "interval shown beside them is that of Holm's step. Not worse: the one of both tests that guards the worse "
            "side, each for itself."
        ),
        notes=tuple(_notes(result, rows, direction, pairs)),
    )


def _asked(result: Differences, pairs: Sequence[tuple[str, str]] | None) -> pd.DataFrame:
    """Return the differences asked for, prototype minus versus."""
    if pairs is None:
        return result.versus.reset_index(drop=True)
    both = pd.concat([result.pairs, result.pairs.rename(columns={"prototype": "versus", "versus": "prototype"})])
    both["estimate"] = np.where(np.arange(len(both)) < len(result.pairs), 1.0, -1.0) * both["estimate"]
    wanted = set(pairs)
    asked = [pair in wanted for pair in zip(both["prototype"], both["versus"], strict=True)]
    return in_order(both.loc[asked], "attribute", result.attributes["attribute"])


def _tested(rows: pd.DataFrame, direction: pd.Series, equal: str) -> pd.DataFrame:
    estimate, error, df, margin = (rows[name].to_numpy(float) for name in ("estimate", "std_error", "df", "margin"))
    above, under = two_one_sided_tests(estimate, error, df, -margin, margin, ALPHA)
    open_ones = rows["open"].to_numpy(dtype=bool)
    p_value = np.where(open_ones, np.nan, np.maximum(above.p_value, under.p_value))
    untold = open_ones | rows["out_of_turn"].to_numpy(dtype=bool)
    p_adjusted, step = holm(p_value), deciding_alpha(p_value, ALPHA)
    half = stdtrit(df, 1 - step) * error
    told_apart = (rows["verdict"] == DIFFERS).to_numpy()  # what is not told apart is not told to be far apart
    beyond = told_apart & ((estimate - half > margin) | (estimate + half < -margin))
    more, known = (direction == "more").to_numpy(), (direction != "").to_numpy()
    bound = np.where(known, np.where(more, above.bound, under.bound), np.nan)
    p_worse = np.where(known, np.where(more, above.p_value, under.p_value), np.nan)
    worse = told_apart & _worse(estimate, error, df, margin, more)
    shown = np.where(below(p_worse), NOT_WORSE, np.where(worse, WORSE, _NOT_SHOWN))
    return rows[["attribute", "prototype", "versus", "estimate", "std_error", "df"]].assign(
        ci_low=above.bound,
        ci_high=under.bound,
        margin=margin,
        low_p=above.p_value,
        high_p=under.p_value,
        p_value=p_value,
        p_adjusted=p_adjusted,
        deciding_low=estimate - half,
        deciding_high=estimate + half,
        deciding_level=1 - 2 * step,
        verdict=np.select([untold, below(p_adjusted), beyond], [CANNOT_TELL, equal, BEYOND], _NOT_SHOWN),
        direction=direction.to_numpy(),
        bound=bound,
        not_worse_p=p_worse,
        not_worse=np.where(untold, CANNOT_TELL, np.where(known, shown, NO_DIRECTION)),
    )


def _worse(estimate: Array, error: Array, df: Array, margin: Array, more: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return whether even the best difference still credible is worse by more than the margin."""
    gain = np.where(more, estimate, -estimate)
    return np.asarray(gain + stdtrit(df, LEVEL) * error < -margin)


def _notes(
    result: Differences, rows: pd.DataFrame, direction: pd.Series, pairs: Sequence[tuple[str, str]] | None
) -> Iterator[str]:
    if not result.margins:
        yield (
            "No margin was set, so nothing can be called alike. State the smallest difference that matters as "
            'the fact "margin" of the study, before the scores are seen.'
        )
        return
    if rows.empty:
        yield (
            "There is no benchmark to be alike with. Give a prototype the role benchmark; all pairs are told above."
            if pairs is None
            else "None of these pairs was scored on an attribute that can be modelled. Choose another."
        )
        return
    silent = list(dict.fromkeys(rows.loc[(direction == "").to_numpy(), "attribute"]))
    yield (
        "To say that two prototypes are alike on every attribute named, each has to be alike at 5 %, with no further "
        "adjustment (the 90 % intervals); which of the differences are alike is told by the adjusted p-values."
    )
    if silent:
        yield (
            f"The study does not say whether more or less is better on {len(silent)} of the attributes, so 'not worse' "
            "has no meaning there (– in the table). Fill in the column direction of the table attributes."
        )


# Do the differences that were planned beforehand show?


_PLANNED_COLUMNS = [
    *("attribute", "prototype", "versus", "estimate", "std_error", "df", "statistic"),
    *("p_value", "p_adjusted", "ci_low", "ci_high", "told_low", "told_high", "told_level", "verdict"),
]
SHOWN = "shown"


@dataclass(frozen=True, eq=False, slots=True)
class PlannedDifferences:
    """Differences stated in the study beforehand.

    Parameters
    ----------
    differences
        `attribute prototype versus estimate std_error df statistic p_value p_adjusted ci_low ci_high told_low told_high
        told_level verdict`, estimate = prototype minus versus; verdict `shown`, `not shown` or, where the pair goes
        along with a factor of the test, `cannot tell`. `ci_low ci_high` is of the difference alone, the p-value
        adjusted by Holm over all planned differences, and `told_low told_high` the interval that decides. What is
        chosen with the scores in sight belongs to all pairs of the attribute (Tukey).
    """

    differences: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def planned_differences(study: Study, result: Differences) -> PlannedDifferences:
    """Return the planned differences of `study` from the models behind `result`.

    What was taken out there, and the method of small samples, hold here as well.
    """
    stated, not_read = stated_differences(study)
    planned = _rows(result.pairs, stated)
    half = stdtrit(planned["df"].to_numpy(float), (1 + LEVEL) / 2) * planned["std_error"]
    rows = with_deciding(planned).assign(ci_low=planned["estimate"] - half, ci_high=planned["estimate"] + half)
    shown = below(rows["p_adjusted"])
    told = [untold_pairs(rows, result.confounds) | _out_of_turn(rows, result.attributes), shown]
    rows = rows.assign(verdict=np.select(told, [CANNOT_TELL, SHOWN], _NOT_SHOWN))
    return PlannedDifferences(
        differences=rows[_PLANNED_COLUMNS],
        method=(
            f"Planned differences: t tests of the mixed model, p-values adjusted by Holm over all {len(rows)} of them, "
            f"each {level_words(LEVEL)} for its difference alone."
            if len(rows)
            else "No difference was planned."
        ),
        notes=(
            *(f"{what} {advice}" for what, advice in not_read),
            *_planned_notes(result, stated, study.attribute_words),
        ),
    )


def _rows(pairs: pd.DataFrame, wanted: Iterable[tuple[str, str, str]]) -> pd.DataFrame:
    """Return the rows of all pairs that are wanted, turned round where they stand the other way."""
    parts = []
    for prototype, versus, attribute in wanted:
        on = (pairs["attribute"] == attribute) | (attribute == "")
        for first, second, sign in ((prototype, versus, 1.0), (versus, prototype, -1.0)):
            own = pairs.loc[on & (pairs["prototype"] == first) & (pairs["versus"] == second)]
            ends = own[["ci_low", "ci_high"]].to_numpy(float) * sign
            parts.append(
                own.assign(
                    prototype=prototype,
                    versus=versus,
                    estimate=sign * own["estimate"],
                    statistic=sign * own["statistic"],
                    ci_low=np.minimum(ends[:, 0], ends[:, 1]),
                    ci_high=np.maximum(ends[:, 0], ends[:, 1]),
                )
            )
    held = [part for part in parts if len(part)]
    return pd.concat(held, ignore_index=True) if held else pairs.iloc[:0]


def _planned_notes(
    result: Differences, stated: tuple[tuple[str, str, str], ...], words: Callable[[str], str]
) -> Iterator[str]:
    for prototype, versus, attribute in stated:
        found = _rows(result.pairs, [(prototype, versus, attribute)])
        asked = {attribute} if attribute else set(result.attributes["attribute"])
        absent = [name for name in result.attributes["attribute"] if name in asked - set(found["attribute"])]
        if attribute and attribute not in set(result.attributes["attribute"]):
            absent = [attribute]
        if absent:
            yield (
                f"{prototype} minus {versus} is not tested on {', '.join(map(words, absent))}: one of them was not "
                "scored there, or no model fits."
            )
    if stated:
        yield (
            "The study states these differences; nothing in it shows that they were written down before anybody saw "
            "the scores."
        )


POWER = 0.8
_ALL_PAIRS = "all pairs (Tukey)"
_AGAINST_BENCHMARK = "against the benchmark (Dunnett)"
ONE_PLANNED = "one planned difference"
_FAMILIES = (_ALL_PAIRS, _AGAINST_BENCHMARK, ONE_PLANNED)
_SMALLEST_COLUMNS = ["attribute", "prototype", "versus", "std_error", "df", "smallest_difference", "family"]


@dataclass(frozen=True, eq=False, slots=True)
class Sensitivity:
    """The smallest true difference that would have been shown with a chance of 80 %.

    Parameters
    ----------
    differences
        `attribute prototype versus std_error df smallest_difference family`: every pair in every family it belongs
        to; families are the entries of `_FAMILIES`.
    medians
        `attribute family smallest_difference`: the median over the pairs of an attribute.
    """

    differences: pd.DataFrame
    medians: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def smallest_difference(found: Differences) -> Sensitivity:
    """Return what differences the design behind `found` can show."""
    alone = stdtrit(found.pairs["df"].to_numpy(float), (1 + LEVEL) / 2)
    parts = [
        _smallest_rows(found.pairs, _used_critical(found.pairs), _ALL_PAIRS),
        _smallest_rows(found.versus, _used_critical(found.versus), _AGAINST_BENCHMARK),
        _smallest_rows(found.pairs, alone, ONE_PLANNED),
    ]
    differences = pd.concat([part for part in parts if len(part)], ignore_index=True)
    medians = differences.groupby(["attribute", "family"], sort=False)["smallest_difference"].median().reset_index()
    return Sensitivity(
        differences=differences,
        medians=medians,
        method=(
            f"Smallest true difference that a two-sided t test would show with probability {POWER:g}, solved from the "
            "noncentral t distribution with the standard errors and degrees of freedom of this panel's own mixed "
            "model. The bar that t must pass is Tukey's for all pairs, Dunnett's against the benchmark, and the plain "
            f"one for one difference planned beforehand, at a level of {LEVEL:g}."
        ),
        notes=(
            "The standard errors are estimated from this panel and are themselves uncertain, the more so the fewer the "
            "degrees of freedom; the smallest differences share that uncertainty.",
            "It speaks of what a panel like this one can show, not of what these prototypes are: read it before the "
            "next test, not as evidence that a difference not shown is small.",
            *(_AMONG_SEVERAL if len(found.attributes) > 1 else ()),
        ),
    )


_AMONG_SEVERAL = (
    "Each attribute is taken as tested alone or first. Among several, a difference among all pairs or from the "
    "benchmark also waits for the F test of its attribute, adjusted over them all: one of this size is then shown "
    "less often.",
)


def _used_critical(rows: pd.DataFrame) -> np.ndarray:
    """Return the critical value behind each simultaneous interval: half its width in standard errors."""
    return ((rows["ci_high"] - rows["ci_low"]) / 2 / rows["std_error"]).to_numpy(float)


def _smallest_rows(rows: pd.DataFrame, critical: np.ndarray, family: str) -> pd.DataFrame:
    known = rows["std_error"].notna().to_numpy()
    rows, critical = rows.loc[known], critical[known]
    if rows.empty:
        return pd.DataFrame(columns=_SMALLEST_COLUMNS)
    smallest = smallest_shown(
        rows["std_error"].to_numpy(float), rows["df"].to_numpy(float), power=POWER, critical=critical
    )
    return rows.assign(smallest_difference=smallest, family=family)[_SMALLEST_COLUMNS]


def _out_of_turn(differences: pd.DataFrame, attributes: pd.DataFrame) -> np.ndarray:
    """Return which differences lie on one of the `attributes` whose turn has not come in the order of testing.

    They stay in the family of "alike": what is left out of it must not hang on the scores.
    """
    closed = attributes.loc[attributes["closed"] != "", "attribute"]
    return differences["attribute"].isin(closed).to_numpy()
