"""Putting a changed study where the study in use lives: into its folder, or into this window until a copy is saved."""

from __future__ import annotations

from panel.app.state import StudyInUse, use_study
from panel.study.folder import write_study
from panel.study.study import Study


def keep(study: StudyInUse, changed: Study) -> str:
    """Keep the changed study, and return a sentence that says where it is now.

    Raises
    ------
    StudyError
        If the folder cannot be written; the study in it is then as it was.
    """
    if study.folder is None:
        use_study(study.handle.name, changed)
        return "It is not saved yet: save a copy on the page Study."
    write_study(changed, study.folder, overwrite=True)
    return f"It is saved in {study.folder}."
