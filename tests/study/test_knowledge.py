"""The shared tables: complete, traceable, in line with chemistry and with published directions."""

from functools import partial

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rdkit import Chem
from rdkit.Chem import Descriptors, rdMolDescriptors
from scipy.stats import spearmanr

from panel.errors import StudyError
from panel.study import tables
from panel.study.formulas import canonical_ingredient, emollient_value, ingredients, own_measurement
from panel.study.knowledge import PROPERTIES, shared_table
from panel.study.study import Study
from panel.study.tables import TABLES, shared_folder

# Molar masses are written to 0.1 g/mol.
MOLAR_MASS_ROUNDING = 0.05 + 1e-9
MEASURED = [name for name in PROPERTIES if name not in ("volatile", "solid", "molar_mass_g_mol")]
NO_STUDY = Study({})
NOTHING_MEASURED = NO_STUDY.table("ingredient_values")


def tags(cells):
    return {tag for cell in cells for tag in cell.split("; ") if tag}


def value(ingredient, property_name):
    return emollient_value(NOTHING_MEASURED, ingredient, property_name)


# --- structures: RDKit is the outside judge


def test_formula_and_molar_mass_of_every_structure_agree_with_rdkit():
    table = shared_table("emollients")
    drawn = table.loc[table["smiles"] != ""]
    assert len(drawn) > 30
    for row in drawn.itertuples():
        molecule = Chem.MolFromSmiles(row.smiles)
        assert rdMolDescriptors.CalcMolFormula(molecule) == row.formula, row.ingredient
        assert Descriptors.MolWt(molecule) == pytest.approx(row.molar_mass_g_mol, abs=MOLAR_MASS_ROUNDING)
        assert row.molar_mass_g_mol_source == "computed"


@pytest.mark.parametrize(
    ("ingredient", "ester_groups", "carbons"),
    [  # ester groups and carbon atoms follow from the INCI name alone
        ("Isopropyl Myristate", 1, 3 + 14),
        ("Isopropyl Palmitate", 1, 3 + 16),
        ("Isopropyl Isostearate", 1, 3 + 18),
        ("Isoamyl Laurate", 1, 5 + 12),
        ("Decyl Oleate", 1, 10 + 18),
        ("Ethylhexyl Stearate", 1, 8 + 18),
        ("Isononyl Isononanoate", 1, 9 + 9),
        ("Isocetyl Stearate", 1, 16 + 18),
        ("Oleyl Erucate", 1, 18 + 22),
        ("Dibutyl Adipate", 2, 2 * 4 + 6),
        ("Diisopropyl Sebacate", 2, 2 * 3 + 10),
        ("Diisostearyl Malate", 2, 2 * 18 + 4),
        ("Triethylhexanoin", 3, 3 + 3 * 8),
        ("Ricinus Communis (Castor) Seed Oil", 3, 3 + 3 * 18),
        ("Pentaerythrityl Tetraisostearate", 4, 5 + 4 * 18),
        ("Dicaprylyl Ether", 0, 2 * 8),
        ("Octyldodecanol", 0, 20),
    ],
)
def test_structures_have_the_ester_groups_and_carbons_their_names_say(ingredient, ester_groups, carbons):
    smiles = shared_table("emollients").set_index("ingredient").loc[ingredient, "smiles"]
    molecule = Chem.MolFromSmiles(smiles)
    found = molecule.GetSubstructMatches(Chem.MolFromSmarts("[CX3](=O)[OX2][#6]"))
    assert len(found) == ester_groups
    assert sum(atom.GetSymbol() == "C" for atom in molecule.GetAtoms()) == carbons


def test_mixtures_without_a_structure_have_no_molar_mass():
    table = shared_table("emollients")
    blank = table.loc[table["smiles"] == ""]
    assert blank["molar_mass_g_mol"].isna().all()
    assert blank["structure_is"].str.startswith("none").all()
    for oil in ("Sunflower", "Almond", "Olive", "Avocado", "Shea", "Cocoa"):
        assert table.loc[table["ingredient"].str.contains(oil), "molar_mass_g_mol"].isna().all()


# --- every value can be traced


