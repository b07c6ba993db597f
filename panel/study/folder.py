"""How is a study kept as a folder: `datapackage.json`, one CSV file for each table, imported files under `raw/`?"""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd

from panel.errors import StudyError
from panel.study.numbers_read import read_number_columns
from panel.study.raw_table import RawTable, decode, holds_control_signs, stays_inside, table_of_rows, text_rows
from panel.study.safe_write import (
    OWN,
    files_at_one_moment,
    finish_interrupted,
    one_writer,
    place_inside,
    replace_files,
)
from panel.study.study import UNREAD_COLUMNS, RawFile, Study
from panel.study.tables import TABLES, Column, Table


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


# Which files make up a study? The same ones whether they lie in a folder or in a zip.


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
    tables = [described.tables.get(name, f"{name}.csv") for name in TABLES]
    return [*tables, *(path for _, path, _ in described.raw_files)]


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


# How does a study describe itself? The file `datapackage.json` (Data Package, version 2) that stands with its
# tables.
#
# Standard: https://datapackage.org/standard/data-package/ and https://datapackage.org/standard/table-schema/


DESCRIPTION = "datapackage.json"
_PACKAGE_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
_TABLE_PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"
_OWN = "afterfeel"
_RAW = "raw_files"

# Facts that the standard has a place for; every other fact goes into our own object.
_STANDARD_FACTS = {
    **dict.fromkeys(("title", "name", "id", "description", "homepage", "version", "created"), str),
    **dict.fromkeys(("licenses", "contributors", "sources", "keywords"), list),
}
_TYPES = {"text": "string", "date": "string", "number": "number", "integer": "integer"}
_REFERENCES = {"prototype": "prototypes", "attribute": "attributes", "assessor": "assessors"}
# A score or an answer that was not given is a fact about the panel, not a fault of the file.
_MAY_BE_EMPTY = {("scores", "score"), ("answers", "answer")}


@dataclass(frozen=True, slots=True)
class Description:
    """What a `datapackage.json` says.

    Parameters
    ----------
    facts
        What concerns the whole study.
    tables
        Table name to the path of its file.
    raw_files
        Name, path and SHA-256 of each file that was imported.
    other_resources
        Entries for files that are no tables of a study, kept as they are.
    ours
        True if it was written as the description of a study.
    """

    facts: dict[str, Any]
    tables: dict[str, str]
    raw_files: tuple[tuple[str, str, str], ...]
    other_resources: tuple[dict[str, Any], ...]
    ours: bool = True


def description_text(
    facts: Mapping[str, Any],
    headers: Mapping[str, Iterable[str]],
    raw_files: Mapping[str, RawFile],
    other_resources: Iterable[Mapping[str, Any]] = (),
) -> str:
    """Return the text of `datapackage.json`.

    Parameters
    ----------
    facts
        What concerns the whole study.
    headers
        Table name to the names of its columns.
    raw_files
        Path to imported file.
    other_resources
        Entries to keep for files that are no tables of a study.

    Raises
    ------
    StudyError
        If a fact cannot be written as JSON, such as a number that is not finite.
    """
    if _RAW in facts:
        raise StudyError(f"A fact of the study cannot be called {_RAW!r}; give it another name.")
    standard = {name: value for name, value in facts.items() if _is_standard(name, value)}
    own = {name: value for name, value in facts.items() if name not in standard}
    own[_RAW] = [{"name": f.name, "path": path, "sha256": f.sha256} for path, f in raw_files.items()]
    resources = [_resource(TABLES[name], columns, headers) for name, columns in headers.items()]
    package = {"$schema": _PACKAGE_PROFILE, **standard, "resources": [*resources, *other_resources], _OWN: own}
    try:
        text = json.dumps(package, indent=2, ensure_ascii=False, allow_nan=False, default=str)
        text.encode()
    except (ValueError, TypeError, RecursionError) as error:
        raise StudyError(f"A fact of the study cannot be written as JSON: {error}.") from error
    return text + "\n"


