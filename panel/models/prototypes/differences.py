"""Which prototypes differ, on which attribute, and by how much?"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import combinations
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtrit

from panel.errors import ModelError
from panel.models.prototypes.panel_design import PanelDesign, panel_designs, score_array, serving_labels
from panel.stats.arrays import Array
from panel.stats.comparing.multiplicity import holm
from panel.stats.comparing.studentized import letters_for, many_to_one, tukey_critical, tukey_p_value
from panel.stats.mixed.kenward_roger import kenward_roger
from panel.stats.mixed.reml import (
    ASSESSOR,
    INTERACTION,
    SITTING,
    MixedFit,
    balanced_strata,
    fit_mixed_model,
    relative_variances,
)
from panel.stats.mixed.satterthwaite import Estimates, FTest, estimate_contrasts, sequential_contrasts, test_contrasts
from panel.study.scores_used import scores_used
from panel.study.study import Study, those_in

LEVEL = 0.95
REPEATS_EXACTLY = "the scores repeat exactly, so nothing is left to judge a difference by"
NOTHING_VARIES = 1e-9  # residual variance, relative to the squared range of the scores, that is only rounding


@dataclass(frozen=True, eq=False, slots=True)
class Differences:
    """What a mixed model per attribute says about the prototypes; all frames tidy and unrounded.

    Parameters
    ----------
    attributes
        One row per attribute: `attribute statistic df df_error p_value p_adjusted n_scores model at_zero converged`.
        The F test that no prototype differs; `p_adjusted` by Holm over the attributes.
    means
        `attribute prototype estimate std_error df ci_low ci_high letters`: estimated means; two prototypes that share
        a letter are not told apart (Tukey).
    pairs
        `attribute prototype versus estimate std_error df statistic p_value p_adjusted ci_low ci_high verdict`: all
        pairs, estimate = prototype minus versus, adjusted p-value and interval by Tukey within each attribute.
    versus
        The same columns for the differences from the benchmark, by Dunnett; without rows if there is none.
    variances
        `attribute assessor assessor_prototype session residual`; `session` is assessor x session; NaN where the
        model has no such term.
    both_ways
        For attributes with scores set aside or corrected: the F test with (`rules` True) and without (`rules` False)
        the corrections and rules.
    not_estimated
        `attribute why` for attributes that no model fits.
    """

    attributes: pd.DataFrame
    means: pd.DataFrame
    pairs: pd.DataFrame
    versus: pd.DataFrame
    variances: pd.DataFrame
    both_ways: pd.DataFrame
    set_aside: pd.DataFrame
    not_estimated: pd.DataFrame
    benchmark: str | None
    margin: float | None
    level: float
    method: str
    notes: tuple[str, ...]


def find_differences(
    study: Study,
    *,
    versus: str | None = None,
    margin: float | None = None,
    level: float = LEVEL,
    adjust_for: Sequence[str] = (),
    small_sample: SmallSample = "satterthwaite",
) -> Differences:
    """Compare the prototypes of `study` on every attribute.

    Parameters
    ----------
    versus
        Prototype the others are compared with; by default the study's benchmark, if it has one.
    margin
        Largest difference that does not matter, in scale units; by default the study's own `margin`, if it has one.
    level
        Level of the intervals.
    adjust_for
        Facts of each serving to take out as fixed effects, among `position`, `site`, `first_on_site`.
    small_sample
        Method for standard errors and degrees of freedom.

    Raises
    ------
    ModelError
        If there are no scores, fewer than two prototypes or assessors, or `versus` was not scored; if `adjust_for`
        names something unknown or not recorded.
    """
    used = scores_used(study)
    benchmark = versus if versus is not None else study.benchmark
    _ask(study, used.frame, versus)
    if margin is None and isinstance(stated := study.facts.get("margin"), int | float):
        margin = float(stated)
    fits, left_out = fit_panel(study, used.frame, adjust_for)
    _ask_fits(fits, left_out)
    order = {name: place for place, name in enumerate(study.attributes)}
    told = [(design, fit, inference(fit, small_sample)) for design, fit in fits]
    attributes = _stack((attribute_rows(*each) for each in told), order)
    attributes["p_adjusted"] = holm(attributes["p_value"].to_numpy())
    pairs = _stack((pair_rows(d, infer, level) for d, _, infer in told), order)
    against = [versus_rows(d, infer, benchmark, level) for d, _, infer in told if benchmark in d.prototypes]
    return Differences(
        attributes=attributes,
        means=_stack((mean_rows(d, infer, level) for d, _, infer in told), order),
        pairs=difference_verdicts(pairs, margin),
        versus=difference_verdicts(_stack(against, order) if against else pairs.iloc[:0], margin),
        variances=_stack((variance_rows(d, f) for d, f in fits), order),
        both_ways=_both_ways(study, pd.concat([used.set_aside, used.corrected]), attributes, adjust_for, small_sample),
        set_aside=used.set_aside,
        not_estimated=pd.DataFrame(left_out, columns=["attribute", "why"], dtype="str"),
        benchmark=benchmark if against else None,
        margin=margin,
        level=level,
        method=difference_method([design for design, _ in fits], benchmark if against else None, small_sample),
        notes=tuple(difference_notes(fits, left_out)),
    )


def _ask(study: Study, frame: pd.DataFrame, versus: str | None) -> None:
    """Refuse what cannot be answered at all."""
    scored = set(frame["prototype"])
    if not scored:
        raise ModelError("The study has no scores. Import a table of scores on the Study page.")
    if len(scored) < 2:
        raise ModelError("Only one prototype was scored, so there is nothing to compare. Score a second one.")
    if frame["assessor"].nunique() < 2:
        raise ModelError(
            "All scores come from one assessor, so nothing says whether another person would agree. "
            "Ask at least one more assessor."
        )
    if versus is not None and versus not in scored:
        raise ModelError(
            f"{versus!r} was not scored, so it cannot be compared with. Choose among "
            f"{', '.join(name for name in study.prototypes if name in scored)}."
        )


def _ask_fits(fits: list[tuple[PanelDesign, MixedFit]], left_out: list[tuple[str, str]]) -> None:
    """Refuse when no attribute can be compared, and say why."""
    if not fits:
        raise ModelError(
            f"No attribute can be compared: {'; '.join(f'{name} ({why})' for name, why in left_out)}. "
            "Check the scores on the Study page."
        )


def fit_panel(
    study: Study, frame: pd.DataFrame, adjust_for: Sequence[str] = ()
) -> tuple[list[tuple[PanelDesign, MixedFit]], list[tuple[str, str]]]:
    """Fit every attribute of the scores in `frame` that can be fitted.

    Returns the fits, attributes that share a model together, and (attribute, why not) of the others.
    """
    left_out: list[tuple[str, str]] = []
    scored = frame.groupby("attribute", sort=False)
    for attribute, rows in scored:
        if why := _why_not(rows):
            left_out.append((str(attribute), why))
    frame = frame.loc[~frame["attribute"].isin([name for name, _ in left_out])]
    if frame.empty:
        return [], left_out
    held = set(frame["attribute"].unique())
    attributes = tuple(name for name in study.attributes if name in held)
    covariates = serving_labels(study, frame, adjust_for)
    array = score_array(frame, study.prototypes, attributes, covariates)
    fits: list[tuple[PanelDesign, MixedFit]] = []
    for design in panel_designs(array):
        try:
            fit = _fit(design)
            exact = _repeats_exactly(design, fit)
            left_out += [(name, REPEATS_EXACTLY) for name in np.array(design.attributes, dtype=object)[exact]]
            if not exact.all():
                rest = design.only(~exact)
                fits.append((rest, _fit(rest) if exact.any() else fit))
        except ModelError as error:
            left_out += [(name, str(error)) for name in design.attributes]
    return fits, left_out


def _why_not(rows: pd.DataFrame) -> str:
    """Return why an attribute cannot be compared, or the empty string."""
    if rows["score"].nunique() < 2:
        return "every score is the same"
    if rows["prototype"].nunique() < 2:
        return "only one prototype was scored"
    if rows["assessor"].nunique() < 2:
        return "only one assessor scored it"
    return ""


def _fit(design: PanelDesign) -> MixedFit:
    start = None
    if design.cube is not None:
        start = relative_variances(balanced_strata(design.cube), design.terms)
    return fit_mixed_model(design.response, design.fixed, design.groups, start)


def _repeats_exactly(design: PanelDesign, fit: MixedFit) -> NDArray[np.bool_]:
    """Return which attributes leave nothing to judge a difference by."""
    spread = np.nanmax(design.response, axis=0) - np.nanmin(design.response, axis=0)
    return np.asarray(fit.variances[:, -1] <= NOTHING_VARIES * spread**2)


def _both_ways(
    study: Study,
    changed: pd.DataFrame,
    attributes: pd.DataFrame,
    adjust_for: Sequence[str],
    small_sample: SmallSample,
) -> pd.DataFrame:
    """Return the F tests of the attributes with changed scores, with and without the changes."""
    columns = ["attribute", "statistic", "df", "df_error", "p_value"]
    names = list(those_in(attributes["attribute"], changed["attribute"]))
    frame = scores_used(study, rules=False).frame
    fits, _ = fit_panel(study, frame.loc[frame["attribute"].isin(names)], adjust_for) if names else ([], [])
    parts = [attributes.loc[attributes["attribute"].isin(names), columns].assign(rules=True)]
    parts += [attribute_rows(d, f, inference(f, small_sample))[columns].assign(rules=False) for d, f in fits]
    return pd.concat(parts, ignore_index=True)


def _stack(parts: Iterable[pd.DataFrame], order: dict[str, int]) -> pd.DataFrame:
    """Put the rows of all models together in the order of the study's attributes."""
    frame = pd.concat(list(parts), ignore_index=True)
    return frame.sort_values("attribute", key=lambda names: names.map(order), kind="stable", ignore_index=True)


