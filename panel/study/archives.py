"""May this archive (a zipped study, a workbook) be opened, and does it fit into memory?

It is looked at before anything in it is unpacked; the parts of a workbook are read in pieces, measured, and what a
table needs is packed again.
"""

from __future__ import annotations

import copy
import datetime
import io
import lzma
import re
import struct
import zipfile
import zlib
from array import array
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import chain
from pathlib import PurePosixPath
from typing import Any
from xml.parsers import expat

import python_calamine

from panel.errors import StudyError

_MAX_MEMBERS = 2_000
MAX_UNPACKED = 200_000_000  # bytes; ten times the largest file that may be imported

_BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    struct.error,
    OSError,
    EOFError,
    RuntimeError,  # zipfile raises it for an encrypted member
    NotImplementedError,  # and this for a way of packing it does not know
    ValueError,
    IndexError,
    OverflowError,
)
_PIECE = 1 << 18  # bytes unpacked at a time
_WAYS_OF_PACKING = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)  # those that Python can unpack in pieces
_ENTRY = b"PK\x01\x02"  # begins the entry of each file in the list at the end of an archive
_ENCRYPTED = 0x1
_LINK, _KIND = 0o120000, 0o170000


def stays_inside(name: str) -> bool:
    """Return True if a path out of a file stays below the folder it is meant for, on any operating system."""
    if not name or "\\" in name or ":" in name or any(ord(sign) < 32 for sign in name):
        return False
    parts = PurePosixPath(name).parts
    return bool(parts) and not name.startswith("/") and ".." not in parts


def open_archive(content: bytes, name: str, max_unpacked: int = MAX_UNPACKED) -> zipfile.ZipFile:
    """Open a zip archive held in memory, having looked at what it claims to hold, at most `max_unpacked` bytes.

    StudyError if it is no zip archive, is encrypted, is packed in an unusual way, holds too much, or a name in it leads
    out of its folder.
    """
    if (entries := content.count(_ENTRY)) > 10 * _MAX_MEMBERS:  # before they are listed, for the list takes memory
        raise StudyError(f"{name} holds {entries} files; at most {_MAX_MEMBERS} are read.")
    try:
        archive = zipfile.ZipFile(io.BytesIO(content))
        members = archive.infolist()
    except _BROKEN as error:
        raise StudyError(f"{name} is not a whole zip archive or workbook; save it again and retry.") from error
    if len(members) > _MAX_MEMBERS:
        raise StudyError(f"{name} holds {len(members)} files; at most {_MAX_MEMBERS} are read.")
    unpacked = sum(member.file_size for member in members)
    if unpacked > max_unpacked:
        raise StudyError(f"{name} would unpack to {unpacked} bytes; at most {max_unpacked} are read.")
    for member in members:
        if not stays_inside(member.filename) or (member.external_attr >> 16) & _KIND == _LINK:
            raise StudyError(f"{name} holds {member.filename!r}, which leads out of it; nothing was read.")
        if member.flag_bits & _ENCRYPTED:
            raise StudyError(f"{name} is protected by a password; save it without one.")
        if member.compress_type not in _WAYS_OF_PACKING:
            raise StudyError(f"{name} holds {member.filename!r} packed in an unusual way; pack it as an ordinary zip.")
    repeated = [member for member, times in Counter(archive.namelist()).items() if times > 1]
    if repeated:
        raise StudyError(f"{name} holds {repeated[0]!r} more than once; pack it again.")
    return archive


def read_member(archive: zipfile.ZipFile, member: str, name: str) -> bytes:
    """Return one file of an archive, exactly as many bytes as it declares; StudyError as for `_member_pieces`."""
    return b"".join(_member_pieces(archive, member, name))


