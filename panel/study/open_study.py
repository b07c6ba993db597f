"""Open a study, whatever it is kept as, and remember which ones were open lately."""

from __future__ import annotations

import datetime
import hashlib
import io
import json
import os
import re
import sys
import zipfile
from collections.abc import Collection, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path, PurePosixPath
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import StudyError
from panel.study.archives import MAX_UNPACKED, open_archive, open_workbook, read_member, sheet_names, sheet_rows
from panel.study.facts import facts_with_unread, read_facts
from panel.study.folder import files_of_study, read_folder, refuse_constant, study_of_files
from panel.study.numbers_read import read_numbers
from panel.study.pasted import read_rows
from panel.study.raw_table import OWN_FILE, filled_rows, table_of_rows
from panel.study.safe_write import write_file
from panel.study.sittings import sessions_alike
from panel.study.study import IMPORTED_ROW, Study
from panel.study.table_cells import ENTRIES, frame_of_texts, known_column, nearest_table, texts_of_frame, unread_frame
from panel.study.tables import DESCRIPTION, TABLES
from panel.words import first_few


def open_study(path: str | Path, tables: Collection[str] = TABLES) -> Study:
    """Open the study at a path: a folder, a workbook (.xlsx) or a zipped folder (.zip).

    What it is is seen from what it holds, not from its name. Of a folder these `tables` alone are read.

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
            return read_folder(path, tables)
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
        return _study_of_workbook(content, name)
    return _study_of_zip(content, name)


# How is a study kept as one .xlsx workbook: a sheet for each table, and a sheet `study` with the facts?


FACTS_SHEET, HOW_TO = "study", "how to fill in"
_MAX_CELL_TEXT = 32_767  # characters, a limit of the file format
_MAX_SHEET_ROWS = 1_048_576  # another

# A workbook writes some characters as _xHHHH_; these do not come back as they went in.
_NOT_KEPT = re.compile("_x005F_|[\ufffe\uffff]")
# The time of writing would make two workbooks of one study differ.
_WRITTEN_AT = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC).replace(tzinfo=None)
_COLUMN_WIDTHS = (8, 40)


def workbook_bytes(study: Study) -> bytes:
    """Return a study as a workbook; imported files are not in it.

    Texts are written as texts, so that none of them is ever calculated as a formula.

    Raises
    ------
    StudyError
        If a table or a cell is larger than a sheet can hold.
    """
    import xlsxwriter  # a tenth of a second, only for who writes a workbook

    sheets: dict[str, tuple[list[str], list[list[str]], frozenset[int]]] = {}
    stated = facts_with_unread(study)
    facts = [[str(name) for name in stated], [fact_text_of_cell(name, value) for name, value in stated.items()]]
    sheets[FACTS_SHEET] = (["fact", "value"], facts, frozenset())
    for name in [*TABLES, *(set(study.tables) - set(TABLES))]:
        if name in study.tables:
            header, columns = texts_of_frame(name, study.tables[name], study.unread)
            kinds = {column.name: column.kind for column in TABLES[name].columns}
            numbers = frozenset(i for i, column in enumerate(header) if kinds.get(column) in ("number", "integer"))
            sheets[name] = (header, columns, numbers)
    content = io.BytesIO()
    workbook = xlsxwriter.Workbook(content, {"in_memory": True})
    workbook.set_properties({"created": _WRITTEN_AT})
    bold = workbook.add_format({"bold": True})
    for name, (header, columns, numbers) in sheets.items():
        _check_sheet(name, header, columns)
        _write_sheet(workbook.add_worksheet(name), header, columns, numbers, bold)
    workbook.close()
    return content.getvalue()


def _study_of_workbook(content: bytes, name: str) -> Study:
    """Return the study in a workbook; StudyError if it is none or has none of the sheets of a study."""
    tables: dict[str, pd.DataFrame] = {}
    unread: list[tuple[str, ...]] = []
    facts: dict[str, Any] = {}
    with open_workbook(content, name) as (workbook, _):
        for sheet in sheet_names(workbook):
            table = sheet.strip().casefold()
            if table == FACTS_SHEET:
                told = facts_in_sheet(sheet_rows(workbook, sheet), f"{name}: {sheet}")
                facts = {fact: fact_of_text(text) for fact, text in told.items()}
            elif table in TABLES:
                rows = sheet_rows(workbook, sheet)
                if not any(any(row) for row in rows):
                    continue
                if table == "formulas" and _is_side_by_side(rows):
                    texts = read_rows(list(filled_rows(rows, str.strip).values()), "formulas").texts
                    rows = [list(texts.columns), *texts.values.tolist()]
                raw = table_of_rows(rows, f"{name}: {sheet}", keep_empty=True, max_cells=OWN_FILE.cells)
                tables[table], cells = frame_of_texts(TABLES[table], raw)
                unread.extend(cells)
            elif table not in (HOW_TO, *ENTRIES) and any(any(row) for row in sheet_rows(workbook, sheet)):
                unread.append((sheet, "", "", sheet, nearest_table(sheet)))
    if not tables and not facts:
        raise StudyError(f"{name} has no sheet of a study; import it as a table of scores, or name its sheets.")
    facts, not_read = read_facts(facts)
    return Study(tables, facts, unread_frame([*unread, *not_read]))


def _is_side_by_side(rows: Sequence[Sequence[str]]) -> bool:
    """Return True if formulas stand with an ingredient a row and a prototype, with amounts, a column."""
    filled = list(filled_rows(rows, str.strip).values())
    heads = [known_column("formulas", cell) for cell in filled[0]] if filled else []
    if heads.count("ingredient") != 1 or {"prototype", "percent"} & set(heads):
        return False
    amounts = [cell for row in filled[1:] for cell, head in zip(row, heads, strict=False) if not head]
    return bool(np.isfinite(read_numbers(amounts).values).any())


def _write_sheet(sheet: Any, header: list[str], columns: list[list[str]], numbers: frozenset[int], bold: Any) -> None:
    """Write one table; a number goes in as a number where the workbook keeps all its digits, else as text."""
    shortest, longest = _COLUMN_WIDTHS
    for place, (name, cells) in enumerate(zip(header, columns, strict=True)):
        sheet.write_string(0, place, name, bold)
        width = max([len(name), *(len(text) for text in cells[:200])])
        sheet.set_column(place, place, min(max(width + 1, shortest), longest))
        for row, text in enumerate(cells, start=1):
            if text and place in numbers and (value := exact_number(text)) is not None:
                sheet.write_number(row, place, value)
            elif text:
                sheet.write_string(row, place, text)
    sheet.freeze_panes(1, 0)


def exact_number(text: str) -> float | None:
    """Return the number of a text if a workbook, which keeps 16 digits, gives back the same number."""
    try:
        value = float(text)
    except ValueError:
        return None
    return value if abs(value) < 1e300 and float(f"{value:.16G}") == value else None


def _check_sheet(name: str, header: list[str], columns: list[list[str]]) -> None:
    """Raise StudyError if a sheet of a workbook cannot hold a table as it is."""
    if columns and len(columns[0]) >= _MAX_SHEET_ROWS:
        raise StudyError(f"The table {name} has more rows than a workbook holds; keep the study as a folder.")
    for column, cells in zip(header, columns, strict=True):
        for row, text in enumerate([column, *cells], start=1):
            if len(text) > _MAX_CELL_TEXT or _NOT_KEPT.search(text):
                where = f"{name}, row {row}, column {column!r}"
                raise StudyError(f"A workbook cannot hold the text in {where}; keep the study as a folder.")


def fact_text_of_cell(name: str, value: Any) -> str:
    """Return a fact as it stands in its cell: a text as it is, unless it would be taken for something else."""
    if isinstance(value, str) and value and fact_of_text(value) == value:
        return value
    try:
        return json.dumps(value, ensure_ascii=False, allow_nan=False, default=str)
    except (ValueError, TypeError, RecursionError) as error:
        raise StudyError(f"The fact {name!r} of the study cannot be written: {error}.") from error


def fact_of_text(text: str) -> Any:
    """Return the fact that a cell holds: what it is in JSON, else the text itself."""
    try:
        return json.loads(text, parse_constant=refuse_constant)
    except (ValueError, RecursionError):
        return text


def facts_in_sheet(rows: list[list[str]], name: str) -> dict[str, str]:
    """Return fact to the text of its value."""
    if not any(any(row) for row in rows):
        return {}
    table = table_of_rows(rows, name)
    if not {"fact", "value"} <= {head.casefold() for head in table.header}:
        raise StudyError(f"{name} needs the columns fact and value; give them these names.")
    cells = {head.casefold(): column for head, column in zip(table.header, table.columns, strict=True)}
    return {fact.strip(): text for fact, text in zip(cells["fact"], cells["value"], strict=True) if fact and text}


# How is a study kept as one .zip: the files of its folder, packed?


# The time of writing would make two zips of one study differ; this is the earliest time a zip can hold.
_ZIP_FILE_WRITTEN_AT = (1980, 1, 1, 0, 0, 0)
_READABLE_BY_ALL = 0o644 << 16

_MAX_CELLS = 2_000_000  # of all tables together; a larger study is kept as a folder
_MAX_FILE_BYTES = 20_000_000  # of one file in it, as for a file to import


def zip_bytes(study: Study) -> bytes:
    """Return a study as a zip of its folder; the same study gives the same bytes.

    Raises
    ------
    StudyError
        If it is too large to be opened from a zip again, or holds something that no file can hold.
    """
    if sum(frame.size for frame in study.tables.values()) > _MAX_CELLS:
        raise StudyError(f"The study has more than {_MAX_CELLS} cells, too many for a zip; keep it as a folder.")
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, data in files_of_study(study).items():
            member = zipfile.ZipInfo(path, _ZIP_FILE_WRITTEN_AT)
            member.compress_type, member.external_attr = zipfile.ZIP_DEFLATED, _READABLE_BY_ALL
            archive.writestr(member, data)
    return content.getvalue()


def _study_of_zip(content: bytes, name: str) -> Study:
    """Return the study in a zip, at its top or in one folder. Nothing is unpacked onto the disk.

    StudyError if it is no zip, holds no study or more than one, or names in it lead out of it.
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
        if member not in members:
            return None
        if archive.getinfo(member).file_size > _MAX_FILE_BYTES:
            raise StudyError(f"{member} in {name} is larger than {_MAX_FILE_BYTES} bytes; give the study as a folder.")
        return read_member(archive, member, name)

    return study_of_files(read, name, _MAX_CELLS)


