"""How was, or will be, every sample applied: dose, area, strokes, times, room, and what was done otherwise?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from panel.errors import StudyError
from panel.study.knowledge import shared_table
from panel.study.study import Study

_DEVIATION_COLUMNS = ("when", "session", "assessor", "what")


@dataclass(frozen=True, eq=False, slots=True)
class _Protocol:
    """How samples are applied and when they are scored.

    Parameters
    ----------
    items
        `item words value usual basis source`: what the study states, empty where it states nothing, and what is usual
        for a cream on forearm or hand.
    times
        `attribute stage minutes earliest latest`: minutes after the end of rubbing at which it is scored, and from
        when to when that is in time; NaN where it is not tied to that moment.
    deviations
        `when session assessor what`, as the study lists them.
    """

    items: pd.DataFrame
    times: pd.DataFrame
    deviations: pd.DataFrame
    notes: tuple[str, ...]


def read_protocol(study: Study) -> _Protocol:
    """Return the protocol of a study: its facts (dose, area, strokes, room ...), and what is usual.

    A fact has the name of its item, in the study's facts or in the object `protocol` among them.
    """
    own = study.facts.get("protocol")
    facts = {**study.facts, **(own if isinstance(own, dict) else {})}
    items = shared_table("protocol")
    items = items.assign(value=pd.Series([str(facts.get(name) or "").strip() for name in items["item"]], dtype="str"))
    listed = study.facts.get("deviations")
    entries = [entry for entry in listed if isinstance(entry, dict)] if isinstance(listed, list) else []
    rows = [{name: str(entry.get(name) or "") for name in _DEVIATION_COLUMNS} for entry in entries]
    return _Protocol(
        items=items[["item", "words", "value", "usual", "basis", "source"]],
        times=_times(study),
        deviations=pd.DataFrame(rows, columns=list(_DEVIATION_COLUMNS), dtype="str"),
        notes=_notes(items),
    )


def _times(study: Study) -> pd.DataFrame:
    """Return when each attribute is scored: its own minutes, else those of its stage, with the slack of the stage."""
    usual = shared_table("stage_times").set_index("stage")
    table = study.table("attributes")
    stage = table["stage"].where(table["stage"].isin(usual.index), "any")
    # as numbers even where there is no attribute at all
    by_stage, early, late = (
        stage.map(usual[name]).astype("float64") for name in ("minutes", "early_slack", "late_slack")
    )
    # a stage that is not tied to the end of rubbing stays so, whatever its minutes say
    minutes = table["minutes"].astype("float64").where(table["minutes"].notna(), by_stage).where(by_stage.notna())
    return pd.DataFrame(
        {
            "attribute": table["attribute"],
            "stage": table["stage"],
            "minutes": minutes,
            "earliest": minutes - early,
            "latest": minutes + late,
        }
    ).reset_index(drop=True)


def _notes(items: pd.DataFrame) -> tuple[str, ...]:
    missing = items.loc[items["value"] == "", "words"].tolist()
    if not missing:
        return ()
    return (
        f"The study does not state: {', '.join(missing)}. Write down what is done before the first session, because "
        "nobody can repeat what is not written.",
    )


# Who does what, and which roles should not be one person's?


FORMULATOR, PANEL_LEADER, ANALYST, CLAIM_REVIEWER = "formulator", "panel leader", "analyst", "claim reviewer"
_SAFETY_ASSESSOR = "safety assessor"
_ROLES = (FORMULATOR, PANEL_LEADER, ANALYST, _SAFETY_ASSESSOR, CLAIM_REVIEWER, "trainer", "assessor")


def people(study: Study) -> pd.DataFrame:
    """Return who works on a study, by its fact `people`: `person roles assessor made`, a code, never a name.

    `roles` and `made` are tuples, `assessor` is the code under which she scores, `made` the prototypes she made.

    Raises
    ------
    StudyError
        If an entry has no person, or a role is not known.
    """
    listed = study.facts.get("people")
    rows = [_person(entry) for entry in listed] if isinstance(listed, list) else []
    return pd.DataFrame(rows, columns=["person", "roles", "assessor", "made"], dtype="object")


def conflicts(team: pd.DataFrame, servings: pd.DataFrame) -> pd.DataFrame:
    """Return what does not go together: `person what advice`, one row each. It warns and forbids nothing.

    Parameters
    ----------
    servings
        `assessor prototype`, as planned or served.
    """
    rows = [row for person in team.itertuples() for row in (*_own_prototypes(person, servings), *_two_hats(person))]
    return pd.DataFrame(rows, columns=["person", "what", "advice"], dtype="str")


def _own_prototypes(person: Any, servings: pd.DataFrame) -> Iterator[tuple[str, str, str]]:
    """Yield whether somebody who makes prototypes is served some, her own or others of the study."""
    served = set(servings.loc[servings["assessor"] == person.assessor, "prototype"]) if person.assessor else set()
    own = [prototype for prototype in person.made if prototype in served]
    if own:
        what = f"scores what she made: {', '.join(own)}"
        advice = "Whoever made a batch recognises it. Leave her out of this panel, by a rule written down before the "
        yield person.person, what, f"{advice}first session."
    elif served and FORMULATOR in person.roles:
        advice = "Knowing the swaps is enough to guess which sample is which. Let somebody else score."
        yield person.person, "formulates and scores in the same study", advice


def _two_hats(person: Any) -> list[tuple[str, str, str]]:
    """Return pairs of roles that one person should not hold in one study."""
    pairs: Sequence[tuple[str, str, str]] = (
        (FORMULATOR, ANALYST, "Let somebody who did not make the prototypes analyse, or have the analysis repeated."),
        (FORMULATOR, PANEL_LEADER, "The leader must not know the prototypes. Let somebody else run the sessions."),
        (FORMULATOR, _SAFETY_ASSESSOR, "The safety assessor must be independent of the formulation."),
        (PANEL_LEADER, ANALYST, "Keep the key with a third person until the data are locked."),
        (FORMULATOR, CLAIM_REVIEWER, "A claim is reviewed by somebody who gains nothing by it."),
    )
    return [
        (person.person, f"is {one} and {other}", advice)
        for one, other, advice in pairs
        if one in person.roles and other in person.roles
    ]


def _person(entry: object) -> tuple[str, tuple[str, ...], str, tuple[str, ...]]:
    facts = entry if isinstance(entry, dict) else {}
    name = str(facts.get("person") or "").strip()
    if not name:
        raise StudyError("An entry of the fact 'people' names nobody. Give each a code as 'person'.")
    roles = tuple(str(role) for role in facts.get("roles") or ())
    if strange := [role for role in roles if role not in _ROLES]:
        raise StudyError(f"The role {strange[0]!r} is not known. Roles are: {', '.join(_ROLES)}.")
    made = tuple(str(prototype) for prototype in facts.get("made") or ())
    return name, roles, str(facts.get("assessor") or ""), made