def test_every_tag_is_explained_and_every_explanation_is_complete():
    known = shared_table("sources")
    assert known["source"].is_unique
    assert (known != "").all(axis=None)
    used = set()
    for frame in (shared_table("emollients"), ingredients(), shared_table("lexicon"), shared_table("cautions")):
        for column in frame.columns:
            if column == "source" or column.endswith("_source"):
                used |= tags(frame[column])
    assert used <= set(known["source"])


def test_from_memory_stays_visible():
    table = shared_table("emollients")
    assert table["spreading_mm2_10min_source"].str.contains("from memory").sum() >= 15
    assert "from memory" in table.set_index("ingredient").loc["C13-15 Alkane", "spreading_mm2_10min_source"]
    assert "from memory" in set(shared_table("sources")["source"])


@pytest.mark.parametrize("name", MEASURED)
def test_every_number_has_a_tag_and_every_tag_a_number(name):
    table = shared_table("emollients")
    columns = [name, f"{name}_low", f"{name}_high"]
    has_number = table[columns].notna().any(axis=1)
    assert (has_number == (table[f"{name}_source"] != "")).all()
    low, high = table[f"{name}_low"].fillna(-np.inf), table[f"{name}_high"].fillna(np.inf)
    used = table[name]
    assert ((low <= used) & (used <= high) | used.isna()).all()


def test_words_of_every_emollient_are_there():
    table = shared_table("emollients")
    assert table["ingredient"].is_unique
    words = table[["ingredient", "family", "chemistry", "polarity", "speed", "weight", "words_source"]]
    assert (words != "").all(axis=None)
    assert table["volatile"].isin([0.0, 0.5, 1.0]).all()
    assert table["solid"].isin([0.0, 1.0]).all()


# --- values seen in a source


@pytest.mark.parametrize(
    ("ingredient", "property_name", "low", "high"),
    [
        # Handbook of Pharmaceutical Excipients, medium-chain triglycerides
        ("Caprylic/Capric Triglyceride", "viscosity_mpa_s", 25, 33),
        ("Caprylic/Capric Triglyceride", "density_g_ml", 0.93, 0.96),
        ("Caprylic/Capric Triglyceride", "melting_c", -5, -5),
        # supplier bulletin on Dicaprylyl Ether, 1998
        ("Dicaprylyl Ether", "spreading_mm2_10min", 1600, 1600),
        # Ghannam et al. 2023: densities at 10 and at 75 °C; a value for 25 °C lies between
        ("Simmondsia Chinensis (Jojoba) Seed Oil", "density_g_ml", 0.830, 0.868),
        ("Olea Europaea (Olive) Fruit Oil", "density_g_ml", 0.877, 0.920),
        ("Ricinus Communis (Castor) Seed Oil", "density_g_ml", 0.922, 0.966),
        # J Soc Cosmet Chem 17 (1966) p. 611 beside the list of 2014: the two disagree, the value lies between
        ("Isopropyl Myristate", "interfacial_tension_mn_m", 16.7, 24.2),
        ("Caprylic/Capric Triglyceride", "interfacial_tension_mn_m", 12.7, 21.3),
    ],
)
def test_values_lie_where_the_source_says(ingredient, property_name, low, high):
    assert low <= value(ingredient, property_name) <= high


@pytest.mark.parametrize(("grade", "kinematic"), [("Dimethicone (5 cSt)", 5.0), ("Dimethicone (100 cSt)", 100.0)])
def test_silicone_viscosity_is_kinematic_viscosity_times_density(grade, kinematic):
    # the grade names the kinematic viscosity in mm2/s; times g/mL gives mPa s; written to two digits
    assert value(grade, "viscosity_mpa_s") == pytest.approx(kinematic * value(grade, "density_g_ml"), rel=0.02)


# --- directions the table must obey


def test_spreading_falls_as_viscosity_rises():
    """Parente, Gambaro and Solana 2005 (directions through a second-hand account): over the table, by rank."""
    known = shared_table("emollients").dropna(subset=["viscosity_mpa_s", "spreading_mm2_10min"])
    rank = spearmanr(known["viscosity_mpa_s"], known["spreading_mm2_10min"]).statistic
    assert len(known) >= 15
    assert rank < -0.5


def test_spreading_falls_as_surface_tension_rises():
    """The same source."""
    known = shared_table("emollients").dropna(subset=["surface_tension_mn_m", "spreading_mm2_10min"])
    assert spearmanr(known["surface_tension_mn_m"], known["spreading_mm2_10min"]).statistic < 0.0


