"""Descriptors of the hand cream's blends against an independent computation and figures computed separately."""

from itertools import pairwise

import numpy as np
import pytest
from rdkit.Chem import Descriptors, MolFromSmiles

from panel.errors import ModelError
from panel.models.emollients import descriptors
from panel.models.emollients.descriptors import SPREADING_LIMITS, find_descriptors
from panel.study.knowledge import shared_table
from panel.study.study import Study
from tests.formula_studies import (
    ALKANE,
    ALMOND,
    BASE,
    CARBONATE,
    ISOSTEARATE,
    SHEA,
    TRIGLYCERIDE,
    hand_cream_formulas,
    study_of,
)

FORMULAS = hand_cream_formulas()
HAND_CREAM = study_of(FORMULAS)
RESULT = find_descriptors(HAND_CREAM)
KNOWN = shared_table("emollients").set_index("ingredient")
BLENDS = {name: {i: p for i, p in lines.items() if i not in BASE} for name, lines in FORMULAS.items()}
LIQUIDS = {name: {i: p for i, p in blend.items() if i != SHEA} for name, blend in BLENDS.items()}
EXACT = 1e-12

# Computed separately for this design, rounded as shown, P1 to P8. Molar mass is left out: those figures used a
# representative triglyceride for almond oil and shea butter, which is not allowed here.
SEPARATELY = {
    "log10_viscosity_liquids": ([1.29, 1.11, 1.15, 0.97, 1.11, 0.87, 0.92, 0.67], 0.005),
    "spreading_liquids": ([890, 850, 1007, 967, 1123, 1068, 1282, 1227], 0.5),
    "spreading_breadth": ([0.33, 0.32, 0.32, 0.31, 0.23, 0.22, 0.12, 0.11], 0.005),
    "volatile_share": ([0, 40, 0, 40, 0, 40, 0, 40], 0.5),
    "solid_share": ([0, 0, 0, 0, 27, 27, 27, 27], 0.5),
    "triglyceride_share": ([60, 60, 27, 27, 60, 60, 27, 27], 0.5),
    "monoester_share": ([0, 0, 33, 33, 0, 0, 33, 33], 0.5),
}


@pytest.mark.parametrize("descriptor", SEPARATELY)
def test_figures_computed_separately(descriptor):
    expected, rounding = SEPARATELY[descriptor]
    np.testing.assert_allclose(RESULT.wide[descriptor], expected, atol=rounding + 1e-9)


def mean(parts, column, prototype):
    """Mass-weighted mean of one column of the emollient table, written out."""
    return sum(p * KNOWN.loc[i, column] for i, p in parts[prototype].items()) / sum(parts[prototype].values())


@pytest.mark.parametrize("prototype", BLENDS)
def test_an_independent_computation_from_the_emollient_table(prototype):
    found = RESULT.wide.loc[prototype]
    liquids, blend = LIQUIDS[prototype], BLENDS[prototype]
    mass = sum(liquids.values())
    viscosity = np.prod([KNOWN.loc[i, "viscosity_mpa_s"] ** (p / mass) for i, p in liquids.items()])
    assert 10 ** found["log10_viscosity_liquids"] == pytest.approx(viscosity, rel=EXACT)  # geometric mean
    assert found["spreading_liquids"] == pytest.approx(mean(LIQUIDS, "spreading_mm2_10min", prototype), rel=EXACT)
    assert found["spreading_whole"] == pytest.approx(found["spreading_liquids"] * mass / 15, rel=EXACT)
    logs = np.repeat(
        [np.log10(KNOWN.loc[i, "spreading_mm2_10min"]) for i in liquids], [int(p) for p in liquids.values()]
    )
    assert found["spreading_breadth"] == pytest.approx(logs.std(), rel=1e-9)  # one entry per per cent of mass
    assert found["surface_tension"] == pytest.approx(mean(LIQUIDS, "surface_tension_mn_m", prototype), rel=EXACT)
    lowest = min(KNOWN.loc[i, "surface_tension_mn_m"] for i in liquids)
    assert found["surface_tension_lowest"] == lowest
    assert found["emollient_total"] == pytest.approx(15)
    assert sum(blend.values()) == pytest.approx(15)


