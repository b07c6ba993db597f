import pandas as pd
import pytest

from panel.store.double_entry import _compare_entries

BLANK = pd.DataFrame(
    [
        ("1", person, str(place), str(100 * place + 17), *[""] * 5)
        for person in ("A01", "A02", "A03")
        for place in (1, 2, 3)
    ],
    columns=["session", "assessor", "position", "code", "GLOSS", "SPREAD", "GREASE", "STICK", "RESIDUE"],
)


def typed(**cells):
    grid = BLANK.copy()
    grid[["GLOSS", "SPREAD", "GREASE", "STICK", "RESIDUE"]] = "10"
    for name, (row, text) in cells.items():
        grid.loc[row, name] = text
    return grid


def test_grids_typed_alike_have_no_differences():
    assert _compare_entries(typed(), typed()).empty
    assert _compare_entries(typed(GLOSS=(0, "48,7")), typed(GLOSS=(0, " 48.7 "))).empty
    assert _compare_entries(typed(GLOSS=(0, "x")), typed(GLOSS=(0, "X"))).empty


@pytest.mark.parametrize(
    ("first", "second", "what"),
    [
        ("48.7", "47.8", "different"),
        ("48.7", "487", "different"),
        ("48.7", "", "only first"),
        ("", "48.7", "only second"),
        ("", "", "not typed"),
        ("x", "48.7", "different"),
        ("4o", "40", "not a number"),
        ("4o", "4o", "not a number"),
    ],
)
def test_every_difference_is_found_with_its_place(first, second, what):
    table = _compare_entries(typed(STICK=(4, first)), typed(STICK=(4, second)))
    (row,) = table.to_dict("records")
    assert (row["assessor"], row["position"], row["code"]) == ("A02", "2", BLANK["code"][4])
    assert (row["attribute"], row["first"], row["second"], row["what"]) == ("STICK", first, second, what)


def test_differences_come_in_the_order_of_the_paper():
    one = typed(STICK=(4, "1"), GLOSS=(8, "1"), RESIDUE=(0, "1"))
    table = _compare_entries(one, typed())
    assert table["assessor"].tolist() == ["A01", "A02", "A03"]
