"""Which rows of a table say whose they are and of what? The others are in no analysis."""

from __future__ import annotations

import pandas as pd

from panel.study.study import Study

NEEDED = {
    "scores": ("assessor", "prototype", "attribute"),
    "answers": ("assessor", "prototype", "question"),
    "courses": ("assessor", "prototype", "attribute"),
    "dominances": ("assessor", "prototype"),
}
"""What a row of each table of collected answers has to name."""

SESSION = "session"
_TOGETHER = {"answers": ["kind", "question"]}  # sessions are a matter of each question


def named_rows(study: Study, table: str) -> pd.DataFrame:
    """Return the rows of a table in `NEEDED` that an analysis may use: those that lack no name."""
    frame = study.table(table)
    lacking = why_nameless(frame, table) != ""
    return frame.loc[~lacking] if lacking.any() else frame


def why_nameless(frame: pd.DataFrame, table: str) -> pd.Series:
    """Return for each row what it does not name, in words; the empty text where nothing lacks.

    A blank would be taken for one more person, prototype or session. A session lacks only where other rows (of the
    same question) name theirs: a study without sessions names none.
    """
    why = pd.Series("", index=frame.index, dtype="str")
    for column, blank in lacking_names(frame, table).items():
        why = why.mask(blank & (why == ""), f"no {column} is named in this row")
    return why


def lacking_names(frame: pd.DataFrame, table: str) -> dict[str, pd.Series]:
    """Return for each column of names in which some row has none that it needs: True for these rows."""
    lacking = {column: _blank(frame[column]) for column in NEEDED[table]}
    session = _blank(frame[SESSION])
    if session.any() and not session.all():
        together = _TOGETHER.get(table)
        elsewhere = ~session.groupby([frame[name] for name in together]).transform("all") if together else True
        lacking[SESSION] = session & elsewhere
    return {column: blank for column, blank in lacking.items() if blank.any()}


def _blank(names: pd.Series) -> pd.Series:
    blank = [name for name in names.unique() if pd.isna(name) or not str(name).strip()]
    return names.isin(blank) if blank else pd.Series(data=False, index=names.index)
