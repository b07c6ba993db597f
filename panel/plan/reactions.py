"""What happened on somebody's skin: a record of adverse reactions, and the batches it freezes."""

from __future__ import annotations

import pandas as pd

from panel.errors import StudyError
from panel.plan.moments import moment
from panel.study.knowledge import cautions
from panel.study.study import Study

REACTION_COLUMNS = (
    "reaction",
    "when",
    "who",
    "assessor",
    "prototype",
    "batch",
    "session",
    "signs",
    "severity",
    "action",
    "seen_by",
    "settled",
    "document",
)
SEVERITIES = ("mild", "moderate", "serious")


def no_reactions() -> pd.DataFrame:
    """Return the table of reactions before there is one."""
    return pd.DataFrame({name: pd.Series(dtype="str") for name in REACTION_COLUMNS})


def reactions(study: Study) -> pd.DataFrame:
    """Return the entries about reactions of a study, with all their columns."""
    found = study.tables.get("reactions")
    return no_reactions() if found is None else found.reindex(columns=list(REACTION_COLUMNS), fill_value="")


def record_reaction(
    known: pd.DataFrame,
    *,
    when: str,
    who: str,
    signs: str,
    severity: str,
    action: str,
    assessor: str = "",
    prototype: str = "",
    batch: str = "",
    session: str = "",
    seen_by: str = "",
) -> pd.DataFrame:
    """Return the entries with a new reaction. Until it is settled its batches are frozen.

    Parameters
    ----------
    when, who
        Moment of the entry, and the named person who makes it.
    signs
        What was seen or felt, in plain words, such as `burning after 4 min, red patch of 3 cm`.
    severity
        `mild`, `moderate` or `serious`, as judged by the person who writes it; a physician may judge otherwise.
    action
        What was done: rinsed, photograph with consent, sent to a physician ...
    prototype, batch
        What was applied. Without a batch all batches of the prototype are frozen, without both all batches.

    Raises
    ------
    StudyError
        If the moment, the person, the signs, the severity or the action is missing or not understood.
    """
    if not (when.strip() and who.strip() and signs.strip() and action.strip()):
        raise StudyError("A reaction is recorded with time, person, signs and what was done. Give all four.")
    moment(when, "The time of the reaction")
    if severity not in SEVERITIES:
        raise StudyError(f"The severity {severity!r} is not known. Write one of: {', '.join(SEVERITIES)}.")
    number = str(1 + max((int(text) for text in known["reaction"] if text.isdigit()), default=0))
    entry = dict.fromkeys(REACTION_COLUMNS, "") | {
        "reaction": number,
        "when": when,
        "who": who,
        "assessor": assessor,
        "prototype": prototype,
        "batch": batch,
        "session": session,
        "signs": signs,
        "severity": severity,
        "action": action,
        "seen_by": seen_by,
        "settled": "no",
    }
    return _with(known, entry)


def settle_reaction(
    known: pd.DataFrame, reaction: str, *, when: str, who: str, action: str, document: str, seen_by: str = ""
) -> pd.DataFrame:
    """Return the entries with one more that settles a reaction and frees its batches; nothing is changed or deleted.

    Raises
    ------
    StudyError
        If there is no such reaction, or the moment, the person, the reason or the document is missing.
    """
    about = known.loc[known["reaction"] == reaction]
    if about.empty:
        raise StudyError(
            f"There is no reaction {reaction!r} on record. Known are: {', '.join(known['reaction'].unique())}."
        )
    if not (when.strip() and who.strip() and action.strip() and document.strip()):
        raise StudyError(
            "A reaction is settled by a named person, with time, what was concluded and the document. Give all four."
        )
    moment(when, "The time of settling")
    entry = {str(name): str(value) for name, value in about.iloc[0].items()}
    entry |= {"when": when, "who": who, "action": action, "document": document, "seen_by": seen_by, "settled": "yes"}
    return _with(known, entry)


def unsettled_reactions(study: Study) -> pd.DataFrame:
    """Return `reaction when assessor batch severity` of what is not settled: a row for each batch it freezes."""
    entries = reactions(study)
    batches = study.table("batches")
    rows = []
    for number, about in entries.groupby("reaction", sort=False):
        first, last = about.iloc[0], about.iloc[-1]
        if last["settled"] == "yes":
            continue
        # a batch or prototype that is not recorded freezes all that it may be
        for concerned in (batches["batch"] == first["batch"], batches["prototype"] == first["prototype"]):
            if concerned.any():
                frozen = batches.loc[concerned, "batch"]
                break
        else:
            frozen = batches["batch"]
        rows += [(number, first["when"], first["assessor"], batch, first["severity"]) for batch in frozen.unique()]
    return pd.DataFrame(rows, columns=["reaction", "when", "assessor", "batch", "severity"], dtype="str")


def when_to_stop() -> str:
    """Return the words that are shown while a sample is on the skin."""
    known = cautions().set_index("caution")["words"]
    return str(known["stop_and_refer"])


def _with(known: pd.DataFrame, entry: dict[str, str]) -> pd.DataFrame:
    added = pd.DataFrame([entry], columns=list(REACTION_COLUMNS), dtype="str")
    return pd.concat([known[list(REACTION_COLUMNS)], added], ignore_index=True)
