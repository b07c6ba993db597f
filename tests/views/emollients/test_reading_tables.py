"""Tables of readings and links: one row each, rounded, with units, nothing lost."""

from pathlib import Path

from panel.models.emollients.readings import join_readings
from panel.study.naming import naming
from panel.study.open_study import open_study
from panel.views.emollients.readings import partners_table, reading_swaps_table, readings_table, screening_table
from tests.reading_studies import hand_cream_readings
from tests.reading_studies import readings_table as rows_of

DEMO = open_study(Path(__file__).parents[3] / "data_demo" / "reading_room")
JOINED = join_readings(DEMO)
NAMES = naming(DEMO)


def test_readings_carry_unit_scatter_and_number():
    table = readings_table(JOINED)
    assert table.shape == (11, 1 + 8 + 3)
    first = table.iloc[0]
    assert first.iloc[0] == "viscosity, mPa s"
    assert first["P1"] == "24500 ± 880"
    assert first["Readings"] == "3"
    ph = table.set_index(table.columns[0]).loc["pH"]
    assert ph["P1"].startswith("5.43 ± ")
    assert ph["Coefficient of variation"] == "–"


def test_prototypes_without_a_reading_have_a_dash():
    rows = [{"prototype": "P1", "measure": "gloss", "unit": "GU", "value": 20.0}] * 2
    rows += [{"prototype": name, "measure": "x", "unit": "mm", "value": 2.0} for name in ("P1", "P2")]
    table = readings_table(join_readings(hand_cream_readings(rows_of(rows))))
    assert table.loc[0, ["P1", "P2", "Readings"]].tolist() == ["20.0 ± 0", "–", "2"]
    assert table.loc[1, "P2"] == "2.00 ± –"


def test_partners():
    table = partners_table(JOINED, NAMES)
    assert len(table) == 10
    row = table.set_index("Attribute").loc["ease of spreading"]
    assert row[["Reading", "Expected", "Why expected"]].tolist() == ["work of shear", "opposite ways", "Gore 2018"]
    assert row["r"] == "−0.77"
    assert row["r needed"] == "0.71"
    assert row["95 % interval"] == "−0.96 to −0.15"
    assert row["In words"] == "as expected"


def test_screening_begins_with_the_clearest():
    table = screening_table(JOINED, NAMES)
    assert len(table) == 144
    assert table.loc[0, ["Attribute", "Reading", "Stands out"]].tolist() == ["integrity of shape", "viscosity", "yes"]
    assert table["Stands out"].iloc[-1] == "no"
    assert (table["Stands out"] == "yes").sum() == (JOINED.screening["p_adjusted"] < 0.05).sum()


def test_swaps_as_amounts_and_per_cent():
    table = reading_swaps_table(JOINED)
    assert len(table) == 33
    row = table.iloc[0]
    assert row["Swap"] == "Dicaprylyl Carbonate → C13-15 Alkane"
    assert row[["Measure", "Pairs", "Change", "Unit", "Change, %"]].tolist() == [
        "viscosity",
        "4",
        "−3560",
        "mPa s",
        "−13",
    ]
    assert row["95 % interval, %"] == "−18 to −7"
    ph = table.loc[table["Measure"] == "pH"].iloc[0]
    assert ph[["Unit", "Change, %", "95 % interval, %"]].tolist() == ["–", "–", "–"]
    assert ph["95 % interval of the change"] == "−0.0967 to +0.00670"
