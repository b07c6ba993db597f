"""How is a study kept as a folder: `datapackage.json`, one CSV file for each table, imported files under `raw/`?"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections.abc import Callable, Collection, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import pandas as pd

from panel.errors import StudyError
from panel.study.archives import stays_inside
from panel.study.facts import facts_with_unread, read_facts
from panel.study.journal import JOURNAL, next_line
from panel.study.raw_table import LARGEST_BYTES, OWN_FILE, decode, table_of_text
from panel.study.safe_write import (
    OWN,
    files_at_one_moment,
    finish_interrupted,
    make_folder,
    one_writer,
    place_inside,
    replace_files,
)
from panel.study.study import RawFile, Study
from panel.study.table_cells import frame_of_texts, study_changes, texts_of_frame, unread_frame
from panel.study.tables import DESCRIPTION, TABLES, Column, Table


def read_folder(folder: str | Path, tables: Collection[str] = TABLES) -> Study:
    """Read the study in a folder, or these `tables` of it, as it was at one moment whoever is writing.

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
        paths = partial(_paths_of_study, where=str(folder), wanted=tables)
        files = files_at_one_moment(folder, DESCRIPTION, paths, _MAX_TABLE_BYTES)
        return study_of_files(files.get, str(folder), wanted=tables)
    except (OSError, ValueError) as error:
        raise StudyError(f"{folder} cannot be read: {error}.") from error


