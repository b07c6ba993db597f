"""How was, or will be, every sample applied: dose, area, strokes, times, room, and what was done otherwise?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import StudyError
from panel.plan.moments import moment
from panel.study.plan_knowledge import protocol_items, stage_times
from panel.study.study import Study

EARLY, IN_TIME, LATE, ANY_TIME = "early", "in time", "late", "any time"
DEVIATION_COLUMNS = ("when", "session", "assessor", "what")
_NOT_ROUNDING = 1e-9


@dataclass(frozen=True, eq=False, slots=True)
class Protocol:
    """How samples are applied and when they are scored.

    Parameters
    ----------
    items
        `item words value stated usual basis source`: the value the study states, else the usual one; `stated` is True
        where the study says it.
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

    def when_scored(self, attribute: str, minutes: float) -> str:
        """Return whether a score entered so many minutes after the end of rubbing is early, in time or late.

        `any time` for an attribute that is not tied to that moment, or not known.
        """
        rows = self.times.loc[self.times["attribute"] == attribute]
        if rows.empty or np.isnan(rows["minutes"].iloc[0]) or np.isnan(minutes):
            return ANY_TIME
        if minutes < rows["earliest"].iloc[0] - _NOT_ROUNDING:
            return EARLY
        return LATE if minutes > rows["latest"].iloc[0] + _NOT_ROUNDING else IN_TIME


def read_protocol(study: Study) -> Protocol:
    """Return the protocol of a study: its facts (dose, area, strokes, room ...), else what is usual.

    A fact has the name of its item, in the study's facts or in the object `protocol` among them.
    """
    stated = _stated(study)
    items = protocol_items()
    values = [stated.get(item) or usual for item, usual in zip(items["item"], items["usual"], strict=True)]
    items = items.assign(value=pd.Series(values, dtype="str"), stated=[item in stated for item in items["item"]])
    return Protocol(
        items=items[["item", "words", "value", "stated", "usual", "basis", "source"]],
        times=_times(study),
        deviations=_deviations(study),
        notes=_notes(items),
    )


def with_deviation(
    study_facts: dict[str, object], *, when: str, what: str, session: str = "", assessor: str = ""
) -> dict:
    """Return the facts of a study with one more deviation from the protocol; those before stay.

    Raises
    ------
    StudyError
        If the moment or what happened is missing.
    """
    if not when.strip() or not what.strip():
        raise StudyError("A deviation is noted with its time and what was done otherwise. Give both.")
    moment(when, "The time of the deviation")
    known = study_facts.get("deviations")
    entry = {"when": when, "session": session, "assessor": assessor, "what": what}
    return {**study_facts, "deviations": [*(known if isinstance(known, list) else []), entry]}


def _stated(study: Study) -> dict[str, str]:
    """Return the items that the study states, with their words."""
    own = study.facts.get("protocol")
    facts = {**study.facts, **(own if isinstance(own, dict) else {})}
    names = protocol_items()["item"]
    return {name: str(facts[name]).strip() for name in names if str(facts.get(name) or "").strip()}


def _times(study: Study) -> pd.DataFrame:
    """Return when each attribute is scored: its own minutes, else those of its stage, with the slack of the stage."""
    usual = stage_times().set_index("stage")
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


def _deviations(study: Study) -> pd.DataFrame:
    listed = study.facts.get("deviations")
    entries = [entry for entry in listed if isinstance(entry, dict)] if isinstance(listed, list) else []
    rows = [{name: str(entry.get(name) or "") for name in DEVIATION_COLUMNS} for entry in entries]
    return pd.DataFrame(rows, columns=list(DEVIATION_COLUMNS), dtype="str")


def _notes(items: pd.DataFrame) -> tuple[str, ...]:
    missing = items.loc[~items["stated"], "words"].tolist()
    if not missing:
        return ()
    return (
        f"The study does not state: {', '.join(missing)}. Usual values stand in their place; write down what was done "
        "before the first session, because nobody can repeat what is not written.",
    )