def test_coco_caprylate_is_light_and_spreads_more_widely_than_octyldodecanol():
    # common practice, no source
    words = shared_table("emollients").set_index("ingredient")["weight"]
    assert words["Coco-Caprylate"] == "light"
    assert words["Octyldodecanol"] == "medium"
    wide, middling = (value(name, "spreading_mm2_10min") for name in ("Coco-Caprylate", "Octyldodecanol"))
    assert wide > middling


def test_polarity_words_follow_interfacial_tension():
    # limits 20 and 35 mN/m from memory; silicones are a class of their own
    table = shared_table("emollients").dropna(subset=["interfacial_tension_mn_m"])
    tension = table.groupby("polarity")["interfacial_tension_mn_m"]
    assert tension.min()["non-polar"] > 35
    assert tension.max()["polar"] < 20
    assert tension.median()["medium"] < 35


def test_rank_of_richness_follows_viscosity_within_the_usual_order():
    # common practice, no source: castor > almond > medium-chain triglyceride > decyl oleate > palmitate > myristate
    order = ["Castor Oil", "Sweet Almond Oil", "Caprylic/Capric Triglyceride", "Decyl Oleate"]
    order += ["Isopropyl Palmitate", "Isopropyl Myristate"]
    viscosities = [value(name, "viscosity_mpa_s") for name in order]
    assert viscosities == sorted(viscosities, reverse=True)


def test_solids_have_no_viscosity_and_liquids_do():
    table = shared_table("emollients")
    solid = table["solid"] == 1
    assert solid.sum() == 3
    assert table.loc[solid, ["viscosity_mpa_s", "spreading_mm2_10min", "surface_tension_mn_m"]].isna().all(axis=None)
    assert table.loc[~solid, "viscosity_mpa_s"].notna().all()
    assert (table.loc[solid, "melting_c"] > 32).all()
    assert not (table.loc[~solid, "melting_c_high"] > 32).any()


def test_volatile_materials_are_thin_and_flammable_by_their_flash_point():
    table = shared_table("emollients")
    volatile = table.loc[table["volatile"] > 0]
    assert (volatile["viscosity_mpa_s"] < 5).all()
    # flammable liquids have a flash point of at most 60 °C (GHS, chapter 2.6); those of the two others lie above it,
    # about 100 and 75 °C, from memory
    above = {"C13-15 Alkane", "Cyclopentasiloxane"}
    flammable = volatile["cautions"].str.contains("flammable")
    assert set(volatile["ingredient"][~flammable]) == above


# --- lexicon


def test_every_row_of_the_lexicon_is_complete():
    rows = shared_table("lexicon")
    assert rows["attribute"].is_unique
    needed = "attribute stage name everyday_word direction definition procedure low_end high_end low_anchor"
    assert (rows[[*needed.split(), "high_anchor", "source"]] != "").all(axis=None)
    attributes = TABLES["attributes"]
    assert set(rows["stage"]) <= set(attributes.column("stage").choices)
    assert set(rows["direction"]) <= set(attributes.column("direction").choices)
    after = rows["stage"].isin(["after-feel", "later after-feel"])
    assert rows.loc[after, "minutes"].gt(0).all()
    assert rows.loc[~after, "minutes"].isna().all()


def test_a_partner_has_a_direction_and_a_source():
    rows = shared_table("lexicon")
    partnered = rows["partner"] != ""
    assert rows.loc[partnered, "partner_direction"].isin(["same", "opposite"]).all()
    assert (rows.loc[partnered, "partner_source"] != "").all()
    assert (rows.loc[~partnered, ["partner_direction", "partner_source"]] == "").all(axis=None)
    partner = rows.set_index("attribute")
    # Gore et al. 2018: texture-rig work against the panel's spreading r = -0.871; Eudier et al. 2019: tack predicts
    assert tuple(partner.loc["RO_SPREAD", ["partner", "partner_direction"]]) == ("work of shear", "opposite")
    assert tuple(partner.loc["AF_STICK", ["partner", "partner_direction"]]) == ("film tack", "same")


