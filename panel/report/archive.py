"""Everything about a study in one zip that can be read and checked without this program.

It is described by the RO-Crate Metadata Specification 1.2 (https://w3id.org/ro/crate/1.2), written here as plain JSON.
"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Mapping
from importlib import import_module
from pathlib import Path, PurePosixPath
from types import MappingProxyType
from typing import Any
from urllib.parse import quote

from panel.answers import Answers, NoAnswer
from panel.errors import StudyError
from panel.report.contents.blocks import Report, fact
from panel.report.html import page_facts
from panel.study.safe_write import media_type
from panel.study.study import Study
from panel.words import plain_text

_DESCRIPTOR, _SUMS, _README = "ro-crate-metadata.json", "SHA256SUMS", "README.txt"
_STUDY_FOLDER, _REPORT_FOLDER = "study", "report"
_SPECIFICATION = "https://w3id.org/ro/crate/1.2"
_NO_LICENCE = "No licence is stated. The study belongs to those who made it; ask them before passing it on."


def archive_bytes(answers: Answers, report: Report) -> bytes:
    """Return the archive: the study, the report in four forms, a description, checksums, and how to read it all.

    The same study, version and day of making give the same bytes.
    """
    files = answers.files
    if isinstance(files, NoAnswer):
        raise StudyError(files.why)
    payload = {f"{_STUDY_FOLDER}/{path}": data for path, data in files.items()}
    written = {ending: writer_of(f"evidence{ending}")(report) for ending in _IN_THIS_ORDER}
    payload |= {f"{_REPORT_FOLDER}/evidence{ending}": written[ending] for ending in FORMS}
    payload[_README] = _readme(report).encode()
    packed = {_README: payload[_README], _DESCRIPTOR: _description(answers.study, report, payload)}
    packed |= {path: data for path, data in payload.items() if path != _README}
    sums = "".join(f"{hashlib.sha256(data).hexdigest()}  {path}\n" for path, data in sorted(packed.items()))
    return zip_of_files({**packed, _SUMS: sums.encode()})


def _description(study: Study, report: Report, payload: Mapping[str, bytes]) -> bytes:
    facts = page_facts(report)
    inside = {folder: [path for path in payload if path.startswith(f"{folder}/")] for folder in _folders()}
    graph: list[dict[str, Any]] = [
        {"@id": _DESCRIPTOR, "@type": "CreativeWork", "conformsTo": {"@id": _SPECIFICATION}, "about": {"@id": "./"}},
        {
            "@id": "./",
            "@type": "Dataset",
            "name": f"Study and evidence file: {facts['title']}",
            "description": ". ".join(part for part in (facts["mark"], plain_text(fact(study, "purpose"))) if part)
            or "A sensory study of prototypes, with the report on it.",
            "datePublished": report.made_on,
            "license": plain_text(fact(study, "licence")) or _NO_LICENCE,
            "hasPart": [{"@id": _id(path)} for path in (_README, *(f"{folder}/" for folder in _folders()))],
            "mentions": {"@id": "#making"},
        },
        *(_folder(folder, words, inside[folder]) for folder, words in _folders().items()),
        *(_file(path, data) for path, data in payload.items()),
        *_making(report, inside),
    ]
    # schema.org's term, said here because not every version of the crate's own list of terms has it
    context = [f"{_SPECIFICATION}/context", {"sha256": "http://schema.org/sha256"}]
    return (json.dumps({"@context": context, "@graph": graph}, indent=1, ensure_ascii=False) + "\n").encode()


def _folders() -> dict[str, str]:
    return {
        _STUDY_FOLDER: "The study: a Data Package, version 2, of CSV tables, with the files that were imported",
        _REPORT_FOLDER: "The evidence file in four forms with the same content",
    }


def _folder(folder: str, words: str, paths: list[str]) -> dict[str, Any]:
    parts = [{"@id": _id(path)} for path in paths]
    return {"@id": f"{folder}/", "@type": "Dataset", "name": folder, "description": words, "hasPart": parts}


def _file(path: str, data: bytes) -> dict[str, Any]:
    return {
        "@id": _id(path),
        "@type": "File",
        "name": PurePosixPath(path).name,
        "contentSize": str(len(data)),
        "encodingFormat": media_type(path),
        "sha256": hashlib.sha256(data).hexdigest(),
    }


def _making(report: Report, inside: Mapping[str, list[str]]) -> list[dict[str, Any]]:
    name, _, version = report.version.partition(" ")
    return [
        {"@id": "#program", "@type": "SoftwareApplication", "name": name, "softwareVersion": version},
        {
            "@id": "#making",
            "@type": "CreateAction",
            "name": "The evidence file was made from the study",
            "instrument": {"@id": "#program"},
            "object": [{"@id": _id(path)} for path in inside[_STUDY_FOLDER]],
            "result": [{"@id": _id(path)} for path in inside[_REPORT_FOLDER]],
        },
    ]


def _id(path: str) -> str:
    """Return a path as the relative address that names it in the description."""
    return quote(path)


def _readme(report: Report) -> str:
    facts = page_facts(report)
    forms = "\n".join(f"  {_REPORT_FOLDER}/evidence{ending}  {words}" for ending, words in FORMS.items())
    mark = f"\n{facts['mark'].upper()}\n" if facts["mark"] else ""
    return f"""{facts["title"]}
{mark}
This archive can be read without the program that made it.

  {_STUDY_FOLDER}/  the study: tables as CSV (UTF-8, comma, first line = names of the columns);
          {_STUDY_FOLDER}/datapackage.json says what each column holds; {_STUDY_FOLDER}/raw/ keeps imported files
{forms}
  {_DESCRIPTOR}  what is in the archive, for programs (RO-Crate 1.2)
  {_SUMS}  checksums; check them with: sha256sum -c {_SUMS}

