import json
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest

from panel.cli import shared
from panel.study import folder, study
from panel.study.study import Numbered
from tests.studies import small_study

TEXTS = (
    ["b", "b", "a", "b", "", ""],
    [],
    ["a"],
    list("abcabc"),
    ["a"] * 5,
    list("aab") * 3,
    list("abc" * 3 + "ba"),
    list("abcabcab"),
)


@pytest.mark.parametrize("texts", TEXTS)
@pytest.mark.parametrize("dtype", ["str", "object"])
@pytest.mark.parametrize(
    ("many", "often"), [(0, 2.0), (0, study._OFTEN), (3, study._OFTEN), (study._MANY, study._OFTEN)]
)
def test_cells_are_numbered_as_pandas_numbers_them(texts, dtype, many, often, monkeypatch):
    monkeypatch.setattr(study, "_MANY", many)
    monkeypatch.setattr(study, "_OFTEN", often)
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


def test_columns_that_scores_came_without_are_numbered_as_those_of_the_whole_table():
    own = small_study()
    bare = study.Study(own.tables | {"scores": own.scores[["assessor", "prototype", "attribute", "score"]]})
    whole = own.scores.assign(session="", replicate="", source="")
    for column in ("session", "replicate", "source", "assessor"):
        code, different = bare.numbered[column]
        assert (code.tolist(), different) == (pd.factorize(whole[column])[0].tolist(), whole[column].unique().tolist())
    assert np.isnan(bare.numbered["position"][1]).all()
    assert bare.numbered.frame.columns.tolist() == bare.scores.columns.tolist()


def test_a_frame_beside_has_the_same_numbers_and_its_own_scores():
    own = small_study()
    higher = own.scores.assign(score=own.scores["score"] + 1)
    beside = own.numbered.beside(higher)
    assert beside["assessor"][0] is own.numbered["assessor"][0]
    assert (beside.frame["score"] == own.numbered.frame["score"] + 1).all()


def test_a_command_on_a_small_study_says_the_same_without_arrow_as_with_it(tmp_path):
    folder.write_study(small_study(), tmp_path / "study")
    run = (
        "import sys; from panel.cli import main, shared; shared._SMALL = int(sys.argv[1]); "
        "main(['compare', sys.argv[2], '--json'], standalone_mode=False); "
        "print('pyarrow.lib' in sys.modules, file=sys.stderr)"
    )
    done = [
        subprocess.run(
            [sys.executable, "-c", run, most, str(tmp_path / "study")], capture_output=True, text=True, check=True
        )
        for most in (str(shared._SMALL), "0")
    ]
    assert [each.stderr.split() for each in done] == [["False"], ["True"]]
    assert json.loads(done[0].stdout) == json.loads(done[1].stdout) != {}