def test_anchors_that_name_an_ingredient_use_names_the_tables_know():
    for name in ("Petrolatum", "Dimethicone (100 cSt)", "Paraffinum Liquidum (light)", "Isopropyl Myristate"):
        assert (shared_table("lexicon")[["low_anchor", "high_anchor"]] == name).any(axis=None)
        assert canonical_ingredient(name) == name


# --- cautions and ingredients


def test_cautions_that_ingredients_name_exist_and_allergens_have_one():
    texts = shared_table("cautions")
    assert texts["caution"].is_unique
    assert (texts != "").all(axis=None)
    known = ingredients()
    assert tags(known["cautions"]) <= set(texts["caution"])
    assert {allergen.replace(" ", "_") for allergen in tags(known["allergen"])} <= set(texts["caution"])
    for allergen in known.loc[known["allergen"] != ""].itertuples():
        assert allergen.allergen.replace(" ", "_") in allergen.cautions.split("; ")


def test_the_usual_cautions_are_there():
    words = " ".join(shared_table("cautions")["words"])
    for phrase in ("Not a safety assessment", "qualified person signs", "this batch", "Local law", "physician"):
        assert phrase in words
    for phrase in ("breathing it in", "ventilate", "Children, eyes, lips"):
        assert phrase in words


def test_ingredients_are_unique_and_of_a_known_kind():
    known = ingredients()
    assert known["ingredient"].is_unique
    assert set(known["kind"]) <= set(TABLES["formulas"].column("kind").choices)
    assert (known[["ingredient", "kind", "function", "source"]] != "").all(axis=None)


# --- names


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("Prunus Amygdalus Dulcis Oil", "Prunus Amygdalus Dulcis (Sweet Almond) Oil"),
        ("prunus amygdalus dulcis  (sweet almond)  OIL ", "Prunus Amygdalus Dulcis (Sweet Almond) Oil"),
        ("Prunus Amygdalus Dulcis(Sweet Almond)Oil", "Prunus Amygdalus Dulcis (Sweet Almond) Oil"),
        ("Butyrospermum Parkii Butter", "Butyrospermum Parkii (Shea) Butter"),
        ("Caprylic / Capric Triglyceride", "Caprylic/Capric Triglyceride"),
        ("Water", "Aqua"),
        ("Aqua (Water)", "Aqua"),
        ("Water (Aqua)", "Aqua"),
        ("Aqua/Water/Eau", "Aqua"),
        ("Fragrance", "Parfum"),
        ("Parfum (Fragrance)", "Parfum"),
        ("Mineral Oil", "Paraffinum Liquidum"),
        ("Beeswax", "Cera Alba"),
        ("dimethicone 100 cst", "Dimethicone (100 cSt)"),
        ("Dimethicone (350 cSt)", "Dimethicone"),
        ("Glycerin (86.5 %)", "Glycerin"),
    ],
)
def test_common_ways_of_writing_are_understood(written, name):
    assert canonical_ingredient(written) == name


@pytest.mark.parametrize("written", ["", "   ", "()", "Sparkling Dew", "Prunus", "Caprylic"])
def test_unknown_names_are_none(written):
    assert canonical_ingredient(written) is None


def test_a_grade_that_is_not_stated_gets_no_values():
    assert np.isnan(value("Dimethicone", "viscosity_mpa_s"))
    assert np.isnan(value("Mineral Oil", "viscosity_mpa_s"))


def test_no_way_of_writing_belongs_to_two_ingredients():
    owners = {}
    for row in ingredients().itertuples():
        for written in {row.ingredient, *row.also_written.split("; ")} - {""}:
            bare = "".join(character for character in written.casefold() if character.isalnum())
            assert owners.setdefault(bare, row.ingredient) == row.ingredient, written
            assert canonical_ingredient(written) == row.ingredient


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_capitals_spaces_and_signs_do_not_count(data):
    name = data.draw(st.sampled_from(ingredients()["ingredient"].tolist()))
    glue = data.draw(st.lists(st.sampled_from(["", " ", "-", "  ", "\t"]), min_size=len(name), max_size=len(name)))
    upper = data.draw(st.lists(st.booleans(), min_size=len(name), max_size=len(name)))
    letters = [letter.upper() if up else letter.lower() for letter, up in zip(name, upper, strict=True)]
    assert canonical_ingredient("".join(a + b for a, b in zip(letters, glue, strict=True))) == name


