"""The page about the ballots, from a study without a plan to the opened key."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from panel.app.ballot_forms import _HERE, _start_server
from panel.app.new_study import _STEPS
from panel.app.state import STUDY_VARIABLE
from panel.ballots.rehearsal import _to_rehearse
from panel.plan.codes import _key_matches, _serving_key
from panel.store.ballot import find_ballot, prepare_ballots
from panel.store.database import now, open_store, store_exists, store_url
from panel.store.events import Entry, record
from panel.store.preparing import safety_signed
from panel.study.folder import read_folder, write_study
from panel.study.open_study import workbook_bytes
from panel.study.study import Study
from tests.app.running import ROOT, free_port, part_of_app
from tests.ballot_studies import PROTOTYPES, ballot_study, cleared


def shown(app: AppTest) -> str:
    parts = [
        *app.title,
        *app.header,
        *app.subheader,
        *app.markdown,
        *app.caption,
        *app.warning,
        *app.success,
        *app.info,
        *app.code,
    ]
    return " ".join(part.value for part in parts).replace("\\", "").replace("\u00a0", " ")


def labelled(widgets, label: str):
    return next(widget for widget in widgets if widget.label == label)


def page() -> AppTest:
    return part_of_app("ballots").run()


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a study folder whose safety gate is open, in use by the app; its ballots are not prepared yet."""
    monkeypatch.delenv("AFTERFEEL_DATABASE_URL", raising=False)
    # nobody listens there, and nobody is asked outside this computer
    monkeypatch.setattr("panel.ballots.serving.lan_address", lambda: "127.0.0.1")
    return in_use(cleared(ballot_study()), tmp_path / "hills", monkeypatch)


