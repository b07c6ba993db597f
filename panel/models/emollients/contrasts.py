"""Differences between prototypes inside one person's sitting, and their tests over the people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.stats.formulas.composition import mean_of_known, paired_contrasts
from panel.study.scores_used import scores_used
from panel.study.study import Study

TEST_COLUMNS = ("estimate", "std_error", "df", "statistic", "p_value", "ci_low", "ci_high")


@dataclass(frozen=True, eq=False, slots=True)
class ScoreArray:
    """The scores of the trained assessors: `values` is assessors x sittings x attributes x prototypes, NaN if none.

    A sitting is one session and replicate; several scores of one person, sitting, attribute and prototype are averaged.
    """

    values: NDArray[np.float64]
    assessors: tuple[str, ...]
    attributes: tuple[str, ...]
    prototypes: tuple[str, ...]

    def places(self, names: pd.Series) -> NDArray[np.intp]:
        """Return where each of the prototypes in `names` stands."""
        return _places(self.prototypes, names)


def score_array(study: Study, prototypes: Sequence[str]) -> ScoreArray:
    """Return the scores that trained assessors gave to `prototypes`; ModelError if there are none."""
    listed = study.table("assessors")
    consumers = listed.loc[listed["kind"] == "consumer", "assessor"]
    scores = scores_used(study).frame
    scores = scores.loc[scores["prototype"].isin(list(prototypes)) & ~scores["assessor"].isin(consumers)]
    if scores.empty:
        raise ModelError(
            "No trained assessor has scored a prototype that has a formula. Check that scores and formulas use the "
            "same short names of prototypes."
        )
    scored = set(scores["attribute"].unique())
    attributes = tuple(name for name in study.attributes if name in scored)
    assessor, assessors = pd.factorize(scores["assessor"])
    session, replicate = (pd.factorize(scores[column])[0] for column in ("session", "replicate"))
    sitting = pd.factorize(session * (replicate.max() + 1) + replicate)[0]
    attribute = _places(attributes, scores["attribute"])
    prototype = _places(prototypes, scores["prototype"])
    shape = (len(assessors), int(sitting.max()) + 1, len(attributes), len(prototypes))
    place = np.ravel_multi_index((assessor, sitting, attribute, prototype), shape)
    size = int(np.prod(shape))
    count = np.bincount(place, minlength=size)
    total = np.bincount(place, weights=scores["score"].to_numpy(dtype=float), minlength=size)
    values = np.divide(total, count, out=np.full(size, np.nan), where=count > 0).reshape(shape)
    return ScoreArray(values, tuple(map(str, assessors)), attributes, tuple(prototypes))


def _places(names: Sequence[str], wanted: pd.Series) -> NDArray[np.intp]:
    return pd.Index(list(names), dtype="str").get_indexer(pd.Index(wanted))


def pair_differences(scores: ScoreArray, pairs: pd.DataFrame) -> NDArray[np.float64]:
    """Return assessors x attributes x pairs: the mean over sittings of score(prototype) - score(versus).

    Only sittings in which the person scored both count, so whatever moves a whole sitting cancels. NaN where a
    person never scored both in one sitting.
    """
    prototype, versus = scores.places(pairs["prototype"]), scores.places(pairs["versus"])
    return mean_of_known(scores.values[..., prototype] - scores.values[..., versus], axis=1)


def mean_by(differences: NDArray[np.float64], members: Sequence[NDArray[np.intp]]) -> NDArray[np.float64]:
    """Return assessors x attributes x changes: for each change the mean over its pairs, given by their numbers."""
    means = np.empty((*differences.shape[:2], len(members)))
    for change, pairs in enumerate(members):
        means[..., change] = mean_of_known(differences[..., pairs], axis=2)
    return means


def contrast_frame(
    contrasts: NDArray[np.float64], attributes: Sequence[str], changes: pd.DataFrame, level: float
) -> pd.DataFrame:
    """Return one row per attribute and change with the paired t test over assessors.

    `contrasts` is assessors x attributes x changes, `changes` describes the changes, one row each; its columns come
    along. Rows that nobody can give are left out.
    """
    tests = paired_contrasts(contrasts, level)
    n_attributes, n_changes = len(attributes), len(changes)
    frame = changes.iloc[np.tile(np.arange(n_changes), n_attributes)].reset_index(drop=True)
    frame.insert(0, "attribute", pd.Series(np.repeat(np.asarray(attributes, dtype=object), n_changes), dtype="str"))
    for column in TEST_COLUMNS:
        frame[column] = getattr(tests, column).ravel()
    frame["n_assessors"] = tests.n.ravel()
    return frame.loc[frame["n_assessors"] > 0].reset_index(drop=True)