# --- values of the study come first


def own_values(*rows):
    columns = ["ingredient", "property", "value", "measured_on", "method"]
    return Study({"ingredient_values": pd.DataFrame(rows, columns=columns)})


def test_own_measurement_comes_before_the_table_and_the_latest_counts():
    study = own_values(
        ("shea butter", "density_g_ml", 0.915, "2025-01-01", "pycnometer"),
        ("ISOPROPYL ISOSTEARATE", "viscosity_mpa_s", 11.4, "2025-02-03", "rotational, 25 °C"),
        ("Isopropyl Isostearate", "viscosity_mpa_s", 12.9, "2024-11-30", "older"),
        ("Isopropyl Isostearate", "viscosity_mpa_s", float("nan"), "2025-03-01", "failed"),
    )
    own = study.table("ingredient_values")
    measured = own_measurement(own, "isopropyl isostearate", "viscosity_mpa_s")
    assert measured == (11.4, "2025-02-03", "rotational, 25 °C")
    assert emollient_value(own, "isopropyl isostearate", "viscosity_mpa_s") == 11.4
    assert own_measurement(own, "Isopropyl Isostearate", "density_g_ml") is None
    untouched = emollient_value(own, "Isopropyl Isostearate", "density_g_ml")
    assert untouched == value("Isopropyl Isostearate", "density_g_ml")
    assert emollient_value(own, "Butyrospermum Parkii Butter", "density_g_ml") == 0.915


def test_own_measurement_of_an_unknown_ingredient_is_used():
    own = own_values(("New Ester", "viscosity_mpa_s", 8.0, "2025-02-03", "rotational, 25 °C")).table(
        "ingredient_values"
    )
    assert emollient_value(own, "new  ester", "viscosity_mpa_s") == 8.0
    assert np.isnan(emollient_value(own, "Another Ester", "viscosity_mpa_s"))


def test_table_value_has_range_tag_and_remark():
    known = shared_table("emollients").set_index("ingredient")
    found = known.loc["Isopropyl Myristate"].filter(like="spreading_mm2_10min")
    assert found["spreading_mm2_10min"] == value("Isopropyl Myristate", "spreading_mm2_10min") == 1000.0
    assert found[["spreading_mm2_10min_low", "spreading_mm2_10min_high"]].tolist() == [500.0, 1200.0]
    assert found["spreading_mm2_10min_source"] == "Spreading classes note; from memory"
    assert "disagree" in found["spreading_mm2_10min_remark"]
    assert np.isnan(value("Isododecane", "melting_c"))
    assert known.loc["Isododecane", "melting_c_high"] == -50.0
    assert value("Petrolatum", "solid") == 1.0
    assert known.loc["Petrolatum", "words_source"] == "common practice"
    assert "illustration" in known.loc[canonical_ingredient("Castor Oil"), "structure_is"]


def test_unknown_property_is_said_with_the_known_ones():
    with pytest.raises(StudyError, match=r"no property called 'viscosity'.*viscosity_mpa_s, spreading_mm2_10min"):
        emollient_value(NOTHING_MEASURED, "Squalane", "viscosity")


# --- the tables stay as they are


@pytest.mark.parametrize(
    "read", [*(partial(shared_table, name) for name in ("emollients", "lexicon", "sources", "cautions")), ingredients]
)
def test_what_is_returned_is_a_copy(read):
    frame = read()
    frame.iloc[:, 0] = "spoilt"
    assert not (read().iloc[:, 0] == "spoilt").any()


def test_missing_tables_are_said_with_both_places(monkeypatch, tmp_path):
    monkeypatch.setattr(tables, "__file__", str(tmp_path / "panel" / "study" / "tables.py"))
    with pytest.raises(ImportError, match=r"study_tables\.csv.*_shared.*shared.*Install the package again"):
        shared_folder()


def test_an_installed_package_finds_its_own_tables(monkeypatch, tmp_path):
    inside = tmp_path / "panel" / "_shared"
    inside.mkdir(parents=True)
    (inside / "study_tables.csv").write_text("ingredient\n", encoding="utf-8")
    monkeypatch.setattr(tables, "__file__", str(tmp_path / "panel" / "study" / "tables.py"))
    assert shared_folder() == inside