# A fitted panel model as tables: tests, estimated means, differences, variances.


VARIANCE_COLUMNS = {ASSESSOR: "assessor", INTERACTION: "assessor_prototype", SITTING: "session"}


def _contrasts(design: PanelDesign) -> tuple[list[tuple[int, int]], Array]:
    """Return all pairs (larger place first as `prototype`) and their contrasts."""
    pairs = [(j, i) for i, j in combinations(range(len(design.prototypes)), 2)]
    return pairs, _minus(design, pairs)


def _minus(design: PanelDesign, pairs: list[tuple[int, int]]) -> Array:
    contrasts = np.zeros((len(pairs), design.fixed.shape[1]))
    contrasts[np.arange(len(pairs)), [first for first, _ in pairs]] = 1
    contrasts[np.arange(len(pairs)), [second for _, second in pairs]] = -1
    return contrasts


def attribute_rows(design: PanelDesign, fit: MixedFit, infer: Inference) -> pd.DataFrame:
    """Return the F test that no prototype differs, one row per attribute."""
    test = infer.test(_hypothesis(design))
    names = [VARIANCE_COLUMNS[term] for term in design.terms]
    at_zero = [", ".join(name for name, zero in zip(names, row, strict=True) if zero) for row in fit.at_zero.tolist()]
    return pd.DataFrame(
        {
            "attribute": design.attributes,
            "statistic": test.statistic,
            "df": float(test.df),
            "df_error": test.df_error,
            "p_value": test.p_value,
            "p_adjusted": np.nan,
            "n_scores": fit.n_scores.astype(int),
            "model": design.sentence,
            "at_zero": at_zero,
            "converged": fit.converged,
        }
    )


