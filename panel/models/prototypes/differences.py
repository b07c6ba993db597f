"""Which prototypes differ, on which attribute, and by how much?"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property, partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.checks.confounds import Confounds, untold_findings
from panel.checks.moments_recorded import margins_stated, order_of_testing
from panel.errors import ModelError
from panel.models.prototypes.panel_design import (
    VARIANCE_COLUMNS,
    PanelDesign,
    PanelFit,
    fit_panel,
    fit_study,
    in_order,
    variance_rows,
)
from panel.models.prototypes.verdict import (
    CANNOT_TELL,
    DIFFERS,
    Columns,
    attribute_verdicts,
    groups_scoring,
    holds_alone,
    seen_differently,
    shrunken_differences,
    tabled,
    verdict_columns,
    verdict_letters,
)
from panel.stats.arrays import Array, Codes, different
from panel.stats.comparing.group_means import ASSESSOR, INTERACTION
from panel.stats.comparing.group_means import BATCH as BATCH_TERM
from panel.stats.comparing.multiplicity import ALPHA, LEVEL, many_to_one, tukey_critical, tukey_p_value
from panel.stats.mixed.inference import (
    SMALL_SAMPLE_WORDS,
    Estimates,
    FTest,
    Inference,
    SmallSample,
    inference,
    sequential_contrasts,
    widened,
    with_few_groups,
)
from panel.stats.mixed.reml import MixedFit
from panel.stats.orders.block_designs import joined
from panel.study.naming import naming
from panel.study.scores_used import ScoresUsed, scores_used
from panel.study.study import Study, kept, natural_order
from panel.words import format_list


@dataclass(frozen=True, eq=False)
class Differences:
    """What a mixed model per attribute says about the prototypes; all frames tidy and unrounded.

    Parameters
    ----------
    attributes
        One row per attribute: `attribute statistic df df_error p_value p_adjusted n_scores model at_zero converged
        test_order differently closed verdict because`. The F test that no prototype differs; `p_adjusted` by Holm over
        the attributes, in the order of `test_order` where one was fixed; `differently` names what does not show the
        prototypes alike; `closed` where the turn has not come.
    means
        `attribute prototype estimate std_error df ci_low ci_high letters`: estimated means; two prototypes share a
        letter exactly where the verdict on their difference is not `differs`.
    pairs
        `attribute prototype versus estimate std_error df statistic p_value p_adjusted ci_low ci_high alike_p alike_low
        alike_high alike_level verdict said because`: all pairs, estimate = prototype minus versus, adjusted p-value and
        interval by Tukey within each attribute; without numbers where the sessions leave no estimate.
        `panel.models.prototypes.verdict` decides on `verdict`; `with_benchmark` where `versus` holds it.
    versus
        The same columns for the differences from the benchmark, by Dunnett; without rows if there is none.
    variances
        `attribute assessor assessor_prototype session batch residual`; `session` is assessor x session, `batch` batch
        within prototype; NaN where the model has no such term.
    both_ways
        For attributes with scores set aside or corrected: the F test with (`rules` True) and without (`rules` False)
        the corrections and rules.
    not_estimated
        `attribute why` for attributes that no model fits.
    confounds
        What the pairs cannot be told from.
    groups
        The groups of assessors that scored.
    margins
        Attribute to the smallest difference that matters on it, where there is one.
    margin_stated
        Whether the study states them; a margin typed in shows nothing.
    """

    attributes: pd.DataFrame
    means: pd.DataFrame
    pairs: pd.DataFrame
    versus: pd.DataFrame
    variances: pd.DataFrame
    both_ways: pd.DataFrame
    set_aside: pd.DataFrame
    not_estimated: pd.DataFrame
    confounds: Confounds
    benchmark: str | None
    margins: Mapping[str, float]
    margin_stated: bool
    method: str
    notes: tuple[str, ...]
    groups: tuple[str, ...] = ()

    @property
    def holds(self) -> str:
        """For what alone the verdicts hold, as the headline says it; empty where they hold at large."""
        return holds_alone(self.confounds, self.groups)

    @cached_property
    def without_luck(self) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Both `pairs` and `versus` with `shrunken wrong_sign`: what is left of each difference without its luck."""
        tables = (self.pairs, self.versus)
        luck = shrunken_differences(self.means, *tables)
        pairs, versus = (table.assign(**own) for table, own in zip(tables, luck, strict=True))
        return pairs, versus

    @property
    def picked(self) -> pd.DataFrame:
        """The differences told apart, from the benchmark where there is one, as far as they can be shrunken."""
        rows = self.without_luck[1 if self.benchmark else 0]
        return rows.loc[(rows["verdict"] == DIFFERS) & rows["shrunken"].notna()]

    @property
    def in_order(self) -> bool:
        """Whether an order of testing was fixed beforehand."""
        return bool(self.attributes["test_order"].notna().any())

    @property
    def over(self) -> str:
        """Over what the F tests are adjusted, in words; the titles of tables name it."""
        return "in the order fixed beforehand" if self.in_order else "by Holm over the attributes"


