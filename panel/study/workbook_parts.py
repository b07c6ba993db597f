"""Does a workbook fit into memory? Its parts are read in pieces, measured, and what a table needs is packed again."""

from __future__ import annotations

import io
import re
import zipfile
from array import array
from collections.abc import Iterator
from itertools import chain
from xml.parsers import expat

from panel.errors import StudyError
from panel.study.archive_limits import member_pieces, open_archive

MAX_UNPACKED = 100_000_000  # bytes of all parts together
MAX_CELLS = 1_000_000  # written cells of all sheets together, and texts that they share
_MAX_AREA = 2_000_000  # cells that all sheets together are laid out as, empty ones included
_MAX_TEXT = 40_000_000  # bytes of text once every cell has its own copy; twice the largest text file
_MAX_TAGS = 4 * MAX_CELLS
_MAX_SMALL_PART = 10_000_000  # bytes of the parts that only say what the others are
_LONGEST_TAG = 1 << 18  # bytes from one tag to the next; a cell holds at most 32,767 characters
_DEEPEST = 100

_SMALL = ("workbook", "styleSheet", "Relationships", "Types")
_SHEET, _TEXTS = "worksheet", "sst"
_ROOT = re.compile(rb"<(?:\w+:)?([A-Za-z]\w*)")
_FAR = 10_000_000  # the place of a reference that nobody can read


def workbook_parts(content: bytes, name: str) -> tuple[bytes, int]:
    """Return a workbook with nothing in it but what was measured, and how many cells hold a spreadsheet error.

    The reader lays a sheet out as a full grid, so one value in the last cell of an otherwise empty sheet would ask
    for hundreds of gigabytes, and gives each cell its own copy of a shared text. Both are counted here. It gets the
    parts packed anew, because two readers may understand a doctored archive in two ways.

    Raises
    ------
    StudyError
        If it is no .xlsx workbook, is damaged, or claims an area or an amount of text that would not fit.
    """
    archive = open_archive(content, name, MAX_UNPACKED)
    if "xl/workbook.xml" not in archive.namelist():
        raise StudyError(f"{name} is not an .xlsx workbook; save it as .xlsx or .csv.")
    kinds: dict[str, str] = {}
    for part in archive.namelist():
        if part.endswith((".xml", ".rels")):
            start = next(member_pieces(archive, part, name), b"")
            if start[:2] in (b"\xff\xfe", b"\xfe\xff"):
                raise _unusual(name, part)
            kinds[part] = found[1].decode() if (found := _ROOT.search(start)) else ""
    if list(kinds.values()).count(_TEXTS) > 1:
        raise StudyError(f"{name} holds its shared texts twice; open it, save it as .xlsx and retry.")
    measured = _Measure(name)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as anew:
        for part in sorted(kinds, key=lambda part: kinds[part] != _TEXTS):  # shared texts first: the sheets name them
            if kinds[part] in (*_SMALL, _SHEET, _TEXTS):
                with anew.open(part, "w") as target:
                    for piece in measured.pieces(part, kinds[part], member_pieces(archive, part, name)):
                        target.write(piece)
    return packed.getvalue(), measured.errors


def _unusual(name: str, part: str) -> StudyError:
    return StudyError(f"{name} holds parts that no spreadsheet program writes ({part}); save it again.")


class _Measure:
    """Counts what the parts of one workbook would take up, tag by tag, and stops where it is too much."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.errors = 0
        self._tags = self._cells = self._text = self._area = 0
        self._lengths = array("l")  # bytes of each shared text

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

    def _start_part(self, part: str, kind: str) -> None:
        self._part, self._kind, self._depth = part, kind, 0
        self._rows = self._columns = self._row = self._column = self._text_began = 0
        self._shared = False
        self._read_tag = self._row_text = self._number = ""
        self._known: dict[str, int] = {}
        self._parser = parser = expat.ParserCreate()
        parser.ordered_attributes = parser.buffer_text = True
        parser.StartDoctypeDeclHandler = self._doctype
        parser.EndElementHandler = self._end
        parser.StartElementHandler = self._tag
        parser.CharacterDataHandler = self._characters

    def _doctype(self, *_: object) -> None:
        raise _unusual(self.name, self._part)

    def _tag(self, full_tag: str, attributes: list[str]) -> None:
        """Count one tag. The reader looks for cells in any part that is named as a sheet, so cells count in all."""
        self._tags += 1
        self._depth += 1
        if self._tags > _MAX_TAGS or self._depth > _DEEPEST:
            raise StudyError(f"{self.name} holds more than can be read ({self._part}); keep only the table of scores.")
        tag = full_tag.rpartition(":")[2] if ":" in full_tag else full_tag
        if self._depth == 1 and tag != self._kind:
            raise _unusual(self.name, self._part)
        if tag == "c":
            self._count_cell(self._kind != _TEXTS)
            self._cell(dict(zip(attributes[::2], attributes[1::2], strict=True)))
        elif tag == "v" or (tag == "t" and self._kind != _TEXTS):
            self._read_tag = full_tag
        elif tag == "row":
            self._row_text = dict(zip(attributes[::2], attributes[1::2], strict=True)).get("r", "")
            self._row = self._number_of(self._row_text) if self._row_text else self._row + 1
            self._column = 0
            self._widen()
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
        if self._cells > MAX_CELLS:
            raise StudyError(f"{self.name} has more than {MAX_CELLS} cells; keep only the table of scores or split it.")

    def _cell(self, attributes: dict[str, str]) -> None:
        kind = attributes.get("t")
        self._shared = kind == "s"
        self.errors += kind == "e"
        reference = attributes.get("r")
        if reference is None:
            self._column += 1
        else:
            letters = reference.rstrip("0123456789")
            row = reference[len(letters) :]
            if letters not in self._known:
                self._known[letters] = _column_number(letters)
            self._column = self._known[letters]
            if row != self._row_text:
                self._row = self._number_of(row)
        self._widen()

    def _number_of(self, digits: str) -> int:
        return int(digits) if digits.isascii() and digits.isdigit() and len(digits) < 8 else _FAR

    def _widen(self) -> None:
        if self._column > self._columns or self._row > self._rows:
            self._columns, self._rows = max(self._columns, self._column), max(self._rows, self._row)
            self._refuse_area()

    def _laid_out(self) -> int:
        return self._rows * max(self._columns, 1)

    def _refuse_area(self) -> None:
        if self._area + self._laid_out() > _MAX_AREA:
            where = f"{self.name} uses cells far outside its tables, or very many ({self._part})"
            raise StudyError(f"{where}; delete what is not the table and save it again.")

    def _characters(self, text: str) -> None:
        if self._read_tag and self._shared:
            self._number += text
        elif self._read_tag:
            self._add_text(len(text.encode()))

    def _end(self, tag: str) -> None:
        self._depth -= 1
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


def _column_number(letters: str) -> int:
    number = 0
    for letter in letters.upper():
        number = number * 26 + ord(letter) - 64 if "A" <= letter <= "Z" else _FAR
    return min(number, _FAR)
