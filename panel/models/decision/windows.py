"""Does each prototype meet its windows, and with what chance: as they stand, and as differences from the benchmark?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit, stdtrit

from panel.checks.confounds import Confounds
from panel.errors import ModelError
from panel.models.decision.wanted import BENCHMARK, Profile
from panel.models.prototypes.panel_design import PanelDesign, assessor_means, fit_study
from panel.models.prototypes.verdict import BatchSpread, batch_spread, groups_scoring, holds_alone
from panel.stats.arrays import Array
from panel.stats.comparing.group_means import BATCH
from panel.stats.comparing.multiplicity import ALPHA, LEVEL
from panel.stats.comparing.shrinkage import draw_shrunken, own_variances, shrink, shrink_differences
from panel.stats.maps.draws import DRAWS, joint_draws, person_correlations
from panel.stats.mixed.inference import estimate_contrasts, widened
from panel.stats.mixed.reml import MixedFit
from panel.study.study import Study

_Flags = NDArray[np.bool_]
_TOLERANCE_OF_SPREAD = 1.0  # without a scale: the spread of the means themselves


def judge_windows(profile: Profile, drawn: PanelDraws, benchmark: str | None) -> pd.DataFrame:
    """Hold the means and their draws against the windows of `profile`: a row per attribute and prototype.

    `attribute prototype estimate std_error df ci_low ci_high shrunken shrunken_low shrunken_high target_low target_high
    weight must_have desirability met chance chance_true`, and read as differences from the benchmark `versus difference
    difference_low difference_high versus_low versus_high met_versus chance_versus chance_versus_true chance_better`.
    `met` is True if the estimate lies inside; NaN where it is not known. `chance_true`, how often such a chance came
    true, is filled in by the whole decision. `difference_shrunken` is drawn towards none, `wrong_sign` the chance that
    the sign of `difference` is the other one. `chance_better` is the chance to lie on the wanted side of the benchmark;
    NaN for windows closed on both sides. `untold_versus`: a factor of the test goes wholly along with the two, so that
    nothing is known of their difference. `read_met read_chance` repeat those of the reading that decides.
    """
    wanted, base = _wanted(profile, drawn), _base(drawn, benchmark)
    columns = _columns(wanted, drawn) | _versus(wanted, drawn, base) | _luck(drawn, base)
    columns |= dict.fromkeys(("chance_true", "chance_versus_true"), np.full(drawn.estimate.shape, np.nan))
    by_benchmark = profile.read_as == BENCHMARK and base is not None
    columns |= {"read_met": columns["met_versus" if by_benchmark else "met"]}
    columns |= {"read_chance": columns["chance_versus" if by_benchmark else "chance"]}
    return _long(wanted, drawn, columns, benchmark if base is not None else "")


def judge_together(profile: Profile, drawn: PanelDraws, benchmark: str | None) -> tuple[pd.DataFrame, Array]:
    """Return `prototype desirability chance_all chance_all_versus`, and draws (draws, prototypes) of the desirability.

    `chance_all` that of meeting all windows at once, `chance_all_versus` the same, read as differences from the
    benchmark; NaN where one of them is not known.
    """
    wanted, base = _wanted(profile, drawn), _base(drawn, benchmark)
    low, high = _ends(wanted)
    weights, known = wanted["weight"].to_numpy(float), np.isfinite(drawn.estimate)
    frame = pd.DataFrame(
        {
            "prototype": pd.Series(drawn.prototypes, dtype="str"),
            "desirability": _overall(_single(wanted, drawn, drawn.means), weights),
            "chance_all": _all_at_once(_inside(drawn.drawn, low, high), known),
            "chance_all_versus": np.nan,
        }
    )
    if base is not None:
        met = _inside(drawn.drawn - drawn.drawn[:, :, [base]], *_versus_ends(wanted, drawn, base))
        frame["chance_all_versus"] = _all_at_once(met, known & known[:, [base]] & ~drawn.untold_from(base))
    return frame, _overall(_single(wanted, drawn, drawn.drawn), weights)


def _base(drawn: PanelDraws, benchmark: str | None) -> int | None:
    """Return the place of the benchmark; None where it was not scored."""
    return None if benchmark not in drawn.prototypes else drawn.prototypes.index(str(benchmark))


def _ends(wanted: pd.DataFrame) -> tuple[Array, Array]:
    """Return the ends of the windows, (attributes, 1) each."""
    return wanted[["target_low"]].to_numpy(float), wanted[["target_high"]].to_numpy(float)


def _wanted(profile: Profile, drawn: PanelDraws) -> pd.DataFrame:
    """Return the rows of the windows of the attributes that were drawn, in their order."""
    return profile.wanted.set_index("attribute").loc[list(drawn.attributes)].reset_index()


def _columns(wanted: pd.DataFrame, drawn: PanelDraws) -> dict[str, Array]:
    """Return the means with their intervals, windows, and chances on the scale of the panel."""
    low, high = _ends(wanted)
    half = stdtrit(drawn.df, (1 + LEVEL) / 2) * drawn.std_error
    known, ends = np.isfinite(drawn.estimate), drawn.intervals(LEVEL)
    return {
        "estimate": drawn.estimate,
        "std_error": drawn.std_error,
        "df": drawn.df,
        "ci_low": drawn.estimate - half,
        "ci_high": drawn.estimate + half,
        "shrunken": drawn.means,
        "shrunken_low": ends[0],
        "shrunken_high": ends[1],
        **{
            name: np.broadcast_to(wanted[[name]].to_numpy(float), known.shape)
            for name in ("target_low", "target_high", "weight")
        },
        "met": np.where(known, _inside(drawn.estimate, low, high), np.nan),
        "chance": np.where(known, _inside(drawn.drawn, low, high).mean(axis=0), np.nan),
        "desirability": _single(wanted, drawn, drawn.means),
    }


def _luck(drawn: PanelDraws, base: int | None) -> dict[str, Array]:
    """Return the shrunken differences from the benchmark, and the chance that the sign seen is the wrong one."""
    shape = drawn.estimate.shape
    if base is None or not drawn.shrunken.size:
        return dict.fromkeys(("difference_shrunken", "wrong_sign"), np.full(shape, np.nan))
    family, place = (each.ravel() for each in np.indices(shape))
    found = shrink_differences(drawn.estimate, drawn.own_variance, place, np.full_like(place, base), family, drawn.dfs)
    wrong = np.where((drawn.estimate != drawn.estimate[:, [base]]).ravel(), found[1], np.nan)
    told = {"difference_shrunken": found[0].reshape(shape), "wrong_sign": wrong.reshape(shape)}
    return {name: np.where(drawn.untold_from(base), np.nan, values) for name, values in told.items()}


def _inside(values: Array, low: Array, high: Array) -> _Flags:
    """Return which values lie inside; a missing limit is none, a missing value is never inside."""
    return np.asarray(~(values < low) & ~(values > high) & np.isfinite(values))


def _reach(wanted: pd.DataFrame, estimate: Array) -> Array:
    """Return how far outside its window a mean counts for nothing, (attributes, 1)."""
    reach = wanted[["tolerance"]].to_numpy(float)
    spread = np.nanmax(estimate, axis=1, keepdims=True) - np.nanmin(estimate, axis=1, keepdims=True)
    return np.asarray(np.where(np.isnan(reach), np.where(spread > 0, spread, _TOLERANCE_OF_SPREAD), reach))


def _single(wanted: pd.DataFrame, drawn: PanelDraws, values: Array) -> Array:
    """Return the desirability of values (..., attributes, prototypes), each by its own window."""
    (low, high), reach = _ends(wanted), _reach(wanted, drawn.estimate)
    start, end = np.where(np.isnan(low), -np.inf, low), np.where(np.isnan(high), np.inf, high)
    return window_wanted(values, start - reach, start, end, end + reach)


def _overall(single: Array, weights: Array) -> Array:
    """Return the overall desirability over the attributes, the last axis but one."""
    return overall_desirability(np.moveaxis(single, -2, -1), weights)


def _versus(wanted: pd.DataFrame, drawn: PanelDraws, base: int | None) -> dict[str, Array]:
    """Return the windows read as differences from the benchmark."""
    names = ("difference", "difference_low", "difference_high", "versus_low", "versus_high", "met_versus")
    shape = drawn.estimate.shape
    if base is None:
        return {name: np.full(shape, np.nan) for name in (*names, "chance_versus", "chance_better")}
    own = drawn.estimate[:, [base]]
    low, high = _versus_ends(wanted, drawn, base)
    difference, differences = drawn.estimate - own, drawn.drawn - drawn.drawn[:, :, [base]]
    tail = ALPHA / 2
    with np.errstate(invalid="ignore"):
        ends = np.quantile(differences, [tail, 1 - tail], axis=0)
    known = np.isfinite(difference) & ~drawn.untold_from(base)
    met = _inside(differences, low, high)
    side = np.where(np.isnan(high) & ~np.isnan(low), 1.0, np.where(np.isnan(low) & ~np.isnan(high), -1.0, np.nan))
    better = ((differences * side) > 0).mean(axis=0)
    better = np.where(np.isnan(side), np.nan, better)
    better[:, base] = np.nan
    found = (difference, *ends, *(np.broadcast_to(end, shape) for end in (low, high)), _inside(difference, low, high))
    columns = {name: np.where(known, values, np.nan) for name, values in zip(names, found, strict=True)}
    return columns | {
        "chance_versus": np.where(known, met.mean(axis=0), np.nan),
        "chance_better": np.where(known, better, np.nan),
    }


def _versus_ends(wanted: pd.DataFrame, drawn: PanelDraws, base: int) -> tuple[Array, Array]:
    """Return the ends of the windows as differences from the stated level of the benchmark, or the one seen here."""
    stated = wanted[["benchmark_level"]].to_numpy(float)
    zero = np.where(np.isnan(stated), drawn.estimate[:, [base]], stated)
    low, high = _ends(wanted)
    return low - zero, high - zero


# How often did such a chance come true? Studies like this one, with known truth.


STUDIES, SURE = 200, 0.8
_INNER = 200  # draws of each simulated study
_KNOWN = 1e8  # degrees of freedom, as good as all
_FEWEST, _LEAST, _AS_STATED = 60, 0.005, 10.0  # cases that say anything; surest chance; cases' worth of "as stated"
_NEWTON = 12  # steps


LITTLE = "little"
_CHANCES = ("chance", "chance_all", "chance_versus", "chance_all_versus", LITTLE)


def came_true(
    profile: Profile, drawn: PanelDraws, benchmark: str | None, rng: np.random.Generator
) -> dict[str, Callable[[Array], Array]]:
    """Return, for each column of chances, what gives how often such a stated chance came true.

    A parametric bootstrap: true values are drawn anew with a spread as likely as this study says, scores with its own
    errors; each of these studies states its chances as this one does. `LITTLE` is the same of `chance_versus` in the
    third of these studies whose prototypes differ least.
    """
    wanted, found = _wanted(profile, drawn), dict.fromkeys(_CHANCES, (np.zeros(0), np.zeros(0)))
    truth, values = _studies_alike(drawn, rng)
    low, high = _ends(wanted)
    found |= _stated_and_true(_CHANCES[:2], truth, values, low, high)
    if (base := _base(drawn, benchmark)) is not None:
        apart = [np.delete(each - each[..., [base]], base, axis=-1) for each in (truth, values)]
        ends = _versus_ends(wanted, drawn, base)
        found |= _stated_and_true(_CHANCES[2:4], apart[0], apart[1], *ends)
        spreads = np.nanstd(truth, axis=-1) / np.sqrt(np.nanmean(drawn.own_variance, axis=-1))
        little = np.argsort(spreads.mean(axis=-1), kind="stable")[: STUDIES // 3]
        found |= _stated_and_true(_CHANCES[4:], apart[0][little], apart[1][:, little], *ends)
    return {kind: partial(_as_often, *pair) for kind, pair in found.items()}


def _studies_alike(drawn: PanelDraws, rng: np.random.Generator) -> tuple[Array, Array]:
    """Return true values (studies, q, k) of studies like this one, and draws (n, studies, q, k) of what each says."""
    truth = drawn.like[rng.integers(len(drawn.like), size=STUDIES)]
    error = drawn.errors[rng.integers(len(drawn.errors), size=STUDIES)]
    if drawn.dfs is not None:  # what is not known of the error variance
        df = np.minimum(drawn.dfs, _KNOWN)
        error = error * np.sqrt(df / rng.chisquare(df, (STUDIES, len(df))))[:, :, None]
    errors = drawn.errors[rng.integers(len(drawn.errors), size=(_INNER, STUDIES))]
    of = (truth + error, drawn.own_variance, errors, drawn.correlation, rng)
    return truth, draw_shrunken(*of, df=drawn.dfs, of_each_spread=_INNER // 10, with_new=False)[0]


def _stated_and_true(
    kinds: tuple[str, ...], truth: Array, values: Array, low: Array, high: Array
) -> dict[str, tuple[Array, Array]]:
    """Return stated chances and what was true, of single windows, and of all windows at once."""
    met, true = _inside(values, low, high), _inside(truth, low, high)
    single = met.mean(axis=0).ravel(), true.ravel().astype(float)
    together = met.all(axis=-2).mean(axis=0).ravel(), true.all(axis=-2).ravel().astype(float)
    return dict(zip(kinds, (single, together), strict=False))


def _as_often(stated: Array, true: Array, asked: Array) -> Array:
    """Return how often a chance like the one asked for came true; NaN where there are few cases, or none near it.

    A logistic curve through all cases (Cox, 1958, Biometrika 45, 562-565): beside it a share of the cases near by alone
    would tell luck.
    """
    if len(stated) < _FEWEST:
        return np.full(np.shape(asked), np.nan)
    odds, wanted = (logit(np.clip(each, _LEAST, 1 - _LEAST)) for each in (stated, asked))
    rows, curve = np.stack([np.ones_like(odds), odds]), np.array([0.0, 1.0])
    for _ in range(_NEWTON):
        share = expit(curve @ rows)
        slope = rows @ (true - share) - _AS_STATED * (curve - [0.0, 1.0])
        curve = curve + np.linalg.solve((rows * share * (1 - share)) @ rows.T + _AS_STATED * np.eye(2), slope)
    there = (asked >= stated.min()) & (asked <= stated.max())
    return np.asarray(np.where(there, expit(curve[0] + curve[1] * wanted), np.nan))


def _all_at_once(met: _Flags, known: _Flags) -> Array:
    return np.asarray(np.where(known.all(axis=0), met.all(axis=1).mean(axis=0), np.nan))


def _long(wanted: pd.DataFrame, drawn: PanelDraws, columns: dict[str, Array], versus: str | None) -> pd.DataFrame:
    q, k = drawn.estimate.shape
    frame = pd.DataFrame(
        {
            "attribute": pd.Series(np.repeat(list(drawn.attributes), k), dtype="str"),
            "prototype": pd.Series(list(drawn.prototypes) * q, dtype="str"),
            **{name: np.asarray(values, dtype=float).ravel() for name, values in columns.items()},
        }
    )
    base = _base(drawn, versus)
    untold = np.zeros((q, k), dtype=bool) if base is None else drawn.untold_from(base)
    must = np.repeat(wanted["must_have"].to_numpy(bool), k)
    return frame.assign(must_have=must, versus=versus or "", untold_versus=untold.ravel())


# How uncertain are the panel's means, all attributes together? Draws of what the true means may be.


_NOTHING: Array = np.zeros((0, 0))
_NO_PAIRS: _Flags = np.zeros((0, 0, 0), dtype=bool)


@dataclass(frozen=True, eq=False, slots=True)
class PanelDraws:
    """Estimated means and draws of the true ones.

    Parameters
    ----------
    attributes, prototypes
        Names of rows and columns; attributes that no model fits are left out.
    estimate, std_error, df
        (attributes, prototypes), NaN where a prototype was not scored on an attribute.
    drawn
        (draws, attributes, prototypes): on the scale of this panel, shrunken between the prototypes.
    not_estimated
        (attribute, why not) of the attributes left out.
    batch_words
        How batches enter the standard errors; empty where they do not.
    holds
        For what alone the draws hold: `in these batches`, `for these 2 groups of assessors`; empty at large.
    shrunken, own_variance
        (attributes, prototypes) shrunken means, and variances of the estimates without what all of them share.
    correlation
        (attributes, attributes) of the errors.
    errors, like
        (draws, attributes, prototypes): errors of the estimates, and true means of new prototypes that spread as these.
    dfs
        (attributes,) degrees of freedom of differences; None: the variances are known.
    untold
        (attributes, prototypes, prototypes): pairs that cannot be told from a factor of the test; empty: none.
    """

    attributes: tuple[str, ...]
    prototypes: tuple[str, ...]
    estimate: Array
    std_error: Array
    df: Array
    drawn: Array
    not_estimated: tuple[tuple[str, str], ...] = ()
    batch_words: str = ""
    holds: str = ""
    shrunken: Array = field(default_factory=_NOTHING.copy)
    own_variance: Array = field(default_factory=_NOTHING.copy)
    correlation: Array = field(default_factory=_NOTHING.copy)
    errors: Array = field(default_factory=_NOTHING.copy)
    like: Array = field(default_factory=_NOTHING.copy)
    dfs: Array | None = None
    untold: _Flags = field(default_factory=_NO_PAIRS.copy)

    def untold_from(self, base: int) -> _Flags:
        """Return (attributes, prototypes) what cannot be held against the prototype at place `base`."""
        return self.untold[:, :, base] if self.untold.size else np.zeros(self.estimate.shape, dtype=bool)

    @property
    def means(self) -> Array:
        """The shrunken means, (attributes, prototypes); the estimates where they were not shrunken."""
        return self.shrunken if self.shrunken.size else self.estimate

    def intervals(self, level: float) -> Array:
        """Return lowest and highest true means, (2, attributes, prototypes)."""
        with np.errstate(invalid="ignore"):
            return np.quantile(self.drawn, [(1 - level) / 2, (1 + level) / 2], axis=0)


def draw_panels(
    study: Study, attributes: tuple[str, ...], rng: np.random.Generator, *, draws: int = DRAWS
) -> PanelDraws:
    """Return draws of the true means on `attributes`, as these people on these days would see them.

    Means, their covariance and degrees of freedom are those of the mixed model of each attribute; what ties the
    attributes together is taken from the assessors' own means. The level of the people is the instrument: it moves all
    prototypes alike and is no error. Means are shrunken, see `panel.stats.comparing.shrinkage`.

    Raises
    ------
    ModelError
        If none of the attributes can be modelled.
    """
    fitted = fit_study(study)
    frame = fitted.used.frame
    frame = frame.loc[frame["attribute"].isin(attributes)]
    fits = [each for each in fitted.fits if not set(each[0].attributes).isdisjoint(attributes)]
    scored = set(frame["attribute"].unique())
    unscored = [(name, "it was not scored") for name in attributes if name not in scored]
    why_not = (*(each for each in fitted.left_out if each[0] in attributes), *unscored)
    if not fits:
        reasons = "; ".join(f"{name} ({why})" for name, why in why_not)
        raise ModelError(
            f"No attribute with a target window can be judged: {reasons}. Import the scores on the Study page, or "
            "give windows to attributes that were scored."
        )
    kept = tuple(name for name in attributes if any(name in design.attributes for design, _ in fits))
    prototypes = tuple(name for name in study.prototypes if any(name in design.prototypes for design, _ in fits))
    spread = batch_spread(study, fitted.confounds)
    mean, std_error, df, covariance, dfs = _means(fits, kept, prototypes, spread)
    own, alone = _own_covariance(covariance)
    views = person_correlations(assessor_means(frame, prototypes, kept))[1]
    known = np.full(len(kept), np.inf)
    errors = joint_draws(np.where(np.isfinite(mean), 0.0, np.nan), alone, known, known, (views, views), draws, rng)
    drawn, like = draw_shrunken(mean, own, errors, views, rng, df=dfs)
    shrunken = shrink(mean, own, dfs, pooled=True)[0]
    holds = holds_alone(fitted.confounds, groups_scoring(study))
    told, found = (why_not, spread.sentence, holds), (shrunken, own, views, errors, like, dfs)
    untold = _untold(fitted.confounds, kept, prototypes)
    return PanelDraws(kept, prototypes, mean, std_error, df, drawn, *told, *found, untold=untold)


def _untold(confounds: Confounds, attributes: tuple[str, ...], prototypes: tuple[str, ...]) -> _Flags:
    """Return (q, k, k) which pairs cannot be told from a factor of the test that goes wholly along with them."""
    found = np.zeros((len(attributes), len(prototypes), len(prototypes)), dtype=bool)
    for one, other in combinations(range(len(prototypes)), 2):
        pair = prototypes[one], prototypes[other]
        lost = [len(confounds.untold(name, *pair)) > 0 for name in attributes]
        found[:, one, other] = found[:, other, one] = lost
    return found


def _own_covariance(covariance: Array) -> tuple[Array, Array]:
    """Return variances (q, k) and covariance (q, k, k) of the means without what all of them share.

    The differences keep theirs; the mean of all is as uncertain as if each mean had only its own error.
    """
    variances, alone = np.full(covariance.shape[:2], np.nan), np.full_like(covariance, np.nan)
    for row, whole in enumerate(covariance):
        there = np.flatnonzero(np.isfinite(np.diag(whole)))
        part = whole[np.ix_(there, there)]
        each = np.diag(part)
        own = own_variances(each[:, None] + each - 2 * part) if len(there) > 1 else each
        centred = part - part.mean(axis=0) - part.mean(axis=1)[:, None] + part.mean()
        variances[row, there] = own
        alone[row][np.ix_(there, there)] = centred + own.mean() / len(there)
    return variances, alone


def _means(
    fits: list[tuple[PanelDesign, MixedFit]],
    attributes: tuple[str, ...],
    prototypes: tuple[str, ...],
    spread: BatchSpread,
) -> tuple[Array, Array, Array, Array, Array]:
    """Put all models together: means, standard errors, df (q, k), covariance (q, k, k), df of differences (q,)."""
    q, k = len(attributes), len(prototypes)
    mean, std_error, df = (np.full((q, k), np.nan) for _ in range(3))
    covariance, dfs = np.full((q, k, k), np.nan), np.ones(q)
    for design, fit in fits:
        held = np.array([name in attributes for name in design.attributes])
        rows = [attributes.index(name) for name in design.attributes if name in attributes]
        columns = [prototypes.index(name) for name in design.prototypes]
        own = len(columns)
        each = np.eye(own, design.fixed.shape[1])
        found = estimate_contrasts(fit, each)
        place = np.ix_(rows, columns)
        added = np.zeros((len(held), own))
        if BATCH not in design.terms:
            added = np.array(
                [[spread.variance(name, {each: 1.0}) for each in design.prototypes] for name in design.attributes]
            )
        mean[place] = found.estimate[held]
        std_error[place], df[place] = (each[held] for each in widened(found.std_error, found.df, added, spread.df))
        whole = fit.covariance[:, :own, :own] + added[:, :, None] * np.eye(own)
        covariance[np.ix_(rows, columns, columns)] = whole[held]
        apart = estimate_contrasts(fit, each[1:] - each[0])
        both = added[:, 1:] + added[:, :1]
        dfs[rows] = np.median(widened(apart.std_error, apart.df, both, spread.df)[1][held], axis=1)
    return mean, std_error, df, covariance, dfs


# How near do several responses come to what is wanted of each, as one number from 0 to 1?
# Derringer & Suich (1980), J. Qual. Technol. 12:214-219: each response gets a desirability from 0 (not acceptable) to
# 1 (as wanted); the whole is their geometric mean. Weights after Derringer (1994), Quality Progress 27(6):51-58.


def window_wanted(y: ArrayLike, low: ArrayLike, start: ArrayLike, end: ArrayLike, high: ArrayLike) -> Array:
    """Return d of responses wanted from `start` to `end`: 1 there, falling to 0 at `low` below and at `high` above.

    Infinite ends wish for nothing on that side. The one-sided and two-sided functions of the paper, with its
    powers s and t at 1, are special cases.

    Raises
    ------
    ValueError
        If the ends are out of order, or an end falls off within no distance.
    """
    y, low, start, end, high = (np.asarray(value, dtype=float) for value in (y, low, start, end, high))
    below, above = np.isfinite(start), np.isfinite(end)
    if np.any(start > end) or np.any(below & ~(low < start)) or np.any(above & ~(end < high)):
        raise ValueError("the ends of a window must rise: low, start, end, high")
    up = _climb(y, np.where(below, low, -1.0), np.where(below, start, 0.0), below)
    down = _climb(-y, np.where(above, -high, -1.0), np.where(above, -end, 0.0), above)
    d = np.clip(up, 0.0, 1.0) * np.clip(down, 0.0, 1.0)
    return np.asarray(np.where(np.isnan(y), np.nan, d))


def _climb(y: Array, foot: Array, top: Array, there: NDArray[np.bool_]) -> Array:
    """Return how far y has climbed from `foot` (0) to `top` (1), 1 where there is nothing to climb."""
    return np.asarray(np.where(there, (y - foot) / (top - foot), 1.0))


def overall_desirability(d: ArrayLike, weights: ArrayLike | None = None) -> Array:
    """Return D, the weighted geometric mean of `d` over the last axis; 0 as soon as one d of positive weight is 0.

    Parameters
    ----------
    d
        (..., m) desirabilities; NaN makes D NaN unless its weight is 0.
    weights
        (..., m) not negative, with a positive sum; only their ratios count. Without them all weigh the same.

    Raises
    ------
    ValueError
        If a weight is negative or not finite, or none is positive.
    """
    d = np.asarray(d, dtype=float)
    w = np.ones(d.shape[-1]) if weights is None else np.asarray(weights, dtype=float)
    total = w.sum(axis=-1, keepdims=True)
    if not np.isfinite(w).all() or (w < 0).any() or not (total > 0).all():
        raise ValueError("weights must not be negative, and one must be positive")
    with np.errstate(divide="ignore"):
        logs = np.where(w > 0, np.log(d), 0.0)
    return np.asarray(np.exp((np.where(w > 0, w, 1.0) * logs / total).sum(axis=-1)))