def write_study(study: Study, folder: str | Path, *, overwrite: bool = False, what: str = "") -> None:
    """Write a study into a folder, whole or not at all.

    A new folder appears complete or not. With `overwrite` the study in the folder is replaced, whatever it holds, and
    the journal of the folder says so; files that do not belong to a study and files under `raw/` stay where they are.
    A change of a study goes through `panel.study.saving.save`, which loses nothing of what others wrote meanwhile.

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
        make_folder(folder)
        try:
            with one_writer(folder):
                if _may_be_written(folder, overwrite=overwrite):
                    what = what or "The study was replaced."
                    put_study(folder, _readable(folder), study, who="", what=what, files=files)
                else:
                    replace_files(folder, files)
        except BaseException:
            if made:
                with suppress(OSError):
                    folder.rmdir()
            raise
    except (OSError, ValueError) as error:
        raise StudyError(f"{folder} cannot be written: {error}.") from error


def put_study(
    folder: Path, now: Study | None, after: Study, *, who: str, what: str, files: dict[str, bytes] | None = None
) -> None:
    """Replace the study in a folder and add a line to its journal; the caller is the folder's `one_writer`.

    Parameters
    ----------
    now
        The study that is in the folder; None if it cannot be read.
    after
        What is to be in it. If that is the same nothing is written.
    files
        Its files, where they are known already.
    """
    before = files_of_study(now) if now is not None else {}
    files = files_of_study(after, now, before) if files is None else files
    if before == files:
        return
    described = _described((folder / DESCRIPTION).read_bytes(), str(folder))
    place = place_inside(folder, JOURNAL)
    journal = place.read_bytes() if place.exists() else b""
    stated = described.journal_sha256
    files[JOURNAL] = next_line(
        journal,
        study_changes(now if now is not None else Study({}), after),
        who=who,
        what=what,
        version=(_version(before), _version(files)),
        broken=bool(stated or journal) and hashlib.sha256(journal).hexdigest() != stated,
    )
    files[DESCRIPTION] = _described_as(after, described.other_resources, files[JOURNAL])
    written = {path: content for path, content in files.items() if not _holds(place_inside(folder, path), content)}
    replace_files(folder, written, gone=[path for name in TABLES if (path := f"{name}.csv") not in files])


def put_without_past(folder: Path, after: Study, *, who: str, what: str) -> None:
    """Replace the study in a folder, its imported files too, and begin its journal anew; the caller is `one_writer`.

    For what has to be forgotten: the journal before would still hold it.
    """
    described = _described((folder / DESCRIPTION).read_bytes(), str(folder))
    files = files_of_study(after)
    files[JOURNAL] = next_line(b"", (), who=who, what=what, version=("", _version(files)))
    files[DESCRIPTION] = _described_as(after, described.other_resources, files[JOURNAL])
    own = [f"{name}.csv" for name in TABLES] + [path for _, path, _ in described.raw_files]
    replace_files(folder, files, gone=[path for path in own if path not in files])


def _described_as(study: Study, others: Iterable[Mapping[str, Any]], journal: bytes) -> bytes:
    """Return the description of a study that has a journal."""
    headers = {name: [str(c) for c in study.tables[name].columns] for name in _tables_with_columns(study)}
    return _description_text(
        facts_with_unread(study), headers, _raw_paths(study), others, hashlib.sha256(journal).hexdigest()
    ).encode()


def version_of(study: Study) -> str:
    """Return the version of a study, a SHA-256 that is the same where tables, facts and imported files are."""
    return _version(files_of_study(study))


def _version(files: Mapping[str, bytes]) -> str:
    digest = hashlib.sha256()
    for path in sorted(set(files) - {JOURNAL}):
        digest.update(f"{path} {hashlib.sha256(files[path]).hexdigest()}\n".encode())
    return digest.hexdigest()


def read_journal(folder: str | Path) -> tuple[bytes | None, str]:
    """Return the journal of a study folder, None if it has none, and its SHA-256 as the study names it."""
    folder = Path(folder)
    try:
        files = files_at_one_moment(folder, DESCRIPTION, lambda _: [JOURNAL], _MAX_TABLE_BYTES)
    except (OSError, ValueError) as error:
        raise StudyError(f"{folder} cannot be read: {error}.") from error
    content = files[DESCRIPTION]
    if content is None:
        raise StudyError(f"{folder} is not a study: it has no {DESCRIPTION}; import the scores to make one.")
    return files[JOURNAL], _described(content, str(folder)).journal_sha256


def _readable(folder: Path) -> Study | None:
    """Return the study in a folder; None if what is there cannot be understood."""
    try:
        return read_folder(folder)
    except StudyError:
        return None


def _holds(place: Path, content: bytes) -> bool:
    return place.is_file() and place.stat().st_size == len(content) and place.read_bytes() == content


def _may_be_written(folder: Path, *, overwrite: bool) -> bool:
    """Return whether a study is there that is to be replaced; StudyError if something is there that must stay."""
    if not folder.exists() or (folder.is_dir() and not any(entry.name != OWN for entry in folder.iterdir())):
        return False
    if not overwrite:
        raise StudyError(f"{folder} is there already; choose another name or say that it may be replaced.")
    if not folder.is_dir() or not (folder / DESCRIPTION).is_file():
        raise StudyError(f"{folder} holds something that is not a study; choose another name.")
    return True


# Which files make up a study? The same ones whether they lie in a folder or in a zip.


_MAX_TABLE_BYTES = LARGEST_BYTES
_MAX_TABLE_COLUMNS = 200


def files_of_study(study: Study, other: Study | None = None, known: Mapping[str, bytes] = {}) -> dict[str, bytes]:
    """Return the files of a study, path to content; the description comes last.

    Numbers are written so that they read back exactly; every text, also one that begins with `=`, stays as it is.
    Of a table that is the very one of `other`, whose files are `known`, nothing is written again.

    Raises
    ------
    StudyError
        If the study holds something that no file can hold.
    """
    files: dict[str, bytes] = {}
    headers: dict[str, list[str]] = {}
    for name in _tables_with_columns(study):
        headers[name] = [str(column) for column in study.tables[name].columns]
        same = other is not None and study.tables[name] is other.tables.get(name) and study.unread is other.unread
        files[f"{name}.csv"] = known[f"{name}.csv"] if same else _csv_bytes(name, study.tables[name], study.unread)
    raw = _raw_paths(study)
    files.update({path: file.content for path, file in raw.items()})
    for path, content in files.items():
        if len(content) > _MAX_TABLE_BYTES:
            raise StudyError(f"{path} would be larger than {_MAX_TABLE_BYTES} bytes; split the study.")
    files[DESCRIPTION] = _description_text(facts_with_unread(study), headers, raw).encode()
    return files


def _tables_with_columns(study: Study) -> list[str]:
    names = [*TABLES, *(set(study.tables) - set(TABLES))]
    return [name for name in names if name in study.tables and len(study.tables[name].columns)]


def _raw_paths(study: Study) -> dict[str, RawFile]:
    """Return where each imported file is kept."""
    raw: dict[str, RawFile] = {}
    for file in study.raw_files:
        raw[_raw_path(file, raw)] = file
    return raw


def _paths_of_study(content: bytes, where: str, wanted: Collection[str]) -> list[str]:
    """Return the paths of the imported files that the description with this content names, and of the tables `wanted`.

    A table that it does not name belongs to a study anyway.
    """
    described = _described(content, where)
    tables = [described.tables.get(name, f"{name}.csv") for name in TABLES if name in wanted]
    return [*tables, *(path for _, path, _ in described.raw_files)]


def study_of_files(
    read: Callable[[str], bytes | None],
    where: str,
    max_cells: int = OWN_FILE.even_cells,
    wanted: Collection[str] = TABLES,
) -> Study:
    """Return the study whose files `read` gives by their path, None if there is none; of it the tables `wanted`.

    `where` is the folder or zip, for messages; `max_cells` the most cells that all tables together may have. StudyError
    if there is no description, or a file is missing or cannot be understood.
    """
    content = read(DESCRIPTION)
    if content is None:
        raise StudyError(f"{where} is not a study: it has no {DESCRIPTION}; import the scores to make one.")
    if len(content) > _MAX_DESCRIPTION:
        raise StudyError(f"{where}: {DESCRIPTION} is larger than {_MAX_DESCRIPTION} bytes; restore it.")
    described = _described(content, where)
    tables: dict[str, pd.DataFrame] = {}
    unread: list[tuple[str, ...]] = []
    for name in filter(wanted.__contains__, TABLES):
        path = described.tables.get(name, f"{name}.csv")  # a known table needs no entry to be read
        content = read(path)
        if content is None and name in described.tables:
            raise StudyError(f"{where} lacks the file {path} that {DESCRIPTION} names; put it back.")
        if content is not None:
            delimiter = described.delimiters.get(name, ",")
            tables[name], cells = _read_table(name, content, f"{where}: {path}", delimiter, max_cells)
            max_cells -= tables[name].size
            unread.extend(cells)
    if not tables and not described.ours:
        raise StudyError(f"{where} describes other data: it has none of the tables {', '.join(TABLES)}.")
    raw = tuple(RawFile(name, sha256, read(path) or b"") for name, path, sha256 in described.raw_files)
    facts, not_read = read_facts(described.facts)
    return Study(tables, facts, unread_frame([*unread, *not_read]), raw)


def _described(content: bytes, where: str) -> _Description:
    return _read_description(decode(content, f"{where}: {DESCRIPTION}")[0], f"{where}: {DESCRIPTION}")


def _read_table(
    name: str, content: bytes, where: str, delimiter: str, max_cells: int
) -> tuple[pd.DataFrame, list[tuple[str, ...]]]:
    if not content:
        raise StudyError(f"{where} is empty; put its header back or delete the file and its entry.")
    if len(content) <= min(_SMALL, max_cells):  # a file has no more cells than bytes
        with suppress(StudyError):  # which is raised again, with the place
            frame, unread = _small_table(name, content, "", delimiter)
            return frame.copy(deep=False), list(unread)
    return _large_table(name, content, where, delimiter, max_cells)


def _large_table(
    name: str, content: bytes, where: str, delimiter: str, max_cells: int = OWN_FILE.even_cells
) -> tuple[pd.DataFrame, list[tuple[str, ...]]]:
    limits = OWN_FILE._replace(columns=_MAX_TABLE_COLUMNS, cells=min(max_cells, OWN_FILE.cells), even_cells=max_cells)
    return frame_of_texts(TABLES[name], table_of_text(content, where, limits, TABLES[name].column_names, delimiter))


_SMALL = 100_000  # bytes
_small_table = lru_cache(maxsize=64)(_large_table)  # whoever saves has read most of the tables a moment ago


def _csv_bytes(name: str, frame: pd.DataFrame, unread: pd.DataFrame) -> bytes:
    """Return a table as CSV (comma, CRLF, quotes where needed: RFC 4180), some rows at a time to spare memory."""
    content = io.BytesIO()
    for start in range(0, max(len(frame), 1), _ROWS_AT_A_TIME):
        part = frame.iloc[start : start + _ROWS_AT_A_TIME]
        header, columns = texts_of_frame(name, part, unread, start)
        text = io.StringIO(newline="")  # encoded at once: line by line takes twice as long
        csv.writer(text).writerows([*([header] if start == 0 else []), *zip(*columns, strict=True)])
        content.write(text.getvalue().encode())
    return content.getvalue()


_ROWS_AT_A_TIME = 100_000


# How does a study describe itself? The file `datapackage.json` (Data Package, version 2) that stands with its
# tables.
#
# Standard: https://datapackage.org/standard/data-package/ and https://datapackage.org/standard/table-schema/


_MAX_DESCRIPTION = 5_000_000  # bytes
_PACKAGE_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
_TABLE_PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"
_OWN = "afterfeel"
_RAW, _JOURNAL_HASH = "raw_files", "journal_sha256"

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
class _Description:
    """What a `datapackage.json` says.

    `tables` is table name to the path of its file; `raw_files` name, path and SHA-256 of each imported file;
    `other_resources` entries for files that are no tables, kept as they are; `delimiters` table name to the sign
    between its cells, where declared; `ours` whether it was written as the description of a study.
    """

    facts: dict[str, Any]
    tables: dict[str, str]
    raw_files: tuple[tuple[str, str, str], ...]
    other_resources: tuple[dict[str, Any], ...]
    delimiters: dict[str, str]
    ours: bool = True
    journal_sha256: str = ""


def _description_text(
    facts: Mapping[str, Any],
    headers: Mapping[str, Iterable[str]],
    raw_files: Mapping[str, RawFile],
    other_resources: Iterable[Mapping[str, Any]] = (),
    journal_sha256: str = "",
) -> str:
    """Return the text of `datapackage.json`; `headers` is table name to its columns, `raw_files` path to imported file.

    StudyError if a fact cannot be written as JSON, such as a number that is not finite.
    """
    for name in (_RAW, _JOURNAL_HASH):
        if name in facts:
            raise StudyError(f"A fact of the study cannot be called {name!r}; give it another name.")
    standard = {name: value for name, value in facts.items() if isinstance(value, _STANDARD_FACTS.get(name, ()))}
    own = {name: value for name, value in facts.items() if name not in standard}
    own[_RAW] = [{"name": f.name, "path": path, "sha256": f.sha256} for path, f in raw_files.items()]
    own |= {_JOURNAL_HASH: journal_sha256} if journal_sha256 else {}
    resources = [_resource(TABLES[name], columns, headers) for name, columns in headers.items()]
    package = {"$schema": _PACKAGE_PROFILE, **standard, "resources": [*resources, *other_resources], _OWN: own}
    try:
        text = json.dumps(package, indent=2, ensure_ascii=False, allow_nan=False, default=str)
        text.encode()
    except (ValueError, TypeError, RecursionError) as error:
        raise StudyError(f"A fact of the study cannot be written as JSON: {error}.") from error
    return text + "\n"


def _read_description(text: str, name: str) -> _Description:
    """Return what the text of a `datapackage.json` says.

    StudyError if it is not JSON, not a data package, or names a file outside the study.
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
    facts.update({fact: value for fact, value in own.items() if fact not in (_RAW, _JOURNAL_HASH)})
    tables, others = _split_resources(resources, name)
    ours = [entry for entry in resources if isinstance(entry.get("name"), str) and entry["name"] in tables]
    delimiters = {entry["name"]: sign for entry in ours if (sign := _delimiter(entry, name))}
    journal = own.get(_JOURNAL_HASH, "")
    known = journal if isinstance(journal, str) else ""
    return _Description(
        facts, tables, _raw_entries(own.get(_RAW, []), name), others, delimiters, _OWN in package, known
    )


