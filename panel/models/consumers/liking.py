"""How well do consumers like the prototypes, which are liked better, and which cannot be separated?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import fdtrc

from panel.checks.confounds import SESSION, WHOLLY, Confounds, answer_confounds, untold_findings
from panel.errors import ModelError
from panel.models.consumers.answers import AnswersRead, numeric_answers, shares_of
from panel.models.consumers.liking_checks import ranks_beside, serving_effects
from panel.models.prototypes.differences import attribute_rows, mean_rows, pair_rows, versus_rows
from panel.models.prototypes.panel_design import PanelDesign, fixed_columns
from panel.models.prototypes.verdict import difference_verdicts, untold_pairs, verdict_letters, with_pairs_told
from panel.stats.arrays import Codes
from panel.stats.comparing.group_means import ASSESSOR, INTERACTION
from panel.stats.comparing.multiplicity import below, letters_for
from panel.stats.mixed.inference import Inference, between_people, inference
from panel.stats.mixed.reml import MixedFit, fit_mixed_model
from panel.stats.mixed.residuals import nothing_left
from panel.stats.orders.block_designs import sets_told
from panel.study.study import Study

_UNEVEN = 0.75  # of Box's epsilon: below, pairs divide people clearly unequally (common practice)
_FEW_CONSUMERS = 40  # below, a mean liking gives a direction only (common practice, no source)


@dataclass(frozen=True, eq=False, slots=True)
class Liking:
    """What consumers' liking answers say about the prototypes; all frames tidy and unrounded.

    Parameters
    ----------
    tests
        `test statistic df df_error p_value n_consumers n_answers differs`: that no prototype is liked better. `mixed
        model` is the main one; `mixed model, corrected` allows for pairs that divide people unequally; beside it the
        ranks (`Friedman` or `Skillings-Mack`; `statistic` is chi-square).
    means
        `prototype n raw_mean estimate std_error df ci_low ci_high letters`: mean liking; the estimate takes out who
        tried what. Two prototypes that share a letter cannot be separated (verdicts of `pairs`
        and `versus`).
    pairs, versus
        `prototype versus estimate std_error df statistic p_value p_adjusted ci_low ci_high verdict said because`: all
        pairs by Tukey (`with_benchmark` where `versus` holds it), differences from the benchmark by Dunnett (without
        rows if there is none).
    distribution
        `prototype answer count base share`: how often each of the 9 points was given.
    boxes
        `prototype box count base share ci_low ci_high`: answers in the top 2 (8, 9) and top 3 (7, 8, 9), with Wilson's
        interval.
    lost
        `method consumers consumers_lost answers answers_lost why`: what each method uses and what it cannot use.
    serving
        `effect statistic df df_error p_value prototype_p_value matters prototypes_differ`: position and session as
        further fixed effects, and the test of the prototypes with them in the model. Without rows where neither is
        recorded or can be told apart.
    positions
        `position n estimate std_error`: mean liking by position, prototypes and sessions taken out.
    same_everywhere
        `assessor answer n`: consumers who gave every prototype the same answer. They stay in.
    variances
        `consumer residual`.
    p_value, differs
        Of the test the answer rests on: the corrected one where enough consumers tried each prototype; where it takes
        in pairs that cannot be told from session or position, the others must say so too.
    untold
        What pairs cannot be told from, in words.
    answers
        What was read, and what could not be (`panel.models.consumers.answers`).
    """

    question: str
    tests: pd.DataFrame
    means: pd.DataFrame
    pairs: pd.DataFrame
    versus: pd.DataFrame
    distribution: pd.DataFrame
    boxes: pd.DataFrame
    lost: pd.DataFrame
    serving: pd.DataFrame
    positions: pd.DataFrame
    same_everywhere: pd.DataFrame
    variances: pd.DataFrame
    answers: AnswersRead
    p_value: float
    differs: bool
    untold: tuple[str, ...]
    benchmark: str | None
    margin: float | None
    method: str
    notes: tuple[str, ...]


def weigh_liking(study: Study, *, versus: str | None = None, question: str | None = None) -> Liking:
    """Compare the prototypes of `study` by how well consumers like them.

    By default by the first liking question, with the study's benchmark, if it was tried, and by its `liking_margin`,
    the smallest difference that matters, if it has one.

    Raises
    ------
    ModelError
        If there are no liking answers, fewer than two prototypes or consumers, nothing varies, or `versus` was not
        tried.
    """
    answers = numeric_answers(study, "liking", question)
    model, main, pairs, against = judged_liking(study, answers, versus)
    frame, confounds = answers.frame, answer_confounds(answers.rows, study.prototypes)
    lost = untold_pairs(pairs, confounds)
    p_value = with_pairs_told(float(main[-1]["p_value"]), pairs["p_adjusted"].to_numpy(float), lost)
    differs = bool(below(p_value))
    base = versus or (study.benchmark if study.benchmark in frame.columns else None)
    rank_test, why_lost, ranks_by, rank_notes = ranks_beside(frame)
    serving, positions = serving_effects(answers)
    tests = pd.DataFrame([*main, *rank_test])
    letters = verdict_letters(*(each.assign(attribute="") for each in (model.means, pairs, against)))
    return Liking(
        question=answers.question,
        tests=tests.assign(differs=below(tests["p_value"]) & (differs or not lost.any())),
        means=_with_counts(model.means.assign(letters=letters), frame),
        pairs=pairs,
        versus=against,
        distribution=_answer_counts(frame),
        boxes=_top_boxes(frame),
        lost=_losses(answers, rank_test, why_lost),
        serving=serving.assign(
            matters=below(serving["p_value"]), prototypes_differ=below(serving["prototype_p_value"])
        ),
        positions=positions,
        same_everywhere=_same_everywhere(frame),
        variances=model.variances,
        answers=answers,
        p_value=p_value,
        differs=differs,
        untold=tuple(finding.message for finding in untold_findings(confounds)),
        benchmark=base,
        margin=_stated_margin(study),
        method=_method(model, ranks_by, base),
        notes=tuple(_notes(answers, rank_notes, model)),
    )


def judged_liking(
    study: Study, answers: AnswersRead, versus: str | None = None
) -> tuple[LikingModel, list[dict[str, Any]], pd.DataFrame, pd.DataFrame]:
    """Return the model of liking answers, its tests, the last of which decides, and judged pairs: all, from one.

    Every mean, difference and interval of liking is of these frames, wherever it stands.
    """
    frame = _asked(answers, versus).frame
    base = versus or (study.benchmark if study.benchmark in frame.columns else None)
    confounds = answer_confounds(answers.rows, study.prototypes)
    model = liking_model(frame, base, _in_sessions(answers, confounds))
    main = [model.test] if np.isnan(model.evenness) else [model.test, _corrected_test(model.test, model.evenness)]
    lost = untold_pairs(model.pairs, confounds)
    p_value = with_pairs_told(float(main[-1]["p_value"]), model.pairs["p_adjusted"].to_numpy(float), lost)
    judge = partial(
        difference_verdicts,
        margins={} if (margin := _stated_margin(study)) is None else {"": margin},
        told_apart={"": bool(below(p_value))},
        confounds=confounds,
    )
    pairs, against = judge(model.pairs), judge(model.versus)
    return model, main, pairs.assign(with_benchmark=(pairs[["prototype", "versus"]] == base).any(axis=1)), against


def _in_sessions(answers: AnswersRead, confounds: Confounds) -> pd.DataFrame | None:
    """Return the answers one by one where sessions go along with pairs of prototypes, as the design says; else None."""
    along = confounds.pairs.loc[confounds.pairs["factor"] == SESSION, "kind"]
    return answers.rows if len(along) and (along != WHOLLY).any() else None


def _stated_margin(study: Study) -> float | None:
    stated = study.facts.get("liking_margin")
    return float(stated) if isinstance(stated, int | float) else None


def _with_counts(means: pd.DataFrame, frame: pd.DataFrame) -> pd.DataFrame:
    counted = means.assign(n=frame.notna().sum().to_numpy(), raw_mean=frame.mean().to_numpy(dtype=float))
    return counted[["prototype", "n", "raw_mean", "estimate", "std_error", "df", "ci_low", "ci_high", "letters"]]


def _asked(answers: AnswersRead, versus: str | None) -> AnswersRead:
    """Return the answers; refuse what cannot be answered at all."""
    frame = answers.frame
    if frame.shape[1] < 2:
        raise ModelError(
            f"Only {frame.columns[0]} was tried, so there is nothing to compare. Let the consumers try a second one."
        )
    if (frame.notna().sum(axis=1) >= 2).sum() < 2:
        raise ModelError(
            "Fewer than two consumers tried two prototypes or more, so nobody compared them. Let each consumer try "
            "several."
        )
    if np.nanmin(frame.to_numpy()) == np.nanmax(frame.to_numpy()):
        raise ModelError("Every liking answer is the same, so nothing can be compared. Check how they were entered.")
    if versus is not None and versus not in frame.columns:
        raise ModelError(
            f"{versus!r} was not tried by consumers, so it cannot be compared with. Choose among "
            f"{', '.join(frame.columns)}."
        )
    return answers


def _method(model: LikingModel, ranks: str, base: str | None) -> str:
    against = f" Differences from {base} are adjusted by Dunnett's method," if base else " All"
    return (
        "Mixed model by REML with Satterthwaite's degrees of freedom: liking = "
        f"prototype{', session' if model.sessions else ''} (fixed) + consumer (random) + residual; every answer is "
        "used, also those of consumers who did not try everything. The F test is corrected for pairs that divide "
        "people unequally (Box's epsilon), and means and differences have errors as they show between consumers, each "
        "left out in turn (Tukey, 1958), where each prototype was tried by more than twice as many as there are "
        f"prototypes.{against} {'all ' if base else ''}pairs by Tukey's; a pair differs only where "
        f"the test over all prototypes shows a difference. Shares with Wilson's interval. Beside it {ranks}."
        f"{' The variance between consumers is estimated at zero.' if model.at_zero else ''}"
    )


def _notes(answers: AnswersRead, ranks: list[str], model: LikingModel) -> list[str]:
    notes = list(ranks)
    if len(answers.unread):
        notes.append(
            f"Answers that could not be read as a number from 1 to 9: {len(answers.unread)}. They are not used; they "
            "stay in the study."
        )
    if answers.n_repeated:
        notes.append(f"Prototypes a consumer answered for more than once: {answers.n_repeated}. The mean counts, once.")
    if answers.n_consumers < _FEW_CONSUMERS:
        notes.append(
            f"{answers.n_consumers} consumers give a direction only; for a choice between prototypes 40 to 60 are "
            "usual, for a claim 60 to 100 or more (common practice)."
        )
    if len(model.pairs) > 1 and model.evenness < _UNEVEN:
        notes.append(
            "Some pairs of prototypes divide the consumers much more than others do. Each difference has the error of "
            "its own pair; see whether groups of consumers want different things."
        )
    if not model.converged:
        notes.append("The mixed model did not settle; read its numbers with care and look at the ranks.")
    notes.append("The nine points are taken as equally far apart by the mixed model; the ranks do not need that.")
    return notes


CORRECTED = "mixed model, corrected"


@dataclass(frozen=True, eq=False, slots=True)
class LikingModel:
    """Test, means and differences of one fitted model; columns as in `panel.models.consumers.liking.Liking`.

    `evenness`: Box's epsilon, NaN where too few answers say so.
    """

    test: dict[str, Any]
    evenness: float
    means: pd.DataFrame
    pairs: pd.DataFrame
    versus: pd.DataFrame
    variances: pd.DataFrame
    at_zero: bool
    converged: bool
    sessions: bool = False


def liking_model(frame: pd.DataFrame, versus: str | None = None, rows: pd.DataFrame | None = None) -> LikingModel:
    """Fit the model to answers, consumers by prototypes with NaN for gaps; or to single `rows`, with their sessions.

    The test takes all pairs of prototypes as equally scattered. Means and differences do not, where each prototype was
    tried by enough consumers: else a pair that divides people looks surer than it is.

    Raises
    ------
    ModelError
        If the answers leave nothing to judge differences by, or too few of them are there.
    """
    design = _design(frame) if rows is None else _design_of_rows(frame, rows)
    response, person = design.response, design.groups[0]
    fit = fit_mixed_model(response, design.fixed, design.groups)
    if not fit.told_apart[0]:
        raise ModelError(
            "The consumers' own levels cannot be told from the scatter of their answers: too few of them answered for "
            "more than one prototype. Ask each about several."
        )
    if nothing_left(fit, response, design.fixed, design.groups)[0]:  # answers are whole numbers: none repeat nearly
        raise ModelError(
            "All consumers answered in exactly the same pattern, so nothing is left to judge a difference by. Check "
            "how the answers were entered."
        )
    infer, evenness = _errors_of(frame, fit) if rows is None else (inference(fit), float("nan"))
    test = attribute_rows(design, fit, infer).iloc[0]
    pairs = pair_rows(design, infer).drop(columns="attribute")
    means = mean_rows(design, infer).drop(columns="attribute")
    against = pairs.iloc[:0] if versus is None else versus_rows(design, infer, versus).drop(columns="attribute")
    return LikingModel(
        test={
            "test": "mixed model",
            **{name: float(test[name]) for name in ("statistic", "df", "df_error", "p_value")},
            "n_consumers": int(np.unique(person).size),
            "n_answers": len(response),
        },
        evenness=evenness,
        means=means.assign(letters=_letters(means, pairs)),
        pairs=pairs,
        versus=against,
        variances=pd.DataFrame({"consumer": fit.variances[:, 0], "residual": fit.variances[:, -1]}),
        at_zero=bool(fit.at_zero[0, 0]),
        converged=bool(fit.converged[0]),
        sessions=rows is not None,
    )


def _design(frame: pd.DataFrame) -> PanelDesign:
    """Return the design of answers, one of each consumer and prototype."""
    value = frame.to_numpy(dtype=float)
    person, prototype = np.nonzero(np.isfinite(value))
    return PanelDesign(
        attributes=("liking",),
        prototypes=tuple(str(name) for name in frame.columns),
        assessors=tuple(str(name) for name in frame.index),
        response=value[person, prototype][:, None],
        fixed=np.eye(frame.shape[1])[prototype],
        terms=(ASSESSOR,),
        groups=[person],
        cube=None,
        factors=(),
        dropped=(),
        sets=np.zeros(frame.shape[1], dtype=np.intp),
    )


def _design_of_rows(frame: pd.DataFrame, rows: pd.DataFrame) -> PanelDesign:
    """Return the design of single answers, their sessions fixed beside the prototypes as far as they can be told."""
    person, prototype = (
        np.asarray(names.get_indexer(pd.Index(rows[column])), dtype=np.intp)
        for names, column in ((frame.index, "assessor"), (frame.columns, "prototype"))
    )
    response, session = rows[["answer"]].to_numpy(dtype=float), np.asarray(pd.factorize(rows["session"])[0], np.intp)
    columns = np.eye(frame.shape[1])[prototype]
    fixed, dropped = fixed_columns(columns, {"session": session}, response)
    pair: Codes = person * frame.shape[1] + prototype
    again = len(np.unique(pair)) < len(pair)
    return replace(
        _design(frame),
        response=response,
        fixed=fixed,
        terms=(ASSESSOR, INTERACTION) if again else (ASSESSOR,),
        groups=[person, pair] if again else [person],
        factors=("session",),
        dropped=dropped,
        sets=sets_told(columns, [session]),
    )


_NO_SCATTER = 1e-9  # of the residual variance


def _errors_of(frame: pd.DataFrame, fit: MixedFit) -> tuple[Inference, float]:
    """Return estimates whose errors are those between consumers, where there are enough of them, and Box's epsilon.

    Epsilon (1954, Ann. Math. Stat. 25:484) is 1 where the differences of all pairs scatter alike, and 1 / (k - 1) where
    one direction holds all the scatter.
    """
    value, plain = frame.to_numpy(dtype=float), inference(fit)
    k, ratio = value.shape[1], fit.variances[0, 0] / fit.variances[0, 1]
    if np.isfinite(value).sum(axis=0).min() <= 2 * k:
        return plain, float("nan")
    own = between_people(value, ratio, plain.test)
    centre = np.eye(k) - 1 / k
    inner = centre @ own.covariance[0] @ centre
    each = np.diag(own.covariance[0])
    apart = (each[:, None] + each - 2 * own.covariance[0])[np.triu_indices(k, 1)]
    same = apart.min() <= _NO_SCATTER * fit.variances[0, 1] / len(value)  # all consumers agree on the size of a step
    return plain if same else own, float(np.trace(inner)) ** 2 / ((k - 1) * float((inner**2).sum()))


def _letters(means: pd.DataFrame, pairs: pd.DataFrame) -> list[str]:
    """Return Tukey's letters of the means."""
    names = pd.Index(means["prototype"])
    first, second = (names.get_indexer(pd.Index(pairs[side])) for side in ("prototype", "versus"))
    apart = np.zeros((len(names), len(names)), dtype=bool)
    apart[first, second] = apart[second, first] = below(pairs["p_adjusted"].to_numpy())
    return list(letters_for(means["estimate"].to_numpy(dtype=float), apart))