SHA-256 of the data, as it stands on every page of the report: {facts["hash"]}
Made by: {facts["version"]}
Data as of {report.data_as_of or "a day that is not recorded"}, made on {report.made_on}

Keep it as the study itself is kept: it may hold the names of those who signed, and facts about health by code.
Forms of consent are not in it; they are kept apart.
"""


# Files packed into one zip, the same bytes whenever and wherever it is done.


# The time of writing would make two archives of one study differ; this is the earliest time a zip can hold.
_WRITTEN_AT = (1980, 1, 1, 0, 0, 0)
_READABLE_BY_ALL = 0o644 << 16
_PACKED_ALREADY = (".docx", ".xlsx", ".png")  # a second time makes them hardly smaller
_UNIX = 3  # zipfile writes the system it runs on


def zip_of_files(files: Mapping[str, bytes]) -> bytes:
    """Return a zip of files, path to content, in the order given."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, data in files.items():
            member = zipfile.ZipInfo(path, _WRITTEN_AT)
            packed = path.endswith(_PACKED_ALREADY)
            member.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
            member.external_attr = _READABLE_BY_ALL
            member.create_system = _UNIX
            archive.writestr(member, data)
    return content.getvalue()


# In which forms can the evidence file be had? The ending of the file decides.


FORMS: Mapping[str, str] = MappingProxyType(
    {
        ".pdf": "to read and keep (PDF/A-2a, PDF/UA-1)",
        ".docx": "to edit",
        ".html": "to read in a browser, without a network",
        ".xlsx": "every number unrounded, with its id",
    }
)
"""The forms of the evidence file by their endings, and what each is for."""
# The workbook, which takes most memory, is written before anything is drawn.
_IN_THIS_ORDER = (".xlsx", ".pdf", ".docx", ".html")


def writer_of(path: str | Path) -> Callable[[Report], bytes]:
    """Return what writes the evidence file in the form that the ending of a file asks for; StudyError if none.

    Its libraries are loaded with it: to have one form takes no longer for the others.
    """
    path = Path(path)
    form = path.suffix.lower()
    if form not in FORMS:
        raise StudyError(f"{path.name} has no ending that says in which form; use one of {', '.join(FORMS)}.")
    writer: Callable[[Report], bytes] = getattr(import_module(f"panel.report.{form[1:]}"), f"{form[1:]}_bytes")
    return writer
