"""Each message about the formulas, and silence where nothing is wrong."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.checks.finding import Finding
from panel.checks.formulas import check_formulas
from panel.checks.sound_study import sound_study
from panel.study.study import Study
from panel.views.glance import in_short
from tests.formula_studies import (
    ALKANE,
    ALMOND,
    BASE,
    CARBONATE,
    TRIGLYCERIDE,
    formulas_table,
    hand_cream_formulas,
    scores_of,
    study_of,
    table,
)


def found(study, kind):
    return [finding for finding in check_formulas(study) if finding.kind == kind]


def one(study, kind):
    (finding,) = found(study, kind)
    return finding


def cream(**changes):
    """The base with 15 per cent carbonate and these changes (underscores for spaces)."""
    return BASE | {CARBONATE: 15.0} | {name.replace("_", " "): amount for name, amount in changes.items()}


def test_sound_formulas_give_cautions_only():
    assert {finding.severity for finding in check_formulas(study_of(hand_cream_formulas()))} == {"note"}
    assert all(finding.kind.startswith("caution_") for finding in check_formulas(study_of(hand_cream_formulas())))


def test_a_study_without_formulas_is_told_once():
    assert check_formulas(Study({})) == [
        Finding(
            "note",
            "formulas_missing",
            "formulas",
            "The study has no formulas; no difference can be traced to an emollient.",
            "Add the table formulas, one row per ingredient and prototype: prototype, ingredient, percent.",
        )
    ]


@pytest.mark.parametrize(
    ("aqua", "told"), [(71.85, False), (71.86, False), (71.84, False), (71.87, True), (71.83, True)]
)
def test_a_formula_adds_up_within_a_hundredth(aqua, told):
    assert bool(found(study_of({"P1": cream(Aqua=aqua)}), "formula_sum")) == told


def test_a_wrong_sum_says_how_much_it_is():
    finding = one(study_of({"P1": cream(), "P3": cream(Aqua=71.35)}), "formula_sum")
    assert finding.severity == "warning"
    assert finding.where == "formulas, P3"
    assert finding.message == "The formula of P3 adds up to 99.50 %, not to 100.00 %."
    assert finding.advice == "Correct the amounts; usually Aqua is filled up to 100 (q.s.)."


def test_a_missing_amount_says_what_would_fill_up_to_100():
    finding = one(study_of({"P1": cream(Aqua=np.nan)}), "formula_amount_missing")
    assert finding.message == "The formula of P1 cannot be added up: no amount for Aqua."
    assert "If Aqua fills up to 100 (q.s.), write 71.85." in finding.advice
    finding = one(study_of({"P1": cream(Aqua=np.nan, Glycerin=np.nan)}), "formula_amount_missing")
    assert finding.message.endswith("no amount for Aqua and Glycerin.")
    assert "q.s." not in finding.advice


def test_an_impossible_amount_is_told():
    finding = one(study_of({"P1": cream(Glycerin=-6.0)}), "formula_amount_impossible")
    assert finding.message == "-6 % of Glycerin is impossible."
    assert finding.where == "formulas, row 3: P1"
    assert found(study_of({"P1": cream(Aqua=250.0)}), "formula_amount_impossible")


def test_an_ingredient_twice_is_told_also_under_another_name():
    rows = [
        {"prototype": "P1", "ingredient": "Aqua", "percent": 90},
        {"prototype": "P1", "ingredient": CARBONATE, "percent": 5},
        {"prototype": "P1", "ingredient": "Water", "percent": 5},
    ]
    finding = one(Study({"formulas": table("formulas", rows)}), "ingredient_twice")
    assert finding.severity == "warning"
    assert finding.where == "formulas, rows 2, 4: P1"
    assert finding.message == "Aqua stands 2 times in the formula of P1."
    assert finding.advice.startswith("Keep one line, or say in which phases it is added.")
    for row, phase in zip(rows, "ABC", strict=True):
        row["phase"] = phase
    finding = one(Study({"formulas": table("formulas", rows)}), "ingredient_twice")
    assert finding.severity == "note"
    assert finding.message == "Aqua stands 2 times in the formula of P1, in phases A, C; its amounts are added up."
    assert finding.advice == "That is fine if it is added in several phases."


def test_a_slip_of_the_pen_gets_the_closest_name():
    finding = one(study_of({"P2": {"Aqua": 85.0, "Dicaprylil Carbonat": 15.0}}), "ingredient_not_known")
    assert finding.severity == "warning"
    assert finding.where == "formulas, row 3: P2"
    assert finding.message == "'Dicaprylil Carbonat' is not among the INCI names known here."
    assert finding.advice == "Did you mean Dicaprylyl Carbonate? If so, write it like this in every formula."


def test_another_substance_with_a_similar_name_is_not_proposed():
    """A filter for the sun is no emollient, though 16 of its 21 letters are those of one."""
    finding = one(study_of({"P2": {"Aqua": 85.0, "Ethylhexyl Salicylate": 15.0}}), "ingredient_not_known")
    assert finding.severity == "note"
    assert "Did you mean" not in finding.advice


@pytest.mark.parametrize(
    "name",
    [
        "Polyglyceryl-4 Isostearate",
        "Polyglyceryl-4 Diisostearate",
        "Isopropyl Palmitat-2",
        "Dimethiconyl",
    ],
)
def test_another_number_or_root_is_another_substance(name):
    finding = one(study_of({"P2": {"Aqua": 85.0, name: 15.0}}), "ingredient_not_known")
    assert finding.severity == "note"
    assert "Did you mean" not in finding.advice


@pytest.mark.parametrize(("typed", "meant"), [("Isopropyl Miristate", "Isopropyl Myristate"), ("Squalan", "Squalane")])
def test_a_slip_of_one_letter_is_proposed(typed, meant):
    finding = one(study_of({"P2": {"Aqua": 85.0, typed: 15.0}}), "ingredient_not_known")
    assert finding.advice.startswith(f"Did you mean {meant}?")


def test_a_name_like_no_other_is_a_note():
    finding = one(study_of({"P1": cream(Moon_Dust=1.0)}), "ingredient_not_known")
    assert finding.severity == "note"
    assert finding.message == "'Moon Dust' is not among the INCI names known here."
    assert finding.advice.startswith("Check the spelling. Nothing is known of it, its cautions included;")


def test_a_scored_prototype_without_a_formula():
    scores = scores_of(np.ones((1, 1, 1, 3)), ["P1", "P2", "REF"])
    study = study_of({"P1": cream()}, scores=scores)
    finding = one(study, "formula_missing")
    assert finding.severity == "warning"
    assert finding.message == "Scored, but without a formula: P2 and REF."
    assert finding.advice == "Add the formula if it is known; what was bought, or untreated skin, may stay without one."
    roles = [{"prototype": "P1"}, {"prototype": "P2", "role": "reference"}, {"prototype": "REF", "role": "benchmark"}]
    assert one(study_of({"P1": cream()}, scores=scores, prototypes=roles), "formula_missing").severity == "note"


def test_an_emollient_total_that_differs_says_where():
    study = study_of({"P1": cream(), "P2": cream(), "P3": cream() | {CARBONATE: 12.0, "Aqua": 74.85}})
    finding = one(study, "emollient_total_differs")
    assert finding.severity == "warning"
    assert finding.message == "The emollient total differs: 12.00 % in P3, 15.00 % in the others."
    assert "such pairs are not counted as swaps" in finding.advice
    assert not found(study, "base_differs")  # the water only takes up what the emollients leave


def test_a_structurant_that_is_not_frozen_is_told_and_the_water_that_makes_room_is_not():
    study = study_of({"P1": cream(), "P2": cream(), "P3": cream(Xanthan_Gum=0.5, Aqua=71.65)})
    finding = one(study, "base_differs")
    assert finding.where == "formulas, Xanthan Gum"
    assert finding.message == "Xanthan Gum differs between the prototypes: 0.50 % in P3, 0.30 % in the others."
    assert "Keep everything but the emollients alike" in finding.advice
    assert not found(study, "emollient_total_differs")


def test_all_that_is_not_frozen_is_told_at_once():
    study = study_of({"P1": cream(), "P2": cream(), "P3": cream(Xanthan_Gum=0.5, Glycerin=7.0, Aqua=70.65)})
    finding = one(study, "base_differs")
    assert finding.message.startswith("Glycerin and Xanthan Gum differ between the prototypes: Glycerin 7.00 % in P3, ")
    assert "; Xanthan Gum 0.50 % in P3, 0.30 % in the others." in finding.message
    assert in_short(finding) == "Glycerin and Xanthan Gum differ between the prototypes."


def test_water_that_differs_alone_is_told():
    study = study_of({"P1": cream(), "P2": cream(), "P3": cream(Aqua=70.0)})
    assert one(study, "base_differs").where == "formulas, Aqua"


def test_swaps_of_emollients_leave_the_base_as_it_is():
    study = study_of({"P1": cream(), "P2": BASE | {ALKANE: 10.0, TRIGLYCERIDE: 5.0}})
    assert not found(study, "base_differs")
    assert not found(study, "emollient_total_differs")


def test_an_ingredient_of_two_kinds():
    both = (
        formulas_table({"P1": cream()}, {CARBONATE: "emollient"}),
        formulas_table({"P2": cream()}, {CARBONATE: "other"}),
    )
    rows = [row for frame in both for row in frame.to_dict("records")]
    finding = one(Study({"formulas": table("formulas", rows)}), "kind_differs")
    assert (
        finding.message == f"{CARBONATE} has several kinds: emollient, other. It is counted as an emollient everywhere."
    )
    assert finding.advice == "Give it the same kind in every formula."


def test_a_known_emollient_that_is_called_something_else():
    finding = one(study_of({"P1": cream()}, kinds={CARBONATE: "structurant"}), "emollient_not_counted")
    assert finding.message == (
        f"{CARBONATE} is known as an emollient but its kind says structurant; it is not counted as one."
    )
    assert finding.advice == "Write 'emollient' as its kind if it is part of the blend."


def test_formulas_without_any_emollient():
    finding = one(study_of({"P1": BASE | {"Aqua": 86.85}}), "emollient_missing")
    assert finding.message == "No ingredient of the formulas is an emollient."
    assert finding.advice == "Write 'emollient' as the kind of each emollient."


def test_nuts_are_cautioned_about_with_names_and_prototypes():
    study = study_of(hand_cream_formulas())
    nut = one(study, "caution_tree_nut")
    assert nut.severity == "note"
    assert nut.where == "formulas, P1, P2, P3, P4, P5, P6, P7 and P8"
    assert nut.message.startswith(f"{ALMOND} and Butyrospermum Parkii (Shea) Butter: From a tree nut: ask everybody")
    assert nut.advice.endswith("the safety assessor decides, not this tool.")


@pytest.mark.parametrize(
    ("ingredient", "caution"),
    [
        ("Isododecane", "flammable"),
        ("Cyclopentasiloxane", "cyclic_siloxane_limit"),
        ("Beeswax", "bee_product"),
        ("Lecithin", "soy"),
    ],
)
def test_other_materials_that_call_for_care(ingredient, caution):
    assert found(study_of({"P1": cream() | {ingredient: 1.0}}), f"caution_{caution}")
    assert not found(study_of({"P1": cream()}), f"caution_{caution}")


amounts = st.one_of(st.none(), st.floats(-5, 120), st.sampled_from(["", "q.s.", "inf", float("inf")]))
names = st.sampled_from(["Aqua", "water", "", CARBONATE, "Moon Dust", " ", "Prunus"])
rows = st.fixed_dictionaries(
    {"prototype": st.sampled_from(["P1", "P2", ""]), "ingredient": names, "percent": amounts},
    optional={"kind": st.sampled_from(["emollient", "", "other", "nonsense"])},
)


@settings(deadline=None, max_examples=60)
@given(st.lists(rows, max_size=6))
def test_no_content_of_the_table_makes_the_check_raise(lines):
    frame = pd.DataFrame(lines, columns=["prototype", "ingredient", "percent", "kind"])
    findings = check_formulas(sound_study(Study({"formulas": frame})))
    assert all(isinstance(finding, Finding) for finding in findings)