def _member_pieces(archive: zipfile.ZipFile, member: str, name: str) -> Iterator[bytes]:
    """Yield one file of an archive in pieces of at most 256 kB, so that no more is in memory than was asked for.

    StudyError, never more than one piece too late, if it is damaged or not as long as the archive says.
    """
    try:
        declared = archive.getinfo(member)
        # One byte more is asked for than is declared, else a file that goes on would look as if it ended there.
        asked = copy.copy(declared)
        asked.file_size += 1
        length = 0
        with archive.open(asked) as stream:
            while piece := stream.read(_PIECE):
                length += len(piece)
                if length > declared.file_size:
                    break
                yield piece
        if length == declared.file_size:
            return
    except _BROKEN as error:
        raise StudyError(f"{member!r} in {name} is damaged; pack or save the file again.") from error
    raise StudyError(f"{member!r} in {name} is damaged: it is not as long as it says; pack or save the file again.")


_MAX_WORKBOOK = 100_000_000  # bytes of all parts together
_MAX_CELLS = 600_000  # 20,000 rows of 30; written cells of all sheets together, and texts that they share
_MAX_AREA = 2_000_000  # cells that all sheets together are laid out as, empty ones included
_MAX_TEXT = 40_000_000  # bytes of text once every cell has its own copy; twice the largest text file
_MAX_TAGS = 4 * _MAX_CELLS
_MAX_SMALL_PART = 10_000_000  # bytes of the parts that only say what the others are
_LONGEST_TAG = 1 << 18  # bytes from one tag to the next; a cell holds at most 32,767 characters
_DEEPEST = 100

_SMALL = ("workbook", "styleSheet", "Relationships", "Types")
_SHEET, _TEXTS = "worksheet", "sst"
_ROOT = re.compile(rb"<(?:\w+:)?([A-Za-z]\w*)")
_CELL = re.compile(rb"<(?:\w+:)?c[\s/>]")
_FAR = 10_000_000  # the place of a reference that nobody can read


def _workbook_parts(content: bytes, name: str) -> tuple[bytes, Counter[str]]:
    """Return a workbook with nothing in it but what was measured, and how much of it is not what one sees.

    The reader lays a sheet out as a full grid, so one value in the last cell of an otherwise empty sheet would ask
    for hundreds of gigabytes, and gives each cell its own copy of a shared text. Both are counted here. It gets the
    parts packed anew, because two readers may understand a doctored archive in two ways.
    """
    archive = open_archive(content, name, _MAX_WORKBOOK)
    if "xl/workbook.xml" not in archive.namelist():
        raise StudyError(f"{name} is not an .xlsx workbook; save it as .xlsx or .csv.")
    kinds: dict[str, str] = {}
    for part in archive.namelist():
        if part.endswith((".xml", ".rels")):
            start = next(_member_pieces(archive, part, name), b"")
            if start[:2] in (b"\xff\xfe", b"\xfe\xff"):
                raise _unusual(name, part)
            kinds[part] = found[1].decode() if (found := _ROOT.search(start)) else ""
    if list(kinds.values()).count(_TEXTS) > 1:
        raise StudyError(f"{name} holds its shared texts twice; open it, save it as .xlsx and retry.")
    _refuse_more_cells([part for part, kind in kinds.items() if kind == _SHEET], archive, name)
    measured = _Measure(name)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as anew:
        for part in sorted(kinds, key=lambda part: kinds[part] == _SHEET):  # the sheets name shared texts and styles
            if kinds[part] in (*_SMALL, _SHEET, _TEXTS):
                with anew.open(part, "w") as target:
                    for piece in measured.pieces(part, kinds[part], _member_pieces(archive, part, name)):
                        target.write(piece)
    return packed.getvalue(), measured.told


def _refuse_more_cells(sheets: list[str], archive: zipfile.ZipFile, name: str) -> None:
    """Refuse a workbook with far too many cells at once, by what looks like one: to read each tag takes seconds."""
    cells = signs = 0
    for sheet in sheets:
        for piece in _member_pieces(archive, sheet, name):
            signs += piece.count(b"<")
            if signs > 2 * _MAX_TAGS:
                raise _more_than_can_be_read(name, sheet)
            cells += len(_CELL.findall(piece))
            if cells > _MAX_CELLS:
                raise _too_many_cells(name)


