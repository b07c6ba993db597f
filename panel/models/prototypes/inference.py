"""Which small-sample method turns a fitted model into estimates and tests."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Literal

from panel.stats.arrays import Array
from panel.stats.mixed.kenward_roger import kenward_roger
from panel.stats.mixed.reml import MixedFit
from panel.stats.mixed.satterthwaite import Estimates, FTest, estimate_contrasts, test_contrasts

SmallSample = Literal["satterthwaite", "kenward-roger"]
SMALL_SAMPLE_WORDS = {"satterthwaite": "Satterthwaite", "kenward-roger": "Kenward-Roger"}


@dataclass(frozen=True, eq=False, slots=True)
class Inference:
    """Estimates and tests of contrasts (m, p) of one fitted model, and the covariance (q, p, p) they rest on."""

    estimate: Callable[[Array], Estimates]
    test: Callable[[Array], FTest]
    covariance: Array


def inference(fit: MixedFit, small_sample: SmallSample = "satterthwaite") -> Inference:
    """Return the estimates and tests of `fit` by the method named."""
    if small_sample == "satterthwaite":
        return Inference(partial(estimate_contrasts, fit), partial(test_contrasts, fit), fit.covariance)
    adjusted = kenward_roger(fit)
    return Inference(adjusted.estimate_contrasts, adjusted.test_contrasts, adjusted.phi_a)
