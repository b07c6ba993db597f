"""How is a study kept as a folder: `datapackage.json`, one CSV file for each table, imported files under `raw/`?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from panel.errors import StudyError
from panel.study.description import DESCRIPTION, read_description
from panel.study.safe_write import replace_files, write_new_folder
from panel.study.study import Study
from panel.study.study_files import MAX_TABLE_BYTES, files_of_study, study_of_files
from panel.study.tables import TABLES
from panel.study.text_grid import decode


def read_folder(folder: str | Path) -> Study:
    """Read the study in a folder.

    Missing columns are tolerated, unknown ones kept; cells that cannot be read are collected in `Study.unread`.

    Raises
    ------
    StudyError
        If the folder holds no study or one whose files cannot be understood or lead out of it.
    """
    folder = Path(folder)
    try:
        if not folder.is_dir():
            raise StudyError(f"There is no folder {folder}.")
        return study_of_files(lambda path: _read_inside(folder, path), str(folder))
    except (OSError, ValueError) as error:
        raise StudyError(f"{folder} cannot be read: {error}.") from error


def write_study(study: Study, folder: str | Path, *, overwrite: bool = False) -> None:
    """Write a study into a folder, whole or not at all.

    A new folder appears complete or not. With `overwrite` the study in the folder is replaced; files that do not
    belong to a study and files under `raw/` stay where they are.

    Raises
    ------
    StudyError
        If the folder holds something and `overwrite` is not set, holds something that is no study, or cannot be
        written. What was in it is then unchanged.
    """
    folder = Path(folder)
    try:
        occupied = folder.exists() and (not folder.is_dir() or any(folder.iterdir()))
        if not occupied:
            files = files_of_study(study)
            folder.parent.mkdir(parents=True, exist_ok=True)
            write_new_folder(folder, files)
            return
        if not overwrite:
            raise StudyError(f"{folder} is there already; choose another name or say that it may be replaced.")
        if not folder.is_dir() or not (folder / DESCRIPTION).is_file():
            raise StudyError(f"{folder} holds something that is not a study; choose another name.")
        files = files_of_study(study, _other_resources(folder))
        for path in files:
            _inside(folder, path)
        replace_files(folder, files, leftover=[f"{name}.csv" for name in TABLES])
    except (OSError, ValueError) as error:
        raise StudyError(f"{folder} cannot be written: {error}.") from error


def _inside(folder: Path, path: str) -> Path:
    """Return the place of a file of the study; StudyError if a link leads out of the folder."""
    place = folder / path
    if not place.resolve().is_relative_to(folder.resolve()):
        raise StudyError(f"{place} is a link that leads out of the study; nothing was read or written.")
    return place


def _read_inside(folder: Path, path: str) -> bytes | None:
    place = _inside(folder, path)
    if not place.exists():
        return None
    if not place.is_file():
        raise StudyError(f"{place} is not a file; nothing was read.")
    if place.stat().st_size > MAX_TABLE_BYTES:
        raise StudyError(f"{place} is larger than {MAX_TABLE_BYTES} bytes; split the study.")
    return place.read_bytes()


def _other_resources(folder: Path) -> tuple[dict[str, Any], ...]:
    """Return the entries for other files in the description that is about to be replaced."""
    name = str(folder / DESCRIPTION)
    return read_description(decode(_read_inside(folder, DESCRIPTION) or b"", name)[0], name).other_resources