@kept
def find_differences(
    study: Study,
    *,
    versus: str | None = None,
    margin: float | None = None,
    adjust_for: Sequence[str] = (),
    small_sample: SmallSample = "satterthwaite",
) -> Differences:
    """Compare the prototypes of `study` on every attribute; ModelError where they cannot be compared.

    With the prototype `versus`, the study's benchmark if none is named; within the `margin` that does not matter, the
    study's own by default. `adjust_for`: facts of each serving to take out as fixed effects, among `position`, `site`,
    `first_on_site`.
    """
    benchmark = versus if versus is not None else study.benchmark
    fitted = fit_study(study, adjust_for) if adjust_for else fit_study(study)
    _ask(study, fitted, versus)
    margins, own = study.margins(margin), margin is None or margin == study.facts.get("margin")
    margin_stated = own and margins_stated(study)
    told = [(design, fit, inference(fit, small_sample)) for design, fit in fitted.fits]
    order = study.attributes
    attributes, pairs = _tested(study, fitted, told)
    against = [_versus_columns(d, infer, benchmark) for d, _, infer in told if benchmark in d.prototypes]
    compared_with = benchmark if against else None
    judge = _judge(attributes, fitted.confounds, margins, margin_stated)
    judged = _said(judge(pairs), attributes)
    none = {name: column[:0] for name, column in judged.items()}
    with_benchmark = _said(judge(_stack(against, order)), attributes) if against else none
    judged["with_benchmark"] = (judged["prototype"] == compared_with) | (judged["versus"] == compared_with)
    means = _stack([_mean_columns(design, infer) for design, _, infer in told], order)
    groups, left_out = groups_scoring(study), np.array(fitted.left_out, dtype=object).reshape(-1, 2)
    return Differences(
        attributes=(table := tabled(attributes)),
        means=tabled(means | {"letters": verdict_letters(means, judged, with_benchmark)}),
        pairs=tabled(judged),
        versus=tabled(with_benchmark),
        variances=_variances(fitted, order),
        both_ways=_both_ways(study, fitted.used, table, adjust_for, small_sample),
        set_aside=fitted.used.set_aside,
        not_estimated=tabled({"attribute": left_out[:, 0], "why": left_out[:, 1]}),
        benchmark=compared_with,
        confounds=fitted.confounds,
        groups=groups,
        margins=margins,
        margin_stated=margin_stated,
        method=_difference_method(fitted, compared_with, small_sample, in_order=bool(order_of_testing(study)[0])),
        notes=(
            *_difference_notes(fitted, lambda name: naming(study).attribute(name)),
            *confound_notes(fitted.confounds),
            *_late_notes(study),
            *_without_margin(study, margins),
            *_of_groups(groups),
        ),
    )


def attributes_tested(study: Study) -> pd.DataFrame:
    """Return the attributes of `find_differences` without the rest."""
    fitted = fit_study(study)
    _ask(study, fitted, None)
    return tabled(_tested(study, fitted, [(design, fit, inference(fit)) for design, fit in fitted.fits])[0])


def _tested(
    study: Study, fitted: PanelFit, told: Sequence[tuple[PanelDesign, MixedFit, Inference]]
) -> tuple[Columns, Columns]:
    """Return the attributes with their verdicts, and all pairs before anything is said of them."""
    attributes = _stack([_attribute_columns(*each) for each in told], study.attributes)
    pairs = _stack([_pair_columns(design, infer) for design, _, infer in told], study.attributes)
    names, (places, _), seen = attributes["attribute"].tolist(), order_of_testing(study), seen_differently(study)
    attributes["test_order"] = np.array([places.get(name, np.nan) for name in names], dtype=float)
    attributes["differently"] = np.array([seen.get(name, "") for name in names], dtype=object)
    verdicts = attribute_verdicts(attributes, pairs, fitted.confounds, lambda name: naming(study).attribute(name))
    return attributes | verdicts, pairs