def test_molar_mass_rests_on_the_two_emollients_that_have_one():
    # Independent: RDKit from the structures; almond oil and shea butter are natural mixtures without a molar mass.
    carbonate, triglyceride = (
        Descriptors.MolWt(MolFromSmiles(KNOWN.loc[i, "smiles"])) for i in (CARBONATE, TRIGLYCERIDE)
    )
    found = RESULT.wide.loc["P1"]
    written = 0.05  # the table holds molar masses to 0.1 g/mol
    assert found["molar_mass_by_mass"] == pytest.approx((6 * carbonate + 5 * triglyceride) / 11, abs=written)
    moles = 6 / carbonate + 5 / triglyceride
    assert found["molar_mass_by_number"] == pytest.approx(11 / moles, abs=written)
    row = RESULT.values.query("prototype == 'P1' and descriptor == 'molar_mass_by_mass'").iloc[0]
    assert row["coverage"] == pytest.approx(100 * 11 / 15)
    assert row["weak"]


def test_a_structure_that_only_illustrates_a_natural_oil_gives_no_molar_mass():
    castor = "Ricinus Communis (Castor) Seed Oil"
    assert KNOWN.loc[castor, "molar_mass_g_mol"] > 0
    found = find_descriptors(study_of({"P1": {castor: 10.0}, "P2": {CARBONATE: 10.0}}))
    assert np.isnan(found.wide.loc["P1", "molar_mass_by_mass"])
    assert found.wide.loc["P1", "unsaturated_share"] == 100


def test_swapping_almond_oil_for_shea_butter_makes_liquids_look_lighter_while_the_whole_blend_spreads_less():
    # A trap worth a test: figures of the liquids alone say 'lighter', the cream is richer.
    wide = RESULT.wide
    assert wide.loc["P5", "log10_viscosity_liquids"] < wide.loc["P1", "log10_viscosity_liquids"]
    assert wide.loc["P5", "spreading_liquids"] > wide.loc["P1", "spreading_liquids"]
    assert wide.loc["P5", "spreading_whole"] < wide.loc["P1", "spreading_whole"]
    assert any("solid share differs" in note for note in RESULT.notes)
    assert not any("solid share differs" in note for note in find_descriptors(study_of({"P1": FORMULAS["P1"]})).notes)


def test_shares_of_families_and_of_spreading_classes_sum_to_the_whole():
    wide = RESULT.wide
    families = ["ether_or_carbonate_share", "triglyceride_share", "hydrocarbon_share", "monoester_share"]
    np.testing.assert_allclose(wide[families].sum(axis=1), 100)
    for low, high in SPREADING_LIMITS:
        classes = [f"{name}_share_{low:g}_{high:g}" for name in ("fast", "medium", "slow")]
        np.testing.assert_allclose(wide[[*classes, "solid_share"]].sum(axis=1), 100)


@pytest.mark.parametrize(
    ("limits", "slow", "medium", "fast"),
    # Spreading in the table: carbonate 1600, triglyceride 550, almond oil 250; a limit itself is medium.
    [((300, 1000), 4, 5, 6), ((600, 1000), 9, 0, 6), ((250, 550), 0, 9, 6), ((100, 200), 0, 0, 15)],
)
def test_what_lies_between_the_limits_of_a_class(limits, slow, medium, fast, monkeypatch):
    monkeypatch.setattr(descriptors, "SPREADING_LIMITS", (limits,))
    wide = find_descriptors.__wrapped__(HAND_CREAM).wide.loc["P1"]
    for name, per_cent in (("slow", slow), ("medium", medium), ("fast", fast)):
        assert wide[f"{name}_share_{limits[0]}_{limits[1]}"] == pytest.approx(100 * per_cent / 15)


def test_an_unknown_emollient_lowers_the_coverage_and_is_named():
    formulas = {"P1": {CARBONATE: 6.0, "Our Own Ester": 4.0}}
    found = find_descriptors(study_of(formulas, kinds={"Our Own Ester": "emollient"}))
    rows = found.values.set_index("descriptor")
    assert rows.loc["spreading_whole", "coverage"] == pytest.approx(60)
    assert rows.loc["spreading_whole", "value"] == 1600  # over the part that is known
    assert rows.loc["spreading_whole", "weak"]
    assert rows.loc["volatile_share", ["value", "coverage"]].tolist() == [0, 60]
    assert "spreading_whole" not in found.sound
    assert any(note.startswith("Not in the emollient table: Our Own Ester.") for note in found.notes)
    assert any(
        note.startswith("Weak, because values are missing") and "spreading of the whole blend" in note
        for note in found.notes
    )


