"""Open a study, whatever it is kept as."""

from __future__ import annotations

from pathlib import Path

from panel.errors import StudyError
from panel.study.archive_limits import MAX_UNPACKED, open_archive
from panel.study.description import DESCRIPTION
from panel.study.folder import read_folder
from panel.study.study import Study
from panel.study.workbook import study_of_workbook
from panel.study.zip_file import study_of_zip


def open_study(path: str | Path) -> Study:
    """Open the study at a path: a folder, a workbook (.xlsx) or a zipped folder (.zip).

    What it is is seen from what it holds, not from its name.

    Raises
    ------
    StudyError
        If it is none of these, cannot be read or cannot be understood; the text says what to do.
    """
    path = Path(path)
    try:
        if path.name == DESCRIPTION and path.is_file():
            path = path.parent
        if path.is_dir():
            return read_folder(path)
        if not path.exists():
            raise StudyError(f"There is no study at {path}.")
        if not path.is_file():
            raise StudyError(f"{path} is neither a file nor a folder.")
        if path.stat().st_size > MAX_UNPACKED:
            raise StudyError(f"{path} is larger than {MAX_UNPACKED} bytes; split the study.")
        return study_of_bytes(path.read_bytes(), str(path))
    except (OSError, ValueError) as error:
        raise StudyError(f"{path} cannot be read: {error}.") from error


def study_of_bytes(content: bytes, name: str) -> Study:
    """Return the study in the bytes of a workbook or zip, such as an upload; StudyError if there is none."""
    if content[:2] != b"PK":
        raise StudyError(f"{name} is not a study folder, workbook or zip; a table of scores has to be imported first.")
    if "xl/workbook.xml" in open_archive(content, name).namelist():
        return study_of_workbook(content, name)
    return study_of_zip(content, name)
