"""Blocks pasted from a spreadsheet in many ways give the same rows; what cannot be told is asked."""

from __future__ import annotations

import itertools

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.app.state import demo_folder
from panel.errors import StudyError
from panel.study.editing import changes_between, put_block, put_table
from panel.study.formulas import formula_totals
from panel.study.open_study import open_study
from panel.study.pasted import _NOT_YET, columns_of_grid, formula_grid, put_formulas, read_block, total_of, with_swap
from panel.study.study import Study
from panel.study.table_cells import known_column
from tests.study.small_study import small_study

AMOUNTS = {
    "P1": {"Aqua": "85.5", "Glycerin": "4.5", "Squalane": "10"},
    "P2": {"Aqua": "88.25", "Glycerin": "4.5", "Isododecane": "7.25"},
}
LINES = sorted(
    (prototype, ingredient, float(amount)) for prototype, held in AMOUNTS.items() for ingredient, amount in held.items()
)
INGREDIENTS = ["Aqua", "Glycerin", "Squalane", "Isododecane"]


def lines_of(study: Study) -> list[tuple[str, str, float]]:
    rows = study.table("formulas")
    return sorted(zip(rows["prototype"], rows["ingredient"], rows["percent"], strict=True))


def written(rows: list[list[str]], delimiter: str, decimal: str, percent: str) -> str:
    """Return rows as a block; amounts get the decimal sign and a per cent sign."""

    def cell(text: str) -> str:
        number = text.replace(".", "").isdecimal()
        told = text.replace(".", decimal) + percent if number else text
        return f'"{told}"' if delimiter in told else told

    return "\n".join(delimiter.join(map(cell, row)) for row in rows)


def wide(corner: str, total: str) -> list[list[str]]:
    rows = [[corner, *AMOUNTS], *([name, *(held.get(name, "") for held in AMOUNTS.values())] for name in INGREDIENTS)]
    return [*rows, [total, "100", "100"]] if total else rows


LONG = [[prototype, ingredient, f"{amount:g}"] for prototype, ingredient, amount in LINES]
BLOCKS = {
    "long with headings": [["prototype", "Ingredient (INCI)", "Per cent"], *LONG],
    "long without": LONG,
    "wide": wide("Ingredient", ""),
    "wide, INCI as a heading": wide("INCI name", "Sum"),
    "wide, nothing in the corner": wide("", "Summe"),
    "on its side": [list(row) for row in zip(*wide("Prototype", ""), strict=True)],
    "on its side, nothing in the corner": [list(row) for row in zip(*wide("", ""), strict=True)],
    "wide without headings": wide("", "")[1:],
}
WAYS = list(itertools.product(BLOCKS, "\t;,", ".,", ("", "%", " %")))


@pytest.mark.parametrize(("block", "delimiter", "decimal", "percent"), WAYS)
def test_formulas_pasted_any_way_are_the_same(block: str, delimiter: str, decimal: str, percent: str):
    study = put_table(Study({}), "prototypes", pd.DataFrame({"prototype": ["P1", "P2"]}))
    pasted = read_block(written(BLOCKS[block], delimiter, decimal, percent), "formulas", study)
    assert pasted.unknown == {}
    assert lines_of(put_block(study, "formulas", pasted.texts)) == LINES


def test_an_amount_with_a_comma_among_points_is_read():
    block = "Ingredient\tP1\tP2\nWater\tad 100\tad 100\nGlycerin\t5\t5\nCarbomer\t0,5\t0.5\nPanthenol\t0.2\t0.2"
    made = put_block(Study({}), "formulas", read_block(block, "formulas").texts).table("formulas")
    assert made["percent"].tolist() == pytest.approx([94.3, 5, 0.5, 0.2] * 2)


