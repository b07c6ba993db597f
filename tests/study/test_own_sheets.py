"""Sheets of one's own beside the scores: codebook, words, batches. What the study has already is known by its names."""

import pytest

from panel.study.editing import put_block
from panel.study.pasted import read_block
from panel.study.raw_table import raw_file
from panel.study.score_sheets import score_table
from panel.study.scores_import import guess_layout, read_scores, study_from_scores
from panel.study.study import Study
from tests.study.test_score_sheets import csv

CODEBOOK = (
    "Property\tCode\tWhat is meant\tHow\t0 means\t10 means\tMinutes after oiling\tWe want\n"
    "Comb glide\tSLIP\tHow easily the comb glides\tthree strokes\tpulls\tglides by itself\t1\tmore\n"
    "Clumping\tSTICK\tHow far hairs hang together\tpart them\tevery hair alone\tone lump\t3\tless\n"
)


def study(*attributes: str) -> Study:
    design = [(who, of) for who in ("A1", "A2", "A3") for of in ("Oil 1", "Oil 2")]
    scored = [[*each, *(str(2 + (n + k) % 5) for k in range(len(attributes)))] for n, each in enumerate(design)]
    rows = [["Judge", "Oil", *attributes], *scored]
    file = raw_file(*csv(rows))
    table = score_table(file)
    return study_from_scores(read_scores(table, guess_layout(table)), file, "oils")


def test_a_codebook_tells_of_the_attributes_that_the_study_has():
    begun = study("SLIP", "STICK")
    read = read_block(CODEBOOK, "attributes", begun)
    assert dict(read.unknown) == {}
    (slip, stick) = put_block(begun, "attributes", read.texts).table("attributes").to_dict("records")
    assert (slip["attribute"], slip["name"], slip["definition"]) == ("SLIP", "Comb glide", "How easily the comb glides")
    assert (slip["low_end"], slip["high_end"], slip["minutes"]) == ("pulls", "glides by itself", 1)
    assert (stick["procedure"], stick["direction"]) == ("part them", "less")


def test_a_codebook_brought_in_again_is_read_the_same():
    begun = study("SLIP", "STICK")
    once = put_block(begun, "attributes", read_block(CODEBOOK, "attributes", begun).texts)
    again = put_block(once, "attributes", read_block(CODEBOOK, "attributes", once).texts)
    assert again.table("attributes").equals(once.table("attributes"))


@pytest.mark.parametrize("at", ["{}, on the skin;{}, after 10 min", "{} (on the skin);{} (after 10 min)"])
def test_words_that_stand_once_are_taken_for_each_moment(at: str):
    begun = study(*at.format("Tight", "Tight").split(";"))
    read = read_block(
        "Attribute\tMeaning\tleft\tright\nTight\tHow it pulls\tnot\ta size too small\n", "attributes", begun
    )
    made = put_block(begun, "attributes", read.texts).table("attributes")
    assert made["attribute"].tolist() == begun.table("attributes")["attribute"].tolist()
    assert made["definition"].tolist() == ["How it pulls"] * 2
    assert made["high_end"].tolist() == ["a size too small"] * 2
    assert any("each of its moments" in note for note in read.notes)


def test_attributes_that_are_none_of_the_study_are_told():
    read = read_block("Attribute\tMeaning\nSheen\tHow it shines\n", "attributes", study("SLIP", "STICK"))
    assert read.notes[-1].startswith("None of these is an attribute of the study: 1 attribute would stand beside")
    assert not read_block("Attribute\tMeaning\nSheen\tHow it shines\n", "attributes", Study({})).notes


@pytest.mark.parametrize("head", ["Oil", "Our oils", "what"])
def test_prototypes_are_known_by_their_names_whatever_stands_above(head: str):
    begun = study("SLIP", "STICK")
    heads = f"{head}\tLot\tMade on\tTested\tAmount g\n"
    block = f"{heads}oil 1\tL1\t2026-03-02\t2026-03-05\t200\nOil 2\tL2\t2026-03-02\t\t150\n"
    read = read_block(block, "batches", begun)
    assert dict(read.unknown) == {}
    batches = put_block(begun, "batches", read.texts).table("batches")
    assert batches["prototype"].tolist() == ["Oil 1", "Oil 2"]
    assert batches["size_g"].tolist() == [200, 150]
    assert batches["tested_on"].tolist() == ["2026-03-05", ""]
