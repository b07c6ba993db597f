"""`afterfeel compare` on differences planned beforehand and on likeness within the margin."""

import json

from click.testing import CliRunner

from panel.cli import main
from panel.study.folder import write_study
from tests.studies import small_study

PLAN = [{"prototype": "P2", "versus": "P1", "attribute": "AF_GREASE"}, {"prototype": "P9", "versus": "P1"}]


def kept(tmp_path, **facts):
    folder = tmp_path / f"study {len(facts)}"
    write_study(small_study(facts), folder)
    return str(folder)


def run(*words):
    result = CliRunner().invoke(main, list(words))
    assert result.exit_code == 0, result.output
    return result.stdout


def test_json_holds_planned_differences_and_equivalence(tmp_path):
    found = json.loads(run("compare", kept(tmp_path, planned_differences=PLAN, margin=5), "--json"))
    (planned,) = found["planned"]
    assert (planned["prototype"], planned["versus"], planned["attribute"]) == ("P2", "P1", "AF_GREASE")
    assert {"estimate", "std_error", "df", "statistic", "p_value", "p_adjusted", "ci_low", "ci_high"} <= set(planned)
    assert len(found["equivalence"]) == 9  # three prototypes with the benchmark, on three attributes
    columns = {"margin", "low_p", "high_p", "p_value", "p_adjusted", "verdict", "bound", "not_worse_p", "not_worse"}
    assert columns <= set(found["equivalence"][0])
    assert any("no prototype 'P9'" in note for note in found["notes"])


def test_without_a_plan_and_a_margin_both_are_empty_and_this_is_said(tmp_path):
    found = json.loads(run("compare", kept(tmp_path), "--json"))
    assert found["planned"] == []
    assert found["equivalence"] == []
    assert any(note.startswith("No margin was set") for note in found["notes"])


def test_words_tell_both(tmp_path):
    words = run("compare", kept(tmp_path, planned_differences=PLAN, margin=5))
    assert "The one difference planned beforehand is shown." in words
    assert "shown to lie within 5 scale units either way" in words
    bare = run("compare", kept(tmp_path), "--all")
    assert "The study states no difference that was planned beforehand." in bare
