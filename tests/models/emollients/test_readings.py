"""Readings beside the panel: the demo's conclusions, what takes part, and studies that have only part of it."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom, pearsonr

from panel.errors import ModelError
from panel.models.emollients.curves import reduce_curves
from panel.models.emollients.readings import AS_EXPECTED, join_readings
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.verdict import CANNOT_TELL
from panel.study.open_study import open_study
from panel.study.study import Study
from tests.reading_studies import curve, curve_study, curves_table, flow_rows, force_rows, hand_cream_readings, measured

_WHOLE = open_study(Path(__file__).parents[3] / "data_demo" / "reading_room")
DEMO = Study({name: frame for name, frame in _WHOLE.tables.items() if name != "curves"}, _WHOLE.facts)
MEANS = find_differences(DEMO).means
JOINED = join_readings(DEMO, means=MEANS)
PARTNERS = JOINED.partners.set_index(["attribute", "measure"])
EXACT = 1e-10


@pytest.mark.parametrize(
    ("attribute", "measure", "sign"),
    [("AF_GREASE", "paper blot", 1), ("PU_FIRM", "firmness", 1), ("RO_SPREAD", "work of shear", -1)],
)
def test_the_demo_says_what_its_truth_says(attribute, measure, sign):
    # The truth behind the demo: paper blot follows the greasy film, firmness the firmness, work of shear opposes ease
    # of spreading. Tack and stickiness may or may not pass with eight prototypes, so nothing is asked of them.
    row = PARTNERS.loc[(attribute, measure)]
    assert row["verdict"] == AS_EXPECTED
    assert sign * row["estimate"] > row["needed"]
    assert row["p_value"] < 0.05
    assert row["n"] == 8
    assert round(row["needed"], 2) == 0.71


def test_the_demos_clearest_links_also_hold_as_a_family():
    for pair in (("AF_GREASE", "paper blot"), ("PU_FIRM", "firmness")):
        assert PARTNERS.loc[pair, "stands_out"]


def test_a_link_that_is_not_there_is_not_told():
    # The truth behind the demo: gloss in the dish falls with swap C, the gloss reading with swap A.
    assert PARTNERS.loc[("APP_GLOSS", "gloss"), "verdict"] == CANNOT_TELL


def test_links_are_correlations_of_the_means():
    panel = MEANS.pivot_table(index="prototype", columns="attribute", values="estimate")
    readings = DEMO.table("readings").pivot_table(index="prototype", columns="measure", values="value")
    for (attribute, measure), row in PARTNERS.iterrows():
        judge = pearsonr(panel[attribute], readings[measure])
        np.testing.assert_allclose([row["estimate"], row["p_value"]], [judge.statistic, judge.pvalue], rtol=EXACT)
    assert len(JOINED.partners) + len(JOINED.screening) == 14 * 11


def test_the_means_can_be_left_to_be_estimated():
    again = join_readings(DEMO)
    pd.testing.assert_frame_equal(again.partners, JOINED.partners)


def test_the_demos_swaps_act_on_its_readings_as_they_truly_do():
    # True factors of the demo: each interval of this one draw holds the truth, or 95 % intervals miss as often as they
    # may (at most 5 of 30; 1.5 are expected).
    from data_demo.scenario import MEASURES

    swaps = JOINED.swaps.loc[JOINED.swaps["ratio"].notna()]
    order = list(dict.fromkeys(swaps["swap"]))
    missed = 0
    for row in swaps.to_dict("records"):
        factor = MEASURES[row["measure"]][2 + order.index(row["swap"])]
        missed += not row["ratio_ci_low"] <= factor <= row["ratio_ci_high"]
        assert abs(np.log(row["ratio"] / factor)) < 0.25
    assert len(swaps) == 30
    assert missed <= 5


def test_panel_and_instruments_share_a_map():
    assert JOINED.map is not None
    assert JOINED.map.rv > 0.8 > 2 * JOINED.map.rv_by_chance
    both = JOINED.map.prototypes.query("block == 'both'").set_index("prototype")["component_1"]
    assert {both.idxmin(), both.idxmax()} == {"P4", "P5"}


def test_what_must_be_known_is_said():
    for words in (
        "The unit of inference is the prototype",
        "An instrument never stands in for the panel",
        "differ in 3 independent directions only",
        "One batch per prototype",
        "20 h, under 24 h. (batches, batch RR-6 of P6)",
        "no test over assessors",
        "cannot be told apart: in all 4 matched pairs",
    ):
        assert any(words in note for note in JOINED.notes), words
    for words in ("Pearson", "declared beforehand come first (10)", "The other 144 pairs", "multiple factor analysis"):
        assert words in JOINED.method


def test_curves_join_as_readings():
    rng = np.random.default_rng(1)
    parts = [
        part
        for k in range(1, 9)
        for part in (
            flow_rows(rng, f"P{k}", yield_stress=15 + 3.0 * k, consistency=3 + 0.4 * k),
            force_rows(f"P{k}", size=50.0 + 5 * k),
        )
    ]
    study = Study({**DEMO.tables, "curves": curves_table(*parts)}, DEMO.facts)
    found = join_readings(study, means=MEANS)
    added = {"stickiness", "work of adhesion", "viscosity at 10 1/s", "viscosity at 500 1/s", "yield stress"}
    assert added <= set(found.measures["measure"])
    assert "Taken from the table of readings, not from the curves: firmness, work of shear." in found.notes
    handed = join_readings(study, means=MEANS, curves=reduce_curves(study))
    pd.testing.assert_frame_equal(handed.means, found.means)
    spread = found.screening.set_index(["attribute", "measure"]).loc[("RO_SPREAD", "yield stress")]
    expected = pearsonr(found.panel["RO_SPREAD"], found.means.query("measure == 'yield stress'")["estimate"])
    np.testing.assert_allclose(spread["estimate"], expected.statistic, rtol=EXACT)


def test_curves_alone_are_readings_too():
    found = join_readings(curve_study(force_rows("P1"), force_rows("P2", size=80)))
    assert found.measures["measure"].tolist() == ["firmness", "work of shear", "stickiness", "work of adhesion"]


def test_curves_that_cannot_be_used_do_not_stop_the_readings():
    study = hand_cream_readings(
        measured(np.random.default_rng(1)), curves=curves_table(curve("force", "P1", [0, 1], "mm", [0, 5], "g"))
    )
    found = join_readings(study)
    assert any(note.startswith("The curves take no part: No curve can be reduced") for note in found.notes)
    assert len(found.measures) == 4


def test_without_a_panel_readings_and_swaps_remain():
    found = join_readings(hand_cream_readings(measured(np.random.default_rng(1))))
    assert found.partners.empty
    assert found.screening.empty
    assert found.map is None
    assert len(found.swaps) == 12
    assert any(note.startswith("No panel stands beside the readings: The study has no scores") for note in found.notes)
    assert "multiple factor" not in found.method


def test_without_readings_there_is_nothing_to_join():
    with pytest.raises(ModelError, match="no instrument readings that can be used"):
        join_readings(Study(tables={}))


STUDIES = 20


def test_a_reading_that_goes_along_with_a_session_of_the_panel_goes_with_no_sensation():
    # eight alike prototypes in two sessions (SD 8); the reading truly differs between the halves
    told = {"split": 0, "joined": 0}
    for seed in range(STUDIES):
        rng = np.random.default_rng(seed)
        people, prototypes = np.divmod(np.arange(64), 8)
        score = 50 + rng.normal(0, 5, 8)[people] + rng.normal(0, 5, 64)
        reading = np.where(np.arange(8) > 3, 30.0, 20.0) + rng.normal(0, 1, 8)
        for name, session in (("split", prototypes // 4), ("joined", people // 4)):
            level = np.random.default_rng(seed).normal(0, 8, 2)[session]
            found = join_readings(one_pair(people, prototypes, score + level, session, reading))
            row = found.partners.iloc[0]
            told[name] += row["verdict"] != CANNOT_TELL
            if name == "split":
                assert np.isnan([row["p_value"], row["ci_low"], row["ci_high"]]).all()
                assert found.notes[0].startswith("P1 and P5 were never served in one session")
    assert told["split"] == 0
    assert told["joined"] <= binom.isf(0.001, STUDIES, 0.05)


def one_pair(people, prototypes, score, session, reading):
    scores = {
        "assessor": [f"A{each}" for each in people],
        "prototype": [f"P{each + 1}" for each in prototypes],
        "attribute": "GREASE",
        "score": score,
        "session": [str(each + 1) for each in session],
    }
    readings = {"prototype": [f"P{n + 1}" for n in range(8)], "measure": "shine", "unit": "", "value": reading}
    tables = {
        "attributes": pd.DataFrame({"attribute": ["GREASE"], "partner": ["shine"]}),
        "scores": pd.DataFrame(scores),
        "readings": pd.DataFrame(readings),
    }
    return Study(tables)