@pytest.mark.parametrize(("percent", "weak"), [(80.0, False), (79.0, True)])
def test_the_weak_mark_begins_under_80_per_cent(percent, weak):
    formulas = {"P1": {CARBONATE: percent / 10, "Our Own Ester": 10 - percent / 10}}
    rows = find_descriptors(study_of(formulas, kinds={"Our Own Ester": "emollient"})).values.set_index("descriptor")
    assert bool(rows.loc["surface_tension", "weak"]) == weak


def test_own_measurements_come_first_and_are_named():
    values = [
        {
            "ingredient": "sweet almond oil",
            "property": "spreading_mm2_10min",
            "value": 400,
            "measured_on": "2025-02-01",
        },
        {
            "ingredient": ALMOND,
            "property": "spreading_mm2_10min",
            "value": 310,
            "measured_on": "2025-03-01",
            "method": "on skin",
        },
        {"ingredient": "Our Own Ester", "property": "surface_tension_mn_m", "value": 25, "measured_on": "2025-03-01"},
        {"ingredient": CARBONATE, "property": "colour", "value": 1, "measured_on": "2025-03-01"},
    ]
    formulas = {"P1": {CARBONATE: 6.0, ALMOND: 4.0, "Our Own Ester": 5.0}}
    found = find_descriptors(
        study_of(formulas, kinds=dict.fromkeys(formulas["P1"], "emollient"), ingredient_values=values)
    )
    rows = found.values.set_index("descriptor")
    assert rows.loc["spreading_whole", "value"] == pytest.approx((6 * 1600 + 4 * 310) / 10)  # the later of the two
    assert rows.loc["surface_tension", "coverage"] == 100
    own = found.own.set_index("ingredient")
    assert own.loc[ALMOND, ["value", "table_value", "measured_on", "method"]].tolist() == [
        310,
        250,
        "2025-03-01",
        "on skin",
    ]
    assert own.index.tolist() == [ALMOND, "Our Own Ester"]
    assert any(
        note.startswith("Own measurements came before table values: spreading of Prunus") for note in found.notes
    )


def test_the_share_from_memory_falls_when_a_value_is_measured():
    def memory(study):
        return find_descriptors(study).values.set_index("descriptor").loc["spreading_whole", "from_memory"]

    formulas = {"P1": {CARBONATE: 6.0, ALMOND: 4.0}}
    measured = [{"ingredient": ALMOND, "property": "spreading_mm2_10min", "value": 310, "measured_on": "2025-03-01"}]
    assert KNOWN.loc[[CARBONATE, ALMOND], "spreading_mm2_10min_source"].str.contains("from memory").all()
    assert memory(study_of(formulas)) == pytest.approx(100)
    assert memory(study_of(formulas, ingredient_values=measured)) == pytest.approx(60)
    assert any("from memory" in note for note in RESULT.notes)


def test_a_solid_never_has_a_viscosity_even_if_one_is_given():
    given = [{"ingredient": SHEA, "property": "viscosity_mpa_s", "value": 5000, "measured_on": "2025-03-01"}]
    with_value = find_descriptors(study_of(FORMULAS, ingredient_values=given)).wide
    np.testing.assert_array_equal(with_value["log10_viscosity_liquids"], RESULT.wide["log10_viscosity_liquids"])


def test_viscosity_falls_along_the_light_end_of_the_trade():
    # Common practice, no source: from castor oil to a volatile alkane emollients get thinner and spread further.
    order = ["Ricinus Communis (Castor) Seed Oil", ALMOND, TRIGLYCERIDE, ISOSTEARATE, CARBONATE, ALKANE]
    wide = find_descriptors(study_of({f"P{n}": {name: 10.0} for n, name in enumerate(order)})).wide
    assert all(a > b for a, b in pairwise(wide["log10_viscosity_liquids"]))


def test_no_formula_no_descriptors():
    for study in (Study({}), study_of({"P1": {"Aqua": 100.0}})):
        with pytest.raises(ModelError, match=r"No prototype has a complete formula with an emollient. Add the table"):
            find_descriptors(study)