def _said(rows: Columns, attributes: Columns) -> Columns:
    """Return differences whose words say where sessions or groups of assessors do not show them alike."""
    columns = (attributes[name].tolist() for name in ("attribute", "differently"))
    seen = {name: words for name, words in zip(*columns, strict=True) if words}
    if not seen:
        return rows
    each = zip(*(rows[name].tolist() for name in ("said", "attribute", "verdict")), strict=True)
    words = [
        f"{said}, not alike in all {seen[of]}" if of in seen and verdict != CANNOT_TELL else said
        for said, of, verdict in each
    ]
    return rows | {"said": np.array(words, dtype=object)}


def estimated_means(study: Study, fitted: PanelFit) -> pd.DataFrame:
    """Return the means of `find_differences`, `attribute prototype estimate`, without the comparisons."""
    _ask(study, fitted, None)
    parts = [
        _long(
            design,
            {"prototype": np.arange(len(design.prototypes))},
            {"estimate": fit.coefficients[:, : len(design.prototypes)]},
        )
        for design, fit in fitted.fits
    ]
    return tabled(_stack(parts, study.attributes))


def _without_margin(study: Study, margins: Mapping[str, float]) -> Iterator[str]:
    """Say on which attributes nothing tells how large a difference matters, where something does on others."""
    without = [name for name in study.attributes if name not in margins]
    if margins and without:
        words = format_list([naming(study).attribute(name) for name in without])
        yield (
            f"No smallest difference that matters holds for {words}: nothing is called alike there. One "
            "stated for the study is of the scale most attributes are on; state their own in the table attributes."
        )


def _late_notes(study: Study) -> Iterator[str]:
    for name, why in order_of_testing(study)[1].items():
        words = study.attribute_words(name)
        yield f"The place of {words} in the order of testing does not count, it is tested last: {why}."


def _of_groups(names: Sequence[str]) -> Iterator[str]:
    """Yield that groups of assessors are these and no others, where there are some."""
    if len(names) > 1:
        yield f"People of {len(names)} groups scored ({', '.join(names)}): nothing shows whether another would agree."


def _judge(
    attributes: Columns, confounds: Confounds, margins: Mapping[str, float], margin_stated: bool
) -> Callable[[Columns], Columns]:
    """Return the rule that decides on differences, gated by the attributes' own verdicts."""
    names, verdicts, closed = (attributes[name].tolist() for name in ("attribute", "verdict", "closed"))
    verdicts_on = partial(
        verdict_columns,
        margins=margins,
        told_apart={name: verdict == DIFFERS for name, verdict in zip(names, verdicts, strict=True)},
        closed=dict(zip(names, closed, strict=True)),
        confounds=confounds,
        margin_stated=margin_stated,
    )
    return lambda rows: rows | verdicts_on(rows)


def _ask(study: Study, fitted: PanelFit, versus: str | None) -> None:
    """Refuse what cannot be answered at all."""
    (_, prototypes), (_, assessors) = (fitted.used.numbered[column] for column in ("prototype", "assessor"))
    if not prototypes:
        raise ModelError("The study has no scores. Import a table of scores on the Study page.")
    if not fitted.fits and len(prototypes) < 2:
        raise ModelError("Only one prototype was scored, so there is nothing to compare. Score a second one.")
    if not fitted.fits and len(assessors) < 2:
        raise ModelError(
            "All scores come from one assessor, so nothing says whether another person would agree. "
            "Ask at least one more assessor."
        )
    if versus is not None and versus not in prototypes:
        scored = ", ".join(name for name in study.prototypes if name in prototypes)
        raise ModelError(f"{versus!r} was not scored, so it cannot be compared with. Choose among {scored}.")
    ask_fits(fitted.fits, fitted.left_out)


def ask_fits(
    fits: Sequence[object],
    left_out: Iterable[tuple[str, str]],
    done: str = "compared",
    without: str = "there are no scores",
) -> None:
    """Refuse when no attribute can be compared (or what else is `done`), and say why; `without` any to tell of."""
    if not fits:
        reasons = "; ".join(f"{name} ({why})" for name, why in left_out) or without
        raise ModelError(f"No attribute can be {done}: {reasons}. Check the scores on the Study page.")


