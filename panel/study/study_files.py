"""Which files make up a study? The same ones whether they lie in a folder or in a zip."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Mapping
from typing import Any

import pandas as pd

from panel.errors import StudyError
from panel.study.description import (
    DESCRIPTION,
    Description,
    description_text,
    raw_path,
    read_description,
)
from panel.study.raw_table import table_of_rows
from panel.study.study import RawFile, Study
from panel.study.table_cells import frame_of_texts, texts_of_frame, unread_frame
from panel.study.tables import TABLES
from panel.study.text_grid import decode, text_rows

MAX_TABLE_BYTES = 100_000_000
MAX_TABLE_ROWS = 2_000_000
MAX_TABLE_COLUMNS = 200
MAX_TABLE_CELLS = 40_000_000


def files_of_study(study: Study, other_resources: Iterable[Mapping[str, Any]] = ()) -> dict[str, bytes]:
    """Return the files of a study, path to content; the description comes last.

    Numbers are written so that they read back exactly; every text, also one that begins with `=`, stays as it is.

    Raises
    ------
    StudyError
        If the study holds something that no file can hold.
    """
    files: dict[str, bytes] = {}
    headers: dict[str, list[str]] = {}
    for name in [*TABLES, *(set(study.tables) - set(TABLES))]:
        if name not in study.tables or not len(study.tables[name].columns):
            continue
        headers[name], columns = texts_of_frame(name, study.tables[name], study.unread)
        files[f"{name}.csv"] = _csv_bytes(headers[name], columns)
    raw: dict[str, RawFile] = {}
    for file in study.raw_files:
        raw[raw_path(file, raw)] = file
    files.update({path: file.content for path, file in raw.items()})
    for path, content in files.items():
        if len(content) > MAX_TABLE_BYTES:
            raise StudyError(f"{path} would be larger than {MAX_TABLE_BYTES} bytes; split the study.")
    files[DESCRIPTION] = description_text(study.facts, headers, raw, other_resources).encode()
    return files


def paths_of_study(content: bytes, where: str) -> list[str]:
    """Return the paths of all files that the description with this content names or that belong to a study anyway."""
    described = _described(content, where)
    return [
        *(described.tables.get(name, f"{name}.csv") for name in TABLES),
        *(path for _, path, _ in described.raw_files),
    ]


def study_of_files(read: Callable[[str], bytes | None], where: str) -> Study:
    """Return the study whose files `read` gives.

    Parameters
    ----------
    read
        Gives the content of the file at a path, None if there is none.
    where
        Folder or zip, for messages.

    Raises
    ------
    StudyError
        If there is no description, or a file is missing or cannot be understood.
    """
    content = read(DESCRIPTION)
    if content is None:
        raise StudyError(f"{where} is not a study: it has no {DESCRIPTION}; import the scores to make one.")
    described = _described(content, where)
    tables: dict[str, pd.DataFrame] = {}
    unread: list[tuple[str, ...]] = []
    for name in TABLES:
        path = described.tables.get(name, f"{name}.csv")  # a known table needs no entry to be read
        content = read(path)
        if content is None and name in described.tables:
            raise StudyError(f"{where} lacks the file {path} that {DESCRIPTION} names; put it back.")
        if content is not None:
            tables[name], cells = _read_table(name, content, f"{where}: {path}")
            unread.extend(cells)
    if not tables and not described.ours:
        raise StudyError(f"{where} describes other data: it has none of the tables {', '.join(TABLES)}.")
    raw = tuple(RawFile(name, sha256, read(path) or b"") for name, path, sha256 in described.raw_files)
    return Study(tables, described.facts, unread_frame(unread), raw)


def _described(content: bytes, where: str) -> Description:
    return read_description(decode(content, f"{where}: {DESCRIPTION}")[0], f"{where}: {DESCRIPTION}")


def _read_table(name: str, content: bytes, where: str) -> tuple[pd.DataFrame, list[tuple[str, ...]]]:
    if not content:
        raise StudyError(f"{where} is empty; put its header back or delete the file and its entry.")
    if len(content) > MAX_TABLE_BYTES:
        raise StudyError(f"{where} is larger than {MAX_TABLE_BYTES} bytes; split the study.")
    rows, _ = text_rows(decode(content, where)[0], where, MAX_TABLE_COLUMNS, MAX_TABLE_ROWS)
    raw = table_of_rows(rows, where, keep_empty=True, max_cells=MAX_TABLE_CELLS)
    return frame_of_texts(TABLES[name], raw)


def _csv_bytes(header: list[str], columns: list[list[str]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text)  # comma, CRLF, quotes where needed: RFC 4180, the default of a data package
    writer.writerow(header)
    writer.writerows(zip(*columns, strict=True))
    return text.getvalue().encode()