def test_water_to_a_hundred_and_trade_spelling():
    block = "Ingredient\tP1\tP2\nWater\tq.s.\tad 100\nGlycerin\t4,5\t4,5\nSqualane\t10\t0"
    pasted = read_block(block, "formulas", Study({}))
    assert lines_of(put_block(Study({}), "formulas", pasted.texts)) == [
        ("P1", "Aqua", 85.5),
        ("P1", "Glycerin", 4.5),
        ("P1", "Squalane", 10.0),
        ("P2", "Aqua", 95.5),
        ("P2", "Glycerin", 4.5),
    ]
    assert "Water as Aqua" in " ".join(pasted.notes)


@pytest.mark.parametrize(
    ("block", "says"),
    [
        ("", "Nothing was pasted"),
        ("Ingredient\tP1\nWater\tq.s.\nGlycerin\tq.s.", "are both filled up"),
        ("Ingredient\tP1\nWater\tq.s.\nGlycerin\tsome", r"missing or not read \('some' of Glycerin\)"),
        ("Ingredient\tP1\nWater\tq.s.\nGlycerin\t104", "is at 104 % without"),
        ("Ingredient\tP1\tP1\nWater\t90\t80", "the same prototype"),
        ("Ingredient\tP1\t\nWater\t90\t80", "no heading"),
        ("a\tb\tc\td\te\tf\tg", "no headings; formulas has 5"),
    ],
)
def test_what_cannot_be_told_is_said(block: str, says: str):
    with pytest.raises(StudyError, match=says):
        read_block(block, "formulas", Study({}))


def test_a_block_of_batches_on_its_side_and_headings_that_are_near():
    block = "Batch\tB1\tB2\nPrototype\tP1\tP2\nmade\t2025-01-01\t2025-01-02\npH\t5,4\t5,6\nlid\tred\tblue"
    pasted = read_block(block, "batches")
    assert list(pasted.unknown.items()) == [("made", "made_on"), ("lid", "")]
    texts = pasted.mapped({"made": "made_on"})
    study = put_block(Study({}), "batches", texts)
    assert study.table("batches")["made_on"].tolist() == ["2025-01-01", "2025-01-02"]
    assert study.table("batches")["ph"].tolist() == [5.4, 5.6]
    assert study.tables["batches"]["lid"].tolist() == ["red", "blue"]  # kept, though nothing reads it
    with pytest.raises(StudyError, match="would become batch"):
        pasted.mapped({"made": "batch"})


def test_a_block_without_headings_takes_the_columns_in_their_order():
    pasted = read_block("B1;P1;2025-01-01\nB2;P1;2025-01-02", "batches")
    assert list(pasted.texts) == ["batch", "prototype", "made_on"]
    assert "No headings were pasted" in pasted.notes[0]


# formulas side by side


def test_the_grid_of_formulas_comes_back_as_it_was():
    study = open_study(demo_folder())
    after = put_formulas(study, formula_grid(study))
    assert changes_between(study, after).empty


@settings(max_examples=80, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["P1", "P2", "P3"]),
            st.sampled_from(["Aqua", "Squalane", "Talc"]),
            st.sampled_from(["", "5", "12.345", "7,5x"]),
            st.sampled_from(["", "A", "B"]),
            st.sampled_from(["", "emollient"]),
        ),
        max_size=12,
    )
)
def test_no_line_of_a_formula_is_lost_in_the_grid(rows: list[tuple[str, ...]]):
    texts = pd.DataFrame(rows, columns=["prototype", "ingredient", "percent", "phase", "kind"], dtype="str").assign(
        note="x"
    )
    study = put_table(Study({}), "formulas", texts)
    after = put_formulas(study, formula_grid(study))
    assert changes_between(study, after).empty


def test_a_filled_up_formula_adds_up_whatever_decimal_sign_was_typed():
    study = small_study()
    grid = formula_grid(study, ["P1", "017"])
    grid["P1"], grid["017"] = ["q.s.", "12,25"], ["q.s.", "0.30000000000000004"]
    after = put_formulas(study, grid)
    assert formula_totals(after)["total"].round(6).tolist() == [100.0, 100.0]
    assert after.unread.empty


