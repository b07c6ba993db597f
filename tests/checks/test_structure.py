import io
import zipfile

import pandas as pd
import pytest

from panel.checks.all_checks import check_study
from panel.checks.structure import check_structure
from panel.study.open_study import _study_of_workbook, workbook_bytes
from panel.study.people import names_of_people
from panel.study.renaming import people_by_code, rename
from panel.study.scores_used import with_correction
from panel.study.study import Study
from tests.checks.planted import new_findings, table, the_one, with_cells
from tests.studies import small_study


def unread(*rows):
    frame = pd.DataFrame(rows, columns=["table", "row", "column", "text", "reason"], dtype="str")
    clean = small_study()
    return Study(clean.tables, clean.facts, frame)


def test_a_clean_study_has_no_findings():
    assert check_structure(small_study()) == []


def test_an_unknown_table_is_told():
    finding = the_one(small_study(notes=pd.DataFrame({"a": [1]})))
    assert (finding.severity, finding.kind, finding.where) == ("warning", "table_not_known", "notes")
    assert finding.message == "'notes' is not one of the tables of a study; nothing reads it."
    assert "scores" in finding.advice


def test_a_required_column_that_is_missing_stops():
    found = new_findings(small_study(readings=pd.DataFrame({"prototype": ["P1"], "unit": ["g"], "value": [3.0]})))
    assert [finding.kind for finding in found] == ["column_missing"]
    finding = found[0]
    assert (finding.severity, finding.where) == ("stop", "readings, column measure")
    assert finding.message == ("The table readings has no column measure; without it no row of the table can be used.")
    assert finding.advice == "Add the column measure: what was measured."


@pytest.mark.parametrize("column", ["assessor", "prototype", "attribute", "score"])
def test_scores_without_a_required_column_stop_once(column):
    found = new_findings(small_study(scores=table("scores").drop(columns=column)))
    stops = [finding for finding in found if finding.severity == "stop"]
    assert [(finding.kind, finding.where) for finding in stops] == [("column_missing", f"scores, column {column}")]


def test_a_table_of_unknown_columns_stops():
    finding = the_one(small_study(readings=pd.DataFrame({"sample": ["P1"], "result": ["3"]})))
    assert (finding.severity, finding.kind, finding.where) == ("stop", "table_not_understood", "readings")
    assert finding.message == "None of the columns of readings is known: sample and result."
    assert finding.advice.startswith("Name the columns as a study does: prototype, measure")


@pytest.mark.parametrize("scores", [None, table("scores").iloc[:0]])
def test_a_study_without_scores_stops(scores):
    stops = [finding for finding in new_findings(small_study(scores=scores)) if finding.severity == "stop"]
    assert [(finding.kind, finding.where) for finding in stops] == [("no_scores", "scores")]
    assert stops[0].message == "The study has no scores: the table is empty."
    assert "assessor, prototype, attribute, score" in stops[0].advice


def test_scores_without_a_number_stop():
    study = with_cells("scores", slice(None), score=float("nan"))
    stops = [finding for finding in new_findings(study) if finding.severity == "stop"]
    assert [finding.message for finding in stops] == ["The study has no scores: none of its 96 rows holds a number."]


def test_consumer_answers_alone_are_only_noted():
    answers = pd.DataFrame(
        {"assessor": ["A01"], "prototype": ["P1"], "question": ["liking"], "kind": ["liking"], "answer": ["7"]}
    )
    found = new_findings(small_study(scores=None, answers=answers))
    (finding,) = [finding for finding in found if finding.kind == "no_scores"]
    assert finding.severity == "note"
    assert finding.message == "The study has no scores of trained assessors, only consumer answers."
    assert finding.advice == "Only the consumer questions can be answered."


def test_a_cell_that_could_not_be_read_is_told_once_and_not_as_blank():
    scores = table("scores")
    scores.loc[10, "score"] = float("nan")
    clean = small_study()
    study = Study(
        clean.tables | {"scores": scores}, clean.facts, unread(*[("scores", "12", "score", "4o", "bad")]).unread
    )
    finding = the_one(study)
    assert (finding.severity, finding.kind) == ("warning", "cell_not_read")
    assert finding.where == "scores, row 12, column score"
    assert finding.message == "1 cell could not be read: '4o' (bad)."
    assert finding.advice == "Correct the cell. Until then it counts as empty."