def _hypothesis(design: PanelDesign) -> Array:
    """Return the contrasts that say no prototype differs, for each attribute."""
    k = len(design.prototypes)
    if design.fixed.shape[1] > k:
        return _minus(design, [(place, 0) for place in range(1, k)])
    counts = design.fixed.T @ np.isfinite(design.response)
    return np.stack([sequential_contrasts(own, k) for own in counts.T])


def mean_rows(design: PanelDesign, infer: Inference, level: float) -> pd.DataFrame:
    """Return the estimated means with intervals and Tukey letters, one row per attribute and prototype."""
    k = len(design.prototypes)
    found = infer.estimate(np.eye(k, design.fixed.shape[1]))
    low, high = found.interval(level)
    pairs, contrasts = _contrasts(design)
    differences = infer.estimate(contrasts)
    adjusted = tukey_p_value(differences.statistic, k, differences.df)
    letters: list[str] = []
    for means, p_values in zip(found.estimate, adjusted, strict=True):
        apart = np.zeros((k, k), dtype=bool)
        for (first, second), p_value in zip(pairs, p_values, strict=True):
            apart[first, second] = apart[second, first] = p_value < 1 - level
        letters += letters_for(means, apart)
    frame = _long(design, found, [(name, "") for name in design.prototypes])
    columns = ["attribute", "prototype", "estimate", "std_error", "df"]
    return frame[columns].assign(ci_low=low.ravel(), ci_high=high.ravel(), letters=letters)


