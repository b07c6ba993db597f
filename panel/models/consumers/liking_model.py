"""The mixed model behind liking: prototypes fixed, consumers random, one number per consumer and prototype."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import fdtrc

from panel.errors import ModelError
from panel.models.prototypes.difference_tables import attribute_rows, mean_rows, pair_rows, versus_rows
from panel.models.prototypes.inference import inference
from panel.models.prototypes.panel_design import PanelDesign
from panel.stats.mixed.reml import MixedFit, fit_mixed_model
from panel.stats.mixed.strata import ASSESSOR

LIKING = "liking"
CORRECTED = "mixed model, corrected"
NOTHING_VARIES = 1e-9  # residual variance, relative to the squared range of the answers, that is only rounding


@dataclass(frozen=True, eq=False, slots=True)
class LikingModel:
    """Test, means and differences of one fitted model; columns as in `panel.models.consumers.liking.Liking`."""

    test: dict[str, Any]
    means: pd.DataFrame
    pairs: pd.DataFrame
    versus: pd.DataFrame
    variances: pd.DataFrame
    at_zero: bool
    converged: bool


def liking_model(frame: pd.DataFrame, level: float, versus: str | None = None) -> LikingModel:
    """Fit the model to answers, consumers by prototypes with NaN for gaps.

    Raises
    ------
    ModelError
        If the answers leave nothing to judge differences by, or too few of them are there.
    """
    value = frame.to_numpy(dtype=float)
    person, prototype = np.nonzero(np.isfinite(value))
    response = value[person, prototype][:, None]
    design = PanelDesign(
        attributes=(LIKING,),
        prototypes=tuple(str(name) for name in frame.columns),
        assessors=tuple(str(name) for name in frame.index),
        response=response,
        fixed=np.eye(frame.shape[1])[prototype],
        terms=(ASSESSOR,),
        groups=[person],
        cube=None,
        factors=(),
        dropped=(),
    )
    fit = _fit(design)
    infer = inference(fit)
    test = attribute_rows(design, fit, infer).iloc[0]
    pairs = pair_rows(design, infer, level).drop(columns="attribute")
    against = pairs.iloc[:0] if versus is None else versus_rows(design, infer, versus, level).drop(columns="attribute")
    return LikingModel(
        test={
            "test": "mixed model",
            **{name: float(test[name]) for name in ("statistic", "df", "df_error", "p_value")},
            "n_consumers": int(np.unique(person).size),
            "n_answers": len(response),
        },
        means=mean_rows(design, infer, level).drop(columns="attribute"),
        pairs=pairs,
        versus=against,
        variances=pd.DataFrame({"consumer": fit.variances[:, 0], "residual": fit.variances[:, 1]}),
        at_zero=bool(fit.at_zero[0, 0]),
        converged=bool(fit.converged[0]),
    )


def _fit(design: PanelDesign) -> MixedFit:
    fit = fit_mixed_model(design.response, design.fixed, design.groups)
    if fit.variances[0, -1] <= NOTHING_VARIES * np.ptp(design.response) ** 2:
        raise ModelError(
            "All consumers answered in exactly the same pattern, so nothing is left to judge a difference by. Check "
            "how the answers were entered."
        )
    if not fit.told_apart[0]:
        raise ModelError(
            "The consumers' own levels cannot be told from the scatter of their answers: too few of them answered for "
            "more than one prototype. Ask each about several."
        )
    return fit


def corrected_test(test: dict[str, Any], epsilon: float) -> dict[str, Any]:
    """Return the F test with its degrees of freedom times Box's epsilon (Greenhouse & Geisser 1959, Psychometrika 24).

    Where pairs of prototypes divide people unequally the uncorrected test finds differences too readily.
    """
    df, df_error = test["df"] * epsilon, test["df_error"] * epsilon
    p_value = float(fdtrc(df, df_error, test["statistic"]))
    return test | {"test": CORRECTED, "df": df, "df_error": df_error, "p_value": p_value}
