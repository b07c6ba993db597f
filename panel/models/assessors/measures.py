"""The numbers of a panel check as tables: a row per assessor and attribute, per attribute, and per assessor."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from panel.models.prototypes.differences import attribute_rows
from panel.models.prototypes.panel_design import PanelDesign, ScoreArray, score_array, variance_rows
from panel.stats.arrays import Array
from panel.stats.assessors.agreement import (
    Agreement,
    agreement,
    disagreement,
    disagreement_without_each,
    own_tables,
)
from panel.stats.assessors.departures import (
    Departures,
    Repeats,
    departures,
    drift,
    mean_share,
    moderated_variances,
    repeats,
    residual_correlations,
)
from panel.stats.assessors.scaling import ReversalRule, reversal_chance
from panel.stats.comparing.group_means import VarianceTables, f_tail
from panel.stats.comparing.multiplicity import LEVEL, below, holm
from panel.stats.mixed.inference import Estimates, inference
from panel.stats.mixed.reml import MixedFit
from panel.study.study import Numbered, Study, those_in

SEPARATES_BELOW = 0.30
"""A person alone has few scores: panels with two or three replicates take a p-value of 0.30 to 0.50 of the own table
as telling the prototypes apart (common practice, no source)."""

_CLEARLY_SEPARATES = 0.05
"""P-value of the own table below which somebody's scores clearly follow the prototypes, be it the wrong way. Reversed
scales are looked for among these alone as well: honest people among them go with the others, so that fewer tests are
counted and nothing is lost."""

FOLLOWS_PROTOTYPES = 0.10
"""P-value of the own table of somebody who reverses: the scores follow the prototypes, only the wrong way."""

REVERSED_RULES = (ReversalRule(0.01, FOLLOWS_PROTOTYPES), ReversalRule(0.035, _CLEARLY_SEPARATES, turn=2.0))
"""When a slope under zero is a reversed scale: by its p-value adjusted over everybody, or over those alone who clearly
separate the prototypes, on attributes whose differences are large enough to tell a reversed slope from an honest one.
On the others a reversed scale could hardly be found, so that counting them would add false findings and no true ones.
The limits come from simulation: honest people are to be advised to train in at most 2 % of panels, somebody reversed
who clearly separates is to be found in at least 95 % (benchmarks/README.md)."""


WITH, AGAINST, _ALONE_NOT, NOT_JUDGED, _ONE_REPEAT = "with", "against", "not alone", "not judged", "one repeat"
"""How a person sees the prototypes: tells them apart alone, with the others or against them, or does not; not judged
where the others do not tell them apart; with one repeat it cannot be told."""


def panel_tables(
    study: Study, scores: pd.DataFrame, fits: list[tuple[PanelDesign, MixedFit]], tests: pd.DataFrame
) -> tuple[PanelNumbers, dict[str, pd.DataFrame]]:
    """Return the numbers of the panel of `study`, and the tables `assessors`, `people`, `panel`, `means` of them.

    Parameters
    ----------
    scores, fits
        The scores that are used, and the panel's models of them.
    tests
        `attribute assessor statistic p_value`: tests that no prototype differs, without each assessor.
    """
    numbers = _panel_numbers(study, scores, tests)
    # the range of the scores where the study does not say
    used = scores.groupby("attribute")["score"].agg(lambda values: values.max() - values.min())
    lengths = {}
    for name, length in used.items():
        ends = study.scale(str(name))
        lengths[str(name)] = ends[1] - ends[0] if ends is not None else float(length) or 1.0
    return numbers, {
        "assessors": _assessor_rows(numbers),
        "people": _people_rows(numbers, lengths),
        "panel": _panel_rows(numbers, fits),
        "means": _mean_rows(numbers),
    }


def _assessor_rows(numbers: PanelNumbers) -> pd.DataFrame:
    """Return one row per assessor and attribute, assessor by assessor."""
    own, found, apart, repeat = numbers.own, numbers.found, numbers.apart, numbers.repeats
    half = stdtrit(apart.df, (1 + LEVEL) / 2) * apart.std_error
    arrays: dict[str, Array] = {
        "n_scores": own.counts.sum(axis=2),
        "statistic": own.statistic,
        "df": own.df,
        "df_error": own.df_error,
        "p_value": own.p_value,
        "repeat_sd": np.sqrt(own.mean_square),
        "repeat_ratio": repeat.ratio,
        "repeat_p_adjusted": holm(repeat.p_value),
        "judged": numbers.judged,
        "correlation": found.correlation,
        "slope": found.slope,
        "ci_low": found.slope - half,
        "ci_high": found.slope + half,
        "slope_expected": apart.expected,
        "slope_p_adjusted": holm(apart.lower),
        "reversed_p_adjusted": holm(np.where(_looked_at_closely(numbers), apart.lower, np.nan)),
        "flatness_p_value": apart.flatter,
        "flatness_p_adjusted": holm(apart.flatter),
        "interaction_share": found.share,
        "interaction_p_adjusted": holm(apart.stranger),
        "level": found.level,
        "drift": numbers.drift.estimate,
        "drift_p_adjusted": holm(numbers.drift.p_value),
    }
    names = {
        "assessor": np.repeat(np.array(numbers.assessors, dtype=object), len(numbers.attributes)),
        "attribute": list(numbers.attributes) * len(numbers.assessors),
    }
    frame = pd.DataFrame(names | {name: np.asarray(value).T.ravel() for name, value in arrays.items()})
    frame = frame.loc[frame["n_scores"] > 0].astype({"n_scores": int}).reset_index(drop=True)
    return frame.assign(sees=_sees(frame))


def _sees(cells: pd.DataFrame) -> pd.Series:
    """Return how each person sees the prototypes on each attribute, beside the others."""
    p_value, correlation = cells["p_value"].to_numpy(float), cells["correlation"].to_numpy(float)
    sees = np.where(p_value < SEPARATES_BELOW, np.where(correlation < 0, AGAINST, WITH), _ALONE_NOT)
    sees = np.where(np.isnan(p_value), _ONE_REPEAT, sees)
    judged = cells["judged"].to_numpy(bool) & np.isfinite(correlation)
    return pd.Series(np.where(judged, sees, NOT_JUDGED), index=cells.index, dtype="str")


def _looked_at_closely(numbers: PanelNumbers) -> np.ndarray:
    """Return whose scale on which attribute is looked at by the second of the rules, (q, a)."""
    _, rule = REVERSED_RULES
    return np.asarray((numbers.own.p_value < rule.separates) & (numbers.apart.turn >= rule.turn))


def _mean_rows(numbers: PanelNumbers) -> pd.DataFrame:
    """Return each person's means and the others', less their average, in the columns of `PanelCheck.means`."""
    q, a, p = numbers.found.own.shape
    index = pd.MultiIndex.from_product([numbers.assessors, numbers.attributes, numbers.prototypes])
    frame = index.to_frame(index=False, name=["assessor", "attribute", "prototype"])
    for name, values in (("estimate", numbers.found.own), ("others", numbers.found.others)):
        frame[name] = values.transpose(1, 0, 2).reshape(q * a * p)
    return frame.dropna(ignore_index=True)


def _panel_rows(numbers: PanelNumbers, fits: list[tuple[PanelDesign, MixedFit]]) -> pd.DataFrame:
    """Return one row per attribute: does the panel as a whole tell the prototypes apart, repeat, agree?"""
    columns = ["attribute", "statistic", "df", "df_error", "p_value"]
    tests = pd.concat([attribute_rows(d, f, inference(f))[columns] for d, f in fits], ignore_index=True)
    variances = pd.concat([variance_rows(d, f) for d, f in fits], ignore_index=True)
    frame = pd.DataFrame({"attribute": numbers.attributes}).merge(tests, on="attribute", how="left")
    frame = frame.merge(variances, on="attribute", how="left")
    frame["p_adjusted"] = holm(frame["p_value"].to_numpy())
    frame["differ"] = below(frame["p_value"])
    frame["reliability"] = np.maximum(1 - 1 / frame["statistic"], 0.0)
    repeated = frame["assessor_prototype"].notna()  # else what is left holds how differently people see prototypes
    frame["repeatability"] = np.sqrt(frame["residual"].where(repeated))
    terms = frame[["assessor", "assessor_prototype", "session", "residual"]]
    frame["reproducibility"] = np.sqrt(terms.sum(axis=1, min_count=1))
    own = numbers.own
    return frame.drop(columns=terms.columns).assign(
        **_agreement_of_all(numbers),
        n_assessors=(own.counts.sum(axis=2) > 0).sum(axis=1),
        n_separating=_separated(np.isfinite(own.p_value), own.p_value, axis=1),
        reversal_noticed=_reversal_noticed(numbers),
    )


def _agreement_of_all(numbers: PanelNumbers) -> dict[str, Array]:
    """Return interaction share and test of the means of those who scored everything."""
    means, own = numbers.own.means, numbers.own
    share, statistic, df, df_error = (np.full(len(means), np.nan) for _ in range(4))
    for place, table in enumerate(means):
        scored = np.isfinite(table).any(axis=0)
        whole = np.isfinite(table[:, scored]).all(axis=1)
        if whole.sum() < 2 or scored.sum() < 2:
            continue
        table = table[np.ix_(whole, scored)]
        seen = table - table.mean(axis=1, keepdims=True)
        products, rest = len(table) * (seen.mean(axis=0) ** 2).sum(), ((seen - seen.mean(axis=0)) ** 2).sum()
        df[place] = (scored.sum() - 1) * (whole.sum() - 1)
        share[place] = rest / (rest + products)
        cells = own.counts[place][np.ix_(whole, scored)]
        df_error[place] = own.df_error[place, whole].sum()
        if df_error[place] > 0:
            error = own.within[place, whole].sum() / df_error[place]
            statistic[place] = rest / df[place] / (1 / cells).mean() / error if error > 0 else np.inf
    test = {"interaction_statistic": statistic, "interaction_df": df, "interaction_df_error": df_error}
    p_value = f_tail(statistic, df, df_error)
    return {"interaction_share": share} | test | {"interaction_p_value": p_value}


def _reversal_noticed(numbers: PanelNumbers) -> Array:
    """Return about how likely a scale used backwards would have been noticed, (q,), the mean over the assessors."""
    own, found, apart = numbers.own, numbers.found, numbers.apart
    looked_at = np.isfinite(apart.lower)
    chance = reversal_chance(
        REVERSED_RULES,
        (float(looked_at.sum()), float((looked_at & _looked_at_closely(numbers)).sum() + 1)),
        reliability=numbers.reliability,
        others_square=found.others_square,
        std_error=apart.std_error,
        df=apart.df,
        own=(_usual(own), own.df_error, own.counts.sum(axis=2) / np.maximum(found.prototypes, 1)),
        prototypes=found.prototypes,
    )
    known = np.isfinite(chance)
    total = np.where(known, chance, 0.0).sum(axis=1)
    return np.where(known.any(axis=1), total / np.maximum(known.sum(axis=1), 1), np.nan)


def _separated(tested: np.ndarray, p_value: Array, axis: int) -> Array:
    """Return how many alone tell the prototypes apart; NaN where none could be tested, as with one repeat."""
    count = (tested & (p_value < SEPARATES_BELOW)).sum(axis=axis)
    return np.where(tested.any(axis=axis), count, np.nan)


def _people_rows(numbers: PanelNumbers, lengths: Mapping[str, float]) -> pd.DataFrame:
    """Return one row per assessor over all attributes; the `lengths` of the scales put levels on one footing."""
    own, found, apart = numbers.own, numbers.found, numbers.apart
    length = np.array([lengths[name] for name in numbers.attributes])[:, None]
    judged = numbers.judged & np.isfinite(found.slope)
    half = stdtrit(np.maximum(judged.sum(axis=0) - 1, 1), (1 + LEVEL) / 2) * apart.scale_error
    squares = np.where(judged, found.spread * (found.prototypes - 1), np.nan)
    ratio, lower, _ = mean_share(squares, found.prototypes - 1, numbers.repeats.independent / len(squares))
    return pd.DataFrame(
        {
            "assessor": numbers.assessors,
            "n_judged": judged.sum(axis=0),
            "n_separated": _separated(judged & np.isfinite(own.p_value), own.p_value, axis=0),
            "scale": apart.scale,
            "scale_error": apart.scale_error,
            "scale_low": apart.scale - half,
            "scale_high": apart.scale + half,
            "spread_ratio": ratio,
            "spread_p_adjusted": holm(lower),
            "repeat_ratio": numbers.repeats.overall,
            "repeat_p_adjusted": holm(numbers.repeats.overall_p),
            "level_share": _mean(found.level / length),
        }
    )


def _mean(values: Array) -> Array:
    """Return the mean of each column without its NaN; NaN for a column without values."""
    known = np.isfinite(values)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(known, values, 0.0).sum(axis=0) / known.sum(axis=0))


# The numbers behind a panel check, as arrays: each assessor's own table, agreement, departures, drift, repeats.


FEWEST_ASSESSORS = 3
"""With two assessors nobody can say which of them departs from the other."""


@dataclass(frozen=True, eq=False, slots=True)
class PanelNumbers:
    """Arrays over q attributes and a assessors, in the order of the names.

    Parameters
    ----------
    sessions
        Names of the sessions in order of time; one where sessions do not count.
    reliability
        (q, a) of the means of the others, zero where agreement is not judged.
    judged
        (q, a) whether agreement can be judged: the others tell the prototypes apart.
    """

    assessors: tuple[str, ...]
    attributes: tuple[str, ...]
    prototypes: tuple[str, ...]
    sessions: tuple[str, ...]
    own: VarianceTables
    found: Agreement
    apart: Departures
    drift: Estimates
    repeats: Repeats
    judged: np.ndarray
    reliability: Array


def _panel_numbers(study: Study, scores: pd.DataFrame, tests: pd.DataFrame) -> PanelNumbers:
    """Return the numbers behind the tables; arguments as `panel_tables`."""
    attributes = those_in(study.attributes, scores["attribute"])
    prototypes = those_in(study.prototypes, scores["prototype"])
    scores = _by_session(scores)
    array = score_array(Numbered(_by_assessor(study, scores)), prototypes, attributes)
    own, effects = own_tables(array.scores, array.assessor, array.prototype, array.session)
    statistic, p_value = (_spread(tests, array, column) for column in ("statistic", "p_value"))
    with np.errstate(divide="ignore", invalid="ignore"):
        judged = below(p_value) & (len(array.assessors) >= FEWEST_ASSESSORS)
        reliability = np.where(judged, np.clip(1 - 1 / statistic, 0.0, 1.0), 0.0)
    found = agreement(own.means)
    repeating = repeats(own)
    beyond = np.where(own.df_error > 0, np.fmax(own.mean_square - _usual(own), 0.0), 0.0)
    sittings = effects[:, :, pd.Index(array.sessions).get_indexer(pd.Index(dict.fromkeys(scores["session"])))]
    return PanelNumbers(
        assessors=array.assessors,
        attributes=attributes,
        prototypes=prototypes,
        sessions=tuple(dict.fromkeys(scores["session"])),
        own=own,
        found=found,
        apart=_departures(own, found, reliability, judged, beyond, repeating.independent),
        drift=drift(sittings, (_per(beyond, own, np.isfinite(sittings).sum(axis=2)), own.df_error)),
        repeats=repeating,
        judged=judged,
        reliability=reliability,
    )


def _departures(
    own: VarianceTables, found: Agreement, reliability: Array, judged: np.ndarray, beyond: Array, independent: float
) -> Departures:
    extra = (_per(beyond, own, found.prototypes), own.df_error)
    # with few prototypes one attribute alone says little about how differently honest people see them
    variance, df, *_ = moderated_variances(*disagreement(own.means), independent)
    others = disagreement_without_each(own.means)
    return departures(found, reliability, judged, (variance, df), others, extra, residual_correlations(own))


def _usual(own: VarianceTables) -> Array:
    """Return the panel's own residual variance of each attribute, (q, 1)."""
    df = own.df_error.sum(axis=1, keepdims=True)
    return np.asarray(np.where(own.df_error > 0, own.within, 0.0).sum(axis=1, keepdims=True) / np.maximum(df, 1))


