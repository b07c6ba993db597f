"""How well do consumers like the prototypes, which are liked better, and which cannot be separated?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.consumers.answers_read import AnswersRead, numeric_answers
from panel.models.consumers.liking_checks import ranks_beside, serving_effects, shifts_in_order
from panel.models.consumers.liking_model import LikingModel, corrected_test, liking_model
from panel.models.consumers.liking_tables import (
    answer_counts,
    evenness,
    losses,
    same_everywhere,
    top_boxes,
    with_paired_tests,
)
from panel.models.prototypes.verdict import difference_verdicts
from panel.study.study import Study

LEVEL = 0.95
UNEVEN = 0.75  # of Box's epsilon: below, pairs divide people clearly unequally (common practice)
FEW_CONSUMERS = 40  # below, a mean liking gives a direction only (common practice, no source)
MOST_BY_ORDER = 500  # consumers for whom the ordered model is fitted without being asked for


@dataclass(frozen=True, eq=False, slots=True)
class Liking:
    """What consumers' liking answers say about the prototypes; all frames tidy and unrounded.

    Parameters
    ----------
    tests
        `test statistic df df_error p_value n_consumers n_answers`: that no prototype is liked better. `mixed model` is
        the main one; `mixed model, corrected` allows for pairs that divide people unequally; beside it the ranks
        (`Friedman`, `Durbin` or `Skillings-Mack`; `statistic` is chi-square, for Durbin F) and, where it was fitted,
        the `cumulative logit` (likelihood ratio).
    means
        `prototype n raw_mean estimate std_error df ci_low ci_high letters`: mean liking; the estimate takes out who
        tried what. Two prototypes that share a letter cannot be separated (Tukey).
    pairs, versus
        `prototype versus estimate std_error df statistic p_value p_adjusted ci_low ci_high verdict n_both
        paired_std_error paired_p_value`: all pairs by Tukey, differences from the benchmark by Dunnett (without rows if
        there is none); `paired_...` is Student's paired test of that pair alone, on the consumers who tried both.
    distribution
        `prototype answer count base share`: how often each of the 9 points was given.
    boxes
        `prototype box count base share ci_low ci_high`: answers in the top 2 (8, 9) and top 3 (7, 8, 9), with Wilson's
        interval.
    lost
        `method consumers consumers_lost answers answers_lost why`: what each method uses and what it cannot use.
    serving
        `effect statistic df df_error p_value prototype_p_value`: position and session as further fixed effects, and the
        test of the prototypes with them in the model. Without rows where neither is recorded or can be told apart.
    positions
        `position n estimate std_error`: mean liking by position, prototypes and sessions taken out.
    by_order
        `prototype estimate std_error`: shift on the logit scale against the first prototype, from the cumulative logit;
        without rows where it was not fitted.
    same_everywhere
        `assessor answer n`: consumers who gave every prototype the same answer. They stay in.
    variances
        `consumer residual`.
    p_value
        That of the test the answer rests on: the corrected one where enough consumers tried everything.
    answers
        What was read, and what could not be (`panel.models.consumers.answers_read`).
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
    by_order: pd.DataFrame
    same_everywhere: pd.DataFrame
    variances: pd.DataFrame
    answers: AnswersRead
    p_value: float
    benchmark: str | None
    margin: float | None
    level: float
    method: str
    notes: tuple[str, ...]