def test_the_same_as_another_but_one_swapped():
    study = open_study(demo_folder())
    grid = with_swap(study, formula_grid(study), "P1", "P9", "Dicaprylyl Carbonate", "Squalane")
    assert columns_of_grid(study, grid)[-1] == "P9"
    after = put_formulas(study, grid).table("formulas")
    nine, one = (after.loc[after["prototype"] == name].set_index("ingredient")["percent"] for name in ("P9", "P1"))
    assert nine["Squalane"] == one["Dicaprylyl Carbonate"]
    assert "Dicaprylyl Carbonate" not in nine
    assert nine.sum() == pytest.approx(one.sum())
    assert total_of(study, grid["P9"].tolist()) == pytest.approx(100)
    with pytest.raises(StudyError, match="Choose an ingredient of P1"):
        with_swap(study, grid, "P1", "P10", "Talc", "Squalane")
    with pytest.raises(StudyError, match="has none yet, not 'P2'"):
        with_swap(study, grid, "P1", "P2", "Dicaprylyl Carbonate", "Squalane")
    with pytest.raises(StudyError, match="P77 has no formula"):
        with_swap(study, grid, "P77", "P10", "Dicaprylyl Carbonate", "Squalane")


def test_an_amount_that_is_not_known_yet_is_shown_so_and_kept():
    study = put_table(
        Study({}), "formulas", pd.DataFrame({"prototype": ["P1"], "ingredient": ["Aqua"], "percent": [""]})
    )
    grid = formula_grid(study)
    assert grid["P1"].tolist() == [_NOT_YET]
    assert len(put_formulas(study, grid).table("formulas")) == 1


@pytest.mark.parametrize(
    ("heads", "amounts", "says"),
    [
        (("P1 (g)", "P2 (g)"), (("400", "450"), ("100", "50")), "(sum 500 g) became per cent"),
        (("P1", "P2"), (("0.8", "0.9"), ("0.2", "0.1")), "(sum 1) became per cent"),
        (("P1 parts", "P2 parts"), (("800", "900"), ("200", "100")), "(sum 1000 parts) became per cent"),
        (("P1 % w/w", "P2 %"), (("80", "90"), ("20", "10")), "side by side"),
    ],
)
def test_amounts_in_grams_parts_and_shares_become_per_cent_and_that_is_said(heads, amounts, says):
    lines = [("Rohstoff", *heads), ("Aqua", *amounts[0]), ("Glycerin", *amounts[1])]
    study = Study({"prototypes": pd.DataFrame({"prototype": ["P1", "P2"]})})
    read = read_block("\n".join("\t".join(line) for line in lines), "formulas", study)
    assert read.texts[["prototype", "percent"]].to_numpy().tolist() == [
        ["P1", "80"],
        ["P1", "20"],
        ["P2", "90"],
        ["P2", "10"],
    ]
    assert says in " ".join(read.notes)


def test_a_column_of_words_beside_formulas_is_no_prototype():
    lines = ["INCI;Function;R1;R2;Supplier", "Beeswax;Structurants;20;20;north", "Squalane;emollient ester;80;70;west"]
    read = read_block("\n".join([*lines, "Tocopherol;antioxidant;;10;west"]), "formulas")
    assert read.texts[["prototype", "kind", "percent"]].to_numpy().tolist() == [
        ["R1", "structurant", "20"],
        ["R1", "emollient", "80"],
        ["R2", "structurant", "20"],
        ["R2", "emollient", "70"],
        ["R2", "", "10"],
    ]
    assert "'Function' was read as what each does in the formula; not antioxidant, which stays blank." in read.notes
    assert "Left out, for no amount stands in it: Supplier." in read.notes
    study = Study({"prototypes": pd.DataFrame({"prototype": ["R1", "R2"]})})
    open_ = read_block("INCI;R1;R2\nBeeswax;tbd;20\nSqualane;tbd;80", "formulas", study)
    assert {*open_.texts["prototype"]} == {"R1", "R2"}  # a prototype of the study stays one, whatever stands below it