def read_description(text: str, name: str) -> Description:
    """Return what the text of a `datapackage.json` says.

    Raises
    ------
    StudyError
        If it is not JSON, not a data package, or names a file outside the study.
    """
    try:
        package = json.loads(text, parse_constant=refuse_constant)
    except (ValueError, RecursionError) as error:
        raise StudyError(f"{name} is not valid JSON ({error}); restore it or import the scores again.") from error
    own = package.get(_OWN, {}) if isinstance(package, dict) else None
    resources = package.get("resources", []) if isinstance(package, dict) else None
    if not isinstance(own, dict) or not isinstance(resources, list):
        raise StudyError(f"{name} does not describe a study; restore it or import the scores again.")
    facts = {fact: value for fact, value in package.items() if fact in _STANDARD_FACTS}
    facts.update({fact: value for fact, value in own.items() if fact != _RAW})
    tables, others = _split_resources(resources, name)
    return Description(facts, tables, _raw_entries(own.get(_RAW, []), name), others, _OWN in package)


def inside_path(path: object, name: str) -> str:
    """Return a path found in a description; StudyError if it leads out of the study."""
    if not isinstance(path, str) or not stays_inside(path):
        raise StudyError(f"{name} names the file {path!r}, which is not inside the study; nothing was read.")
    return path


def _is_standard(name: str, value: Any) -> bool:
    return name in _STANDARD_FACTS and isinstance(value, _STANDARD_FACTS[name])


def _resource(table: Table, columns: Iterable[str], present: Iterable[str]) -> dict[str, Any]:
    """Return the entry of one table: where it is, what its columns hold and what they refer to."""
    columns, present = list(columns), set(present)
    known = {column.name: column for column in table.columns}
    fields = [_field(table.name, known[c]) if c in known else {"name": c, "type": "string"} for c in columns]
    schema: dict[str, Any] = {"$schema": _TABLE_PROFILE, "fields": fields, "missingValues": [""]}
    if table.key and set(table.key) <= set(columns):
        schema["primaryKey"] = list(table.key)
    references = [
        {"fields": [column], "reference": {"resource": target, "fields": [column]}}
        for column, target in _REFERENCES.items()
        if column in columns and target in present and target != table.name
    ]
    if references:
        schema["foreignKeys"] = references
    return {
        "name": table.name,
        "type": "table",
        "description": f"a row is {table.row}",
        "path": f"{table.name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": schema,
    }


def _field(table: str, column: Column) -> dict[str, Any]:
    constraints: dict[str, Any] = {}
    if column.required and (table, column.name) not in _MAY_BE_EMPTY:
        constraints["required"] = True
    if column.choices:
        constraints["enum"] = list(column.choices)
    field = {"name": column.name, "type": _TYPES[column.kind], "description": column.meaning}
    return {**field, "constraints": constraints} if constraints else field


def _split_resources(resources: list[Any], name: str) -> tuple[dict[str, str], tuple[dict[str, Any], ...]]:
    """Return the paths of the study's tables, and the entries of all other files."""
    tables: dict[str, str] = {}
    others = []
    for resource in resources:
        if not isinstance(resource, dict):
            raise StudyError(f"{name} has an entry under resources that is not an object; restore it.")
        table = resource.get("name")
        if not isinstance(table, str) or table not in TABLES:
            others.append(resource)
        elif table in tables:
            raise StudyError(f"{name} lists the table {table!r} twice; keep one of them.")
        else:
            tables[table] = inside_path(resource.get("path"), name)
    return tables, tuple(others)


def _raw_entries(entries: Any, name: str) -> tuple[tuple[str, str, str], ...]:
    if not isinstance(entries, list):
        raise StudyError(f"{name} has a list of raw files that is not a list; restore it.")
    found = []
    for entry in entries:
        values = [entry.get(key) for key in ("name", "path", "sha256")] if isinstance(entry, dict) else []
        if len(values) != 3 or not all(isinstance(value, str) for value in values):
            raise StudyError(f"{name} lists a raw file without its name, path and SHA-256; restore it.")
        found.append((str(values[0]), inside_path(values[1], name), str(values[2])))
    return tuple(found)


def raw_path(file: RawFile, taken: Iterable[str]) -> str:
    """Return where an imported file is kept in the study: its name made safe, and never one already taken."""
    plain = re.sub(r"[^\w.() -]", "_", file.name).strip(" .")[-100:] or "file"
    path = f"raw/{plain}"
    taken = {other.casefold() for other in taken}  # some disks hold no difference between A.csv and a.csv
    return path if path.casefold() not in taken else f"raw/{file.sha256[:12]} {plain}"


def refuse_constant(text: str) -> None:
    """Raise ValueError: NaN and Infinity, which Python's reader would take, are no JSON."""
    raise ValueError(f"{text} is not a JSON number")


