"""A study begun, filled and changed on the page alone: what was typed is in the folder, what is wrong is said."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner
from streamlit.testing.v1 import AppTest

from panel.answers import Answers
from panel.app.fact_editors import _gates_of, _stability_of, _with_roles
from panel.app.guide import EDITORS, _place_of
from panel.app.new_study import _STEPS, _steps_done, _with_attributes, _with_batches, _with_listed, _with_people
from panel.app.state import STUDY_VARIABLE, demo_folder
from panel.app.study_editors import _Draft, _grid_columns, _with_row
from panel.checks.all_checks import _check_claim_stamps, check_study
from panel.claims.time_stamp import with_statements
from panel.cli import main
from panel.errors import StudyError
from panel.models.decision.wanted import _gate_limits
from panel.report.contents.evidence import report_of
from panel.study.editing import put_block, study_changes, texts_of_table, with_benchmark
from panel.study.folder import read_folder, read_journal, version_of, write_study
from panel.study.knowledge import shared_table
from panel.study.open_study import open_study
from panel.study.renaming import rename
from panel.study.saving import journal_rows, replayed, save
from panel.study.study import Study
from panel.study.table_cells import columns_of
from tests.app.test_pages import labelled, opened, shown
from tests.studies import small_study

EDIT, OTHER = "Edit", "New or another"


def part(app: AppTest, name: str) -> AppTest:
    return app.segmented_control[0].set_value(name).run()


def editing(what: str) -> AppTest:
    app = part(opened("study").run(), EDIT)
    app = labelled(app.segmented_control, "What to edit").set_value(what).run()
    assert not app.exception
    return app


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    write_study(small_study(), tmp_path / "small")
    monkeypatch.setenv(STUDY_VARIABLE, str(tmp_path / "small"))
    return tmp_path / "small"


@pytest.mark.parametrize("what", EDITORS)
def test_every_editor_opens_on_the_demo_and_shows_no_raw_entry(what: str, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)
    app = editing(what)
    fields = " ".join(str(widget.value) for widget in [*app.text_input, *app.text_area])
    for sign in ('{"', "['", '["', "{'"):
        assert sign not in shown(app) + fields


@pytest.mark.parametrize("what", [name for name in EDITORS if name not in ("facts", "claims")])
def test_every_grid_holds_texts_and_leaves_no_word_out(what: str):
    study = open_study(demo_folder())
    texts = texts_of_table(study, what)
    columns = _grid_columns(study, what, texts)
    assert set(texts) <= set(columns)
    for name in texts:
        kind = columns[name]["type_config"]["type"]
        assert kind in ("text", "selectbox")
        if kind == "selectbox":
            options = columns[name]["type_config"]["options"]
            assert set(texts[name]) <= {option["value"] if isinstance(option, dict) else option for option in options}


def test_batches_pasted_with_decimal_commas_are_previewed_then_saved_and_in_the_journal(folder: Path):
    app = editing("batches")
    block = "Batch\tPrototype\tmade\tpH\nN1\tP1\t2025-03-01\t5,4\nN2\tP9\t2025-03-01\t5,61"
    labelled(app.text_area, "Cells").set_value(block).run()
    assert labelled(app.selectbox, "The table has no column made. It is").value == "made_on"
    assert "the study lists no prototype 'P9'" in shown(app)
    assert "N1" not in (folder / "batches.csv").read_text()  # so far only shown
    labelled(app.text_input, "Your initials, for the journal").set_value("EK").run()
    labelled(app.button, "Save 2 rows").click().run()
    assert not app.exception
    batches = read_folder(folder).table("batches").set_index("batch")
    assert batches.loc[["N1", "N2"], "ph"].tolist() == [5.4, 5.61]
    assert batches.loc["N1", "made_on"] == "2025-03-01"
    assert set(journal_rows(folder)["who"]) == {"EK"}


def test_one_row_is_written_field_by_field_with_a_decimal_comma(folder: Path):
    app = editing("readings")
    before = len(read_folder(folder).table("readings"))
    for label, text in {"Measure (needed)": "pH", "Unit (needed)": "1", "Value (needed)": "5,4"}.items():
        labelled(app.text_input, label).set_value(text)
    labelled(app.selectbox, "Prototype (needed)").set_value("P1")
    labelled(app.button, "Save this row").click().run()
    assert not app.exception
    readings = read_folder(folder).table("readings")
    assert len(readings) == before + 1
    assert readings.iloc[-1][["prototype", "measure", "value"]].tolist() == ["P1", "pH", 5.4]


def test_a_row_saved_without_a_change_is_not_said_to_be_saved(folder: Path):
    app = editing("batches")
    choice = labelled(app.selectbox, "Which row")
    choice.set_value(choice.options[1]).run()
    labelled(app.button, "Save this row").click().run()
    assert [said.value for said in app.info] == ["Nothing in this row was changed."]
    assert not len(journal_rows(folder))


def test_a_row_that_somebody_else_changed_is_not_overwritten():
    study = small_study()
    row = texts_of_table(study, "prototypes").iloc[0].to_dict()
    changed = _with_row(study, "prototypes", row, row | {"note": "mine"})
    assert changed.table("prototypes")["note"].iloc[0] == "mine"
    with pytest.raises(StudyError, match="Somebody else changed this row meanwhile"):
        _with_row(changed, "prototypes", row, row | {"note": "theirs"})


def test_facts_are_stated_in_fields(folder: Path):
    app = editing("facts")
    labelled(app.text_input, "Smallest difference that matters, in scale units").set_value("7,5")
    labelled(app.text_area, "What it is to find out, and what the product should feel like").set_value("less film")
    labelled(app.selectbox, "The prototype that the others are compared with").set_value("P2")
    labelled(app.button, "Save").click().run()
    assert not app.exception
    study = read_folder(folder)
    assert (study.facts["margin"], study.facts["purpose"], study.benchmark) == (7.5, "less film", "P2")
    assert (study.table("prototypes")["role"] == "benchmark").sum() == 1


def test_the_days_of_the_test_are_stated_in_a_field_for_each_session(folder: Path):
    app = editing("facts")
    labelled(app.text_input, "Session 1").set_value("10.03.2025; 2025-03-11 09:30")
    labelled(app.button, "Save the days").click().run()
    assert not app.exception
    assert read_folder(folder).facts["dates"] == {"1": ["2025-03-10", "2025-03-11 09:30"]}
    labelled(app.text_input, "Session 2").set_value("2999-01-01")
    labelled(app.button, "Save the days").click().run()
    assert "2999-01-01 lies in the future, and what was scored or answered then is in the study already." in shown(app)
    labelled(app.text_input, "Session 2").set_value("03/04/2025")
    labelled(app.button, "Save the days").click().run()
    assert "Which day '03/04/2025' is cannot be told. Write it as 2026-03-10." in shown(app)
    assert read_folder(folder).facts["dates"] == {"1": ["2025-03-10", "2025-03-11 09:30"]}


def test_what_only_the_reviewer_asks_for_is_stated_in_fields_and_closes_its_gaps(folder: Path):
    before = {gap for _, gap in report_of(Answers(read_folder(folder))).gaps()}
    app = editing("facts")
    labelled(app.text_input, "Pack").set_value("glass jar")
    labelled(app.text_input, "Years until the evidence is to be looked at again").set_value("5")
    labelled(app.text_input, "Who the consumers were").set_value("users of nail cream")
    labelled(app.text_input, "Code of the analyst").set_value("K2")
    labelled(app.text_input, "Code of the claim reviewer").set_value("K2")
    [each for each in app.button if each.label == "Save"][-1].click().run()
    assert not app.exception
    study = read_folder(folder)
    assert study.facts["users"] == {"who": "users of nail cream"}
    assert study.facts["people"] == [{"person": "K2", "roles": ["analyst", "claim reviewer"]}]
    closed = before - {gap for _, gap in report_of(Answers(study)).gaps()}
    assert any("in which pack" in gap for gap in closed)
    assert any("after how many years" in gap for gap in closed)


def test_a_role_goes_over_to_somebody_else_and_what_is_known_of_her_stays():
    team = [
        {"person": "K1", "roles": ["formulator", "analyst"], "made": ["P1"]},
        {"person": "K2", "roles": ["analyst"]},
    ]
    found = _with_roles(team, {"analyst": "K3", "panel leader": "K1", "claim reviewer": ""})
    assert found == [
        {"person": "K1", "roles": ["formulator", "panel leader"], "made": ["P1"]},
        {"person": "K3", "roles": ["analyst"]},
    ]


def test_a_margin_that_is_no_number_is_refused_in_a_sentence(folder: Path):
    app = editing("facts")
    labelled(app.text_input, "Smallest difference that matters, in scale units").set_value("ten")
    labelled(app.button, "Save").click().run()
    assert "The fact margin cannot be read: 'ten' is not a number" in shown(app)


def test_a_prototype_is_renamed_everywhere_from_the_page(folder: Path):
    app = editing("prototypes")
    labelled(app.selectbox, "Which one").set_value("P4")
    labelled(app.text_input, "New name, everywhere at once").set_value("Q4").run()
    labelled(app.button, "Rename it").click().run()
    assert not app.exception
    study = read_folder(folder)
    assert "P4" not in study.prototypes
    assert "Q4" in set(study.scores["prototype"])


# gates and stability


def test_gates_typed_are_the_gates_that_are_read():
    ends = {"ph": ("5,0", "6"), "volatile_share": ("", "45"), "cost": ("", "")}
    gates = _gates_of(ends, "lanolin; fragrance", stable=True)
    assert gates == {
        "ph": [5.0, 6.0],
        "volatile_share": [None, 0.45],
        "free_of": ["lanolin", "fragrance"],
        "stability": True,
    }
    limits, _, _ = _gate_limits(Study({}, {"gates": gates}))
    assert limits["volatile_share"][1] == 0.45
    with pytest.raises(StudyError, match="The gate pH cannot be read"):
        _gates_of({"ph": ("acid", "")}, "", stable=False)


def test_stability_rows_without_an_outcome_say_nothing():
    texts = pd.DataFrame(
        {
            "prototype": ["P1", "P2"],
            "outcome": ["passed", ""],
            "who": ["lab", ""],
            "date": ["", ""],
            "document": ["", ""],
        }
    )
    assert _stability_of(texts) == {"P1": {"outcome": "passed", "who": "lab"}}


def test_the_benchmark_moves():
    study = with_benchmark(small_study(), "P3")
    assert study.benchmark == "P3"
    assert with_benchmark(study, "").benchmark is None


# findings with a hand


def test_every_finding_about_a_cell_of_an_edited_table_leads_to_its_editor():
    leading = {}
    for finding in check_study(open_study(demo_folder())):
        leading[finding.where.split(",")[0].split(":")[0]] = _place_of(finding)
    for name in ("formulas", "batches", "attributes", "prototypes"):
        for where, place in leading.items():
            if where == name:
                assert place is not None
                assert place[0] == name


def test_the_button_beside_a_finding_opens_the_row_it_names(folder: Path):
    rows = (folder / "batches.csv").read_text().splitlines()
    header = rows[0].split(",")
    cells = rows[2].split(",")
    cells[header.index("ph")] = "acid"
    (folder / "batches.csv").write_text("\n".join([*rows[:2], ",".join(cells), *rows[3:]]) + "\n")
    app = opened("study").run()
    labelled(app.button, "Open Batches, this row").click().run()
    assert not app.exception
    assert labelled(app.text_input, "pH").value == "acid"
    labelled(app.text_input, "pH").set_value("5,2")
    labelled(app.button, "Save this row").click().run()
    assert read_folder(folder).table("batches")["ph"].iloc[1] == 5.2


# a new study


def test_a_study_is_begun_filled_and_laid_out_on_the_page_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)
    app = part(opened("study").run(), OTHER)
    labelled(app.radio, "What to open").set_value("A new study").run()
    labelled(app.text_input, "What the study is called").set_value("Night cream")
    labelled(app.text_input, "Smallest difference that matters (may stay empty)").set_value("7,5")
    labelled(app.button, "Begin").click().run()
    assert not app.exception
    folder = tmp_path / "afterfeel" / "night_cream"
    assert read_folder(folder).facts["margin"] == 7.5  # a folder from the first minute
    assert "At any stage" in {box.label for box in app.multiselect}
    labelled(app.multiselect, "After-feel").set_value(["AF_GREASE", "AF_STICK"]).run()
    labelled(app.text_input, "Your own, separated by ;").set_value("paper mark; drag on nails;").run()
    labelled(app.button, "Add 4 attributes").click().run()
    app = AppTest.from_file(app._script_path, default_timeout=60)  # closed and opened again, by its address
    app.query_params["study"] = str(folder)
    app = part(app.run(), OTHER)
    labelled(app.text_input, "Prototypes, separated by ;").set_value("P1; P2; P3")
    labelled(app.text_input, "Which one is the benchmark").set_value("P1")
    labelled(app.button, "Save the prototypes").click().run()
    block = "Ingredient\tP1\tP2\tP3\nWater\tq.s.\tq.s.\tq.s.\nSqualane\t10\t\t5,5\nIsododecane\t\t10\t4,5"
    labelled(app.text_area, "Cells").set_value(block.replace("q.s.\tq.s.\tq.s.", "90\t88\tq.s.")).run()
    assert "Totals: P1: 100 %; P2: 98 % (+2 to 100); P3: 100 %" in shown(app)  # before it is saved
    labelled(app.text_area, "Cells").set_value(block).run()
    labelled(app.button, "Save 7 rows").click().run()
    labelled(app.text_input, "How many trained assessors").set_value("6")
    labelled(app.button, "Add them").click().run()
    assert "the 6 assessors of this study find one of" in shown(app)
    labelled(app.text_input, "How much of each sample").set_value("50 mg")
    labelled(app.text_input, "The batches are made on").set_value("10 March 26")
    labelled(app.button, "Save dose and batches").click().run()
    assert "'10 march 26' is no date. Write it as 2025-03-10" in shown(app)
    labelled(app.text_input, "The batches are made on").set_value("10.03.2026")
    labelled(app.button, "Save dose and batches").click().run()
    assert "The batches are made on" not in {field.label for field in app.text_input}  # every prototype has one
    labelled(app.text_input, "Who makes the plan (not the panel leader: whoever makes it may know the key)").set_value(
        "EK"
    )
    labelled(app.button, "Write the plan into the study").click().run()
    assert not app.exception
    assert "**The servings are laid out.** Next: sign the safety gate" in shown(app)
    study = read_folder(folder)
    assert set(study.table("batches")["made_on"]) == {"2026-03-10"}
    assert _steps_done(study) == frozenset(_STEPS)
    assert study.attributes == ("AF_GREASE", "AF_STICK", "paper mark", "drag on nails")
    assert study.scale("AF_GREASE") == (0, 100)
    assert study.benchmark == "P1"
    assert len(study.table("servings")) == 6 * 3 * 2
    assert study.table("batches")["batch"].tolist() == ["P1-1", "P2-1", "P3-1"]
    stops = [finding for finding in check_study(study) if finding.severity == "stop"]
    assert [finding.kind for finding in stops] == ["no_scores"]


def test_a_new_study_without_a_title_is_asked_for_one(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)
    app = part(opened("study").run(), OTHER)
    labelled(app.radio, "What to open").set_value("A new study").run()
    labelled(app.button, "Begin").click().run()
    assert "Give the study a title first" in shown(app)


def test_a_study_opened_before_is_one_click_away(folder: Path, monkeypatch: pytest.MonkeyPatch):
    from panel.study.open_study import remember_study

    monkeypatch.delenv(STUDY_VARIABLE)
    remember_study(folder)
    app = part(opened("study").run(), OTHER)
    labelled(app.button, "small").click().run()
    assert not app.exception
    assert "96 scores" in shown(app)


def test_what_the_steps_add_keeps_what_is_there():
    study = _with_people(_with_people(Study({}), 2), 3)
    assert study.table("assessors")["assessor"].tolist() == ["A01", "A02", "A03", "A04", "A05"]
    study = _with_attributes(study, ["AF_GREASE"])
    row = shared_table("lexicon").set_index("attribute").loc["AF_GREASE"]
    assert study.table("attributes").iloc[0]["definition"] == row["definition"]
    study = _with_listed(_with_listed(study, ["P1", "P2"], "P1"), ["P3"], "P3")
    assert study.table("prototypes")[["prototype", "role"]].values.tolist() == [
        ["P1", "prototype"],
        ["P2", ""],
        ["P3", "benchmark"],
    ]
    with pytest.raises(StudyError, match="The benchmark X is none of the prototypes: P1, P2, P3"):
        _with_listed(study, [], "X")
    again = _with_batches(_with_batches(study, "", "2026-03-10"), "50 mg", "2026-03-11")
    assert set(again.table("batches")["made_on"]) == {"2026-03-10"}


def test_of_many_changes_the_first_are_shown_and_all_are_counted(folder: Path):
    app = editing("formulas")
    lines = [f"Oil {n}\t{n + 1}\t{n + 2}\t{n + 3}\t{n + 4}" for n in range(12)]
    labelled(app.text_area, "Cells").set_value("\n".join(["Ingredient\tP1\tP2\tP3\tP4", *lines])).run()
    (button,) = (each.label for each in app.button if each.label.startswith("Save ") and each.label.endswith("rows"))
    assert f"These are the first 30 of {button.removeprefix('Save ')}." in shown(app)
    assert int(button.split()[1]) >= 48


def test_a_workbook_is_shown_before_it_changes_anything(folder: Path):
    from panel.study.editing import put_block
    from panel.study.template import template_bytes

    changed = put_block(read_folder(folder), "batches", pd.DataFrame({"batch": ["P1-1"], "ph": ["5,9"]}))
    app = part(opened("study").run(), EDIT)
    file = ("filled.xlsx", template_bytes(changed), "application/octet-stream")
    labelled(app.file_uploader, "The workbook, filled in").set_value(file).run()
    assert read_folder(folder).table("batches")["ph"].iloc[0] != 5.9
    labelled(app.button, "Save 1 row").click().run()
    assert not app.exception
    assert read_folder(folder).table("batches")["ph"].iloc[0] == 5.9


def test_statements_are_fixed_from_a_grid_and_stay(folder: Path):
    texts = pd.DataFrame(
        [
            {"claim": "less greasy than P1", "kind": "superiority", "prototype": "P2", "versus": "P1", "margin": "7,5"},
            {"claim": "low greasy film", "kind": "perceived_attribute", "prototype": "P2", "bar": "30"},
        ]
    ).fillna("")
    study = read_folder(folder)
    before = len(study.table("claims"))
    fixed = with_statements(study, texts, "EK", "2026-03-01T08:00:00+00:00")
    new = fixed.table("claims").iloc[before:]
    assert new["claim"].tolist() == texts["claim"].tolist()
    assert new["margin"].iloc[0] == 7.5
    assert new["bar"].iloc[1] == 30
    assert not list(_check_claim_stamps(fixed))
    with pytest.raises(StudyError, match=r"Row 1, .*cannot be read"):
        with_statements(study, texts.assign(margin="much"), "EK", "2026-03-01")
    with pytest.raises(StudyError, match="needs its sentence"):
        with_statements(study, texts.assign(kind=""), "EK", "2026-03-01")
    with pytest.raises(StudyError, match="stamped by a named person"):
        with_statements(study, texts, " ", "2026-03-01")


def test_a_statement_is_typed_and_fixed_on_the_page(folder: Path):
    app = editing("claims")
    key = next(name for name in app.session_state._state.filtered_state if str(name).startswith("begun grid claims"))
    typed = app.session_state[key]
    row = dict.fromkeys(typed.begun, "") | {"claim": "spreads more easily than P1", "kind": "superiority"}
    app.session_state[key] = _Draft(typed.begun, pd.DataFrame([row], dtype="str"))
    app.run()
    assert "Not stamped yet: 1 statement" in shown(app)
    labelled(app.button, "Stamp these statements").click().run()
    assert "Write who stamps it" in shown(app)
    labelled(app.text_input, "Your initials, for the journal").set_value("EK").run()
    labelled(app.button, "Stamp these statements").click().run()
    assert not app.exception
    assert read_folder(folder).table("claims")["stamped_by"].tolist()[-1:] == ["EK"]
    assert "spreads more easily than P1" in read_folder(folder).table("claims")["claim"].tolist()


def test_names_of_people_become_codes_by_a_button(folder: Path):
    def named(now: Study) -> Study:
        for person, name in zip(now.assessors, ("Maria Rossi", "Hans Weber", "Anna Klein"), strict=False):
            now = rename(now, "assessor", person, name)
        return now

    save(folder, read_folder(folder), named)
    app = editing("assessors")
    labelled(app.button, "Use codes in place of names").click().run()
    assert not app.exception
    assert "People are called by a code now" in shown(app)
    study = read_folder(folder)
    for name in ("Maria Rossi", "Hans Weber", "Anna Klein"):
        assert name not in {*study.assessors, *study.scores["assessor"], *study.table("assessors")["assessor"]}
    assert "Use codes in place of names" not in [button.label for button in editing("assessors").button]


@pytest.mark.parametrize("what", [name for name in EDITORS if name != "facts"])
def test_every_editor_has_its_command(what: str, folder: Path):
    header = [column.name for column in columns_of(what)][:2]
    text = f"{';'.join(header)}\nsomething new;superiority\n"
    told = CliRunner().invoke(main, ["set", str(folder), what, "-", "--who", "EK", "--json"], input=text)
    assert told.exit_code == 0, told.output
    assert json.loads(told.stdout)["saved"]
    assert journal_rows(folder)["what"].iloc[0].startswith(f"Set by command: {what}")


def test_what_was_clicked_is_a_script_for_an_earlier_copy(folder: Path, tmp_path: Path):
    earlier = Path(shutil.copytree(folder, tmp_path / "earlier"))
    app = editing("facts")
    labelled(app.text_input, "Product").set_value("hand cream")
    next(button for button in app.button if button.label == "Save").click().run()
    app = editing("prototypes")
    labelled(app.text_input, "New name, everywhere at once").set_value("Q1")
    labelled(app.button, "Rename it").click().run()
    assert not app.exception
    script = read_journal(folder)[0] or b""
    assert len(script.splitlines()) == 2
    made = replayed(read_folder(earlier), script)
    assert study_changes(made, read_folder(folder)) == ()
    assert version_of(made) == version_of(read_folder(folder))


def test_a_wrong_cell_is_marked_in_its_row_and_mended_where_it_is_told(folder: Path):
    batches = {"batch": list("abcd"), "prototype": ["P1", "P2", "P3", "P4"], "made_on": ["2025-03-01"] * 4}
    block = pd.DataFrame({**batches, "ph": ["5.4", "5.4", "5,x", "5.4"]}, dtype="str")
    block.loc[1, "made_on"] = "last week"
    write_study(put_block(read_folder(folder), "batches", block, whole=True), folder, overwrite=True)
    app = editing("batches")
    assert not app.exception
    assert "2 cells to look at" in shown(app)
    assert "'last week' is no date" in shown(app)
    assert labelled(app.text_input, "\u25b2 Row 2, Made on").value == "last week"
    marks = next(frame.value for frame in app.dataframe if "To mend" in frame.value)["To mend"].tolist()
    assert [bool(mark) for mark in marks[:4]] == [False, True, True, False]
    assert "pH" in marks[2]
    labelled(app.text_input, "\u25b2 Row 3, pH").set_value("5,y").run()
    assert "'5,y' is not read" in shown(app)
    labelled(app.text_input, "\u25b2 Row 3, pH").set_value("5,1").run()
    assert "1 cell to look at" in shown(app)
    labelled(app.button, "Save batches").click().run()
    assert "1 cell to look at" in shown(app)
    assert read_folder(folder).table("batches")["ph"].iloc[2] == 5.1


def test_what_a_row_is_called_stays_in_sight_and_an_empty_cell_is_empty(folder: Path, monkeypatch: pytest.MonkeyPatch):
    looks: list[dict[str, object]] = []
    monkeypatch.setattr("streamlit.data_editor", lambda frame, **look: (looks.append(look), frame)[1])
    app = part(opened("study").run(), EDIT)
    app.query_params["editor"] = "attributes"
    assert not app.run().exception
    assert looks[-1]["placeholder"] == ""
    columns = _grid_columns(read_folder(folder), "attributes", texts_of_table(read_folder(folder), "attributes"))
    assert [name for name, look in columns.items() if look["pinned"]] == ["attribute"]


def test_changes_are_told_in_words(folder: Path):
    app = part(opened("study").run(), EDIT)
    app.query_params["editor"] = "batches"
    app.run()
    labelled(app.text_area, "Cells").set_value("Batch\tPrototype\tMade on\nX-1\tP1\tin May").run()
    assert "Row 5, “made on”: 'in May' is no date." in shown(app)
    told = app.get("table")[-1].value.iloc[0]
    assert told["After"] == "batch: X-1; prototype: P1; made on: in May"