def _corrected_test(test: dict[str, Any], epsilon: float) -> dict[str, Any]:
    """Return the F test with its degrees of freedom times Box's epsilon (Greenhouse & Geisser 1959, Psychometrika 24).

    Where pairs of prototypes divide people unequally the uncorrected test finds differences too readily.
    """
    df, df_error = test["df"] * epsilon, test["df_error"] * epsilon
    p_value = float(fdtrc(df, df_error, test["statistic"]))
    return test | {"test": CORRECTED, "df": df, "df_error": df_error, "p_value": p_value}


_POINTS = range(1, 10)
_BOXES = {"top 2": 8, "top 3": 7}  # the lowest answer that counts
FEWEST_ALIKE = 3  # one answer for two prototypes says nothing about a person


def _answer_counts(frame: pd.DataFrame) -> pd.DataFrame:
    """Return how often each point was given: `prototype answer count base share`; means go to the nearest point."""
    value = np.rint(frame.to_numpy(dtype=float))
    base = np.isfinite(value).sum(axis=0)
    count = np.array([(value == point).sum(axis=0) for point in _POINTS]).T
    return pd.DataFrame(
        {
            "prototype": pd.Series(np.repeat(frame.columns.to_numpy(dtype=object), len(_POINTS)), dtype="str"),
            "answer": np.tile(list(_POINTS), frame.shape[1]),
            "count": count.ravel(),
            "base": np.repeat(base, len(_POINTS)),
            "share": (count / base[:, None]).ravel(),
        }
    )


