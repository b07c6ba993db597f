"""What a change of the safety record does to ballots that are prepared."""

from __future__ import annotations

from panel.app.state import StudyInUse
from panel.errors import PanelError
from panel.store.ballot_record import ballot_record
from panel.store.moments import now
from panel.store.safety import follow_gate
from panel.study.study import Study


def after_safety_change(study: StudyInUse, changed: Study) -> str:
    """Open or close the ballots that are prepared, as the changed study's gate says; return a sentence about it."""
    if study.folder is None:
        return ""
    try:
        with ballot_record(study.folder) as record:
            return "" if record is None else follow_gate(record.store, record.collection, changed, at=now())
    except PanelError as error:
        return f"The ballots could not be told: {error}"
