"""Tracing a number back: the rows named must be those that give the value, computed anew with plain means."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from panel.errors import StudyError
from panel.report.contents.blocks import _DIRECT, _SET_ASIDE, number_id
from panel.report.trace import why
from panel.study.raw_table import raw_file, raw_table
from panel.study.scores_import import guess_layout, read_scores, study_from_scores
from tests.report.evidence_studies import DEMO, demo_results, hostile_study
from tests.studies import small_study

ROUNDING = 1e-9  # relative; the same sums in another order


def demo_why(number):
    return why(demo_results().study, number, answers=demo_results())


def test_a_mean_of_readings_is_the_mean_of_the_rows_named():
    found = demo_why("R-firmness-P4-estimate")
    (rows,) = found.rows
    assert found.value == pytest.approx(np.mean(rows["value"]), rel=ROUNDING)
    assert len(rows) == 3
    assert set(rows["file"]) == {"readings.csv"}


def test_the_lines_named_are_those_of_the_file():
    found = demo_why("R-firmness-P4-estimate")
    lines = (DEMO / "readings.csv").read_text(encoding="utf-8").splitlines()
    for row in found.rows[0].to_dict("records"):
        assert lines[int(row["line"]) - 1].startswith(f"P4,firmness,g,{row['value']:g},")


def test_a_difference_of_a_complete_panel_is_that_of_the_rows_named():
    # in a balanced panel the mixed model's estimates are the plain means
    study = small_study()
    found = why(study, "D-AF_GREASE-P2-P1-estimate")
    (rows,) = found.rows
    means = rows.loc[rows["use"] == _DIRECT].groupby("prototype")["score"].mean()
    assert set(means.index) == {"P1", "P2"}
    assert found.value == pytest.approx(means["P2"] - means["P1"], rel=ROUNDING)
    assert set(rows["prototype"]) == set(study.prototypes)
    assert found.method.startswith("Mixed model")


def test_the_number_of_scores_is_that_of_the_rows_used_and_one_set_aside_is_named():
    found = demo_why("T-AF_GREASE-n_scores")
    (rows,) = found.rows
    assert found.value == (rows["use"] != _SET_ASIDE).sum()
    aside = rows.loc[rows["use"] == _SET_ASIDE]
    assert list(aside["score"]) == [330.0]  # the entry fault planted in the demo
    assert list(aside["assessor"]) == ["A02"]


def test_a_mean_liking_and_a_share_are_those_of_the_answers_named():
    liking = demo_why("H-P4-raw_mean")
    rows = liking.rows[0]
    assert liking.value == pytest.approx(rows.loc[rows["use"] == _DIRECT, "answer"].astype(float).mean(), rel=ROUNDING)
    share = demo_why("X-greasy-P4-share")
    answers = share.rows[0]["answer"].astype(float)
    assert share.value == pytest.approx(answers.mean(), rel=ROUNDING)
    agreed = demo_why("Y-P4-no.mark.on.paper-agreed")
    given = pd.to_numeric(agreed.rows[0]["answer"], errors="coerce")
    assert agreed.value == (given >= 4).sum()  # agreed or strongly agreed on 5 points


def test_a_swap_rests_on_the_prototypes_it_was_seen_on():
    found = demo_why("S-AF_GREASE-Dicaprylyl.Carbonate-C13~15.Alkane-estimate")
    assert (found.rows[0]["use"] != _SET_ASIDE).sum() == demo_why("T-AF_GREASE-n_scores").value
    assert set(found.rows[0].loc[found.rows[0]["use"] == _DIRECT, "prototype"]) == set(demo_results().study.prototypes)


def test_the_id_of_a_row_on_paper_leads_to_its_numbers():
    from tests.report.evidence_studies import demo_report

    tables = {table.code: table for table in demo_report().tables}
    place = tables["D"].shown_ids.index("D-AF_GREASE-P4-P1")
    first = demo_why(f"D{place + 1}")
    assert first.number_id == "D-AF_GREASE-P4-P1-estimate"
    assert "D-AF_GREASE-P4-P1-p_value" in first.others
    assert demo_why(f"D{place + 1}-p_value").value == demo_why("D-AF_GREASE-P4-P1-p_value").value
    several = demo_why("M1-P4-estimate")  # a row on paper that holds every prototype
    assert several.number_id == f"{tables['M'].shown_ids[0]}-P4-estimate"
    assert demo_why("M1").number_id in {f"{name}-{tables['M'].number_columns[0]}" for name in tables["M"].full_ids}
    for code, table in tables.items():
        for row in (0, len(table.shown_ids) - 1):
            if table.shown_ids[row]:
                assert demo_why(table.printed_ids[row]).number_id.startswith(table.shown_ids[row]), code
    with pytest.raises(StudyError, match="Table D has no row 999 with an id; it has 98 rows"):
        demo_why("D999")
    with pytest.raises(StudyError, match="No number is called D-APP_SHAPE-P2-P1-nonsense"):
        demo_why(f"D{tables['D'].shown_ids.index('D-APP_SHAPE-P2-P1') + 1}-nonsense")


def test_every_table_of_the_demo_can_be_traced():
    from tests.report.evidence_studies import demo_report

    for table in demo_report().tables:
        name = number_id(table.full_ids[-1], table.number_columns[0])
        found = demo_why(name)
        expected = table.full[table.number_columns[0]].iloc[-1]
        assert found.value == expected or (np.isnan(found.value) and np.isnan(expected))
        assert sum(map(len, found.rows)) > 0 or table.code in ("CL", "CN"), name
        for rows in found.rows:
            assert list(rows.columns[:3]) == ["file", "line", "use"]


@pytest.mark.parametrize("decimal", [".", ","])
def test_the_line_of_an_imported_file_is_named(decimal):
    lines = ["panel test of spring", "person;product;greasy;sticky"]
    for person in ("A", "B", "C"):
        lines += [
            f"{person};P{k};{k * k + 10.5 * ord(person) % 7};{k * 3.5 + ord(person) * k % 5}".replace(".", decimal)
            for k in (1, 2, 3)
        ]
    file = raw_file("spring.csv", "\r\n".join(lines[1:]).encode())
    table = raw_table(file)
    layout = guess_layout(table, {"assessor": "person", "prototype": "product"})
    study = study_from_scores(read_scores(table, layout), file, "spring")
    found = why(study, "M-sticky-P2-estimate")
    rows = found.rows[0]
    rows = rows.loc[rows["use"] == _DIRECT]
    text = file.content.decode().splitlines()
    assert set(rows["raw_file"]) == {"spring.csv"}
    assert len(rows) == 3
    for row in rows.to_dict("records"):
        assert text[int(row["raw_line"]) - 1].split(";")[:2] == [row["assessor"], "P2"]


def test_a_corrected_import_still_names_its_lines_and_a_changed_one_does_not():
    file = raw_file("t.csv", b"person,product,greasy\nA,P1,10\nA,P2,20\nB,P1,12\nB,P2,23\n")
    table = raw_table(file)
    layout = guess_layout(table, {"assessor": "person", "prototype": "product"})
    study = study_from_scores(read_scores(table, layout), file, "t")
    assert "raw_line" in why(study, "M-greasy-P1-estimate").rows[0]
    scores = study.scores.assign(score=study.scores["score"] + 1)
    changed = type(study)({**study.tables, "scores": scores}, study.facts, study.unread, study.raw_files)
    assert "raw_line" not in why(changed, "M-greasy-P1-estimate").rows[0]


def test_an_unknown_id_is_answered_with_ids_that_are_near():
    with pytest.raises(StudyError, match=r"No number is called D-AF_GREES-P4-P1-estimate. Near to it: D-AF_GREASE-P4"):
        demo_why("D-AF_GREES-P4-P1-estimate")
    with pytest.raises(StudyError, match=r"D-AF_GREASE-P4-P1 is a row. Add a hyphen and one of its columns: estimate,"):
        demo_why("D-AF_GREASE-P4-P1")
    with pytest.raises(StudyError, match=r"Near to it: M-AF_GREASE-P1-estimate"):
        demo_why("M-AF_GREASE")
    with pytest.raises(StudyError, match=r"No table has the letters 'QQ'. Tables are: CL,"):
        demo_why("QQ-1-x")
    with pytest.raises(StudyError, match=r"There is no table H: the study has no liking answers"):
        why(small_study(), "H-P1-estimate")


def test_an_id_copied_from_a_page_may_carry_the_signs_that_broke_it():
    broken = "S-AF_GREASE-Dicaprylyl.\u200bCarbonate-\nC13~15.Alkane-estimate"
    assert demo_why(broken).number_id == "S-AF_GREASE-Dicaprylyl.Carbonate-C13~15.Alkane-estimate"


def test_names_with_any_sign_in_them_can_be_traced():
    study = hostile_study()
    names = {"P1": "=P-1 <b>", "P2": "П 2", "P3": "#3", "P4": "漢%字"}
    tables = {
        name: frame.assign(prototype=frame["prototype"].map(names)) if "prototype" in frame else frame
        for name, frame in study.tables.items()
    }
    renamed = type(study)({**tables, "claims": study.table("claims").iloc[:0]}, study.facts)
    found = why(renamed, "D-AF_GREASE-П.2-%3D%P~1.%3C%b%3E%-estimate")
    assert found.row["prototype"] == "П 2"
    assert found.row["versus"] == "=P-1 <b>"
