"""Gates on constructed studies: passes, fails, and never a silent pass of what is not known."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from panel.models.decision.wanted import _GATE_COLUMNS, FAILS, PASSES, judge_gates
from panel.models.prototypes.verdict import CANNOT_TELL
from tests.studies import PROTOTYPES, small_study


def judged(gates, study=None, **facts):
    study = small_study({"gates": gates, **facts}) if study is None else study
    return judge_gates(study, PROTOTYPES)


def result(frame, prototype="P1"):
    return frame.set_index("prototype").loc[prototype, "result"]


def reason(frame, prototype="P1"):
    return frame.set_index("prototype").loc[prototype, "reason"]


def with_batches(rows, gates):
    batches = pd.DataFrame(rows, columns=["batch", "prototype", "ph", "viscosity_mpa_s"])
    return small_study({"gates": gates}, batches=batches)


def with_formula(lines, gates, **tables):
    formulas = pd.DataFrame(lines, columns=["prototype", "ingredient", "percent", "phase", "kind"])
    return small_study({"gates": gates}, formulas=formulas, **tables)


def test_the_ph_of_each_prototype_is_held_against_its_limits():
    # the batches of the small study have pH 5.41, 5.44, 5.39, 5.46
    found = judged({"ph": [5.40, 5.45]})
    assert list(found.columns) == list(_GATE_COLUMNS)
    assert found["result"].tolist() == [PASSES, PASSES, FAILS, FAILS]
    assert found["value_low"].tolist() == [5.41, 5.44, 5.39, 5.46]


def test_a_value_on_the_limit_passes():
    assert judged({"ph": [5.41, 5.46]})["result"].tolist() == [PASSES, PASSES, FAILS, PASSES]


def test_one_batch_outside_fails_and_one_not_measured_leaves_it_open():
    rows = [("a", "P1", 5.4, 1e4), ("b", "P1", 6.4, 1e4), ("c", "P2", 5.4, 1e4), ("d", "P2", np.nan, 1e4)]
    found = judge_gates(with_batches(rows, {"ph": [5, 6]}), PROTOTYPES)
    assert result(found, "P1") == FAILS
    assert (result(found, "P2"), reason(found, "P2")) == (CANNOT_TELL, "not measured on batch d")
    assert (result(found, "P3"), reason(found, "P3")) == (CANNOT_TELL, "no batch with this value")


def test_viscosity_is_looked_at_in_the_same_way():
    assert judged({"viscosity_mpa_s": [20000, None]})["result"].tolist() == [PASSES, PASSES, PASSES, FAILS]


def test_volatile_and_solid_shares_are_those_of_the_blend():
    # C13-15 Alkane, 6 of 11 parts in P2 and P4, is volatile; nothing in the small study is solid
    found = judged({"volatile_share": [None, 0.5]})
    assert found["result"].tolist() == [PASSES, FAILS, PASSES, FAILS]
    assert found["value_low"].tolist() == pytest.approx([0, 6 / 11, 0, 6 / 11])
    assert judged({"solid_share": [None, 0.0]})["result"].tolist() == [PASSES] * 4


def test_an_emollient_nobody_knows_leaves_the_share_open_unless_it_does_not_matter():
    lines = [("P1", "Oil of Nowhere", 4.0, "B", "emollient"), ("P1", "Dicaprylyl Carbonate", 6.0, "B", "emollient")]
    tight = with_formula(lines, {"volatile_share": [None, 0.3]})
    found = judge_gates(tight, ("P1",))
    assert (result(found), reason(found)) == (CANNOT_TELL, "not known of 40 % of the emollients")
    assert found[["value_low", "value_high"]].to_numpy().tolist() == [[0.0, pytest.approx(0.4)]]
    wide = with_formula(lines, {"volatile_share": [None, 0.4]})
    assert result(judge_gates(wide, ("P1",))) == PASSES


def test_without_a_formula_shares_cost_and_contents_cannot_be_told():
    gates = {"volatile_share": [None, 0.4], "cost": [None, 12], "free_of": ["lanolin", "Butyrospermum Parkii Butter"]}
    study = small_study({"gates": gates}, formulas=None)
    found = judge_gates(study, ("P1",))
    assert found["result"].tolist() == [CANNOT_TELL] * 4


def test_cost_counts_only_where_every_emollient_has_one():
    values = pd.DataFrame(
        {
            "ingredient": ["Dicaprylyl Carbonate", "Caprylic/Capric Triglyceride"],
            "property": "cost",
            "value": [1.5, 0.5],
            "measured_on": "2025-01-01",
            "method": "quotation",
        }
    )
    study = small_study({"gates": {"cost": [None, 11.4]}}, ingredient_values=values)
    found = judge_gates(study, PROTOTYPES)
    assert found["value_low"].iloc[0] == pytest.approx(6 * 1.5 + 5 * 0.5)  # 11.5 in 100 units of formula
    assert found["result"].tolist() == [FAILS, CANNOT_TELL, CANNOT_TELL, CANNOT_TELL]
    assert reason(found, "P2") == "the cost of an emollient is not known"
    formulas = study.table("formulas")
    little = (formulas["prototype"] == "P1") & (formulas["ingredient"] == "Caprylic/Capric Triglyceride")
    formulas = formulas.assign(percent=formulas["percent"].mask(little, 0.5))
    found = judge_gates(replace(study, tables={**study.tables, "formulas": formulas}), ("P1",))
    assert found["value_low"].iloc[0] == pytest.approx(6 * 1.5 + 0.5 * 0.5)  # what is in for half a per cent counts too


def test_an_ingredient_that_must_not_be_in_is_found_by_its_name():
    found = judged({"free_of": ["C13-15 Alkane"]})
    assert found["result"].tolist() == [PASSES, FAILS, PASSES, FAILS]
    assert reason(found, "P2") == "holds C13-15 Alkane"


def test_an_ingredient_stands_for_itself_and_an_allergen_for_all_that_hold_it():
    lines = [("P1", "Butyrospermum Parkii (Shea) Butter", 4.0, "B", "emollient"), ("P1", "Aqua", 96.0, "A", "other")]
    gates = {"free_of": ["Prunus Amygdalus Dulcis (Sweet Almond) Oil", "nuts"]}
    study = with_formula(lines, gates)
    found = judge_gates(study, ("P1",))
    assert found["result"].tolist() == [PASSES, FAILS]
    assert found["reason"].iloc[1] == "holds Butyrospermum Parkii (Shea) Butter"


def test_a_line_nobody_knows_may_hold_anything():
    lines = [("P1", "Secret Complex", 4.0, "B", "other"), ("P1", "Aqua", 96.0, "A", "other")]
    study = with_formula(lines, {"free_of": ["Glycerin", "lanolin"]})
    found = judge_gates(study, ("P1",))
    assert found["result"].tolist() == [CANNOT_TELL, CANNOT_TELL]
    assert found["reason"].tolist() == ["not known: Secret Complex"] * 2


def test_a_word_that_is_not_understood_lets_nobody_pass():
    found = judged({"free_of": ["zzqx"]})
    assert set(found["result"]) == {CANNOT_TELL}
    assert reason(found) == "'zzqx' is not understood; write an INCI name or an allergen"


def test_stability_repeats_what_a_named_person_recorded():
    whole = {"who": "stability laboratory", "date": "2025-06-01", "document": "ST-1"}
    stability = {
        "P1": {"outcome": "passed", **whole},
        "P2": {"outcome": "failed", **whole},
        "P3": {"outcome": "running", **whole},
        "P4": {"outcome": "passed", "who": "stability laboratory"},
    }
    found = judged({"stability": True}, stability=stability)
    assert found["result"].tolist() == [PASSES, FAILS, CANNOT_TELL, CANNOT_TELL]
    assert found["reason"].tolist() == [
        "stability laboratory, 2025-06-01, ST-1",
        "stability laboratory, 2025-06-01, ST-1",
        "still running",
        "recorded without person, day or document",
    ]
    assert set(judged({"stability": True})["reason"]) == {"nothing recorded"}


def test_without_gates_there_are_no_rows():
    assert judged({}).empty
