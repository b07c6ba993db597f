"""Archives made to take all memory or time are refused within 5 s and 500 MB, measured in a process of their own.

Each is at most as large as an upload may be. The limits are those promised to users, not what this machine reaches.
"""

from __future__ import annotations

import base64
import io
import itertools
import json
import lzma
import struct
import subprocess
import sys
import zipfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from panel.study.raw_table import _MAX_BYTES

ROOT = Path(__file__).resolve().parents[2]
MOST_MEMORY = 500_000_000  # bytes, the whole process with Python and pandas in it
MOST_SECONDS = 5.0  # of the processor, for other programs may be running, on a machine that reads as fast as this:
READING = (
    0.02  # seconds for 20,000 cells of a sheet, of which nothing is counted, where the limit was set (from memory)
)

linux = pytest.mark.skipif(sys.platform != "linux", reason="the highest memory of a process is read from /proc")

# Loads the libraries once. Of each file named on a line, after the way to read it, a process of its own prints seconds,
# those of a fixed reading before and after, bytes at the highest and the refusal; what it begins with, the libraries,
# counts as its memory too. A slow machine, or a neighbour on the same core, slows both alike.
MEASURED = """
import json, os, re, sys, time
from pathlib import Path
from xml.parsers import expat
from panel.errors import StudyError
from panel.study.open_study import study_of_bytes
from panel.study.raw_table import raw_file, raw_table
def reading():
    parser = expat.ParserCreate()
    parser.StartElementHandler = lambda tag, attributes: None
    parser.EndElementHandler = parser.CharacterDataHandler = lambda text: None
    began = time.process_time()
    parser.Parse('<a>' + '<c r="A1"><v>7</v></c>' * 20_000 + '</a>', True)
    return time.process_time() - began
for line in sys.stdin:
    if os.fork():
        os.wait()
        continue
    way, path = line.rstrip("\\n").split(" ", 1)
    content = Path(path).read_bytes()
    fixed = reading()
    began = time.process_time()
    try:
        if way == "study":
            study_of_bytes(content, "f")
        else:
            raw_table(raw_file("f", content))
        told = "it was read"
    except StudyError as error:
        told = str(error)
    seconds = time.process_time() - began
    highest = re.search(r"VmHWM:\\s*(\\d+) kB", Path("/proc/self/status").read_text())[1]
    print(json.dumps([seconds, (fixed + reading()) / 2, int(highest) * 1024, told]), flush=True)
    os._exit(0)
"""


