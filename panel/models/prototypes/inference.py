"""Which small-sample method turns a fitted model into estimates and tests."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Literal

import numpy as np

from panel.stats.arrays import Array, Codes
from panel.stats.mixed.kenward_roger import kenward_roger
from panel.stats.mixed.reml import MixedFit
from panel.stats.mixed.satterthwaite import Estimates, FTest, estimate_contrasts, test_contrasts

SmallSample = Literal["satterthwaite", "kenward-roger"]
SMALL_SAMPLE_WORDS = {"satterthwaite": "Satterthwaite", "kenward-roger": "Kenward-Roger"}


NOTHING_VARIES = 1e-9  # residual variance, relative to the squared range of the scores, that is not judged by
_ONLY_ROUNDING = 1e-13  # of the largest score: what is left by rounding alone


@dataclass(frozen=True, eq=False, slots=True)
class Inference:
    """Estimates and tests of contrasts (m, p) of one fitted model, and the covariance (q, p, p) they rest on."""

    estimate: Callable[[Array], Estimates]
    test: Callable[[Array], FTest]
    covariance: Array


def nothing_left(fit: MixedFit, response: Array, fixed: Array, groups: Sequence[Codes]) -> list[str]:
    """Return for each response why nothing is left to judge a difference by; empty where something is."""
    spread = np.nanmax(response, axis=0) - np.nanmin(response, axis=0)
    why = []
    for column, few in enumerate(fit.variances[:, -1] <= NOTHING_VARIES * spread**2):
        known = np.isfinite(response[:, column])
        how = "" if few and _repeats(response[known, column], fixed[known], [of[known] for of in groups]) else "nearly "
        why.append(f"the scores repeat {how}exactly, so nothing is left to judge a difference by" if few else "")
    return why


def _repeats(scores: Array, fixed: Array, groups: Sequence[Codes]) -> bool:
    """Return whether the effects of the model account for every score, but for the rounding of the scores."""
    effects = [np.eye(len(names))[of] for names, of in (np.unique(each, return_inverse=True) for each in groups)]
    columns = np.hstack([fixed, *effects])
    left = scores - columns @ np.linalg.lstsq(columns, scores, rcond=None)[0]
    return bool(np.abs(left).max() <= _ONLY_ROUNDING * np.abs(scores).max())


def inference(fit: MixedFit, small_sample: SmallSample = "satterthwaite") -> Inference:
    """Return the estimates and tests of `fit` by the method named."""
    if small_sample == "satterthwaite":
        return Inference(partial(estimate_contrasts, fit), partial(test_contrasts, fit), fit.covariance)
    adjusted = kenward_roger(fit)
    return Inference(adjusted.estimate_contrasts, adjusted.test_contrasts, adjusted.phi_a)