@pytest.mark.parametrize("new", ["26", ""])
def test_a_score_that_was_corrected_or_set_aside_in_writing_is_no_longer_not_read(new):
    study = unread(("scores", "12", "score", "26 mm", "bad"), ("scores", "13", "score", "4o", "bad"))
    scores = study.scores.copy()
    scores.loc[[10, 11], "score"] = float("nan")
    study = Study(study.tables | {"scores": scores}, study.facts, study.unread)
    place = {column: str(scores.loc[10, column]) for column in ("assessor", "prototype", "attribute", "session")}
    found = new_findings(with_correction(study, place, new=new, who="leader", why="the ballot", when="2025-03-15"))
    assert [each.message for each in found if each.kind == "cell_not_read"] == ["1 cell could not be read: '4o' (bad)."]


def test_many_unread_cells_of_a_column_give_one_finding():
    finding = the_one(unread(*[("readings", str(row), "value", f"x{row}", "not a number") for row in range(2, 302)]))
    assert finding.where == (
        "readings, row 2, column value; readings, row 3, column value; readings, row 4, column value; and 297 more"
    )
    assert finding.message == "300 cells could not be read: 'x2', 'x3', 'x4' and 297 more (not a number)."


def test_an_empty_cell_where_one_is_needed_is_told():
    finding = the_one(with_cells("servings", [4], code=""))
    assert (finding.severity, finding.kind) == ("warning", "cell_missing")
    assert finding.where == "servings, row 6, column code"
    assert finding.message == "1 cell of servings left empty where code is needed."
    assert finding.advice == "Fill it in: three-digit blind code. A row without it is not used."


def test_many_empty_cells_of_a_column_give_one_finding():
    finding = the_one(with_cells("servings", list(range(10)), code=""))
    assert finding.message == "10 cells of servings left empty where code is needed."
    assert finding.where.endswith("servings, row 4, column code; and 7 more")


def test_a_date_that_is_none_is_told():
    finding = the_one(with_cells("scores", [0], recorded_at="13.03.2025 10:00"))
    assert (finding.severity, finding.kind) == ("warning", "date_not_understood")
    assert finding.where == "scores, row 2, column recorded_at"
    assert finding.message == "1 date cannot be understood: '13.03.2025 10:00'."
    assert finding.advice.startswith("Write dates as 2025-03-10 or 2025-03-10 16:30.")


def test_one_wrong_date_in_three_rows_is_one_finding_that_names_them():
    finding = the_one(with_cells("scores", [0, 4, 7], recorded_at="31.02.2025"))
    assert finding.where.split("; ") == [f"scores, row {row}, column recorded_at" for row in (2, 6, 9)]
    assert finding.message == "3 dates cannot be understood: '31.02.2025'."
    study = with_cells("scores", [0, 4], recorded_at="31.02.2025")
    study.tables["scores"].loc[7, "recorded_at"] = "later"
    assert [found.message for found in new_findings(study)] == [
        "2 dates cannot be understood: '31.02.2025'.",
        "1 date cannot be understood: 'later'.",
    ]


def test_a_date_told_as_unread_is_not_told_again():
    study = with_cells("scores", [0], recorded_at="13.03.2025 10:00")
    noted = unread(("scores", "2", "recorded_at", "13.03.2025 10:00", "not a date"))
    found = new_findings(Study(study.tables, study.facts, noted.unread))
    assert [finding.kind for finding in found] == ["cell_not_read"]


def without_scale(**facts):
    attributes = table("attributes").drop(columns=["scale_min", "scale_max"])
    clean = small_study(attributes=attributes)
    kept = {name: fact for name, fact in clean.facts.items() if not name.startswith("scale")}
    return Study(clean.tables, kept | facts)


def test_an_unknown_scale_is_noted_once():
    finding = the_one(without_scale())
    assert (finding.severity, finding.kind) == ("note", "scale_missing")
    assert finding.where == "attributes, scale_min and scale_max"
    unknown = "speed of soaking-in, stickiness and greasy film"
    assert finding.message == f"The study does not say which scores are possible for {unknown}."
    assert finding.advice == "Add scale_min and scale_max to the table attributes or to the facts of the study."


@pytest.mark.parametrize("facts", [{"scale_min": 100, "scale_max": 0}, {"scale_min": 0, "scale_max": "wide"}])
def test_a_scale_that_makes_no_sense_is_told(facts):
    finding = the_one(without_scale(**facts))
    assert (finding.severity, finding.kind) == ("warning", "scale_not_usable")
    shown = ", ".join(f"{name} {value}" for name, value in facts.items())
    assert finding.message == (
        "The scale of speed of soaking-in, stickiness and greasy film makes no sense: "
        f"its lowest value must be below its highest ({shown})."
    )
    assert finding.advice == "Correct scale_min and scale_max. Until then no score is checked against the scale."


