from __future__ import annotations

import json

import pytest

from panel.errors import StudyError
from panel.study.folder import _description_text, _inside_path, _raw_path, _read_description
from panel.study.raw_table import raw_file
from panel.study.tables import TABLES

HEADERS = {
    "prototypes": ["prototype", "role"],
    "attributes": ["attribute"],
    "scores": ["assessor", "prototype", "attribute", "score", "remark"],
    "servings": ["session", "assessor"],
}


def described(facts: dict | None = None) -> dict:
    return json.loads(_description_text(facts or {}, HEADERS, {"raw/a.csv": raw_file("a.csv", b"x")}))


def resource(name: str) -> dict:
    return next(entry for entry in described()["resources"] if entry["name"] == name)


def test_says_what_the_standard_asks_for():
    package = described({"title": "T"})
    assert package["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    assert package["title"] == "T"
    schema = resource("scores")["schema"]
    assert resource("scores")["path"] == "scores.csv"
    assert [field["type"] for field in schema["fields"]] == ["string", "string", "string", "number", "string"]
    assert schema["fields"][1]["constraints"] == {"required": True}
    assert "constraints" not in schema["fields"][3]  # an empty score is no fault of the file
    assert [key["reference"]["resource"] for key in schema["foreignKeys"]] == ["prototypes", "attributes"]
    roles = resource("prototypes")["schema"]["fields"][1]["constraints"]
    assert roles == {"enum": list(TABLES["prototypes"].column("role").choices)}
    assert resource("prototypes")["schema"]["primaryKey"] == ["prototype"]
    assert "primaryKey" not in resource("servings")["schema"]  # its key column position is not in the table


def test_facts_and_raw_files_come_back():
    facts = {"title": "T", "keywords": ["a"], "version": 3, "scale_min": 0, "rules": [{"rule": "x"}], "note": "é"}
    other = {"name": "photos", "path": "photos.zip"}
    files = {"raw/a.csv": raw_file("a b.csv", b"x")}
    read = _read_description(_description_text(facts, HEADERS, files, [other]), "f")
    assert read.facts == facts
    assert read.tables == {name: f"{name}.csv" for name in HEADERS}
    assert read.raw_files == (("a b.csv", "raw/a.csv", files["raw/a.csv"].sha256),)
    assert read.other_resources == (other,)
    assert read.ours


@pytest.mark.parametrize(
    ("facts", "sentence"),
    [
        ({"margin": float("nan")}, "cannot be written as JSON"),
        ({"note": "\ud800"}, "cannot be written as JSON"),
        ({"raw_files": []}, "cannot be called 'raw_files'"),
    ],
)
def test_facts_that_cannot_be_written(facts: dict, sentence: str):
    with pytest.raises(StudyError, match=sentence):
        _description_text(facts, {}, {})


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "not valid JSON"),
        ("{", "not valid JSON"),
        ("[" * 100_000, "not valid JSON"),
        ('{"x": NaN}', "not valid JSON"),
        ('{"x": ' + "9" * 5000 + "}", "not valid JSON"),
        ("[]", "does not describe a study"),
        ('{"resources": 3}', "does not describe a study"),
        ('{"afterfeel": []}', "does not describe a study"),
        ('{"resources": [3]}', "is not an object"),
        ('{"resources": [{"name": "scores"}]}', "names the file None"),
        ('{"resources": [{"name": "scores", "path": ["a.csv"]}]}', "not inside the study"),
        ('{"resources": [{"name": "scores", "path": "../evil.csv"}]}', "not inside the study"),
        ('{"resources": [{"name": "scores", "path": "/etc/passwd"}]}', "not inside the study"),
        ('{"resources": [{"name": "scores", "path": "https://x/y.csv"}]}', "not inside the study"),
        ('{"resources": [{"name": "scores", "path": "a"}, {"name": "scores", "path": "b"}]}', "'scores' twice"),
        ('{"afterfeel": {"raw_files": 3}}', "not a list"),
        ('{"afterfeel": {"raw_files": [{"name": "x"}]}}', "without its name, path and SHA-256"),
        ('{"afterfeel": {"raw_files": [{"name": "x", "path": "../x", "sha256": ""}]}}', "not inside the study"),
    ],
)
def test_broken_description_gives_one_sentence(text: str, sentence: str):
    with pytest.raises(StudyError, match=sentence) as caught:
        _read_description(text, "f")
    assert str(caught.value).startswith("f ")


def test_description_of_other_data():
    assert not _read_description('{"resources": [{"name": "x", "path": "x.csv"}]}', "f").ours


@pytest.mark.parametrize(
    ("name", "path"),
    [
        ("a.csv", "raw/a.csv"),
        ("../../evil", "raw/_.._evil"),
        ("..", "raw/file"),
        ("", "raw/file"),
        ("é 1.csv", "raw/é 1.csv"),
    ],
)
def test_place_of_an_imported_file(name: str, path: str):
    assert _raw_path(raw_file(name, b""), []) == path
    assert _inside_path(path, "f") == path


@pytest.mark.parametrize("name", ["CON.csv", "nul", "Aux .x.csv", "com1.xlsx"])
def test_no_imported_file_is_called_like_a_device(name: str):
    file = raw_file(name, b"x")
    assert _raw_path(file, []) == f"raw/{file.sha256[:12]} {name}"


def test_two_imported_files_of_one_name():
    file = raw_file("A.csv", b"x")
    assert _raw_path(file, ["raw/a.csv"]) == f"raw/{file.sha256[:12]} A.csv"
