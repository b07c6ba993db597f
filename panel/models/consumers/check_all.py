"""Which words do people tick for which prototype, and which go with liking? Check-all-that-apply questions."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from panel.checks.confounds import Confounds, untold_findings
from panel.errors import ModelError
from panel.models.consumers.answers import (
    AnswerGrid,
    answer_grid,
    kind_confounds,
    lost_pairs,
    numeric_answers,
    questions_of,
    shares_of,
)
from panel.models.prototypes.verdict import with_deciding, with_pairs_told
from panel.stats.answers.paired_answers import (
    cochran_tests,
    mcnemar_exact,
    pair_counts,
    ticked_differences,
    within_people,
)
from panel.stats.arrays import ratio
from panel.stats.comparing.group_means import MeanDifferences
from panel.stats.comparing.multiplicity import LEVEL, below, holm
from panel.stats.maps.components import correspondence
from panel.study.study import Study
from panel.words import all_of, level_words

_RARE = 0.05  # share of all answers below which a term tells little: common practice, no source
FEW_CONSUMERS = 60  # for a map of terms: common practice, no source
LEAST_TICKS = 10  # answers ticked, and not ticked, below which a change of liking is marked: common practice, no source


@dataclass(frozen=True, eq=False, slots=True)
class CheckAll:
    """What the check-all terms say; frames tidy and unrounded.

    Parameters
    ----------
    terms
        `term ticked base share rare n_consumers n_lost n_telling statistic df p_value p_adjusted exact differs`: ticks
        over all prototypes; Cochran's Q over consumers who answered for every prototype (`n_lost` did not), of whom
        `n_telling` neither ticked the term everywhere nor nowhere; `exact` where the p-value is from the permutations
        within consumers, else from chi-square; `p_adjusted` by Holm over the terms, `differs`
        by that. Where the test takes in pairs that cannot be told, the others must say so too.
    shares
        `term prototype ticked base share ci_low ci_high`; Wilson intervals.
    pairs
        `term prototype versus n only_prototype only_versus estimate p_value p_adjusted differs lost`: McNemar's exact
        test over those who judged both, `estimate` the difference of shares, prototype minus versus, Holm over all
        pairs of all terms; without p-values where session or position go wholly along with the pair.
    lift
        `term n_ticked n_not few estimate std_error df statistic p_value p_adjusted ci_low ci_high told_low told_high
        told_level n_consumers n_within shown within_shown` and `within_` before `estimate p_value p_adjusted ci_low
        ci_high told_low told_high told_level`: mean liking of the answers (one consumer, one prototype) with the
        term ticked minus that of the others; the `within` columns compare only answers of the same consumer with each
        other. Consumers are the units of all intervals. `shown` and `within_shown` by the adjusted p-values, that is
        where `told_low told_high` leave out zero. Without rows if there is no liking question.
    map
        Correspondence map of the counts; empty where there is none. `components`: `component correlation inertia
        share`; `terms`: `term mass` and one column `component_1`, `component_2` ... with principal coordinates;
        `prototypes`: `prototype mass` and the same; `left_out`: `kind name` of terms nobody ticked and prototypes
        nobody ticked anything for.
    liking
        The liking question used (empty if none).
    untold
        What pairs cannot be told from, in words.
    """

    terms: pd.DataFrame
    shares: pd.DataFrame
    pairs: pd.DataFrame
    lift: pd.DataFrame
    map: dict[str, pd.DataFrame]
    liking: str
    untold: tuple[str, ...]
    method: str
    notes: tuple[str, ...]


def count_check_all(study: Study) -> CheckAll:
    """Count the ticked terms, compare the prototypes term by term, map them, and lay the first liking question beside.

    Raises
    ------
    ModelError
        If the study has no check-all answers, or only one prototype was judged.
    """
    grid = answer_grid(study, "check_all")
    if len(grid.prototypes) < 2:
        rows = _shares(grid).sort_values("ticked", ascending=False, kind="stable")
        ticks = [f"{term} {x} of {n}" for term, x, n in zip(rows["term"], rows["ticked"], rows["base"], strict=True)]
        raise ModelError(
            f"All check-all answers are about {grid.prototypes[0]}. Ticked: {', '.join(ticks)}. Terms are compared "
            "between prototypes: ask about at least two."
        )
    tests = cochran_tests(grid.values)
    shares, confounds = _shares(grid), kind_confounds(study, "check_all")
    pairs = _pairs(grid, confounds)
    terms = _terms(grid, tests, pairs)
    lift, liking = _lift(study, grid)
    mapped, about_map = _map(shares)
    return CheckAll(
        terms=terms,
        shares=shares,
        pairs=pairs,
        lift=lift,
        map=mapped,
        liking=liking,
        untold=tuple(finding.message for finding in untold_findings(confounds)),
        method=_method(len(grid.questions)),
        notes=(*grid.notes(), *_notes(grid, terms, liking), *about_map),
    )


def _counted(grid: AnswerGrid) -> tuple[np.ndarray, np.ndarray]:
    """Return how many ticked each term for each prototype, and how many were asked, (terms, prototypes)."""
    return np.nansum(grid.values, axis=1).astype(np.int64), (~np.isnan(grid.values)).sum(axis=1)


def _shares(grid: AnswerGrid) -> pd.DataFrame:
    ticked, base = _counted(grid)
    term, prototype = np.nonzero(base)
    names = {
        "term": np.array(grid.questions, dtype=object)[term],
        "prototype": np.array(grid.prototypes, dtype=object)[prototype],
    }
    counts = shares_of(ticked[term, prototype], base[term, prototype], "ticked")
    return pd.DataFrame(names | counts).astype({"term": "str", "prototype": "str"})


def _terms(grid: AnswerGrid, tests: Mapping[str, Any], pairs: pd.DataFrame) -> pd.DataFrame:
    by_term = np.stack([holm(row) for row in pairs["p_value"].to_numpy(float).reshape(len(grid.questions), -1)])
    lost = pairs["lost"].to_numpy(bool).reshape(by_term.shape)
    adjusted = holm([with_pairs_told(*each) for each in zip(tests["p_value"], by_term, lost, strict=True)])
    ticked, base = (part.sum(axis=1) for part in _counted(grid))
    return pd.DataFrame(
        {
            "term": pd.Series(grid.questions, dtype="str"),
            "ticked": ticked,
            "base": base,
            "share": ticked / base,
            "rare": ticked / base < _RARE,
            **{name: tests[name] for name in ("n_consumers", "n_lost", "n_telling", "statistic", "df", "p_value")},
            "p_adjusted": adjusted,
            "exact": tests["exact"],
            "differs": below(adjusted),
        }
    )


def _pairs(grid: AnswerGrid, confounds: Confounds) -> pd.DataFrame:
    found = pair_counts(grid.values)
    lost = lost_pairs(confounds, grid.prototypes, found["first"], found["second"])
    p_value = np.where((found["n"] > 0) & ~lost, mcnemar_exact(found["only_second"], found["only_first"]), np.nan)
    adjusted = holm(p_value)
    estimate = ratio(found["only_second"] - found["only_first"], found["n"])
    names = np.array(grid.prototypes, dtype=object)
    count = len(grid.questions)
    frame = pd.DataFrame(
        {
            "term": np.repeat(np.array(grid.questions, dtype=object), len(found["first"])),
            "prototype": np.tile(names[found["second"]], count),
            "versus": np.tile(names[found["first"]], count),
            "n": found["n"].ravel(),
            "only_prototype": found["only_second"].ravel(),
            "only_versus": found["only_first"].ravel(),
            "estimate": estimate.ravel(),
            "p_value": p_value.ravel(),
            "p_adjusted": adjusted.ravel(),
            "differs": below(adjusted.ravel()),
            "lost": np.tile(lost, count),
        }
    )
    return frame.astype(dict.fromkeys(("term", "prototype", "versus"), "str"))


def _lift(study: Study, grid: AnswerGrid) -> tuple[pd.DataFrame, str]:
    """Return how liking goes with each term, and the liking question."""
    if not questions_of(study, "liking"):
        return _marked(_lift_frame(grid, None, None, None)).iloc[:0], ""
    read = numeric_answers(study, "liking")
    liked = grid.matched(read.frame)
    plain = ticked_differences(liked, grid.values, LEVEL)
    within = within_people(liked, grid.values[:, None], LEVEL)
    return _marked(_lift_frame(grid, liked, plain, within)), read.question


def _marked(lift: pd.DataFrame) -> pd.DataFrame:
    marks = {"shown": "p_adjusted", "within_shown": "within_p_adjusted"}
    return lift.assign(**{mark: below(lift[name]) for mark, name in marks.items()})


def _lift_frame(
    grid: AnswerGrid, liked: np.ndarray | None, plain: MeanDifferences | None, within: MeanDifferences | None
) -> pd.DataFrame:
    nothing = np.full(len(grid.questions), np.nan)
    used = grid.values if liked is None else np.where(np.isnan(liked), np.nan, grid.values)
    ticked, not_ticked = (used == 1).sum(axis=(1, 2)), (used == 0).sum(axis=(1, 2))
    columns = ("estimate", "std_error", "df", "statistic", "p_value", "ci_low", "ci_high")
    tests = (
        {name: nothing if plain is None else getattr(plain, name) for name in columns},
        {name: nothing if within is None else getattr(within, name)[:, 0] for name in columns},
    )
    first, own = (with_deciding(pd.DataFrame(each)) for each in tests)
    return pd.DataFrame(
        {
            "term": pd.Series(grid.questions, dtype="str"),
            "n_ticked": ticked,
            "n_not": not_ticked,
            "few": np.minimum(ticked, not_ticked) < LEAST_TICKS,
            **first,
            "n_consumers": nothing if plain is None else plain.n,
            **own.drop(columns=["std_error", "df", "statistic"]).add_prefix("within_"),
            "n_within": nothing if within is None else within.n[:, 0],
        }
    )


def _map(shares: pd.DataFrame) -> tuple[dict[str, pd.DataFrame], list[str]]:
    """Return the map and what to know of it."""
    try:
        mapped, few_expected = _term_map(shares)
    except ModelError as error:
        return {}, [f"There is no map of the terms: {error}"]
    if few_expected <= _TOO_MANY_FEW:
        return mapped, []
    return mapped, [
        f"{100 * few_expected:.0f} % of the counts behind the map would be below five if terms and "
        "prototypes had nothing to do with each other; single terms can pull at the picture."
    ]


def _method(n_terms: int) -> str:
    return (
        f"Counts with Wilson's {level_words(LEVEL)}s. Cochran's Q compares the prototypes term by term over the "
        "consumers who answered for all of them, exact from the permutations within consumers where these are few, "
        f"else from chi-square; Holm over {all_of(n_terms, 'term')}. Pairs by McNemar's exact test over those who "
        "answered for both, Holm over all pairs of all terms. The map is a correspondence analysis of the counts. "
        "Liking is compared between answers with the term ticked and without; one answer is one consumer and "
        "prototype, and the interval leaves out each consumer in turn, because the answers of one consumer belong "
        "together. The same within consumers compares nobody with anybody else. P-values by Holm over the terms."
    )


def _notes(grid: AnswerGrid, terms: pd.DataFrame, liking: str) -> Iterator[str]:
    rare = [str(name) for name in terms.loc[terms["rare"], "term"]]
    if rare:
        yield f"Ticked in fewer than {100 * _RARE:.0f} % of the answers, so they tell little: {', '.join(rare)}."
    lost = int(terms["n_lost"].max())
    if lost:
        yield (
            f"Cochran's Q needs answers for every prototype: {lost} of {lost + int(terms['n_consumers'].min())} "
            "consumers are lost for it. Counts, pairs and liking use their answers."
        )
    if len(grid.people) < FEW_CONSUMERS:
        yield (
            f"{len(grid.people)} consumers are fewer than the {FEW_CONSUMERS} a steady map of terms takes (common "
            "practice, no source): another group may give another picture."
        )
    if not (grid.values == 0).any():
        yield (
            "No term is recorded as not ticked, so every term counts as ticked by all who were asked. Record 0 for "
            "the terms a consumer left open."
        )
    if not liking:
        yield "Without a liking question nothing can be said about which terms go with liking."


# Which terms stand near which prototypes? The correspondence map of check-all counts.


_TOO_MANY_FEW = 0.20  # share of expected counts below five that calls for a warning (Cochran 1954, Biometrics 10:417)


def _term_map(shares: pd.DataFrame) -> tuple[dict[str, pd.DataFrame], float]:
    """Return the map of counts `term prototype ticked`, and the share of cells whose expected count is below five.

    ModelError if fewer than two terms or prototypes were ticked.
    """
    counts = shares.pivot_table(index="term", columns="prototype", values="ticked", aggfunc="sum", sort=False)
    counts = counts.fillna(0)
    kept = counts.loc[counts.sum(axis=1) > 0, counts.sum(axis=0) > 0]
    if min(kept.shape) < 2:
        raise ModelError("fewer than two terms, or fewer than two prototypes, were ticked at all.")
    found = correspondence(kept.to_numpy(dtype=float))
    numbers = np.arange(1, found.inertias.size + 1)
    total = found.inertias.sum()
    names = [f"component_{number}" for number in numbers]
    left_out = [("term", str(name)) for name in counts.index.difference(kept.index, sort=False)]
    left_out += [("prototype", str(name)) for name in counts.columns.difference(kept.columns, sort=False)]
    return {
        "components": pd.DataFrame(
            {
                "component": numbers,
                "correlation": found.correlations,
                "inertia": found.inertias,
                "share": found.inertias / total if total > 0 else np.full(numbers.size, np.nan),
            }
        ),
        "terms": _places("term", kept.index, found.row_masses, found.rows, names),
        "prototypes": _places("prototype", kept.columns, found.column_masses, found.columns, names),
        "left_out": pd.DataFrame(left_out, columns=["kind", "name"], dtype="str"),
    }, found.few_expected


def _places(kind: str, index: pd.Index, masses: np.ndarray, at: np.ndarray, names: list[str]) -> pd.DataFrame:
    frame = pd.DataFrame(at, columns=names)
    frame.insert(0, "mass", masses)
    frame.insert(0, kind, pd.Series([str(name) for name in index], dtype="str"))
    return frame
