import pytest

from panel.ballots import rehearsal as module
from panel.ballots.rehearsal import self_test
from panel.errors import StudyError


def test_everything_works_here(tmp_path):
    table = self_test(tmp_path / "b.sqlite")
    assert len(table) == 4
    assert table["ok"].all()


def test_a_bad_place_is_found(tmp_path):
    (tmp_path / "Dropbox").mkdir()
    table = self_test(tmp_path / "Dropbox" / "b.sqlite").set_index("what")
    assert not table.loc["the record lies on this computer", "ok"]
    (tmp_path / "b.sqlite").write_text("no database " * 100)
    table = self_test(tmp_path / "b.sqlite").set_index("what")
    assert not table.loc["the record of ballots opens", "ok"]


@pytest.mark.parametrize("trouble", ["no answer", "marks lost"])
def test_a_server_that_does_not_work_is_found(monkeypatch, trouble):
    def broken(*_, **__):
        raise StudyError(trouble)

    monkeypatch.setattr(module, "rehearse", broken)
    table = self_test()
    assert table[["ok", "words"]].to_numpy().tolist() == [[False, trouble]]