_MOST_RECENT = 8
_MOST_BYTES = 100_000


def _recent_file() -> Path:
    """Return where the list is kept: the usual place for settings of this computer."""
    if sys.platform == "win32":
        place = os.environ.get("APPDATA") or Path.home() / "AppData" / "Roaming"
    elif sys.platform == "darwin":
        place = Path.home() / "Library" / "Application Support"
    else:
        place = os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config"
    return Path(place) / "afterfeel" / "recent.json"


def keep_aside(name: str, content: bytes | None) -> None:
    """Keep what somebody typed and did not save, under a name; None throws it away. Nobody else on a computer reads it.

    Where nothing can be written nothing is kept.
    """
    file = _aside(name)
    with suppress(OSError, StudyError):
        if content is None:
            file.unlink(missing_ok=True)
            return
        file.parent.mkdir(parents=True, exist_ok=True)
        write_file(file, content, overwrite=True, private=True)


def kept_aside(name: str) -> bytes | None:
    """Return what was kept under a name; None where nothing is."""
    with suppress(OSError):
        return _aside(name).read_bytes()
    return None


def _aside(name: str) -> Path:
    return _recent_file().parent / "not_saved" / hashlib.sha256(name.encode()).hexdigest()


def recent_studies() -> tuple[Path, ...]:
    """Return the studies that were open lately and are still there, the last one first."""
    return tuple(path for path in map(Path, _listed()) if _is_there(path))