def _both_ways(
    study: Study, used: ScoresUsed, attributes: pd.DataFrame, adjust_for: Sequence[str], small_sample: SmallSample
) -> pd.DataFrame:
    """Return the F tests of the attributes with changed scores, with and without the changes."""
    changed = {name for rows in (used.set_aside, used.corrected) if len(rows) for name in rows["attribute"]}
    columns = ["attribute", "statistic", "df", "df_error", "p_value"]
    parts = [attributes.loc[attributes["attribute"].isin(changed), columns].assign(rules=True)] if changed else []
    names = parts[0]["attribute"].tolist() if parts else []
    if not names:
        return _neither_way().copy(deep=False)
    frame = scores_used(study, rules=False).frame
    fits, _ = fit_panel(study, frame.loc[frame["attribute"].isin(names)], adjust_for)
    parts += [attribute_rows(d, f, inference(f, small_sample))[columns].assign(rules=False) for d, f in fits]
    return pd.concat(parts, ignore_index=True)


@cache
def _neither_way() -> pd.DataFrame:
    """Return the F tests of no attribute."""
    numbers = dict.fromkeys(("statistic", "df", "df_error", "p_value"), "float64")
    kinds = {"attribute": "str", **numbers, "rules": "bool"}
    return pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in kinds.items()})


def _stack(parts: Sequence[Columns], order: Sequence[str]) -> Columns:
    """Put the rows of all models together in the order of the study's attributes."""
    if len(parts) == 1:  # the attributes of a design stand in that order
        return parts[0]
    place = {name: number for number, name in enumerate(order)}
    rows = np.argsort([place[name] for part in parts for name in part["attribute"].tolist()], kind="stable")
    return {name: np.concatenate([part[name] for part in parts])[rows] for name in parts[0]}


def _variances(fitted: PanelFit, order: Sequence[str]) -> pd.DataFrame:
    parts = [variance_rows(*each) for each in fitted.fits]
    return parts[0] if len(parts) == 1 else in_order(pd.concat(parts), "attribute", order)


# A fitted panel model as tables: tests, estimated means, differences, variances.


def minus(design: PanelDesign, first: Codes | list[int] | int, second: Codes | list[int] | int) -> Array:
    """Return the contrasts (m, p) of the prototypes at the places `first` minus those at `second`."""
    columns = np.eye(len(design.prototypes), design.fixed.shape[1])
    return np.asarray(columns[first] - columns[second])


def panel_test(design: PanelDesign, infer: Inference, counts: Array) -> FTest:
    """Return the F test that no prototype differs; where batches are random, as sure as so few of them allow."""
    test = infer.test(_no_difference(design, counts))
    if BATCH_TERM not in design.terms:
        return test
    batches = different(design.groups[design.terms.index(BATCH_TERM)])
    return with_few_groups(test, batches - len(design.prototypes))


def attribute_rows(design: PanelDesign, fit: MixedFit, infer: Inference) -> pd.DataFrame:
    """Return the F test that no prototype differs, one row per attribute."""
    return tabled(_attribute_columns(design, fit, infer))


def _attribute_columns(design: PanelDesign, fit: MixedFit, infer: Inference) -> Columns:
    known, q = np.isfinite(design.response), len(design.attributes)
    every = np.ones((q, 1)) @ (np.ones((1, len(known))) @ design.fixed)
    test = panel_test(design, infer, every if known.all() else known.T @ design.fixed)
    names = [VARIANCE_COLUMNS[term] for term in design.terms]
    at_zero = [", ".join(name for name, zero in zip(names, row, strict=True) if zero) for row in fit.at_zero.tolist()]
    return {
        "attribute": np.array(design.attributes, dtype=object),
        "statistic": test.statistic,
        "df": np.full(q, float(test.df)),
        "df_error": test.df_error,
        "p_value": test.p_value,
        "n_scores": fit.n_scores.astype(int),
        "model": np.full(q, design.sentence, dtype=object),
        "at_zero": np.array(at_zero, dtype=object),
        "converged": fit.converged,
    }


def _no_difference(design: PanelDesign, counts: Array) -> Array:
    """Return the contrasts that say no prototype differs from another of its set, for each row of `counts`.

    `counts` (q, p): sums of the fixed columns over the scores of each response. Pooled degrees of freedom lean on the
    order of the prototypes: it is the natural order of their names, as R's default is the sorted order of the levels,
    whatever the order of the rows or of the table of prototypes.
    """
    order = [design.prototypes.index(name) for name in natural_order(design.prototypes)]
    k = len(order)
    if design.sets.any():
        first = {int(design.sets[place]): place for place in reversed(order)}
        others = [place for place in order if place != first[int(design.sets[place])]]
        return minus(design, others, [first[int(design.sets[place])] for place in others])
    if design.fixed.shape[1] > k:
        return minus(design, order[1:], order[0])
    contrasts = np.empty((len(counts), k - 1, k))
    contrasts[:, :, order] = sequential_contrasts(counts[:, order], k)
    return contrasts