def pair_rows(design: PanelDesign, infer: Inference, level: float) -> pd.DataFrame:
    """Return all pairwise differences with Tukey p-values and simultaneous intervals."""
    pairs, contrasts = _contrasts(design)
    found = infer.estimate(contrasts)
    k = len(design.prototypes)
    half = tukey_critical(k, found.df, level) * found.std_error
    names = [(design.prototypes[first], design.prototypes[second]) for first, second in pairs]
    return _long(design, found, names).assign(
        p_adjusted=tukey_p_value(found.statistic, k, found.df).ravel(),
        ci_low=(found.estimate - half).ravel(),
        ci_high=(found.estimate + half).ravel(),
    )


def versus_rows(design: PanelDesign, infer: Inference, benchmark: str | None, level: float) -> pd.DataFrame:
    """Return the differences from the benchmark with Dunnett p-values and simultaneous intervals."""
    base = design.prototypes.index(str(benchmark))
    others = [k for k in range(len(design.prototypes)) if k != base]
    contrasts = _minus(design, [(k, base) for k in others])
    found = infer.estimate(contrasts)
    p_adjusted, half = np.empty_like(found.estimate), np.empty_like(found.estimate)
    for row, covariance in enumerate(contrasts @ infer.covariance @ contrasts.T):
        family = many_to_one(covariance)
        p_adjusted[row] = family.p_value(found.statistic[row], found.df[row])
        half[row] = family.critical(found.df[row], level) * found.std_error[row]
    names = [(design.prototypes[k], str(benchmark)) for k in others]
    return _long(design, found, names).assign(
        p_adjusted=p_adjusted.ravel(),
        ci_low=(found.estimate - half).ravel(),
        ci_high=(found.estimate + half).ravel(),
    )


def _long(design: PanelDesign, found: Estimates, names: list[tuple[str, str]]) -> pd.DataFrame:
    """Return one row per attribute and contrast."""
    q, m = found.estimate.shape
    return pd.DataFrame(
        {
            "attribute": np.repeat(np.array(design.attributes, dtype=object), m),
            "prototype": [first for first, _ in names] * q,
            "versus": [second for _, second in names] * q,
            "estimate": found.estimate.ravel(),
            "std_error": found.std_error.ravel(),
            "df": found.df.ravel(),
            "statistic": found.statistic.ravel(),
            "p_value": found.p_value.ravel(),
        }
    )


def variance_rows(design: PanelDesign, fit: MixedFit) -> pd.DataFrame:
    """Return the variances, one row per attribute, NaN where the model has no such term."""
    columns = dict.fromkeys(["assessor", "assessor_prototype", "session"], np.nan)
    found = {VARIANCE_COLUMNS[term]: fit.variances[:, place] for place, term in enumerate(design.terms)}
    return pd.DataFrame({"attribute": design.attributes} | columns | found | {"residual": fit.variances[:, -1]})


# How differences were computed, and what a reader must know before trusting them.


def difference_method(designs: list[PanelDesign], benchmark: str | None, small_sample: SmallSample) -> str:
    """Return how the differences were computed, as one paragraph for the report."""
    models = "; ".join(dict.fromkeys(design.sentence for design in designs))
    against = f", differences from {benchmark} by Dunnett" if benchmark else ""
    return (
        f"Mixed model per attribute: {models}. REML, {SMALL_SAMPLE_WORDS[small_sample]} degrees of freedom. "
        f"All pairs within an attribute by Tukey{against}, with the model's own standard errors; F tests over "
        "attributes by Holm. The unit of inference is the assessor: results speak for people like these, and for these "
        "batches."
    )