# How does a table of a study turn into texts, and back, without losing anything?


NOT_WHOLE = "not a whole number"
_NUMBER_KINDS = ("number", "integer")
_FIRST_ROW = 2  # the header is line 1


def frame_of_texts(table: Table, raw: RawTable) -> tuple[pd.DataFrame, list[tuple[str, ...]]]:
    """Return a table of texts as a frame of the study, and the cells that could not be read.

    Known columns are recognised whatever their case; unknown ones are kept as text. Missing columns stay missing.

    Returns
    -------
    frame
        Numbers as `float` with NaN for a missing one, everything else `str`.
    unread
        One tuple per unreadable cell: table, row, column, text, reason.
    """
    known = {name.casefold(): name for name in table.column_names}
    known = {other: name for other, name in known.items() if name not in raw.header}
    names = [known.get(name.casefold(), name) for name in raw.header]
    repeated = {name for name in names if names.count(name) > 1}
    if repeated:
        raise StudyError(f"{raw.name} has more than one column for {repeated.pop()!r}; keep one of them.")
    texts = dict(zip(names, raw.columns, strict=True))
    kinds = {column.name: column.kind for column in table.columns}
    numbers = read_number_columns({n: cells for n, cells in texts.items() if kinds.get(n) in _NUMBER_KINDS})
    unread: list[tuple[str, ...]] = []
    columns: dict[str, pd.Series] = {}
    for name, cells in texts.items():
        if name not in numbers:
            columns[name] = pd.Series(list(cells), dtype="str")
            continue
        values, reasons = numbers[name].values, dict(numbers[name].reasons)
        if kinds[name] == "integer":
            for place in [i for i, value in enumerate(values) if not (math.isnan(value) or value.is_integer())]:
                values[place], reasons[place] = math.nan, NOT_WHOLE
        columns[name] = pd.Series(values)
        unread.extend(
            (table.name, str(i + _FIRST_ROW), name, cells[i], reason) for i, reason in sorted(reasons.items())
        )
    return pd.DataFrame(columns), unread


def unread_frame(unread: Iterable[tuple[str, ...]]) -> pd.DataFrame:
    """Return unreadable cells as the frame that a study holds."""
    return pd.DataFrame(list(unread), columns=list(UNREAD_COLUMNS), dtype="str")


def texts_of_frame(name: str, frame: pd.DataFrame, unread: pd.DataFrame) -> tuple[list[str], list[list[str]]]:
    """Return header and columns of a study's table as texts; a cell that could not be read gets its text back.

    Raises
    ------
    StudyError
        If the study has a table with no such name, or a text holds a character that no table file can hold.
    """
    if name not in TABLES:
        raise StudyError(f"A study has no table {name!r}; its tables are {', '.join(TABLES)}.")
    header = [str(column) for column in frame.columns]
    columns = [_column_texts(frame[column]) for column in frame.columns]
    for row, column, text in unread.loc[unread["table"] == name, ["row", "column", "text"]].itertuples(index=False):
        place = int(row) - _FIRST_ROW if str(row).isdecimal() else -1
        if column in header and 0 <= place < len(frame) and columns[header.index(column)][place] == "":
            columns[header.index(column)][place] = str(text)
    for column, cells in zip(header, columns, strict=True):
        bad = next((i for i, text in enumerate(cells) if not _can_be_written(text)), None)
        if bad is not None or not _can_be_written(column):
            where = f"row {bad + _FIRST_ROW}, column {column!r}" if bad is not None else f"column name {column!r}"
            raise StudyError(f"The table {name} holds a character that no table file can hold ({where}); delete it.")
    return header, columns


def number_text(value: float) -> str:
    """Return the shortest text that reads back as exactly this number; the empty text for NaN."""
    if math.isnan(value):
        return ""
    return f"{value:.0f}" if value.is_integer() and abs(value) < 1e15 else repr(value)


def _column_texts(column: pd.Series) -> list[str]:
    if pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column):
        return [number_text(value) for value in column.to_numpy(dtype=float, na_value=math.nan).tolist()]
    if isinstance(column.dtype, pd.StringDtype):
        return column.fillna("").tolist()
    return ["" if pd.isna(cell) else str(cell) for cell in column.tolist()]


def _can_be_written(text: str) -> bool:
    if text.isascii() and text.isprintable():
        return True
    return not holds_control_signs(text) and not any("\ud800" <= sign <= "\udfff" for sign in text)