def test_a_scale_of_one_attribute_that_makes_no_sense_is_told():
    finding = the_one(with_cells("attributes", [1], scale_min=100.0, scale_max=0.0))
    assert finding.kind == "scale_not_usable"
    assert "stickiness makes no sense" in finding.message


@pytest.mark.parametrize("margin", [-5.0, 0.0])
def test_a_smallest_difference_that_is_none_is_told(margin):
    finding = the_one(with_cells("attributes", [1], margin=margin))
    assert (finding.severity, finding.kind, finding.where) == ("warning", "margin_not_usable", "attributes, margin")
    assert finding.message == (
        "The smallest difference that matters on stickiness is not above zero, so it is passed over."
    )
    assert finding.advice == "Correct the column margin of the table attributes, or leave it empty."


def test_a_column_that_may_mean_a_known_one_is_proposed_and_others_are_noted():
    batches = pd.DataFrame({"batch": ["B1"], "prototype": ["P1"], "viscosity": ["900"], "colour": ["white"]})
    found = [f for f in check_structure(small_study(batches=batches)) if f.kind == "column_not_known"]
    assert [(f.severity, f.where) for f in found] == [("warning", "batches, column viscosity"), ("note", "batches")]
    assert found[0].message == "The table batches has no column 'viscosity'; it is kept, and nothing reads it."
    assert found[0].advice == "Perhaps viscosity_mpa_s is meant: give it that name."
    assert found[1].message == "Columns of batches that nothing reads: colour."


@pytest.mark.parametrize(
    ("names", "codes"),
    [
        (("Ann", "Ben", "Cem Yildiz", "O'Hara, S."), ("A01", "A02", "A03", "A04")),
        (("Ann Meyer", "A01", "\u00c5sa"), ("A02", "A03")),
        (("A01", "A02", "A03"), ()),
        (("AB", "CD", "EF"), ()),
        (("Judge 1", "Judge 2", "Judge 3"), ()),
        (("Ann", "J1", "J2", "J3"), ()),
        (("1", "2", "3"), ()),
    ],
)
def test_people_who_stand_under_what_looks_like_a_name_are_told_with_a_code_for_each(names, codes):
    scores = pd.DataFrame({"assessor": names, "prototype": "P1", "attribute": "x", "score": 1.0})
    study = Study({"scores": scores})
    assert tuple(names_of_people(study).values()) == codes
    found = [finding for finding in check_structure(study) if finding.kind == "people_by_name"]
    assert len(found) == bool(codes)
    coded = people_by_code(study)
    assert len(set(coded.scores["assessor"])) == len(names)
    assert names_of_people(coded) == {}
    if codes:
        assert found[0].severity == "note"
        assert found[0].message.endswith("these look like names of people, and whoever gets the study reads them.")
        assert f"Call people by a code, such as {codes[0]} for {names[0]}" in found[0].advice


def test_a_sheet_that_is_none_of_a_study_is_told_with_the_nearest_one():
    content = workbook_bytes(small_study())
    held = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as before, zipfile.ZipFile(held, "w") as after:
        for name in before.namelist():
            after.writestr(name, before.read(name).replace(b'name="attributes"', b'name="Atributes"'))
    study = _study_of_workbook(held.getvalue(), "f.xlsx")
    assert "attributes" not in study.tables
    finding = next(found for found in check_structure(study) if found.kind == "table_not_known")
    assert finding.message == "'Atributes' is not one of the tables of a study; nothing reads it."
    assert finding.advice.startswith("Perhaps attributes is meant: give it that name.")
    assert not [found for found in check_structure(study) if found.kind == "cell_not_read"]


@pytest.mark.parametrize(
    ("column", "old", "name", "slip"),
    [
        ("assessor", "A01", "Marta", "Mrata"),
        ("prototype", "P1", "Velvet", "Velvett"),
        ("prototype", "P1", "Lotion light", "Lotion lihgt"),
    ],
)
def test_a_slip_of_a_name_is_told_once_and_not_by_what_follows_from_it(column, old, name, slip):
    study = rename(small_study(), column, old, name)
    scores, listed = study.scores.copy(), study.table(f"{column}s")
    scores.loc[scores.index[scores[column] == name][0], column] = slip
    new = listed[listed[column] == name].assign(**{column: slip})
    tables = dict(study.tables) | {"scores": scores, f"{column}s": pd.concat([listed, new], ignore_index=True)}
    before = {(finding.kind, finding.where) for finding in check_study(study)}
    found = [each.kind for each in check_study(Study(tables, study.facts)) if (each.kind, each.where) not in before]
    assert [kind for kind in found if kind not in ("people_named", "formula_missing")] == ["names_alike"]