def _too_many_cells(name: str) -> StudyError:
    return StudyError(f"{name} has more than {_MAX_CELLS} cells; keep only the table of scores or split it.")


def _more_than_can_be_read(name: str, part: str) -> StudyError:
    return StudyError(f"{name} holds more than can be read ({part}); keep only the table of scores.")


def _unusual(name: str, part: str) -> StudyError:
    return StudyError(f"{name} holds parts that no spreadsheet program writes ({part}); save it again.")


class _Measure:
    """Counts what the parts of one workbook would take up, tag by tag, and stops where it is too much."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.told: Counter[str] = Counter()  # kinds of cells, rows and columns that a person does not see as they are
        self._tags = self._cells = self._text = self._area = 0
        self._lengths = array("l")  # bytes of each shared text
        self._formats: dict[str, str] = {"9": "0%", "10": "0.00%"}  # codes of number formats, by their number
        self._styles: list[str] = []  # number of the format of each style
        self._among_styles = False

    def pieces(self, part: str, kind: str, pieces: Iterator[bytes]) -> Iterator[bytes]:
        """Yield the pieces of one part, each after it was measured."""
        self._start_part(part, kind)
        parser, length = self._parser, 0
        try:
            for piece in chain(pieces, [b""]):
                parser.Parse(piece, not piece)
                if length - parser.CurrentByteIndex > _LONGEST_TAG:
                    raise _unusual(self.name, part)
                length += len(piece)
                if kind in _SMALL and length > _MAX_SMALL_PART:
                    raise _unusual(self.name, part)
                yield piece
        except (expat.ExpatError, LookupError) as error:  # LookupError: an encoding that there is not
            what = f"{self.name} cannot be read as a workbook ({part} is damaged)"
            raise StudyError(f"{what}; open it, save it as .xlsx and retry.") from error
        if kind == _TEXTS and self._lengths:
            self._lengths[-1] = length - self._text_began
        self._area += self._laid_out()
        self.told["hidden columns"] += sum(max(0, min(last, self._columns) - first + 1) for first, last in self._hidden)

    def _start_part(self, part: str, kind: str) -> None:
        self._part, self._kind, self._depth = part, kind, 0
        self._rows = self._columns = self._row = self._column = self._text_began = 0
        self._shared = self._is_hidden = False
        self._value, self._hidden = "", list[tuple[int, ...]]()
        self._read_tag = self._row_text = self._number = ""
        self._known: dict[str, int] = {}
        self._looks: dict[tuple[str | None, str], tuple[str, ...]] = {}  # to what is told of cells that look so
        self._parser = parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.StartDoctypeDeclHandler = self._doctype
        parser.EndElementHandler = self._end
        parser.StartElementHandler = self._tag
        parser.CharacterDataHandler = self._characters

    def _doctype(self, *_: object) -> None:
        raise _unusual(self.name, self._part)

    def _tag(self, full_tag: str, attributes: dict[str, str]) -> None:
        """Count one tag. The reader looks for cells in any part that is named as a sheet, so cells count in all."""
        self._tags += 1
        self._depth += 1
        if self._tags > _MAX_TAGS or self._depth > _DEEPEST:
            raise _more_than_can_be_read(self.name, self._part)
        tag = full_tag.rpartition(":")[2] if ":" in full_tag else full_tag
        if self._depth == 1 and tag != self._kind:
            raise _unusual(self.name, self._part)
        if tag == "c":
            self._count_cell(self._kind != _TEXTS)
            self._cell(attributes)
        elif tag == "v" or (tag == "t" and self._kind != _TEXTS):
            self._read_tag = full_tag
        elif tag == "f":
            self._value = "awaited"
        elif tag == "col" and attributes.get("hidden") in _YES:
            self._hidden.append(tuple(self._number_of(attributes.get(end, "")) for end in ("min", "max")))
        elif tag == "row":
            self._row_text = attributes.get("r", "")
            self._is_hidden = attributes.get("hidden") in _YES
            self._row = self._number_of(self._row_text) if self._row_text else self._row + 1
            self._column = 0
            self._widen()
        elif tag == "numFmt":
            self._formats[attributes.get("numFmtId", "")] = attributes.get("formatCode", "")
        elif tag in ("cellXfs", "cellStyleXfs"):
            self._among_styles = tag == "cellXfs"
        elif tag == "xf" and self._among_styles:
            self._styles.append(attributes.get("numFmtId", ""))
        elif tag == "si":
            self._count_cell(self._kind == _TEXTS)
            self._start_text()

    def _start_text(self) -> None:
        place = self._parser.CurrentByteIndex
        if self._lengths:
            self._lengths[-1] = place - self._text_began
        self._text_began = place
        self._lengths.append(0)

    def _count_cell(self, is_usual: bool) -> None:
        self._cells += 1
        if not is_usual:
            raise _unusual(self.name, self._part)
        if self._cells > _MAX_CELLS:
            raise _too_many_cells(self.name)

    def _cell(self, attributes: dict[str, str]) -> None:
        kind = attributes.get("t")
        self._shared = kind == "s"
        look = kind, attributes.get("s", "")
        if look not in self._looks:
            self._looks[look] = self._not_as_seen(*look)
        for told in self._looks[look]:
            self.told[told] += 1
        self._value = ""
        reference = attributes.get("r")
        if reference is None:
            self._column += 1
        else:
            letters = reference.rstrip("0123456789")
            row = reference[len(letters) :]
            if letters not in self._known:
                number = 0
                for letter in letters.upper():
                    number = number * 26 + ord(letter) - 64 if "A" <= letter <= "Z" else _FAR
                self._known[letters] = min(number, _FAR)
            self._column = self._known[letters]
            if row != self._row_text:
                self._row = self._number_of(row)
        if self._column > self._columns or self._row > self._rows:
            self._widen()

    def _not_as_seen(self, kind: str | None, style: str) -> tuple[str, ...]:
        """Return what of a cell of a kind and style a person does not see as it is kept."""
        place = self._number_of(style)
        shown = self._formats.get(self._styles[place], "") if kind in (None, "n") and place < len(self._styles) else ""
        found = {"per cent": "%" in shown, "zeros": re.fullmatch(r"0{2,}", shown) is not None, "errors": kind == "e"}
        return tuple(told for told, is_so in found.items() if is_so)

    def _number_of(self, digits: str) -> int:
        return int(digits) if digits.isascii() and digits.isdigit() and len(digits) < 8 else _FAR

    def _widen(self) -> None:
        self._columns, self._rows = max(self._columns, self._column), max(self._rows, self._row)
        self._refuse_area()

    def _laid_out(self) -> int:
        return self._rows * max(self._columns, 1)

    def _refuse_area(self) -> None:
        if self._area + self._laid_out() > _MAX_AREA:
            where = f"{self.name} uses cells far outside its tables, or very many ({self._part})"
            raise StudyError(f"{where}; delete what is not the table and save it again.")

    def _characters(self, text: str) -> None:
        if not self._read_tag:
            return
        self._value = ""
        if self._is_hidden:
            self.told["hidden rows"] += 1
            self._is_hidden = False
        if self._shared:
            self._number += text
        else:
            self._add_text(len(text.encode()))

    def _end(self, tag: str) -> None:
        self._depth -= 1
        if self._value == "awaited" and tag.rpartition(":")[2] == "c":
            self.told["formulas"] += 1
        if tag == self._read_tag:
            self._read_tag = ""
            if self._number:
                place = self._number_of(self._number.strip())
                self._number = ""
                self._add_text(self._lengths[place] if place < len(self._lengths) else 0)

    def _add_text(self, length: int) -> None:
        self._text += length
        if self._text > _MAX_TEXT:
            raise StudyError(f"{self.name} holds more text than can be read; keep only the table of scores.")


# What stands in the sheets of a workbook, every cell as text?


@contextmanager
def open_workbook(content: bytes, name: str) -> Iterator[tuple[python_calamine.CalamineWorkbook, tuple[str, ...]]]:
    """Open a workbook held in memory once it is known to fit into memory; say what one would not expect of its cells.

    Raises
    ------
    StudyError
        If it is no .xlsx workbook, is damaged, or claims an area or an amount of text that would not fit.
    """
    parts, told = _workbook_parts(content, name)
    try:
        with python_calamine.load_workbook(io.BytesIO(parts)) as reader:
            yield reader, tuple(f"{_TOLD[kind]}: {number}." for kind, number in told.items() if number)
    except python_calamine.CalamineError as error:
        raise StudyError(f"{name} cannot be read as a workbook; open it, save it as .xlsx and retry.") from error


_YES = ("1", "true")
_TOLD = {
    "errors": "Cells with a spreadsheet error such as #DIV/0! in the workbook, read as empty",
    "formulas": "Formulas whose result is not stored in the workbook, read as empty",
    "per cent": "Numbers that the workbook shows as per cent, read as shares (45 % is 0.45)",
    "zeros": "Numbers that the workbook shows with zeros before them, read without (017 is 17)",
    "hidden rows": "Hidden rows of the workbook that were read as well",
    "hidden columns": "Hidden columns of the workbook that were read as well",
}


def sheet_names(workbook: python_calamine.CalamineWorkbook, *, hidden: bool = False) -> list[str]:
    """Return the names of the worksheets a person sees, or of those that are `hidden`, in their order."""
    work, visible = python_calamine.SheetTypeEnum.WorkSheet, python_calamine.SheetVisibleEnum.Visible
    return [
        sheet.name for sheet in workbook.sheets_metadata if sheet.typ == work and (sheet.visible != visible) == hidden
    ]


def sheet_rows(workbook: python_calamine.CalamineWorkbook, sheet: str) -> list[list[str]]:
    """Return the rows of one sheet from its first line on, each cell as text."""
    return _rows_of(workbook.get_sheet_by_name(sheet))


def _rows_of(sheet: python_calamine.CalamineSheet) -> list[list[str]]:
    rows = sheet.to_python(skip_empty_area=False)
    return [[value if type(value) is str else _cell_text(value) for value in row] for row in rows]


def rows_with_merged(workbook: python_calamine.CalamineWorkbook, sheet: str) -> tuple[list[list[str]], int]:
    """Return the rows as `sheet_rows`, cells merged over several rows written into each, and how many rows those were.

    A spreadsheet shows a merged cell over all its rows and keeps its value in the first of them only.
    """
    loaded = workbook.get_sheet_by_name(sheet)
    rows, filled = _rows_of(loaded), set()
    for (top, column), (bottom, _) in loaded.merged_cell_ranges or []:
        value = rows[top][column] if top < len(rows) and column < len(rows[top]) else ""
        for row in range(top + 1, min(bottom + 1, len(rows))) if value.strip() else ():
            rows[row].extend([""] * (column + 1 - len(rows[row])))
            if any(cell.strip() for cell in rows[row]):
                rows[row][column] = value
                filled.add(row)
    return rows, len(filled)


def _cell_text(value: Any) -> str:
    """Return a cell's value as text: whole numbers without `.0`, dates and times as ISO 8601."""
    if isinstance(value, float):  # most often
        return f"{value:.0f}" if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, datetime.datetime):
        return value.isoformat(sep=" ")
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    return str(value)