def test_of_per_cent_and_grams_the_per_cent_is_read():
    read = read_block("INCI;P1 %;P1 g / 500 g\nAqua;80;400\nGlycerin;20;100", "formulas")
    assert read.texts["percent"].tolist() == ["80", "20"]
    assert "Left out beside the per cent: P1 g / 500 g." in read.notes
    long = read_block("Prototyp;Rohstoff;% w/w\nP1;Aqua;80", "formulas")
    assert "percent" in long.texts
    with pytest.raises(StudyError, match="not all numbers"):
        read_block("INCI;P1 (g)\nAqua;q.s.\nGlycerin;20", "formulas")


PANEL = put_table(Study({}), "prototypes", pd.DataFrame({"prototype": ["P1", "P2"]}))


def test_readings_stand_side_by_side_below_what_the_instrument_writes():
    block = (
        "Tribometer\tno. 42\nDate\t05.05.2025\nSample\tRun\tCOF static [-]\tDrag (N)\tTemp [\u00b0C]\tMean\n"
        "P1\t1\t0,31\t1,25\t32,1\t7\nP2\t1\t0,33\t>2\t32,0\t7\nSD\t\t0,01\t0,1\t\t\n"
    )
    pasted = read_block(block, "readings", PANEL)
    held = put_block(PANEL, "readings", pasted.texts)
    columns = ["prototype", "repeat", "measure", "unit", "value", "temperature_c"]
    assert held.table("readings")[columns].values.tolist()[:3] == [
        ["P1", "1", "COF static", "1", 0.31, 32.1],
        ["P2", "1", "COF static", "1", 0.33, 32.0],
        ["P1", "1", "Drag", "N", 1.25, 32.1],
    ]
    assert held.unread["text"].tolist() == [">2"]
    assert pasted.notes == (
        "Above the headings stands: Tribometer no. 42 and Date 05.05.2025.",
        "Rows with means or totals were left out: SD.",
        "Columns with means or totals were left out: Mean.",
        "Columns were put below each other: COF static [-] and Drag (N) as measure.",
    )


def test_readings_with_the_prototypes_side_by_side():
    pasted = read_block("Messgr\u00f6\u00dfe;Einheit;P1;P2\nGlanz;GU;12,1;11\nZug;N;;0,4", "readings", PANEL)
    assert pasted.texts[["measure", "unit", "prototype", "value"]].values.tolist() == [
        ["Glanz", "GU", "P1", "12,1"],
        ["Glanz", "GU", "P2", "11"],
        ["Zug", "N", "P2", "0,4"],
    ]


@pytest.mark.parametrize(
    "headings",
    [
        "Charge;Muster;Herstelldatum;pH-Wert;Viskosit\u00e4t (mPa\u00b7s)",
        "Lot;Produit;Date de fabrication;pH;Viscosit\u00e9 (mPa s)",
        "Lote;Muestra;Fecha de fabricaci\u00f3n;Valor de pH;Viscosidad (mPas)",
        "Lotto;Campione;Data di produzione;pH;Viscosit\u00e0 (mPa s)",
    ],
)
def test_headings_of_batches_in_other_languages(headings: str):
    pasted = read_block(
        f"{headings}\n24-017;P1;12.3.25;5,4;12500\n24-018;P2;14. M\u00e4rz 2025;5,6;11.900,5", "batches"
    )
    assert put_block(PANEL, "batches", pasted.texts).table("batches").iloc[:, :5].values.tolist() == [
        ["24-017", "P1", "2025-03-12", 5.4, 12500.0],
        ["24-018", "P2", "2025-03-14", 5.6, 11900.5],
    ]