def remember_study(path: str | Path) -> None:
    """Put a study at the head of the list; where no list can be kept there is none, which hurts nobody."""
    with suppress(OSError, ValueError, RuntimeError):
        place = str(Path(path).resolve())
        listed = [place, *(other for other in _listed() if other != place)][:_MOST_RECENT]
        file = _recent_file()
        file.parent.mkdir(parents=True, exist_ok=True)
        write_file(file, json.dumps(listed, ensure_ascii=False, indent=1).encode(), overwrite=True)


def _listed() -> list[str]:
    with suppress(OSError, ValueError, RecursionError):
        file = _recent_file()
        if file.is_file() and file.stat().st_size <= _MOST_BYTES:
            content = json.loads(file.read_bytes())
            return [name for name in content if isinstance(name, str)] if isinstance(content, list) else []
    return []


def _is_there(path: Path) -> bool:
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


# Scores that come later: of a file into a study that was begun, of another study into one that has some.


def with_scores(study: Study, imported: Study) -> Study:
    """Return a study that was begun, with the scores of an import; what it says of the names in them stays.

    An attribute that the study calls by the heading of the sheet keeps its short name. StudyError if there are scores.
    """
    if len(study.scores):
        raise StudyError(
            "The study holds scores already. Import this table into a study of its own, give its names the spelling of "
            "this one, then: afterfeel set STUDY scores OTHER/scores.csv"
        )
    told, listed = imported.table("attributes"), study.table("attributes")
    words = told["name"].where(told["name"] != "", told["attribute"]).str.casefold()
    own = dict(zip(listed["name"].str.casefold(), listed["attribute"], strict=True))
    alone = ~words.duplicated(keep=False)  # at one moment: of several the study's minutes say which
    timed = dict(
        zip(zip(listed["name"].str.casefold(), listed["minutes"], strict=True), listed["attribute"], strict=True)
    )
    names = {
        new: own.get(word, new) if one else timed.get((word, minutes), new)
        for new, word, minutes, one in zip(imported.attributes, words, told["minutes"], alone, strict=True)
    }
    scores = imported.scores.assign(attribute=imported.scores["attribute"].map(names))
    meant = sessions_alike(study.table("servings")["session"].unique(), scores["session"].unique())
    tables = {**study.tables, "scores": scores.replace({"session": meant})}
    for name in ("prototypes", "attributes", "assessors"):
        key, known = TABLES[name].key[0], study.table(name)
        new = imported.table(name).replace({key: names} if name == "attributes" else {})
        tables[name] = pd.concat([known, new.loc[~new[key].isin(known[key])]], ignore_index=True)
    record = imported.facts["import"]
    same = first_few([f"{new!r} as {old!r}" for new, old in meant.items()])
    said = [f"Sessions were read by the names that the servings give them: {same}."] * bool(meant)
    return replace(
        study,
        tables=tables,
        facts={**study.facts, "import": {**record, "done": [*record["done"], *said]}},
        unread=pd.concat([study.unread, imported.unread], ignore_index=True),
        raw_files=(*study.raw_files, *(each for each in imported.raw_files if each not in study.raw_files)),
    )