def weigh_liking(
    study: Study,
    *,
    versus: str | None = None,
    question: str | None = None,
    margin: float | None = None,
    level: float = LEVEL,
    by_order: bool | None = None,
) -> Liking:
    """Compare the prototypes of `study` by how well consumers like them.

    Parameters
    ----------
    versus
        Prototype the others are compared with; by default the study's benchmark, if it was tried.
    question
        Which liking question; by default the first.
    margin
        Largest difference in liking that does not matter; by default the study's own `liking_margin`, if it has one.
    level
        Level of the intervals.
    by_order
        Whether to fit the cumulative logit beside the mixed model; by default where there are at most 500 consumers.

    Raises
    ------
    ModelError
        If there are no liking answers, fewer than two prototypes or consumers, nothing varies, or `versus` was not
        tried.
    """
    answers = _asked(numeric_answers(study, "liking", question), versus, level)
    frame = answers.frame
    margin = _stated_margin(study) if margin is None else margin
    base = versus or (study.benchmark if study.benchmark in frame.columns else None)
    model = liking_model(frame, level, base)
    epsilon = evenness(frame)
    main = [model.test] if np.isnan(epsilon) else [model.test, corrected_test(model.test, epsilon)]
    ranks, (order_test, shifts, why_not) = ranks_beside(frame), shifts_in_order(frame, by_order, MOST_BY_ORDER)
    serving, positions = serving_effects(answers)
    return Liking(
        question=answers.question,
        tests=pd.DataFrame([*main, *ranks.tests, *order_test]),
        means=_with_counts(model.means, frame),
        pairs=with_paired_tests(difference_verdicts(model.pairs, margin), frame),
        versus=with_paired_tests(difference_verdicts(model.versus, margin), frame),
        distribution=answer_counts(frame),
        boxes=top_boxes(frame, level),
        lost=losses(answers, ranks, bool(order_test)),
        serving=serving,
        positions=positions,
        by_order=shifts,
        same_everywhere=same_everywhere(frame),
        variances=model.variances,
        answers=answers,
        p_value=float(main[-1]["p_value"]),
        benchmark=base,
        margin=margin,
        level=level,
        method=_method(model, ranks.method, base, bool(order_test)),
        notes=tuple(_notes(answers, ranks.notes, why_not, model, epsilon)),
    )


def _stated_margin(study: Study) -> float | None:
    stated = study.facts.get("liking_margin")
    return float(stated) if isinstance(stated, int | float) else None


def _with_counts(means: pd.DataFrame, frame: pd.DataFrame) -> pd.DataFrame:
    counted = means.assign(n=frame.notna().sum().to_numpy(), raw_mean=frame.mean().to_numpy(dtype=float))
    return counted[["prototype", "n", "raw_mean", "estimate", "std_error", "df", "ci_low", "ci_high", "letters"]]


def _asked(answers: AnswersRead, versus: str | None, level: float) -> AnswersRead:
    """Return the answers; refuse what cannot be answered at all."""
    if not 0 < level < 1:
        raise ModelError(f"The level must lie between 0 and 1, such as 0.95; it is {level}.")
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


def _method(model: LikingModel, ranks: str, base: str | None, with_order: bool) -> str:
    against = f" Differences from {base} are adjusted by Dunnett's method," if base else " All"
    return (
        "Mixed model by REML with Satterthwaite's degrees of freedom: liking = prototype (fixed) + consumer (random) + "
        "residual; every answer is used, also those of consumers who did not try everything. The F test is corrected "
        f"for pairs that divide people unequally (Box's epsilon), where enough consumers tried everything.{against} "
        f"{'all ' if base else ''}pairs by Tukey's. Shares with Wilson's interval. Beside it {ranks}"
        f"{', and a cumulative logit model that uses only the order of the nine points' if with_order else ''}."
        f"{' The variance between consumers is estimated at zero.' if model.at_zero else ''}"
    )


def _notes(answers: AnswersRead, ranks: list[str], why_not: str, model: LikingModel, epsilon: float) -> list[str]:
    notes = list(ranks)
    if len(answers.unread):
        notes.append(
            f"Answers that could not be read as a number from 1 to 9: {len(answers.unread)}. They are not used; they "
            "stay in the study."
        )
    if answers.n_repeated:
        notes.append(f"Prototypes a consumer answered for more than once: {answers.n_repeated}. The mean counts, once.")
    if answers.n_consumers < FEW_CONSUMERS:
        notes.append(
            f"{answers.n_consumers} consumers give a direction only; for a choice between prototypes 40 to 60 are "
            "usual, for a claim 60 to 100 or more (common practice)."
        )
    if len(model.pairs) > 1 and epsilon < UNEVEN:
        notes.append(
            "Some pairs of prototypes divide the consumers much more than others do, while the mixed model takes all "
            "pairs as equally scattered. For such a pair trust its own paired test, and see whether groups of "
            "consumers want different things."
        )
    if why_not:
        notes.append(why_not)
    if not model.converged:
        notes.append("The mixed model did not settle; read its numbers with care and look at the ranks.")
    notes.append(
        "The nine points are taken as equally far apart by the mixed model; the ranks and, where fitted, the "
        "cumulative logit model do not need that."
    )
    return notes
