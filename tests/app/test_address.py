"""The study in use is in the address: a reload, another window and another page keep it, two windows do not mix."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from panel.app.front_door import STUDY_FIELD
from panel.app.guide import CHOICE
from panel.app.state import FOLDERS_VARIABLE, STUDY_VARIABLE, default_folder
from panel.study import open_study as recent
from panel.study.folder import write_study
from panel.study.open_study import _MOST_RECENT, recent_studies, remember_study
from tests.app.running import part_of_app
from tests.app.test_pages import shown
from tests.studies import small_study


def script() -> None:
    import streamlit as st

    from panel.app.state import study_in_use, take_message, use_demo, use_path

    if st.session_state.get("open"):
        use_path(st.session_state.pop("open"))
    if st.session_state.get("demo") and st.session_state.pop("demo"):
        use_demo()
    study = study_in_use()
    st.title(study.handle.path or "in memory")
    st.markdown(take_message())


def window(study: str = "") -> AppTest:
    app = AppTest.from_function(script)
    if study:
        app.query_params[STUDY_FIELD] = study
    return app.run()


@pytest.fixture
def folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, Path]:
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)
    for name in ("one", "two"):
        write_study(small_study(), tmp_path / name)
    return tmp_path / "one", tmp_path / "two"


def test_an_opened_study_is_in_the_address_and_a_new_window_with_it_has_it_too(folders):
    app = window()
    app.session_state["open"] = str(folders[0])
    app.run()
    assert app.query_params[STUDY_FIELD] == str(folders[0])
    again = window(app.query_params[STUDY_FIELD])
    assert again.title[0].value == str(folders[0])


def test_two_windows_keep_their_own_study(folders):
    first, second = window(str(folders[0])), window(str(folders[1]))
    assert [app.run().title[0].value for app in (first, second, first)] == [
        str(folders[0]),
        str(folders[1]),
        str(folders[0]),
    ]


def test_the_demo_stands_in_no_address(folders):
    app = window(str(folders[0]))
    app.session_state["demo"] = True
    app.run()
    assert STUDY_FIELD not in app.query_params


def test_an_address_leads_nowhere_that_was_not_named(folders, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv(FOLDERS_VARIABLE, str(folders[1]))
    app = window(str(folders[0]))
    assert app.title[0].value != str(folders[0])
    assert "is in no folder that was named" in shown(app)
    gone = window(str(folders[1] / "gone"))
    assert "The study of this address is not open: There is no study" in shown(gone)


def test_a_new_study_gets_a_folder_of_its_own(folders, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv(FOLDERS_VARIABLE, str(folders[0].parent))
    first = default_folder("Hand cream, März 2026")
    assert first == folders[0].parent / "afterfeel" / "hand_cream_märz_2026"
    first.mkdir(parents=True)
    assert default_folder("Hand cream, März 2026").name == "hand_cream_märz_2026_2"
    assert default_folder("../..").name == "study"


def test_studies_that_were_opened_are_listed_the_last_one_first(folders):
    app = window()
    for folder in folders:
        app.session_state["open"] = str(folder)
        app.run()
    assert recent_studies() == (folders[1], folders[0])
    for number in range(20):
        remember_study(folders[0].parent / str(number))
    assert recent_studies() == ()  # none of these is there
    remember_study(folders[0])
    assert recent_studies() == (folders[0],)
    assert len(recent._recent_file().read_text().splitlines()) == _MOST_RECENT + 2


@pytest.mark.parametrize("content", [b"", b"{}", b"[1, null]", b"\xff", b"[" * 5000])
def test_a_broken_list_of_recent_studies_is_no_list(content: bytes):
    recent._recent_file().parent.mkdir(parents=True)
    recent._recent_file().write_bytes(content)
    assert recent_studies() == ()


def test_the_editor_that_is_open_stands_in_the_address_and_a_new_window_with_it_opens_it(folders):
    app = part_of_app("edit")
    app.query_params[STUDY_FIELD] = str(folders[0])
    app.run()
    assert CHOICE not in app.query_params
    app.session_state[CHOICE] = "batches"
    app.run()
    assert app.query_params[CHOICE] == "batches"
    again = part_of_app("edit")
    again.query_params |= {STUDY_FIELD: str(folders[0]), CHOICE: "batches"}
    again.run()
    assert again.session_state[CHOICE] == "batches"
    again.session_state[CHOICE] = "assessors"
    again.run()
    assert again.query_params[CHOICE] == "assessors"
    again.query_params[CHOICE] = "batches"  # as the browser's way back does
    assert again.run().session_state[CHOICE] == "batches"
    assert not again.exception
