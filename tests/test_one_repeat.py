"""With one repeat nobody can say of a person who separates or repeats: words, not a count of nought."""

import json

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from panel.cli import main
from panel.models.assessors.performance import check_panel
from panel.study.folder import write_study
from panel.study.study import Study
from panel.views.assessors.assessor_tables import assessor_table, panel_table, people_table
from panel.views.assessors.assessor_words import ONE_REPEAT, what_the_assessors_show
from panel.views.drawing.naming import naming

NOTE = "can't be told with one repeat"


def one_repeat(twice=(), people=6):
    """Two attributes on which five prototypes clearly differ, each scored once; twice by the people in `twice`."""
    rng = np.random.default_rng(11)
    rows = [
        (f"A{a}", f"P{p}", name, round(10 + 15 * p + 2 * a + rng.normal(0, 3), 1), replicate)
        for a in range(people)
        for p in range(5)
        for name in ("gloss", "film")
        for replicate in (("1", "2") if f"A{a}" in twice else ("1",))
    ]
    scores = pd.DataFrame(rows, columns=["assessor", "prototype", "attribute", "score", "replicate"])
    return Study({"scores": scores}, {"scale_min": 0, "scale_max": 100})


def test_with_one_repeat_nobody_is_told_to_separate_or_repeat():
    result = check_panel(one_repeat())
    assert (result.people["n_judged"] == 2).all()
    assert (result.people[["n_repeated", "n_tested"]] == 0).all(axis=None)
    assert result.people[["n_separated", "repeat_ratio"]].isna().all(axis=None)
    assert result.assessors[["p_value", "repeat_sd", "repeat_ratio", "k"]].isna().all(axis=None)
    assert result.panel[["n_separating", "repeatability"]].isna().all(axis=None)
    assert any(NOTE in note for note in result.notes)


def test_the_words_say_so_and_no_count_of_nought_is_shown():
    study = one_repeat()
    result, names = check_panel(study), naming(study)
    sentences = what_the_assessors_show(result, names)
    assert all(
        "whether this person tells the prototypes apart alone can't be told with one repeat." in s for s in sentences
    )
    assert not any("0 of" in sentence for sentence in sentences)
    assert set(people_table(result)["Tells apart alone"]) == {ONE_REPEAT}
    assert set(people_table(result)["Scatter against the others'"]) == {ONE_REPEAT}
    own = assessor_table(result, names, "A1")
    assert set(own["Tells apart alone, p"]) == set(own["Scatter against the others'"]) == {ONE_REPEAT}
    panel = panel_table(result, names)
    assert set(panel["Assessors who tell apart alone"]) == {ONE_REPEAT}
    assert set(next(panel[name] for name in panel if name.startswith("Repeatability"))) == {ONE_REPEAT}


def test_with_some_who_repeated_only_these_are_counted():
    study = one_repeat(twice=("A0", "A3"))
    result = check_panel(study)
    people = result.people.set_index("assessor")
    assert people.loc[["A0", "A3"], "n_separated"].tolist() == [2, 2]
    assert people.loc[["A1", "A2", "A4", "A5"], "n_separated"].isna().all()
    assert result.panel["n_separating"].tolist() == result.panel["n_repeated"].tolist() == [2, 2]
    assert panel_table(result, naming(study))["Assessors who tell apart alone"].tolist() == ["2 of 2", "2 of 2"]
    assert people_table(result)["Tells apart alone"].tolist() == ["2 of 2", NOTE, NOTE, "2 of 2", NOTE, NOTE]
    assert any(note.startswith("A1, A2, A4, A5 scored no prototype twice") for note in result.notes)


@pytest.mark.parametrize(("twice", "told"), [((), False), (tuple(f"A{a}" for a in range(6)), True)])
def test_the_command_says_it_in_words_and_gives_null_with_the_reason_in_the_notes(tmp_path, twice, told):
    write_study(one_repeat(twice), tmp_path / "study")
    text = CliRunner().invoke(main, ["panel", str(tmp_path / "study")])
    assert text.exit_code == 0
    assert (ONE_REPEAT in text.stdout) is not told
    assert "0 of 2" not in text.stdout
    found = json.loads(CliRunner().invoke(main, ["panel", str(tmp_path / "study"), "--json"]).stdout)
    assert all((person["n_separated"] is None) is not told for person in found["people"])
    assert all((row["n_separating"] is None) is not told for row in found["panel"])
    assert any(ONE_REPEAT in note for note in found["notes"]) is not told