def mean_rows(design: PanelDesign, infer: Inference) -> pd.DataFrame:
    """Return the estimated means with intervals, one row per attribute and prototype."""
    return tabled(_mean_columns(design, infer))


def _mean_columns(design: PanelDesign, infer: Inference) -> Columns:
    found = infer.estimate(np.eye(len(design.prototypes), design.fixed.shape[1]))
    low, high = found.interval(LEVEL)
    values = {"estimate": found.estimate, "std_error": found.std_error, "df": found.df, "ci_low": low, "ci_high": high}
    return _long(design, {"prototype": np.arange(len(design.prototypes))}, values)


def pair_rows(design: PanelDesign, infer: Inference) -> pd.DataFrame:
    """Return the difference of each prototype from each before it, with Tukey p-values and simultaneous intervals."""
    return tabled(_pair_columns(design, infer))


def _pair_columns(design: PanelDesign, infer: Inference) -> Columns:
    k = len(design.prototypes)
    second, first = np.triu_indices(k, 1)
    contrasts = minus(design, first, second)
    found = infer.estimate(contrasts)
    p_adjusted = tukey_p_value(found.statistic, k, found.df)
    half = tukey_critical(k, found.df, LEVEL) * found.std_error
    return _differences(design, (first, second), found, p_adjusted, half, design.told(contrasts))


def versus_rows(
    design: PanelDesign, infer: Inference, benchmark: str | None, of_batches: tuple[Array, float] | None = None
) -> pd.DataFrame:
    """Return the differences from the benchmark with Dunnett p-values and simultaneous intervals.

    `of_batches`: variances (q, k) that batches add to the means, and their degrees of freedom.
    """
    return tabled(_versus_columns(design, infer, benchmark, of_batches))


def _versus_columns(
    design: PanelDesign, infer: Inference, benchmark: str | None, of_batches: tuple[Array, float] | None = None
) -> Columns:
    base = design.prototypes.index(str(benchmark))
    others = np.delete(np.arange(len(design.prototypes)), base)
    contrasts = minus(design, others, base)
    found = infer.estimate(contrasts)
    covariance_of = infer.covariance
    if of_batches is not None:
        variance, df = of_batches
        added = variance[:, others] + variance[:, [base]]
        found = Estimates(found.estimate, *widened(found.std_error, found.df, added, df))
        diagonal = np.zeros_like(covariance_of)
        place = np.arange(variance.shape[1])
        diagonal[:, place, place] = variance
        covariance_of = covariance_of + diagonal
    p_adjusted, half = np.full_like(found.estimate, np.nan), np.full_like(found.estimate, np.nan)
    told = design.told(contrasts)
    for row, covariance in enumerate(contrasts[told] @ covariance_of @ contrasts[told].T if told.any() else ()):
        family, _ = many_to_one(covariance)
        p_adjusted[row, told] = family.sf(np.abs(found.statistic[row, told]), found.df[row, told])
        half[row, told] = family.isf(ALPHA, found.df[row, told]) * found.std_error[row, told]
    return _differences(design, (others, np.full_like(others, base)), found, p_adjusted, half, told)


def _differences(
    design: PanelDesign,
    places: tuple[Codes, Codes],
    found: Estimates,
    p_adjusted: Array,
    half: Array,
    told: NDArray[np.bool_],
) -> Columns:
    """Return one row per attribute and difference between the prototypes at two `places`.

    Without numbers where it is not `told`, as there is no estimate: what was seen may be the session, say.
    """
    values = {
        "estimate": found.estimate,
        "std_error": found.std_error,
        "df": found.df,
        "statistic": found.statistic,
        "p_value": found.p_value,
        "p_adjusted": p_adjusted,
        "ci_low": found.estimate - half,
        "ci_high": found.estimate + half,
    }
    shown = {name: np.where(told, each, np.nan) for name, each in values.items()}
    return _long(design, {"prototype": places[0], "versus": places[1]}, shown)


