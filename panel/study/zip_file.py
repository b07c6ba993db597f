"""How is a study kept as one .zip: the files of its folder, packed?"""

from __future__ import annotations

import io
import zipfile
from pathlib import Path, PurePosixPath

from panel.errors import StudyError
from panel.study.archive_limits import open_archive, read_member
from panel.study.description import DESCRIPTION
from panel.study.safe_write import write_file
from panel.study.study import Study
from panel.study.study_files import files_of_study, study_of_files

# The time of writing would make two zips of one study differ; this is the earliest time a zip can hold.
_WRITTEN_AT = (1980, 1, 1, 0, 0, 0)
_READABLE_BY_ALL = 0o644 << 16


def zip_bytes(study: Study) -> bytes:
    """Return a study as a zip of its folder; the same study gives the same bytes."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, data in files_of_study(study).items():
            member = zipfile.ZipInfo(path, _WRITTEN_AT)
            member.compress_type, member.external_attr = zipfile.ZIP_DEFLATED, _READABLE_BY_ALL
            archive.writestr(member, data)
    return content.getvalue()


def write_zip(study: Study, path: str | Path, *, overwrite: bool = False) -> None:
    """Write a study as a zip, whole or not at all; StudyError if that is not possible."""
    write_file(Path(path), zip_bytes(study), overwrite=overwrite)


def study_of_zip(content: bytes, name: str) -> Study:
    """Return the study in a zip, at its top or in one folder. Nothing is unpacked onto the disk.

    Parameters
    ----------
    content
        The bytes of the zip.
    name
        Its name, for messages.

    Raises
    ------
    StudyError
        If it is no zip, holds no study or more than one, or names in it lead out of it.
    """
    archive = open_archive(content, name)
    members = set(archive.namelist())
    places = [PurePosixPath(member).parent for member in members if PurePosixPath(member).name == DESCRIPTION]
    depth = min((len(place.parts) for place in places), default=0)
    top = [place for place in places if len(place.parts) == depth]
    if len(top) != 1:
        what = "more than one study; give one at a time" if top else f"no study: {DESCRIPTION} is missing"
        raise StudyError(f"{name} holds {what}.")

    def read(path: str) -> bytes | None:
        member = str(top[0] / path)
        return read_member(archive, member, name) if member in members else None

    return study_of_files(read, name)