def difference_notes(fits: list[tuple[PanelDesign, MixedFit]], left_out: list[tuple[str, str]]) -> Iterator[str]:
    """Yield what a reader must know before trusting the differences, one sentence each."""
    for name, why in left_out:
        yield f"{name} is not compared: {why}."
    for design, fit in fits:
        listed = ", ".join(design.attributes)
        if INTERACTION not in design.terms:
            yield (
                f"No assessor scored a prototype twice ({listed}): disagreement between assessors cannot be told "
                "from their own scatter."
            )
        for factor in design.dropped:
            yield (
                f"The effect of {factor.replace('_', ' ')} cannot be told in full from that of the prototypes; "
                f"what can be told is taken out ({listed})."
            )
        for name, converged in zip(design.attributes, fit.converged, strict=True):
            if not converged:
                yield f"The fit of {name} did not settle; do not rely on its numbers."
        for place, term in enumerate(design.terms):
            zero = [name for name, at in zip(design.attributes, fit.at_zero[:, place], strict=True) if at]
            if zero and term != ASSESSOR:
                careful = " The tests are then careful rather than rash." if term == INTERACTION else ""
                yield (
                    f"The variance {VARIANCE_COLUMNS[term].replace('_', ' x ')} is estimated at zero and pooled "
                    f"with the residual for {', '.join(zero)}.{careful}"
                )


# What may be said of a difference, from its interval and the margin: does it differ, does it matter?


MATTERS = "differs and matters"
MAY_MATTER = "differs, may matter"
SMALL = "differs but small"
EQUIVALENT = "equivalent within the margin"
CANNOT_TELL = "cannot tell"
DIFFERS = "differs"  # where no margin was set
EQUIVALENCE_LEVEL = 0.90  # two one-sided tests at 5 % (Schuirmann 1987, J. Pharmacokinet. Biopharm. 15:657)


def difference_verdicts(differences: pd.DataFrame, margin: float | None) -> pd.DataFrame:
    """Return `differences` with a column `verdict`.

    The simultaneous interval (`ci_low ci_high`) says whether it differs: it matters if the whole interval lies
    beyond the margin, is small if the whole interval lies within it, and may matter if it reaches across. Where
    the interval holds zero it is equivalent if the 90 % interval of that difference alone lies within the margin.
    """
    low, high = differences["ci_low"].to_numpy(float), differences["ci_high"].to_numpy(float)
    apart = (low > 0) | (high < 0)
    if margin is None:
        return differences.assign(verdict=np.where(apart, DIFFERS, CANNOT_TELL))
    estimate = differences["estimate"].to_numpy(float)
    half = stdtrit(differences["df"].to_numpy(float), (1 + EQUIVALENCE_LEVEL) / 2) * differences["std_error"]
    equivalent = (estimate - half > -margin) & (estimate + half < margin)
    beyond = (low > margin) | (high < -margin)
    within = (low > -margin) & (high < margin)
    told = np.where(apart, np.where(beyond, MATTERS, np.where(within, SMALL, MAY_MATTER)), CANNOT_TELL)
    return differences.assign(verdict=np.where(~apart & equivalent, EQUIVALENT, told))


# Which small-sample method turns a fitted model into estimates and tests.


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


# Each assessor's own mean of each prototype on each attribute, as an array.


def assessor_means(scores: pd.DataFrame, prototypes: Sequence[str], attributes: Sequence[str]) -> NDArray[np.float64]:
    """Return each assessor's mean score; shape (assessors, prototypes, attributes), NaN where there is none.

    Assessors who scored fewer than two of the prototypes compare nothing and are not counted.
    """
    used = scores[scores["prototype"].isin(prototypes) & scores["attribute"].isin(attributes)]
    cells = used.groupby(["assessor", "prototype", "attribute"], sort=False)["score"].mean()
    people = list(dict.fromkeys(used["assessor"]))
    grid = pd.MultiIndex.from_product([people, prototypes, attributes])
    values = cells.reindex(grid).to_numpy(dtype=float).reshape(len(people), len(prototypes), len(attributes))
    compares = np.isfinite(values).any(axis=2).sum(axis=1) >= 2
    return np.asarray(values[compares])
