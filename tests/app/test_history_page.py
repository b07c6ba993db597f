"""The part History of the place Study: who changed what, and the last change taken back."""

from dataclasses import replace
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from panel.app.state import StudyHandle
from panel.study.folder import read_folder, write_study
from panel.study.saving import save
from tests.study.small_study import small_study

SCRIPT = """
from panel.app.pages.study import show_history
from panel.app.state import study_in_use
show_history(study_in_use())
"""


def with_title(title):
    return lambda now: replace(now, facts={**now.facts, "title": title})


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_study(small_study(), tmp_path / "s")
    save(tmp_path / "s", read_folder(tmp_path / "s"), with_title("Spring"), who="Ada", what="The title is Spring.")
    return tmp_path / "s"


def opened(folder: Path) -> AppTest:
    app = AppTest.from_string(SCRIPT, default_timeout=60)
    app.session_state["study_handle"] = StudyHandle("s", str(folder))
    return app.run()


def test_the_last_change_is_named_and_can_be_taken_back(folder):
    app = opened(folder)
    assert not app.exception
    assert "by Ada: The title is Spring" in app.header[0].value.replace("\\", "")
    assert "All changes as a script" in [button.label for button in app.get("download_button")]
    app.text_input[0].set_value("Ben")
    app.text_input[1].set_value("it was right before")
    app.button[0].click().run()
    assert not app.exception
    assert read_folder(folder).facts.get("title") == small_study().facts.get("title")
    assert "by Ben: Change 1 taken back: it was right before" in app.header[0].value.replace("\\", "")


def test_without_a_name_nothing_is_taken_back_and_that_is_said(folder):
    app = opened(folder)
    app.button[0].click().run()
    assert "needs a name and a reason" in app.warning[0].value
    assert read_folder(folder).facts["title"] == "Spring"


def test_an_edited_journal_is_told_on_the_page(folder):
    (folder / "journal.jsonl").write_bytes((folder / "journal.jsonl").read_bytes().replace(b"Ada", b"Eva"))
    assert "was edited at its end" in opened(folder).warning[0].value


def test_a_person_is_removed_on_the_part_people_only_when_it_is_ticked(folder):
    app = AppTest.from_string(SCRIPT.replace("import show", "import show_privacy as show"), default_timeout=60)
    app.session_state["study_handle"] = StudyHandle("s", str(folder))
    app.run()
    person = str(read_folder(folder).scores["assessor"].iloc[0])
    assert "health data" in app.markdown[0].value
    app.selectbox[0].set_value(person)
    app.text_input[0].set_value("Ben")
    app.text_input[1].set_value("asked for it")
    app.button[0].click().run()
    assert "tick that it is to be removed" in app.warning[0].value
    app.checkbox[0].check()
    app.button[0].click().run()
    assert not app.exception
    assert person not in set(read_folder(folder).scores["assessor"])
