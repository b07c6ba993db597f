import numpy as np
import pandas as pd
import pytest

from panel.cli import main, shared
from panel.study import folder
from panel.study.study import Numbered
from tests.studies import small_study

TEXTS = (["b", "b", "a", "b", "", ""], [], ["a"], list("abcabc"), ["a"] * 5, list("aab") * 3)


@pytest.mark.parametrize("texts", TEXTS)
@pytest.mark.parametrize("dtype", ["str", "object"])
def test_cells_are_numbered_as_pandas_numbers_them(texts, dtype):
    cells = pd.Series(texts, dtype=dtype, index=range(5, 5 + len(texts)))
    code, different = Numbered(cells.to_frame("of"))["of"]
    expected, names = pd.factorize(cells)  # it looks at each cell by itself
    assert different == names.tolist()
    assert code.tolist() == expected.tolist()


def test_a_missing_number_has_a_number_too():
    code, different = Numbered(pd.DataFrame({"position": [2.0, np.nan, 2.0, np.nan]}))["position"]
    assert code.tolist() == [0, 1, 0, 1]
    assert different[0] == 2
    assert np.isnan(different[1])


def test_a_frame_beside_has_the_same_numbers_and_its_own_scores():
    study = small_study()
    higher = study.scores.assign(score=study.scores["score"] + 1)
    beside = study.numbered.beside(higher)
    assert beside["assessor"][0] is study.numbered["assessor"][0]
    assert (beside.frame["score"] == study.numbered.frame["score"] + 1).all()


@pytest.mark.parametrize(("most", "storage"), [(shared._SMALL, "python"), (0, "pyarrow")])
def test_a_command_keeps_texts_of_a_small_study_as_plain_strings(tmp_path, monkeypatch, most, storage):
    folder.write_study(small_study(), tmp_path / "study")
    monkeypatch.setattr(shared, "_SMALL", most)
    folder._small_table.cache_clear()  # whoever read the same bytes before kept its texts as it liked
    with main.make_context("afterfeel", ["check", str(tmp_path / "study")]):
        assert shared.open_path(tmp_path / "study").scores["assessor"].dtype.storage == storage
