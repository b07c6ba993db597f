"""A serving plan for a study: its prototypes, its assessors, and what they must not get."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from panel.errors import ModelError
from panel.plan.codes import UNLUCKY
from panel.plan.orders import FOREARMS, MOST_PER_SESSION, ServingPlan, Sites, plan_servings
from panel.plan.safety import AllergenMatch, match_allergens
from panel.study.study import Study


def plan_study(
    study: Study,
    rng: np.random.Generator,
    *,
    prototypes: Sequence[str] | None = None,
    assessors: Sequence[str] | None = None,
    replicates: int = 1,
    per_session: int = MOST_PER_SESSION,
    sessions: int | None = None,
    sites: Sites = FOREARMS,
    warm_up: str = "",
    unlucky: Iterable[str] = UNLUCKY,
) -> ServingPlan:
    """Plan the servings of a study; nobody is served what she must avoid.

    Parameters
    ----------
    prototypes
        By default those of the study whose role is not `reference`, without the warm-up.
    assessors
        By default the trained assessors of the study.
    replicates, per_session, sessions, sites, warm_up, unlucky
        As in `panel.plan.orders.plan_servings`.

    Raises
    ------
    ModelError
        If the study lists too few prototypes or nobody, or the numbers make no plan.
    """
    served = list(prototypes) if prototypes is not None else [p for p in _to_compare(study) if p != warm_up]
    people = list(assessors) if assessors is not None else list(study.assessors)
    strangers = [name for name in served if name not in study.prototypes]
    if strangers:
        raise ModelError(f"The study has no prototype {strangers[0]!r}. Add it to the table of prototypes.")
    match = match_allergens(study, people, also=(*served, warm_up))
    plan = plan_servings(
        served,
        people,
        rng,
        replicates=replicates,
        per_session=per_session,
        sessions=sessions,
        sites=sites,
        warm_up=warm_up,
        forbidden=match.forbidden,
        unlucky=unlucky,
    )
    return replace(plan, notes=(*plan.notes, *_open_questions(match)))


def _to_compare(study: Study) -> list[str]:
    """Return the prototypes of the study that are no references."""
    table = study.table("prototypes")
    references = set(table.loc[table["role"] == "reference", "prototype"])
    return [name for name in study.prototypes if name not in references]


def _open_questions(match: AllergenMatch) -> list[str]:
    """Return what somebody has to settle before these people are served."""
    notes = []
    for assessor, rows in match.not_understood.groupby("assessor", sort=False):
        words = ", ".join(repr(word) for word in rows["avoid"])
        notes.append(
            f"{assessor} avoids {words}, which no allergen and no ingredient of the tables answers to. Nothing is "
            "served until a qualified person has settled what it means here."
        )
    if len(match.not_known):
        names = ", ".join(dict.fromkeys(match.not_known["ingredient"]))
        notes.append(
            f"Whether these ingredients hold an allergen is not known: {names}. Ask the safety assessor before anybody "
            "with an allergy is served."
        )
    return notes