def test_headings_that_name_no_column_are_no_row():
    with pytest.raises(
        StudyError, match=r"Wen and Was name no column of readings; its columns are prototype, measure,"
    ):
        read_block("Wen;Was\nP1;1\nP2;2", "readings", PANEL)


def test_shares_of_one_in_a_long_table_of_formulas_become_per_cent():
    block = "Prototype,Ingredient,Percent\nP1,Aqua,0.85\nP1,Squalane,0.15\nP2,Aqua,q.s.\nP2,Squalane,15"
    pasted = read_block(block, "formulas", PANEL)
    assert pasted.texts["percent"].tolist() == ["85", "15", "85", "15"]
    assert pasted.notes == ("Amounts of P1 (sum 1) became per cent of their sum.",)


@pytest.mark.parametrize(
    "heading", ["Raw material (INCI)", "INCI", "Component, INCI", "Substance [INCI name]", "inci-name (EU)"]
)
def test_a_heading_with_inci_in_it_names_the_ingredients_and_none_of_per_cent_does(heading: str):
    rows = [f"{heading};Phase;Kind;wax 3;wax 5", "Cetyl Alcohol;A;structurant;20;25", "Squalane;B;emollient;80;75"]
    read = read_block("\n".join(rows), "formulas", small_study())
    assert [*zip(read.texts["prototype"], read.texts["ingredient"], read.texts["percent"], strict=True)] == [
        ("wax 3", "Cetyl Alcohol", "20"),
        ("wax 3", "Squalane", "80"),
        ("wax 5", "Cetyl Alcohol", "25"),
        ("wax 5", "Squalane", "75"),
    ]
    assert not read.unknown
    assert known_column("formulas", "INCI %") != "ingredient"


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (["Stuff;Phase;Kind;wax 3;wax 5", "Beeswax;A;structurant;20;25"], "No column names the prototypes"),
        (["Prototype;Ingredient;Percent", "wax 3;Beeswax;20", ";Squalane;80"], r"1 row .* no prototype \(line 3\)"),
    ],
)
def test_rows_of_formulas_that_name_no_prototype_are_refused_with_what_to_do(rows: list[str], said: str):
    with pytest.raises(StudyError, match=said):
        read_block("\n".join(rows), "formulas", small_study())


def test_a_decimal_comma_that_cuts_a_number_in_two_is_refused():
    with pytest.raises(StudyError, match=r"Rows have more cells than there are headings: row 3 .*semicolons"):
        read_block("prototype,batch,ph\nP1,B1,5.5\nP2,B2,5,4", "batches", small_study())


def test_amounts_in_grams_below_a_column_of_products_are_those_of_each_product():
    rows = ["Product,Ingredient,Amount (g in 250 g)", "P1,Aqua,175", "P1,Squalane,75", "P2,Aqua,200", "P2,Squalane,50"]
    read = read_block("\n".join(rows), "formulas", small_study())
    assert read.texts[["prototype", "ingredient", "percent"]].to_numpy().tolist() == [
        ["P1", "Aqua", "70"],
        ["P1", "Squalane", "30"],
        ["P2", "Aqua", "80"],
        ["P2", "Squalane", "20"],
    ]
    assert not read.unknown
    assert "Amounts of P1 (sum 250 g in 250 g) became per cent of their sum." in read.notes
    beside = read_block("Ingredient,Lotion,Cream\nAqua,70,80\nSqualane,30,20", "formulas", small_study())
    assert {*beside.texts["prototype"]} == {"Lotion", "Cream"}


def test_what_fills_up_a_formula_that_is_full_without_it_is_not_lost():
    with pytest.raises(StudyError, match="is at 100 % without Squalane; nothing is left"):
        read_block("Ingredient,P1\nAqua,70\nGlycerin,30\nSqualane,q.s.", "formulas", small_study())