def _per(variance: Array, own: VarianceTables, means: Array) -> Array:
    """Return the variance of a mean where a person's scores make so many `means`."""
    scores = own.counts.sum(axis=2)
    return variance * np.where(scores > 0, means / np.maximum(scores, 1), 0.0)


def _spread(tests: pd.DataFrame, array: ScoreArray, column: str) -> Array:
    """Return a column of the tests as (q, a), NaN where there is none."""
    wide = tests.pivot_table(index="attribute", columns="assessor", values=column)
    return wide.reindex(index=list(array.attributes), columns=list(array.assessors)).to_numpy(float)


def _by_assessor(study: Study, scores: pd.DataFrame) -> pd.DataFrame:
    """Return the scores with the assessors in the order of the study."""
    order = {name: place for place, name in enumerate(study.assessors)}
    return scores.sort_values("assessor", key=lambda names: names.map(order), kind="stable")


def _by_session(scores: pd.DataFrame) -> pd.DataFrame:
    """Return the scores with the sessions in order of time: by number, else by when they were recorded, else as is."""
    number = pd.to_numeric(scores["session"], errors="coerce")
    if number.isna().any():
        began = scores["recorded_at"].groupby(scores["session"]).min()
        if (scores["recorded_at"] == "").any() or began.duplicated().any():
            return scores
        number = scores["session"].map(began)
    return scores.loc[number.sort_values(kind="stable").index]