def _inside_path(path: object, name: str) -> str:
    """Return a path found in a description; StudyError if it leads out of the study."""
    if not isinstance(path, str) or not stays_inside(path):
        raise StudyError(f"{name} names the file {path!r}, which is not inside the study; nothing was read.")
    return path


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
        if column in columns
        and target in present
        and target != table.name
        and (table.name, column) != ("dominances", "attribute")  # which holds the word stop as well
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
            tables[table] = _inside_path(resource.get("path"), name)
    return tables, tuple(others)


def _delimiter(resource: dict[str, Any], name: str) -> str:
    """Return the sign between the cells that an entry declares, as in https://datapackage.org/standard/table-dialect/."""
    dialect = resource.get("dialect")
    delimiter = dialect.get("delimiter", "") if isinstance(dialect, dict) else ""
    if not isinstance(delimiter, str) or len(delimiter) > 1 or delimiter in tuple('"\r\n'):
        place = f"{name} declares the delimiter {delimiter!r} for the table {resource['name']!r}"
        raise StudyError(f"{place}; give one sign such as a comma, or delete it.")
    return delimiter


def _raw_entries(entries: Any, name: str) -> tuple[tuple[str, str, str], ...]:
    if not isinstance(entries, list):
        raise StudyError(f"{name} has a list of raw files that is not a list; restore it.")
    found = []
    for entry in entries:
        values = [entry.get(key) for key in ("name", "path", "sha256")] if isinstance(entry, dict) else []
        if len(values) != 3 or not all(isinstance(value, str) for value in values):
            raise StudyError(f"{name} lists a raw file without its name, path and SHA-256; restore it.")
        found.append((str(values[0]), _inside_path(values[1], name), str(values[2])))
    return tuple(found)


def _raw_path(file: RawFile, taken: Iterable[str]) -> str:
    """Return where an imported file is kept in the study: its name made safe, and never one already taken."""
    plain = re.sub(r"[^\w.() -]", "_", file.name).strip(" .")[-100:] or "file"
    path = f"raw/{plain}"
    taken = {other.casefold() for other in taken}  # some disks hold no difference between A.csv and a.csv
    free = path.casefold() not in taken and not _DEVICE.fullmatch(plain)
    return path if free else f"raw/{file.sha256[:12]} {plain}"


_DEVICE = re.compile(r"(?:con|prn|aux|nul|com\d|lpt\d) *(?:\..*)?", re.IGNORECASE)  # no file of Windows is so called


def refuse_constant(text: str) -> None:
    """Raise ValueError: NaN and Infinity, which Python's reader would take, are no JSON."""
    raise ValueError(f"{text} is not a JSON number")
