"""A serving plan for a study, and what a plan would never let be told apart, said before anybody makes or serves.

The rule is that for a study that was run: the factor is added as fixed, and what is left of the information is looked
at (`panel.stats.orders.block_designs`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from panel.errors import ModelError, StudyError
from panel.plan.codes import with_seal
from panel.plan.orders import MOST_PER_SESSION, ServingPlan, plan_servings
from panel.plan.safety import match_allergens
from panel.plan.sample_size import POWER, Scatter
from panel.stats.comparing.multiplicity import LEVEL
from panel.stats.comparing.power import LARGEST_DF, detection_power, smallest_difference
from panel.stats.orders.block_designs import information_left
from panel.study.study import Study
from panel.words import level_digits

_WORDS = {
    "session": ("served in one session", "Put {0} and {1} into one session."),
    "position": ("served at one position of the order", "Let the order change from person to person."),
    "site": ("put on one site", "Let the sites change from person to person."),
}
_SHOWN = 3


def _serving_confounds(servings: pd.DataFrame) -> tuple[str, ...]:
    """Return which pairs of prototypes a plan would never let be told from session, position or site, one line each."""
    found = []
    for factor, (met, advice) in _WORDS.items():
        known = servings.loc[servings[factor].astype("str") != ""]
        if known[factor].nunique() < 2:
            continue
        table = pd.crosstab(known["prototype"], known[factor])
        pairs, one = np.array(list(combinations(range(len(table)), 2))).reshape(-1, 2), np.eye(len(table))
        left = information_left(table.to_numpy(), one[pairs[:, 0]] - one[pairs[:, 1]])
        lost = [tuple(map(str, table.index[pair])) for pair, share in zip(pairs, left, strict=True) if share <= 0]
        if lost:
            named = ", ".join(f"{first} and {second}" for first, second in lost[:_SHOWN])
            more = f" and {len(lost) - _SHOWN} more pairs" if len(lost) > _SHOWN else ""
            found.append(
                f"By this plan {named}{more} are never {met}, nor joined through others: whatever they score, the "
                f"verdict would be 'cannot tell'. {advice.format(*lost[0])}"
            )
    return tuple(found)


def plan_study(
    study: Study,
    rng: np.random.Generator,
    *,
    prototypes: Sequence[str] | None = None,
    replicates: int = 1,
    per_session: int = MOST_PER_SESSION,
    sessions: int | None = None,
) -> ServingPlan:
    """Plan the servings of a study for its trained assessors; nobody is served what she must avoid.

    Parameters
    ----------
    prototypes
        By default those of the study whose role is not `reference`.
    replicates, per_session, sessions
        As in `panel.plan.orders.plan_servings`.

    Raises
    ------
    ModelError
        If the study lists too few prototypes or nobody, or the numbers make no plan.
    """
    served, people = list(_to_compare(study) if prototypes is None else prototypes), list(study.assessors)
    strangers = [name for name in served if name not in study.prototypes]
    if strangers:
        raise ModelError(f"The study has no prototype {strangers[0]!r}. Add it to the table of prototypes.")
    match = match_allergens(study, people, also=served)
    how: dict[str, Any] = {"replicates": replicates, "per_session": per_session, "sessions": sessions}
    plan = plan_servings(served, people, rng, **how, forbidden=match["forbidden"])
    return replace(plan, notes=(*_serving_confounds(plan.servings), *plan.notes, *_open_questions(match)))


def _to_compare(study: Study) -> list[str]:
    """Return the prototypes of the study that are no references."""
    table = study.table("prototypes")
    references = set(table.loc[table["role"] == "reference", "prototype"])
    return [name for name in study.prototypes if name not in references]


def _open_questions(match: Mapping[str, pd.DataFrame]) -> Iterator[str]:
    """Return what somebody has to settle before these people are served."""
    for assessor, rows in match["not_understood"].groupby("assessor", sort=False):
        words = ", ".join(repr(word) for word in rows["avoid"])
        yield (
            f"{assessor} avoids {words}, which no allergen and no ingredient of the tables answers to. Nothing is "
            "served until a qualified person has settled what it means here."
        )
    if len(match["not_known"]):
        names = ", ".join(dict.fromkeys(match["not_known"]["ingredient"]))
        yield (
            f"Whether these ingredients hold an allergen is not known: {names}. Ask the safety assessor before anybody "
            "with an allergy is served."
        )


# Writing a plan into a study: the servings, and the seal of their key.


def with_plan(study: Study, plan: ServingPlan, who: str) -> Study:
    """Return the study with a plan as its servings, and the seal of the key among its facts.

    Raises
    ------
    StudyError
        If nobody is named who makes it.
    """
    at = datetime.now(UTC).isoformat(timespec="seconds")
    facts = with_seal(study.facts, plan.servings, sealed_by=who, sealed_at=at)
    servings = plan.servings.assign(position=plan.servings["position"].astype("float64"))
    return replace(study, tables={**study.tables, "servings": servings}, facts=facts)


def with_session(study: Study, prototypes: Sequence[str], who: str, seed: int) -> Study:
    """Return the study with one more session, in which everybody gets these prototypes; the key is sealed anew.

    Raises
    ------
    ModelError
        If these prototypes and people make no plan.
    StudyError
        If nobody is named who makes it.
    """
    if not who.strip():
        raise StudyError("Write who makes the plan; that person may know the key.")
    plan = plan_study(study, np.random.default_rng(seed), prototypes=prototypes)
    before = study.table("servings")
    taken = [int(name) for name in {*before["session"], *study.scores["session"]} if str(name).isdecimal()]
    new = {name: str(max(taken, default=0) + 1 + place) for place, name in enumerate(plan.servings["session"].unique())}
    more = plan.servings.assign(session=plan.servings["session"].map(new))
    return with_plan(study, replace(plan, servings=pd.concat([before, more], ignore_index=True)), who)


# Two batches at half the replicates, or one batch scored more often: what does each buy?


@dataclass(frozen=True, eq=False, slots=True)
class BatchNumbers:
    """What batches and replicates buy at the same number of servings.

    Parameters
    ----------
    rows
        `batches replicates servings std_error_these std_error df seen_these seen power`: each of `batches` batches of a
        prototype is scored `replicates` times by everybody. `std_error_these` and `seen_these` speak for the batches
        that were scored alone; `std_error`, `df`, `seen` and `power` for the formulas: what would be true of other
        batches too. With one batch these rest on the batch SD being known.
    """

    rows: pd.DataFrame
    batch_sd: float
    difference: float
    method: str
    notes: tuple[str, ...]


def batch_numbers(
    difference: float, prototypes: int, scatter: Scatter, batch_sd: float, assessors: int, scored: int
) -> BatchNumbers:
    """Weigh batches against replicates: everybody scores each prototype `scored` times, of 1, 2 ... batches.

    Raises
    ------
    ModelError
        If a number is too small to plan with.
    """
    if not (difference > 0 and batch_sd >= 0 and prototypes > 1 and assessors > 1 and scored > 0):
        raise ModelError(
            "Weighing batches needs a difference above zero, a batch SD of zero or more, two prototypes, two assessors "
            "and one score of each."
        )
    rows = _batch_rows(difference, prototypes, scatter, batch_sd, assessors, scored)
    method = (
        "Standard error of a difference: sqrt(2 (s_pa^2/a + s_b^2/b + s_e^2/(a b r))), a assessors, b batches of each "
        "prototype, r scores of each batch by everybody; Satterthwaite's degrees of freedom from the mean squares of "
        f"assessor x prototype and of batch. Chances at {level_digits(LEVEL)} for one planned difference."
    )
    notes = (
        f"Scatter: {scatter.source}.",
        "With one batch the batch SD cannot be seen in the study: it must be known from elsewhere, and is taken as "
        "exactly known.",
    )
    return BatchNumbers(rows, batch_sd, difference, method, notes)


def _batch_rows(
    difference: float, prototypes: int, scatter: Scatter, batch_sd: float, assessors: int, scored: int
) -> pd.DataFrame:
    """Return the rows of `BatchNumbers`."""
    batches = np.array([b for b in range(1, scored + 1) if scored % b == 0], dtype=float)
    r, a, p = scored / batches, float(assessors), float(prototypes)
    n = a * scored
    variance, between = batch_sd**2, scatter.assessor_prototype
    views, batch, rest = scatter.residual + scored * between, scatter.residual + a * r * variance, scatter.residual
    these = np.sqrt(2 * views / n) * np.ones_like(batches)
    all_batches = np.sqrt(2 * (between / a + variance / batches + scatter.residual / n))
    df_views, df_batch = (a - 1) * (p - 1), p * (batches - 1)
    df_rest = np.maximum(p * n - p * a - df_batch, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        pooled = (views + batch - rest) ** 2 / (views**2 / df_views + batch**2 / df_batch + rest**2 / df_rest)
    added = variance / batches
    stated = (between / a + scatter.residual / n + added) ** 2 / ((between / a + scatter.residual / n) ** 2 / df_views)
    df = np.minimum(np.where(batches > 1, pooled, stated), LARGEST_DF)
    critical, critical_these = stdtrit(df, (1 + LEVEL) / 2), stdtrit(df_views, (1 + LEVEL) / 2)
    return pd.DataFrame(
        {
            "batches": batches.astype(int),
            "replicates": r.astype(int),
            "servings": int(n * p),
            "std_error_these": these,
            "std_error": all_batches,
            "df": df,
            "seen_these": smallest_difference(these, df_views, power=POWER, critical=critical_these),
            "seen": smallest_difference(all_batches, df, power=POWER, critical=critical),
            "power": detection_power(difference, all_batches, df, critical),
        }
    )
