"""Zip archives made to harm: none is opened, each gives one sentence."""

from __future__ import annotations

import io
import zipfile

import pytest

from panel.errors import StudyError
from panel.study import archives as archive_limits
from panel.study.archives import open_archive, read_member, stays_inside


def packed(members: dict[str, bytes], **kinds: int) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            info = zipfile.ZipInfo(name)
            info.external_attr = kinds.get("mode", 0o100644) << 16
            info.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(info, data)
    return content.getvalue()


@pytest.mark.parametrize("name", ["a.csv", "raw/panel 1.csv", "a/b/c.json", "résumé.csv", "..csv", "a..b"])
def test_ordinary_names_stay_inside(name: str):
    assert stays_inside(name)


@pytest.mark.parametrize(
    "name",
    ["", "/etc/passwd", "../evil", "a/../../evil", "..", "C:/x", "c:evil", "a\\b", "\\\\host\\x", "a\0b", "a\nb",
     "http://x/y", "."],
)  # fmt: skip
def test_names_that_lead_out(name: str):
    assert not stays_inside(name)


def test_whole_archive_is_read():
    archive = open_archive(packed({"a.csv": b"x"}), "f.zip")
    assert read_member(archive, "a.csv", "f.zip") == b"x"


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "not a whole zip archive"),
        (b"PK\x03\x04 and nothing else", "not a whole zip archive"),
        (packed({"a": b"x"})[:-10], "not a whole zip archive"),
        (packed({"../evil": b"x"}), "leads out of it"),
        (packed({"/evil": b"x"}), "leads out of it"),
        (packed({"link": b"/etc/passwd"}, mode=0o120777), "leads out of it"),
    ],
)
def test_harmful_archive(content: bytes, sentence: str):
    with pytest.raises(StudyError, match=sentence):
        open_archive(content, "f.zip")


def test_archive_that_would_unpack_to_too_much():
    bomb = packed({"a": b"0" * 3_000_000})
    assert len(bomb) < 10_000
    with pytest.raises(StudyError, match="would unpack to 3000000 bytes; at most 2000000"):
        open_archive(bomb, "f.zip", 2_000_000)
    above_the_usual_limit = packed({str(i): b"0" * 20_000_000 for i in range(11)})
    with pytest.raises(StudyError, match="would unpack to 220000000 bytes; at most 200000000"):
        open_archive(above_the_usual_limit, "f.zip")


def test_archive_with_too_many_files(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(archive_limits, "_MAX_MEMBERS", 2)
    with pytest.raises(StudyError, match="holds 3 files"):
        open_archive(packed({"a": b"", "b": b"", "c": b""}), "f.zip")


def test_archive_that_lies_about_its_size():
    honest = packed({"a": b"0" * 5_000})
    size = (5_000).to_bytes(4, "little")
    assert honest.count(size) == 2
    lying = honest.replace(size, (10).to_bytes(4, "little"))
    with pytest.raises(StudyError, match="is damaged"):
        read_member(open_archive(lying, "f.zip"), "a", "f.zip")


def test_protected_archive():
    content = bytearray(packed({"a": b"x"}))
    content[content.index(b"PK\x01\x02") + 8] |= 1  # the flag of an encrypted member
    with pytest.raises(StudyError, match="protected by a password"):
        open_archive(bytes(content), "f.zip")


def test_same_name_twice():
    content = packed({"a": b"x", "b": b"y"}).replace(b"b", b"a")
    with pytest.raises(StudyError, match="more than once"):
        open_archive(content, "f.zip")