def _top_boxes(frame: pd.DataFrame) -> pd.DataFrame:
    """Return `prototype box count base share ci_low ci_high`: answers at the top of the scale."""
    value = frame.to_numpy(dtype=float)
    base = np.isfinite(value).sum(axis=0)
    rows = []
    for box, lowest in _BOXES.items():
        names = {"prototype": pd.Series(frame.columns, dtype="str"), "box": box}
        rows.append(pd.DataFrame(names | shares_of((value >= lowest).sum(axis=0), base)))
    return pd.concat(rows, ignore_index=True)


def _same_everywhere(frame: pd.DataFrame) -> pd.DataFrame:
    """Return `assessor answer n`: consumers who answered three times or more, always the same."""
    value = frame.to_numpy(dtype=float)
    n = np.isfinite(value).sum(axis=1)
    alike = (np.nanmax(value, axis=1) == np.nanmin(value, axis=1)) & (n >= FEWEST_ALIKE)
    return pd.DataFrame(
        {
            "assessor": pd.Series(frame.index[alike], dtype="str"),
            "answer": np.nanmax(value[alike], axis=1) if alike.any() else np.zeros(0),
            "n": n[alike],
        }
    )


def _losses(answers: AnswersRead, rank_test: list[dict[str, Any]], why_lost: str) -> pd.DataFrame:
    """Return what each method uses and loses: `method consumers consumers_lost answers answers_lost why`."""
    consumers, total = answers.n_consumers, int(answers.frame.notna().to_numpy().sum())
    rows = [(name, consumers, total, "") for name in ("mixed model", CORRECTED)]
    rows += [(test["test"], test["n_consumers"], test["n_answers"], why_lost) for test in rank_test]
    return pd.DataFrame(
        [(name, n, consumers - n, used, total - used, why) for name, n, used, why in rows],
        columns=["method", "consumers", "consumers_lost", "answers", "answers_lost", "why"],
    )