def _long(design: PanelDesign, places: Mapping[str, Codes], values: Mapping[str, Array]) -> Columns:
    """Return one row per attribute and contrast: the prototypes at `places`, the same for all, and `values` (q, m)."""
    q, m = next(iter(values.values())).shape
    attributes, prototypes = (np.array(names, dtype=object) for names in (design.attributes, design.prototypes))
    named = {column: np.tile(prototypes[place], q) for column, place in places.items()}
    return {"attribute": np.repeat(attributes, m)} | named | {column: each.ravel() for column, each in values.items()}


# How differences were computed, and what a reader must know before trusting them.


def _difference_method(fitted: PanelFit, benchmark: str | None, small_sample: SmallSample, *, in_order: bool) -> str:
    """Return how the differences were computed, as one paragraph for the report."""
    designs = [design for design, _ in fitted.fits]
    models = "; ".join(dict.fromkeys(design.sentence for design in designs))
    against = f", differences from {benchmark} by Dunnett" if benchmark else ""
    over = (
        "F tests in the order of attributes fixed beforehand, by Holm among those with one place, the next only where "
        "all before differ (serial gatekeeping)"
        if in_order
        else "F tests over attributes by Holm"
    )
    return (
        f"Mixed model per attribute: {models}. REML, {SMALL_SAMPLE_WORDS[small_sample]} degrees of freedom. "
        f"All pairs within an attribute by Tukey{against}, with the model's own standard errors; {over}. "
        "A row differs where its interval leaves out zero and the adjusted F test of its "
        "attribute shows a difference at all; it is alike where two one-sided tests against the margin show it, by "
        f"Holm over all rows of its table. {_unit(designs)}"
    )


def _unit(designs: list[PanelDesign]) -> str:
    """Return whom and what the results speak for."""
    if all(BATCH_TERM in design.terms for design in designs):
        return "The units of inference are assessors and batches: results speak for people and for batches like these."
    return (
        "The unit of inference is the assessor: results speak for people like these, and for these batches."
        if not any(BATCH_TERM in design.terms for design in designs)
        else "The unit of inference is the assessor, and the batch where there are two or more."
    )


def confound_notes(confounds: Confounds) -> tuple[str, ...]:
    """Return what pairs cannot be told from, one sentence for each factor of the test."""
    return tuple(f"{finding.message} {finding.advice}" for finding in untold_findings(confounds))


def _apart_by_people(design: PanelDesign) -> str:
    """Return the sets of prototypes that no chain of people joins, in words; empty if none are compared."""
    met = design.fixed[:, : len(design.prototypes)].T @ np.eye(len(design.assessors))[design.groups[0]]
    part = joined(met)
    if len({*zip(design.sets.tolist(), part.tolist(), strict=True)}) == int(design.sets.max()) + 1:
        return ""
    names = np.array(design.prototypes, dtype=object)
    return "; ".join(format_list(names[part == number].tolist()) for number in range(int(part.max()) + 1))


def _difference_notes(fitted: PanelFit, words: Callable[[str], str]) -> Iterator[str]:
    """Yield what a reader must know before trusting the differences, one sentence each."""

    def listed(names: Iterable[str]) -> str:
        return ", ".join(map(words, names))

    for name, why in fitted.left_out:
        yield f"{words(name)} is not compared: {why}."
    for design, fit in fitted.fits:
        if INTERACTION not in design.terms:
            yield (
                f"No assessor scored a prototype twice ({listed(design.attributes)}): disagreement between assessors "
                "cannot be told from their own scatter."
            )
        if apart := _apart_by_people(design):
            yield (
                f"Nobody scored prototypes of two of these sets ({listed(design.attributes)}): {apart}. Differences "
                "between them may be the people, unless chance decided who scored what."
            )
        for factor in design.dropped:
            yield (
                f"The effect of {factor.replace('_', ' ')} cannot be told in full from that of the prototypes; "
                f"what can be told is taken out ({listed(design.attributes)})."
            )
        for name, converged in zip(design.attributes, fit.converged, strict=True):
            if not converged:
                yield f"The fit of {words(name)} did not settle; do not rely on its numbers."
        for place, term in enumerate(design.terms):
            zero = [name for name, at in zip(design.attributes, fit.at_zero[:, place], strict=True) if at]
            if zero and term != ASSESSOR:
                careful = " On average the tests are then careful rather than rash." if term == INTERACTION else ""
                yield (
                    f"The variance {VARIANCE_COLUMNS[term].replace('_', ' x ')} is estimated at zero and pooled "
                    f"with the residual for {listed(zero)}.{careful}"
                )