Measure = Callable[[bytes, str], tuple[float, float, str]]


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Measure]:
    """Give what tells of a file, read in a process of its own, the seconds, bytes at the highest and the refusal.

    On a machine slower than the one the limit was set on the seconds are those that it would take there.
    """
    place = tmp_path_factory.mktemp("hostile") / "file"
    running = subprocess.Popen(
        [sys.executable, "-c", MEASURED], cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert running.stdin is not None
    assert running.stdout is not None

    def measure(content: bytes, way: str) -> tuple[float, float, str]:
        assert len(content) <= _MAX_BYTES
        place.write_bytes(content)
        print(way, place, file=running.stdin, flush=True)
        seconds, fixed, memory, told = json.loads(running.stdout.readline())
        return seconds / max(1, fixed / READING), memory, told.strip()

    yield measure
    running.communicate(timeout=20)


def entry(name: str, packed: bytes, *, method: int, size: int, crc: int) -> tuple[bytes, bytes]:
    """Return the local part and the directory entry of one file in a zip (PKWARE APPNOTE 6.3, 4.3.7 and 4.3.12)."""
    facts = struct.pack("<HHHHHIIIHH", 20, 0, method, 0, 33, crc, len(packed), size, len(name), 0)
    local = b"PK\x03\x04" + facts + name.encode() + packed
    return local, b"PK\x01\x02" + struct.pack("<H", 20) + facts + struct.pack("<HHHII", 0, 0, 0, 0, 0) + name.encode()


def zip_of(*entries: tuple[bytes, bytes]) -> bytes:
    offsets = [0, *itertools.accumulate(len(local) for local, _ in entries)]
    body = b"".join(local for local, _ in entries)
    directory = b"".join(
        listed[:42] + struct.pack("<I", offset) + listed[46:]
        for (_, listed), offset in zip(entries, offsets, strict=False)
    )
    end = struct.pack("<HHHHIIH", 0, 0, len(entries), len(entries), len(directory), len(body), 0)
    return body + directory + b"PK\x05\x06" + end


def zeros_deflated(times: int, sign: bytes = b"0") -> bytes:
    """Return 16 MB of one sign, deflated, so many times after each other."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    block = packer.compress(sign * 16_000_000) + packer.flush(zlib.Z_FULL_FLUSH)
    return block * times + b"\x03\x00"  # the end of a deflate stream


def lying(name: str, times: int, declared: int, checked: int = 0) -> bytes:
    """Return a zip whose file begins as it declares and goes on for gigabytes, its checksum that of so many bytes."""
    crc = zlib.crc32(b"0" * (checked or declared))
    others = {"xl/workbook.xml", "datapackage.json"} - {name}
    plain = [entry(other, b"{}", method=0, size=2, crc=zlib.crc32(b"{}")) for other in others if "xl" in name]
    return zip_of(entry(name, zeros_deflated(times), method=8, size=declared, crc=crc), *plain)


SHEET = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{}</sheetData></worksheet>'
)


def workbook(sheets: list[str], texts: str = "", styles: str = "") -> bytes:
    """Return a workbook with these sheets, written part by part."""
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    names = "".join(f'<sheet name="s{i}" sheetId="{i}" r:id="rId{i}"/>' for i in range(1, len(sheets) + 1))
    book = f'<workbook xmlns:r="{office}"><sheets>{names}</sheets></workbook>'
    to = "".join(
        f'<Relationship Id="rId{i}" Type="{office}/worksheet" Target="worksheets/sheet{i}.xml"/>'
        for i in range(1, len(sheets) + 1)
    )
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        first = f'<Relationship Id="rId1" Type="{office}/officeDocument" Target="xl/workbook.xml"/>'
        archive.writestr("_rels/.rels", f"<Relationships>{first}</Relationships>")
        archive.writestr("xl/workbook.xml", book)
        archive.writestr("xl/_rels/workbook.xml.rels", f"<Relationships>{to}</Relationships>")
        for i, sheet in enumerate(sheets, start=1):
            archive.writestr(f"xl/worksheets/sheet{i}.xml", sheet)
        if texts:
            archive.writestr("xl/sharedStrings.xml", f"<sst>{texts}</sst>")
        if styles:
            archive.writestr("xl/styles.xml", styles)
    return content.getvalue()


def cells(rows: int, columns: int, cell: str = '<c r="{0}{1}"><v>7</v></c>') -> str:
    letters = [f"{a}{b}" for a in ["", *"ABCDEFGHIJ"] for b in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"][:columns]
    row = '<row r="#">' + "".join(cell.format(name, "#") for name in letters) + "</row>"
    return "".join(row.replace("#", str(number)) for number in range(1, rows + 1))


def packed_study(**tables: bytes) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("datapackage.json", tables.pop("description", b'{"afterfeel": {}, "resources": []}'))
        for name, data in tables.items():
            archive.writestr(f"{name}.csv", data)
    return content.getvalue()


def other_packing(method: int, packed: bytes) -> bytes:
    name = "xl/workbook.xml"
    return zip_of(entry(name, packed, method=method, size=100, crc=zlib.crc32(b"0" * 100)))


def lzma_packed(data: bytes) -> bytes:
    packer = lzma.LZMACompressor(lzma.FORMAT_RAW, filters=[{"id": lzma.FILTER_LZMA1}])
    return b"\x09\x04\x05\x00]\x00\x00\x80\x00" + packer.compress(data) + packer.flush()


# 700 million zeros, which take a while to pack: bz2.compress(b"0" * 700_000_000)
BZIP2 = zlib.decompress(
    base64.b64decode(
        "eNpzisqwNHSMVAuOfLF9GT9jfB8HwwEGBg4FBoMGXzenBaoruRqmj8oPB3k7l149hgjdEwyNDA4QFWdYNZdLLWn07ZrEahN7UuShk/OmHFcV"
        "AK8fo3w="
    )
)
FAR = '<row r="1"><c r="A1"><v>1</v></c></row><row r="900000"><c r="C900000"><v>1</v></c></row>'
TEXT = "".join(f"<si><t>{'x' * 30_000}{i}</t></si>" for i in range(20))

HOSTILE: dict[str, tuple[Callable[[], bytes], str, str]] = {
    "bzip2": (lambda: other_packing(12, BZIP2), "study", "packed in an unusual way"),
    "lzma": (lambda: other_packing(14, lzma_packed(b"0" * 100_000_000)), "table", "packed in an unusual way"),
    "deflate that goes on": (lambda: lying("xl/workbook.xml", 100, 100), "table", "is damaged"),
    "sheet that goes on": (lambda: lying("xl/worksheets/sheet1.xml", 100, 100, 101), "table", "not as long as it says"),
    "study that goes on": (lambda: lying("datapackage.json", 100, 100), "study", "is damaged"),
    "much declared": (lambda: lying("xl/workbook.xml", 10, 160_000_000), "table", "would unpack to"),
    "forty far cells": (lambda: workbook([SHEET.format(FAR)] * 40), "table", "uses cells far outside its tables"),
    "many sheets": (lambda: workbook([SHEET.format(cells(300, 100))] * 40), "table", "more than 600000 cells"),
    "dense": (lambda: workbook([SHEET.format(cells(20_000, 100))]), "table", "more than 600000 cells"),
    "dense, twice one name": (
        lambda: workbook([SHEET.format(cells(5_990, 100))]), "table", "more than one column called '7'",
    ),
    "dense empty": (
        lambda: workbook([SHEET.format(cells(19_000, 100, "<c/>"))]), "table", "more than 600000 cells",
    ),
    "shared texts": (
        lambda: workbook([SHEET.format(cells(5_000, 100, '<c r="{0}{1}" t="s"><v>3</v></c>'))], TEXT),
        "table", "more text than can be read",
    ),
    "many shared texts": (
        lambda: workbook([SHEET.format(cells(1, 1))], "<si/>" * 15_000_000), "table", "more than 600000 cells",
    ),
    "long text": (
        lambda: workbook([SHEET.format(f'<row><c t="inlineStr"><is><t>{"x" * 90_000_000}</t></is></c></row>')]),
        "table", "more text than can be read",
    ),
    "long mark": (lambda: workbook([SHEET.format(f"<!--{'<' * 4_000_000}-->")]), "table", "no spreadsheet program"),
    "longest mark": (lambda: workbook([SHEET.format(f"<!--{'<' * 90_000_000}-->")]), "table", "more than can be read"),
    "deep": (lambda: workbook(["<worksheet>" + "<a>" * 1_000_000]), "table", "more than can be read"),
    "sheet named as styles": (
        lambda: workbook([SHEET.format(cells(1, 1))], styles=SHEET.format(FAR)), "table", "uses cells far outside",
    ),
    "many files": (
        lambda: zip_of(*[entry(str(i), b"", method=0, size=0, crc=0) for i in range(60_000)]), "study", "60000 files",
    ),
    "many facts": (lambda: packed_study(description=b"[" + b"[]," * 2_000_000), "study", "larger than 5000000 bytes"),
    "large table": (lambda: packed_study(scores=b"assessor\n" + b"0" * 150_000_000), "study", "larger than 20000000"),
    "wide row": (lambda: packed_study(scores=b"," * 19_000_000), "study", "columns in line 1"),
    "many cells": (
        lambda: packed_study(scores=b"assessor,x,y,z\n" + b"12,13,14,15\n" * 1_600_000), "study", "2000000 cells",
    ),
    "text of many cells": (lambda: b"a,b,c,d\n" + b"12,13,14,15\n" * 1_600_000, "table", "more than"),
    "many rows": (lambda: packed_study(scores=b"assessor\n" + b"0\n" * 9_900_000), "study", "more than"),
}  # fmt: skip


@linux
@pytest.mark.parametrize("which", HOSTILE)
def test_it_is_refused_quickly_and_in_little_memory(which: str, measured: Measure):
    make, way, sentence = HOSTILE[which]
    seconds, memory, told = measured(make(), way)
    assert sentence in told
    assert "\n" not in told
    assert memory < MOST_MEMORY
    assert seconds < MOST_SECONDS


def test_an_archive_inside_an_archive_stays_packed():
    """Nothing is unpacked on its own: an imported file inside a study is opened only when it is imported again."""
    from panel.study.open_study import study_of_bytes

    bomb = workbook([SHEET.format(FAR)] * 40)
    entries = '{"name": "a.xlsx", "path": "raw/a.xlsx", "sha256": ""}'
    description = f'{{"afterfeel": {{"raw_files": [{entries}]}}, "resources": []}}'
    content = io.BytesIO(packed_study(description=description.encode(), prototypes=b"prototype\nP1\n"))
    with zipfile.ZipFile(content, "a") as archive:
        archive.writestr("raw/a.xlsx", bomb)
    assert study_of_bytes(content.getvalue(), "f").raw_files[0].content == bomb


@linux
def test_an_ordinary_workbook_of_the_largest_size_is_read(measured: Measure):
    header = "<row>" + "".join(f'<c t="str"><v>a{i}</v></c>' for i in range(100)) + "</row>"
    rows = ("<row>" + "<c><v>7</v></c>" * 100 + "</row>") * 5_900
    _, memory, told = measured(workbook([SHEET.format(header + rows)]), "table")
    assert told == "it was read"
    assert memory < MOST_MEMORY