def in_use(study: Study, folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    write_study(study, folder)
    monkeypatch.setenv(STUDY_VARIABLE, str(folder))
    return folder


def answer(folder: Path, *entries: Entry, assessor: str = "A01", key: str = "s") -> None:
    store = open_store(store_url(folder))
    place = {"collection": 1, "session": "1", "assessor": assessor, "at": now()}
    record(store, entries, submission=key, **place)
    store.close()


def prepared(folder: Path) -> AppTest:
    prepare_ballots(folder, read_folder(folder))
    return page()


def test_the_demo_offers_paper_and_says_what_phones_need(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)
    app = page()
    assert not app.exception
    assert not app.warning
    words = shown(app)
    assert "Ballots on phones need a study folder that can be written to" in words
    assert "The safety gate is not open" not in words  # every batch of the demo is signed
    assert [button.label for button in app.get("download_button")] == ["Ballots as PDF", "Labels as PDF"]


def test_paper_from_a_workbook_says_that_the_gate_is_closed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    for study, warned in ((ballot_study(), True), (cleared(ballot_study()), False)):
        path = tmp_path / f"hills{warned}.xlsx"
        path.write_bytes(workbook_bytes(study))
        monkeypatch.setenv(STUDY_VARIABLE, str(path))
        app = page()
        assert not app.exception
        assert ("The safety gate is not open: do not apply anything." in shown(app)) is warned


def test_looking_makes_no_file_and_preparing_does(folder: Path):
    app = page()
    assert not app.exception
    assert not store_exists(store_url(folder))
    assert "The safety gate is open: the ballots open once they are prepared." in shown(app)
    labelled(app.button, "Prepare the ballots").click().run()
    assert not app.exception
    assert store_exists(store_url(folder))
    assert "The safety gate is open: 3 of 3 served prototypes" in shown(app)
    assert "The ballots can be answered, on phones or on paper." in shown(app)


@pytest.mark.parametrize(("signed", "following"), [(True, "Open the ballots"), (False, "Sign the safety gate")])
def test_the_steps_lead_on_from_where_the_study_is(signed, following, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    study = cleared(ballot_study()) if signed else ballot_study()
    in_use(Study({**study.tables, "scores": study.scores.iloc[:0]}, study.facts), tmp_path / "hills", monkeypatch)
    app = part_of_app("start").run()
    if labelled(app.segmented_control, "Step").value != _STEPS[-1]:
        labelled(app.segmented_control, "Step").set_value(_STEPS[-1]).run()
    assert not app.exception
    assert ("Next: sign the safety gate" in shown(app)) is not signed
    assert following in {link.proto.label for link in app.get("page_link")}


def test_a_plan_is_written_with_the_seal_of_its_key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv("AFTERFEEL_DATABASE_URL", raising=False)
    tables = {name: table for name, table in ballot_study().tables.items() if name != "servings"}
    folder = in_use(Study(tables, ballot_study().facts), tmp_path / "hills", monkeypatch)
    app = page()
    labelled(app.button, "Write the plan into the study").click().run()
    assert "A key is sealed by a named person" in shown(app)
    assert read_folder(folder).table("servings").empty
    app.text_input[-1].set_value("trainer")
    labelled(app.button, "Write the plan into the study").click().run()
    assert not app.exception
    study = read_folder(folder)
    assert len(study.table("servings")) == 2 * 3 * 3
    seal = study.facts["key"]
    assert seal["sealed_by"] == "trainer"
    assert _key_matches(_serving_key(study.table("servings")), seal["salt"], seal["sha256"])
    assert any(button.label == "Prepare the ballots" for button in app.button)


def test_a_plan_in_which_everybody_tries_a_part_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv("AFTERFEEL_DATABASE_URL", raising=False)
    tables = {name: table for name, table in ballot_study().tables.items() if name != "servings"}
    folder = in_use(Study(tables, ballot_study().facts), tmp_path / "hills", monkeypatch)
    app = page()
    for label, text in (("Times each sample is scored", "1"), ("Samples in a session at most", "2")):
        labelled(app.text_input, label).set_value(text)
    labelled(app.text_input, "Sessions a person comes to").set_value("one")
    app.text_input[-1].set_value("trainer")
    labelled(app.button, "Write the plan into the study").click().run()
    assert "Sessions a person comes to cannot be read: 'one' is not a number." in shown(app)
    labelled(app.text_input, "Sessions a person comes to").set_value("1.5")
    labelled(app.button, "Write the plan into the study").click().run()
    assert "Sessions a person comes to must be a whole number." in shown(app)
    labelled(app.text_input, "Sessions a person comes to").set_value("1")
    labelled(app.button, "Write the plan into the study").click().run()
    assert not app.exception
    servings = read_folder(folder).table("servings")
    assert set(servings.groupby("assessor")["prototype"].nunique()) == {2}
    assert set(servings.groupby("prototype")["assessor"].nunique()) == {2}  # 3 people, 2 of 3 each


def test_the_leader_sees_codes_and_no_prototypes(folder: Path):
    app = prepared(folder)
    seen = shown(app) + " ".join(str(frame.value) for frame in app.table)
    assert "417" in seen
    assert [word for word in PROTOTYPES if word in seen] == []


def test_links_are_made_shown_once_and_open_the_ballot(folder: Path):
    app = prepared(folder)
    assert "No phone reaches them yet: start the ballots." in shown(app)
    assert any(f"afterfeel ballots {folder} --port" in code.value for code in app.code)
    labelled(app.button, "Make links for everybody").click().run()
    assert not app.exception
    assert "Links of session 1 in force: A01, A02, A03." in shown(app)
    link = next(code.value for code in app.code if "/b/" in code.value)
    store = open_store(store_url(folder))
    assert find_ballot(store, link.rpartition("/")[2]).assessor == "A01"
    store.close()
    assert labelled(app.button, "Make links for everybody").disabled  # until somebody says that they are replaced
    assert "/b/" not in shown(page())


def test_the_board_counts_what_came(folder: Path):
    prepare_ballots(folder, read_folder(folder))
    answer(folder, Entry("answer", 1, "GLOSS", 48.7), Entry("answer", 1, "GREASE", 5.0, flag="early"))
    app = page()
    assert "0 of 3 assessors have finished. Not begun: A02 and A03." in shown(app)
    board = next(frame.value for frame in app.table if "Samples done" in frame.value.columns)
    assert board["Marks"].tolist()[0] == "2 of 15"
    assert board["Too early"].tolist()[0] == "1"
    assert "48" not in str(board.drop(columns="Last sent"))  # which is a time of day


def test_a_reaction_is_seen_and_somebody_lets_the_person_go_on(folder: Path):
    prepare_ballots(folder, read_folder(folder))
    answer(folder, Entry("reaction", 1, text="burning <b>"))
    app = page()
    assert "Stopped after a skin reaction: A01." in shown(app)
    assert any("burning" in str(frame.value) for frame in app.table)
    labelled(app.text_input, "Who lets this person go on").set_value("lead")
    labelled(app.text_input, "Why this person may").set_value("nothing found")
    labelled(app.button, "Let this person go on").click().run()
    assert not app.exception
    assert "Stopped after a skin reaction" not in shown(app)


def test_all_ballots_are_stopped_and_go_on(folder: Path):
    app = prepared(folder)
    labelled(app.button, "Stop all ballots now").click().run()
    assert "Write who stops them, and why" in shown(app)
    for label, button, opened in (("itching", "Stop all ballots now", 0), ("settled", "Let the ballots go on", 1)):
        labelled(app.text_input, "Who decides it").set_value("lead")
        labelled(app.text_input, "Why").set_value(label)
        labelled(app.button, button).click().run()
        assert not app.exception
        store = open_store(store_url(folder))
        assert safety_signed(store, 1) is bool(opened)
        store.close()


def test_paper_ballots_are_typed_twice_compared_and_taken_over(folder: Path):
    app = prepared(folder)
    for which, who, value in (("first typing", "Anna", "48,7"), ("second typing", "Berta", "48.7")):
        labelled(app.radio, "Which typing").set_value(which).run()
        cells = [cell for cell in app.text_input if cell.key and cell.key.startswith(f"cell {which}")]
        assert len(cells) == 15
        for cell in cells:
            cell.set_value(value)
        labelled(app.text_input, "Who types").set_value(who)
        labelled(app.button, "Keep what is typed").click().run()
        assert not app.exception
        assert "15 cells are kept." in shown(app)
        if which == "first typing":
            assert "The two typings differ in 15 cells." in shown(app)
    assert "The two typings agree in every cell that was begun." in shown(app)
    labelled(app.button, "Take over as answers").click().run()
    assert not app.exception
    assert "15 answers from paper are in the record." in shown(app)
    assert "1 of 3 assessors have finished." in shown(app)


def test_a_session_is_locked_and_its_key_opened(folder: Path):
    prepare_ballots(folder, read_folder(folder))
    answer(folder, *(Entry("answer", 1, name, 10.0) for name in ("GLOSS", "SPREAD")))
    app = page()
    assert "A01: 13 marks are missing (code" in shown(app)
    labelled(app.text_input, "Who locks it").set_value("lead")
    labelled(app.button, "Lock the session").click().run()
    assert "Tick that the session is to be locked for good." in shown(app)
    labelled(app.checkbox, "Lock it, with what is missing").check()
    labelled(app.button, "Lock the session").click().run()
    assert not app.exception
    assert "Session 1 is locked: 2 scores" in shown(app)
    assert len(read_folder(folder).scores) == 2
    labelled(app.text_input, "Who opens it").set_value("analyst")
    labelled(app.button, "Write it down and open").click().run()
    assert "An unblinding is noted with the time" in shown(app)
    labelled(app.text_input, "For which reason").set_value("analysis")
    labelled(app.button, "Write it down and open").click().run()
    assert not app.exception
    assert any(set(PROTOTYPES) <= set(frame.value.to_numpy().ravel()) for frame in app.table)
    (row,) = read_folder(folder).table("unblindings").to_dict("records")
    assert (row["who"], row["what"], row["locked"]) == ("analyst", "session 1, all codes", "yes")


def test_an_emergency_opening_is_noted_as_such(folder: Path):
    app = prepared(folder)
    labelled(app.text_input, "Code (empty: all codes of the session)").set_value("417")
    labelled(app.text_input, "Who opens it").set_value("Dr S.")
    labelled(app.text_input, "For which reason").set_value("reaction of A01")
    labelled(app.button, "Write it down and open").click().run()
    assert not app.exception
    (row,) = read_folder(folder).table("unblindings").to_dict("records")
    assert (row["what"], row["locked"]) == ("session 1, code 417", "no")
    assert PROTOTYPES[0] in str([frame.value for frame in app.table])


def test_somebody_who_made_what_she_scores_is_warned_of(tmp_path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch):
    people = [{"person": "F1", "roles": ["formulator"], "assessor": "A01", "made": [PROTOTYPES[0]]}]
    study = cleared(ballot_study())
    in_use(Study(study.tables, {**study.facts, "people": people}), tmp_path / "two", monkeypatch)
    app = prepared(tmp_path / "two")
    assert "F1 scores what she made" in shown(app)


def test_a_rehearsal_gets_no_real_ballots(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    in_use(_to_rehearse(ballot_study()), tmp_path / "hills", monkeypatch)
    app = page()
    assert not app.exception
    assert "This study is a rehearsal" in shown(app)
    assert "This is a rehearsal: do not apply anything." in shown(app)
    assert not any(button.label == "Prepare the ballots" for button in app.button)


def test_a_plan_that_was_changed_after_the_beginning_is_told(folder: Path):
    prepare_ballots(folder, read_folder(folder))
    answer(folder, Entry("answer", 1, "GLOSS", 48.7))
    study = read_folder(folder)
    servings = study.table("servings").copy()
    servings.loc[0, "code"] = "111"
    write_study(Study({**study.tables, "servings": servings}, study.facts), folder, overwrite=True)
    app = page()
    assert not app.exception
    assert "changed after its ballots had begun" in shown(app)


def test_a_button_starts_and_stops_the_server(folder: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    app = prepared(folder)
    port = str(free_port())
    labelled(app.radio, "Who opens the ballots").set_value(_HERE)
    labelled(app.text_input, "Port").set_value(port).run()
    labelled(app.button, "Start the ballots").click().run()
    assert not app.exception
    assert any(port in each.value and "A ballot server answers" in each.value for each in app.success)
    labelled(app.button, "Stop the ballots").click().run()
    assert "No phone reaches them yet: start the ballots." in shown(app)


def test_a_server_that_cannot_start_says_why(tmp_path: Path):
    said = _start_server(str(tmp_path / "nothing"), "http://127.0.0.1:9", ["--port", str(free_port())], goes_on=False)
    assert "is no study folder" in said