def scores_of_folder(study: Study, file: Path, scores: pd.DataFrame) -> tuple[Study, pd.DataFrame]:
    """Return a study with the files that scores of another study's folder came from, and scores that name theirs.

    `scores` is what stands in `file`, the table of that other study. Where both have a file of one name, it is kept
    and no score names it.
    """
    if not (file.parent / DESCRIPTION).is_file() or not {"source", "raw_line"} <= {*scores}:
        return study, scores
    other = open_study(file.parent, ())
    first = (scores["source"] == IMPORTED_ROW) & (scores["raw_line"] != "")
    known = {each.sha256 for each in study.raw_files}
    now, own = (_imported_from(each) for each in (study, other))
    own = "" if own == now and known & {each.sha256 for each in other.raw_files if each.name == own} else own
    source = scores["source"].mask(first, own or IMPORTED_ROW)
    new = tuple(each for each in other.raw_files if each.sha256 not in known and (source == each.name).any())
    unsure = source.isin({each.name for each in study.raw_files} & {each.name for each in new})
    named = scores.assign(source=source.mask(unsure, IMPORTED_ROW), raw_line=scores["raw_line"].mask(unsure, ""))
    return replace(study, raw_files=(*study.raw_files, *new)), named


def _imported_from(study: Study) -> str:
    record = study.facts.get("import")
    return str(record.get("file", "")) if isinstance(record, dict) else ""
