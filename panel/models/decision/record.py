"""Who decided for which prototype, why, on which data, and what is not established? Recorded, never judged."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace

import pandas as pd

from panel.errors import StudyError
from panel.plan.codes import moment
from panel.study.study import Study

_DECISION_COLUMNS = (
    *("decision", "chosen", "runner_up", "reason", "not_established", "who", "role", "date", "data_hash", "seal"),
)
NONE_CHOSEN = "none"
_START = "afterfeel decisions"


def _decided_on(study: Study) -> str:
    """Return the hash of what is decided on: the whole study without its decisions."""
    return replace(
        study, tables={name: table for name, table in study.tables.items() if name != "decisions"}
    ).content_hash


def with_decision(
    study: Study,
    *,
    chosen: str,
    reason: str,
    not_established: str,
    who: str,
    date: str,
    runner_up: str = "",
    role: str = "",
    seen: Study | None = None,
) -> Study:
    """Return the study with one more row in its table of decisions; the rows before stay as they are.

    Parameters
    ----------
    chosen, runner_up
        Prototypes of the study; `none` if none was chosen.
    reason, not_established
        Why, and what the evidence does not establish.
    who, role, date
        The person who decided, in which role, and when (ISO 8601).
    seen
        The study that was looked at, where somebody else may have changed it since.

    Raises
    ------
    StudyError
        If something is missing, a prototype is not known, the decisions so far were changed, or the data are no
        longer those that were looked at.
    """
    words = {"who": who, "reason": reason, "not_established": not_established}
    asked = {"who": "who decided", "reason": "the reason", "not_established": "what is not established"}
    missing = [asked[name] for name, text in words.items() if not text.strip()]
    if missing:
        raise StudyError(f"A decision cannot be recorded without {', '.join(missing)}. Write it down.")
    moment(date, "The date of the decision")
    if seen is not None and _decided_on(seen) != _decided_on(study):
        raise StudyError("Somebody else changed the study while you decided. Look at it as it is now, then decide.")
    _ask_names(study, chosen.strip(), runner_up.strip())
    decisions = study.table("decisions")
    broken = first_changed_decision(decisions)
    if broken is not None:
        raise StudyError(
            f"Decision {broken + 1} was changed after it was written. Restore the table of decisions from a copy "
            "before anything is added."
        )
    row = {name: text.strip() for name, text in words.items()} | {
        "decision": str(len(decisions) + 1),
        "chosen": chosen.strip(),
        "runner_up": runner_up.strip(),
        "role": role.strip(),
        "date": date.strip(),
        "data_hash": _decided_on(study),
    }
    last = str(decisions["seal"].iloc[-1]) if len(decisions) else _START
    added = pd.DataFrame([row | {"seal": _seal(last, row)}], columns=list(_DECISION_COLUMNS), dtype="str")
    longer = pd.concat([decisions[list(_DECISION_COLUMNS)], added], ignore_index=True).fillna("").astype("str")
    return replace(study, tables={**study.tables, "decisions": longer})


def first_changed_decision(decisions: pd.DataFrame) -> int | None:
    """Return the first row that no longer fits its seal, counted from 0; None if nothing was changed or taken out.

    Rows cut off at the end leave no trace here; the copy in the evidence file shows them.
    """
    last = _START
    for number, row in enumerate(decisions.to_dict("records")):
        if str(row["seal"]) != _seal(last, {str(name): str(row[name]) for name in _DECISION_COLUMNS if name != "seal"}):
            return number
        last = str(row["seal"])
    return None


def decisions_so_far(study: Study) -> pd.DataFrame:
    """Return the decisions with `same_data`: whether the study is still the one that was decided on."""
    decisions = study.table("decisions")
    return decisions.assign(same_data=decisions["data_hash"] == _decided_on(study))


def _ask_names(study: Study, chosen: str, runner_up: str) -> None:
    names = (*study.prototypes, NONE_CHOSEN)
    if chosen not in names:
        raise StudyError(f"{chosen!r} is no prototype of this study. Choose among {', '.join(names)}.")
    if runner_up and runner_up not in study.prototypes:
        raise StudyError(f"The runner-up {runner_up!r} is no prototype of this study. Choose one, or leave it empty.")
    if runner_up and runner_up == chosen:
        raise StudyError(f"{chosen} cannot be chosen and come next as well. Leave the runner-up empty.")


def _seal(last: str, row: dict[str, str]) -> str:
    return hashlib.sha256(json.dumps([last, row], ensure_ascii=True, sort_keys=True).encode()).hexdigest()
