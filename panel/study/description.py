"""How does a study describe itself? The file `datapackage.json` (Data Package, version 2) that stands with its tables.

Standard: https://datapackage.org/standard/data-package/ and https://datapackage.org/standard/table-schema/
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from panel.errors import StudyError
from panel.study.archive_limits import stays_inside
from panel.study.study import RawFile
from panel.study.tables import TABLES, Column, Table

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
