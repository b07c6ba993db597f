"""The archive, opened with zipfile and hashlib alone, and read again as a study.

The rules of the RO-Crate Metadata Specification 1.2 (https://w3id.org/ro/crate/1.2, the parts `Root data entity` and
`Data entities`) are checked on its metadata document.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import subprocess
import sys
import zipfile
from functools import cache
from urllib.parse import unquote

import pytest

from panel.answers import Answers
from panel.errors import StudyError
from panel.report.archive import archive_bytes, writer_of
from panel.report.contents.evidence import report_of, write_archive
from panel.study.open_study import open_study
from panel.study.raw_table import raw_file
from panel.study.safe_write import media_type
from panel.study.study import Study
from panel.views.told import Picture
from tests.report.evidence_studies import CONTROL, MADE_ON, hostile_study
from tests.studies import small_study

FORMS = (".pdf", ".docx", ".html", ".xlsx")


def with_raw_files():
    plain = small_study()
    files = (raw_file("ballots of day 1.csv", b"a,b\n1,2\n"), raw_file("Ελληνικά.csv", b"c\n3\n"))
    return Study(plain.tables, plain.facts, plain.unread, files)


@cache
def packed():
    answers = Answers(with_raw_files())
    return archive_bytes(answers, report_of(answers, made_on=MADE_ON))


def opened():
    return zipfile.ZipFile(io.BytesIO(packed()))


def crate():
    return json.loads(opened().read("ro-crate-metadata.json"))


def entities():
    return {entity["@id"]: entity for entity in crate()["@graph"]}


def test_checksums_are_those_of_the_files_and_none_is_left_out():
    archive = opened()
    assert archive.testzip() is None
    lines = archive.read("SHA256SUMS").decode().splitlines()
    stated = dict(reversed(line.split("  ", 1)) for line in lines)
    assert set(stated) == set(archive.namelist()) - {"SHA256SUMS"}
    for name, digest in stated.items():
        assert hashlib.sha256(archive.read(name)).hexdigest() == digest


def test_each_picture_is_drawn_once_for_all_forms(monkeypatch):
    drawn, draw = [], Picture.figure
    monkeypatch.setattr(Picture, "figure", lambda own, *width: drawn.append(own.name) or draw(own, *width))
    answers = Answers(small_study())
    archive_bytes(answers, report_of(answers, made_on=MADE_ON))
    assert len(drawn) == len(set(drawn)) >= 3


def test_it_opens_as_the_same_study(tmp_path):
    path = tmp_path / "archive.zip"
    digest = write_archive(with_raw_files(), path, made_on=MADE_ON)
    again = open_study(path)
    assert again.content_hash == with_raw_files().content_hash
    assert again.raw_files == with_raw_files().raw_files
    assert hashlib.sha256(path.read_bytes()).hexdigest() == digest
    assert path.read_bytes() == packed()


def test_a_file_that_is_there_is_not_replaced_unasked(tmp_path):
    path = tmp_path / "archive.zip"
    path.write_bytes(b"mine")
    with pytest.raises(StudyError, match="is there already"):
        write_archive(small_study(), path)
    assert path.read_bytes() == b"mine"


def test_no_time_of_day_is_in_it():
    assert {member.date_time for member in opened().infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_the_report_is_there_in_every_form():
    names = opened().namelist()
    assert {f"report/evidence{ending}" for ending in FORMS} <= set(names)
    assert {"study/datapackage.json", "study/scores.csv", "README.txt", "ro-crate-metadata.json"} <= set(names)
    readme = opened().read("README.txt").decode()
    assert with_raw_files().content_hash in readme
    for ending in FORMS:
        assert f"report/evidence{ending}" in readme


def test_the_crate_describes_itself_and_its_root():
    found = entities()
    descriptor, root = found["ro-crate-metadata.json"], found["./"]
    assert crate()["@context"][0] == "https://w3id.org/ro/crate/1.2/context"
    assert descriptor["@type"] == "CreativeWork"
    assert descriptor["about"] == {"@id": "./"}
    assert descriptor["conformsTo"] == {"@id": "https://w3id.org/ro/crate/1.2"}
    assert root["@type"] == "Dataset"
    for name in ("name", "description", "datePublished", "license"):
        assert isinstance(root[name], str)
        assert root[name]
    assert len(root["datePublished"]) == len("2025-03-14")


def test_every_entity_has_a_name_of_its_own_a_kind_and_leads_only_to_others():
    graph = crate()["@graph"]
    names = [entity["@id"] for entity in graph]
    assert len(set(names)) == len(names)

    def references(value):
        if isinstance(value, dict):
            yield value["@id"]
            assert set(value) == {"@id"}  # flat: nothing is nested
        elif isinstance(value, list):
            for one in value:
                yield from references(one)

    for entity in graph:
        assert entity["@type"]
        for key, value in entity.items():
            for name in references(value) if key != "@id" else ():
                assert name in names or (key == "conformsTo" and name.startswith("https://w3id.org/ro/crate/"))


def test_every_file_is_described_reached_from_the_root_and_has_its_hash():
    found, archive = entities(), opened()
    reached, waiting = set(), ["./"]
    while waiting:
        name = waiting.pop()
        reached.add(name)
        waiting += [part["@id"] for part in found[name].get("hasPart", ())]
    files = {unquote(name): entity for name, entity in found.items() if entity["@type"] == "File"}
    assert set(files) == set(archive.namelist()) - {"SHA256SUMS", "ro-crate-metadata.json"}
    for path, entity in files.items():
        data = archive.read(path)
        assert entity["@id"] in reached
        assert entity["sha256"] == hashlib.sha256(data).hexdigest()
        assert entity["contentSize"] == str(len(data))
        assert "/" in entity["encodingFormat"]
        assert " " not in entity["@id"]


def test_a_study_that_no_file_can_hold_is_refused_with_its_reason():
    study = hostile_study()
    spoilt = study.table("prototypes").assign(note=CONTROL)
    answers = Answers(Study({**study.tables, "prototypes": spoilt}, study.facts))
    with pytest.raises(StudyError, match="a character that no table file can hold"):
        archive_bytes(answers, report_of(answers, made_on=MADE_ON))


def test_an_ending_that_says_nothing_is_refused(tmp_path):
    with pytest.raises(
        StudyError, match=r"report\.txt has no ending that says in which form; use one of \.pdf, \.docx"
    ):
        writer_of(tmp_path / "report.txt")
    assert writer_of(tmp_path / "report.PDF") is writer_of(tmp_path / "other.pdf")
    assert media_type("report.PDF") == "application/pdf"
    office = "application/vnd.openxmlformats-officedocument"  # IANA, whatever a computer has been told of endings
    assert media_type("a.docx") == f"{office}.wordprocessingml.document"
    assert media_type("a.xlsx") == f"{office}.spreadsheetml.sheet"
    assert media_type("a.tsq") == "application/octet-stream"


def test_another_process_writes_the_same_bytes():
    # another process has other addresses, another hash seed and another time of day
    code = "import hashlib; from tests.report.test_archive import packed; print(hashlib.sha256(packed()).hexdigest())"
    environment = {**os.environ, "PYTHONHASHSEED": "7", "TZ": "Pacific/Auckland"}
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment)
    assert out.stdout.strip() == hashlib.sha256(packed()).hexdigest()
