import pandas as pd
import pytest

from panel.checks.sound_study import sound_study
from panel.checks.structure import _check_references
from tests.checks.planted import new_findings, rows_of, table, the_one, with_cells
from tests.studies import small_study


def test_a_clean_study_has_no_findings():
    assert _check_references(sound_study(small_study())) == []


def test_a_row_named_twice_is_told():
    batches = table("batches")
    finding = the_one(small_study(batches=pd.concat([batches, batches.iloc[[1]]])))
    assert (finding.severity, finding.kind) == ("warning", "row_named_twice")
    assert finding.where == "batches, row 6: P2-1"
    assert finding.message == "1 row of batches named like an earlier one (same batch)."
    assert finding.advice.startswith("Keep one row for each")


def test_a_serving_named_twice_is_told_with_its_whole_key():
    servings = table("servings")
    finding = the_one(small_study(servings=pd.concat([servings, servings.iloc[[0]]])))
    assert finding.where == "servings, row 34: 1, A01, 1"
    assert finding.message == "1 row of servings named like an earlier one (same session, assessor, position)."


def test_rows_without_a_whole_key_are_not_compared():
    attributes = pd.concat([table("attributes"), pd.DataFrame({"attribute": ["", ""]})], ignore_index=True)
    found = new_findings(small_study(attributes=attributes.fillna({"name": "", "stage": "", "direction": ""})))
    assert {finding.kind for finding in found} == {"cell_missing"}


@pytest.mark.parametrize(
    ("name", "column", "wrong", "noun", "meant"),
    [
        ("formulas", "prototype", "p 4", "prototype", "p 4 as 'P4'"),
        ("readings", "prototype", "P-2", "prototype", "P-2 as 'P2'"),
        ("readings", "batch", "P02-1", "batch", "P02-1 as 'P2-1'"),
        ("readings", "batch", "X9", "batch", ""),
        ("claims", "versus", "P9", "prototype", ""),
        ("claims", "attribute", "af grease", "attribute", "af grease as 'AF_GREASE'"),
        ("servings", "assessor", "A1", "assessor", "A1 as 'A01'"),
    ],
)
def test_a_name_that_is_listed_nowhere_is_told(name, column, wrong, noun, meant):
    readings = {"prototype": ["P1", "P2"], "measure": "pH", "unit": "1", "value": [5.4, 5.5], "batch": ["P1-1", "P2-1"]}
    claims = {"claim": ["a", "b"], "kind": "x", "prototype": "P4", "versus": "P1", "attribute": "AF_GREASE"}
    frames = {"readings": pd.DataFrame(readings), "claims": pd.DataFrame(claims)}
    frame = frames[name] if name in frames else table(name)
    rows = {"formulas": len(frame) - 1, "servings": 31}.get(name, 1)
    frame.loc[rows, column] = wrong
    found = [f for f in new_findings(small_study(**{name: frame})) if f.kind.endswith("_not_listed")]
    assert len(found) == 1
    assert (found[0].severity, found[0].kind) == ("warning", f"{noun}_not_listed")
    assert found[0].where == f"{name}, row {rows + 2}: {wrong}"
    plural = {"batch": "batches"}.get(noun, noun + "s")
    assert found[0].message == f"'{wrong}': no such {noun} in {plural} (1 row of {name})."
    expected = f"Correct the name, or add the {noun} to {plural}."
    assert found[0].advice == (f"Perhaps meant: {meant}. {expected}" if meant else expected)


def test_an_unknown_attribute_in_the_scores_is_told_once_with_its_rows():
    scores = table("scores")
    scores["attribute"] = scores["attribute"].replace("AF_GREASE", "AF_GREASY")
    kinds = {finding.kind: finding for finding in new_findings(small_study(scores=scores))}
    assert set(kinds) == {"attribute_not_listed", "attribute_not_scored"}
    assert kinds["attribute_not_listed"].message == (
        "'AF_GREASY': no such attribute in attributes (32 rows of scores)."
    )
    assert kinds["attribute_not_listed"].where == "scores, row 4: AF_GREASY"


def test_many_unknown_names_give_one_finding():
    servings = table("servings")
    servings["assessor"] = servings["assessor"] + [f"-{row}" for row in range(32)]
    (finding,) = [f for f in new_findings(small_study(servings=servings)) if f.kind == "assessor_not_listed"]
    assert finding.message == (
        "'A01-0', 'A01-1', 'A01-2' and 29 more: no such assessor in assessors (32 rows of servings)."
    )
    assert finding.where.endswith("; and 29 more")


def test_where_nothing_is_listed_nothing_is_strange():
    found = new_findings(small_study(assessors=None, attributes=None, prototypes=None))
    assert [finding.kind for finding in found] == []


def test_a_benchmark_that_is_no_prototype_is_told():
    prototypes = table("prototypes").assign(role="prototype")
    finding = the_one(small_study({"benchmark": "P0"}, prototypes=prototypes))
    assert (finding.severity, finding.kind, finding.where) == ("warning", "benchmark_not_listed", "facts, benchmark")
    assert finding.message == "The benchmark 'P0' is none of the prototypes."
    assert finding.advice.startswith("Correct the benchmark in the facts of the study")


def test_a_word_that_is_not_allowed_is_told():
    finding = the_one(with_cells("attributes", [1, 2], stage="after feel"))
    assert (finding.severity, finding.kind) == ("warning", "word_not_allowed")
    assert finding.where == "attributes, row 3, column stage"
    assert finding.message == "'after feel': not a word allowed there (2 cells)."
    assert finding.advice == "Use one of: appearance, pick-up, rub-out, after-feel, later after-feel, any."


def test_a_code_for_two_prototypes_is_told():
    servings = table("servings")
    servings.loc[rows_of(servings, session="1", prototype="P2"), "code"] = "417"
    finding = the_one(small_study(servings=servings))
    assert (finding.severity, finding.kind) == ("warning", "code_used_twice")
    assert finding.where == "servings, session 1, code 417"
    assert finding.message == ("A code used twice in a session cannot tell samples apart: it stands for P1 and P2.")
    assert finding.advice.startswith("Give every prototype its own code in each session")


def test_a_code_for_two_servings_of_one_person_is_told():
    servings = table("servings")
    extra = servings.iloc[[0]].assign(position=5.0)
    finding = the_one(small_study(servings=pd.concat([servings, extra], ignore_index=True)))
    assert finding.kind == "code_used_twice"
    assert "it stands for two servings of P1 to one person." in finding.message


def test_many_ambiguous_codes_give_one_finding():
    servings = table("servings")
    servings["session"] = "1"
    servings["position"] = range(32)
    servings["code"] = [str(100 + row // 2) for row in range(32)]
    (finding,) = [f for f in new_findings(small_study(servings=servings)) if f.kind == "code_used_twice"]
    assert finding.message == "16 codes cannot tell samples apart. The first stands for P1 and P2."


def test_the_same_code_in_another_session_is_fine():
    servings = table("servings")
    codes = {"P1": "417", "P2": "682", "P3": "935", "P4": "264"}
    assert new_findings(small_study(servings=servings.assign(code=servings["prototype"].map(codes)))) == []
