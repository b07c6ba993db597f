"""How is a study kept as a folder: `datapackage.json`, one CSV file for each table, imported files under `raw/`?"""

from __future__ import annotations

from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any

from panel.errors import StudyError
from panel.study.description import DESCRIPTION, read_description
from panel.study.safe_write import OWN, files_at_one_moment, finish_interrupted, one_writer, place_inside, replace_files
from panel.study.study import Study
from panel.study.study_files import MAX_TABLE_BYTES, files_of_study, paths_of_study, study_of_files
from panel.study.tables import TABLES
from panel.study.text_grid import decode


def read_folder(folder: str | Path) -> Study:
    """Read the study in a folder, as it was at one moment whoever is writing.

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
        files = files_at_one_moment(folder, DESCRIPTION, partial(paths_of_study, where=str(folder)), MAX_TABLE_BYTES)
        return study_of_files(files.get, str(folder))
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
        finish_interrupted(folder)
        _may_be_written(folder, overwrite=overwrite)
        files = files_of_study(study)
        made = not folder.exists()
        folder.mkdir(parents=True, exist_ok=True)
        try:
            with one_writer(folder):
                if _may_be_written(folder, overwrite=overwrite):
                    files = files_of_study(study, _other_resources(folder))
                replace_files(folder, files, gone=[f"{name}.csv" for name in TABLES])
        except BaseException:
            if made:
                with suppress(OSError):
                    folder.rmdir()
            raise
    except (OSError, ValueError) as error:
        raise StudyError(f"{folder} cannot be written: {error}.") from error


def _may_be_written(folder: Path, *, overwrite: bool) -> bool:
    """Return whether a study is there that is to be replaced; StudyError if something is there that must stay."""
    if not folder.exists() or (folder.is_dir() and not any(entry.name != OWN for entry in folder.iterdir())):
        return False
    if not overwrite:
        raise StudyError(f"{folder} is there already; choose another name or say that it may be replaced.")
    if not folder.is_dir() or not (folder / DESCRIPTION).is_file():
        raise StudyError(f"{folder} holds something that is not a study; choose another name.")
    return True


def _other_resources(folder: Path) -> tuple[dict[str, Any], ...]:
    """Return the entries for other files in the description that is about to be replaced."""
    place = place_inside(folder, DESCRIPTION)
    return read_description(decode(place.read_bytes(), str(place))[0], str(place)).other_resources
