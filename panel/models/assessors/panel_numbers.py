"""The numbers behind a panel check, as arrays: each assessor's own table, agreement, departures, drift, repeats."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.models.prototypes.panel_design import ScoreArray, score_array
from panel.stats.arrays import Array
from panel.stats.assessors.agreement import Agreement, Disagreement, agreement, disagreement
from panel.stats.assessors.departures import Departures, departures
from panel.stats.assessors.drift import Drift, drift
from panel.stats.assessors.own_tables import OwnTables, own_tables
from panel.stats.assessors.repeats import Repeats, repeats, residual_correlations
from panel.stats.mixed.moderated_variances import moderated_variances
from panel.study.study import Study
from panel.study.those_in import those_in

FEWEST_ASSESSORS = 3
"""With two assessors nobody can say which of them departs from the other."""


@dataclass(frozen=True, eq=False, slots=True)
class PanelNumbers:
    """Arrays over q attributes and a assessors, in the order of the names.

    Parameters
    ----------
    sessions
        Names of the sessions in order of time; one where sessions do not count.
    others_f, others_p
        (q, a) test that no prototype differs, by the panel's model without that assessor.
    reliability
        (q, a) of the means of the others, zero where agreement is not judged.
    judged
        (q, a) whether agreement can be judged: the others tell the prototypes apart.
    """

    assessors: tuple[str, ...]
    attributes: tuple[str, ...]
    prototypes: tuple[str, ...]
    sessions: tuple[str, ...]
    own: OwnTables
    found: Agreement
    apart: Departures
    drift: Drift
    repeats: Repeats
    others_f: Array
    others_p: Array
    judged: np.ndarray
    reliability: Array


def panel_numbers(study: Study, scores: pd.DataFrame, tests: pd.DataFrame, level: float) -> PanelNumbers:
    """Return the numbers of the panel of `study`.

    Parameters
    ----------
    scores
        The scores that are used.
    tests
        `attribute assessor statistic p_value`: tests that no prototype differs, without each assessor.
    level
        The others tell the prototypes apart where their p-value is below 1 - `level`.
    """
    attributes = those_in(study.attributes, scores["attribute"])
    prototypes = those_in(study.prototypes, scores["prototype"])
    scores = _by_session(scores)
    array = score_array(_by_assessor(study, scores), prototypes, attributes)
    own = own_tables(array.scores, array.assessor, array.prototype, array.session)
    statistic, p_value = (_spread(tests, array, column) for column in ("statistic", "p_value"))
    with np.errstate(divide="ignore", invalid="ignore"):
        judged = (p_value < 1 - level) & (len(array.assessors) >= FEWEST_ASSESSORS)
        reliability = np.where(judged, np.clip(1 - 1 / statistic, 0.0, 1.0), 0.0)
    found = agreement(own.means)
    repeating = repeats(own)
    beyond = _beyond(own)
    sittings = own.sittings[:, :, _order(array, scores)]
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
        others_f=statistic,
        others_p=p_value,
        judged=judged,
        reliability=reliability,
    )


def _departures(
    own: OwnTables, found: Agreement, reliability: Array, judged: np.ndarray, beyond: Array, independent: float
) -> Departures:
    without = np.where(np.eye(own.means.shape[1], dtype=bool)[:, :, None], np.nan, own.means[:, None])
    extra = (_per(beyond, own, found.prototypes), own.df_error)
    # with few prototypes one attribute alone says little about how differently honest people see them
    alone = disagreement(own.means)
    drawn = moderated_variances(alone.mean_square, alone.df, independent)
    panel = Disagreement(drawn.variance, drawn.df)
    return departures(found, reliability, judged, panel, disagreement(without), extra, residual_correlations(own))


def _beyond(own: OwnTables) -> Array:
    """Return by how much each person's residual variance exceeds the panel's, zero where it does not."""
    df = own.df_error.sum(axis=1, keepdims=True)
    usual = np.where(own.df_error > 0, own.within, 0.0).sum(axis=1, keepdims=True) / np.maximum(df, 1)
    return np.where(own.df_error > 0, np.fmax(own.mean_square - usual, 0.0), 0.0)


def _per(variance: Array, own: OwnTables, means: Array) -> Array:
    """Return the variance of a mean where a person's scores make so many `means`."""
    scores = own.counts.sum(axis=2)
    return variance * np.where(scores > 0, means / np.maximum(scores, 1), 0.0)


def _spread(tests: pd.DataFrame, array: ScoreArray, column: str) -> Array:
    """Return a column of the tests as (q, a), NaN where there is none."""
    wide = np.full((len(array.attributes), len(array.assessors)), np.nan)
    attribute = pd.Index(array.attributes).get_indexer(pd.Index(tests["attribute"]))
    assessor = pd.Index(array.assessors).get_indexer(pd.Index(tests["assessor"]))
    held = (attribute >= 0) & (assessor >= 0)
    wide[attribute[held], assessor[held]] = tests[column].to_numpy(float)[held]
    return wide


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


def _order(array: ScoreArray, scores: pd.DataFrame) -> np.ndarray:
    """Return the places of the sessions of `array` in order of time."""
    return pd.Index(array.sessions).get_indexer(pd.Index(dict.fromkeys(scores["session"])))
