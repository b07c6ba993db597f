"""Equal-mass bookkeeping: what is swapped, what stays frozen, and what is refused."""

import pandas as pd
import pytest

from panel.errors import ModelError
from panel.plan.swap_plan import (
    Swap,
    _known_swap,
    _with_swaps,
    base_formula,
    called_cautions,
    formulas_of,
    with_emollients,
)
from panel.study.formulas import formula
from tests.formula_studies import (
    ALKANE,
    ALMOND,
    CARBONATE,
    ISOSTEARATE,
    SHEA,
    TRIGLYCERIDE,
    hand_cream_formulas,
    study_of,
)

BASE = base_formula(formula(study_of(hand_cream_formulas()), "P1"))


def amounts(lines):
    return dict(zip(lines["ingredient"], lines["percent"], strict=True))


def test_the_base_knows_its_emollients():
    assert BASE.loc[BASE["emollient"], "ingredient"].tolist() == [CARBONATE, TRIGLYCERIDE, ALMOND]
    assert BASE["percent"].sum() == pytest.approx(100)


def test_a_swap_moves_its_mass_and_nothing_else():
    made = amounts(_with_swaps(BASE, [Swap(CARBONATE, ALKANE, 2.5)]))
    before = amounts(BASE)
    assert made[CARBONATE] == pytest.approx(3.5)
    assert made[ALKANE] == pytest.approx(2.5)
    assert {name: made[name] for name in before if name != CARBONATE} == {
        name: amount for name, amount in before.items() if name != CARBONATE
    }
    assert sum(made.values()) == pytest.approx(100)


def test_what_is_swapped_away_wholly_leaves_the_formula_and_phases_stay():
    base = BASE.assign(phase=["C" if name == CARBONATE else "B" for name in BASE["ingredient"]])
    made = _with_swaps(base, [Swap(CARBONATE, ALKANE, 6.0)]).set_index("ingredient")
    assert CARBONATE not in made.index
    assert made.loc[ALKANE, "phase"] == "C"
    assert made.loc[ALKANE, "kind"] == "emollient"


def test_two_swaps_may_share_an_emollient_up_to_what_it_holds():
    swaps = [Swap(CARBONATE, ALKANE, 4.0), Swap(CARBONATE, ISOSTEARATE, 2.0)]
    made = amounts(_with_swaps(BASE, swaps))
    assert CARBONATE not in made
    assert (made[ALKANE], made[ISOSTEARATE]) == (4.0, 2.0)
    with pytest.raises(ModelError, match=r"take more Dicaprylyl Carbonate than the base holds \(6 %\)"):
        _with_swaps(BASE, [*swaps, Swap(CARBONATE, SHEA, 1.0)])


def test_names_are_written_as_the_knowledge_writes_them():
    assert _known_swap(Swap("dicaprylyl carbonate", "C13-15 alkane", 6.0), BASE) == Swap(CARBONATE, ALKANE, 6.0)
    assert _known_swap(Swap("Prunus Amygdalus Dulcis Oil", SHEA, 4.0), BASE).removed == ALMOND


@pytest.mark.parametrize(
    ("swap", "words"),
    [
        (Swap(CARBONATE, "Aqua", 2.0), "let water take up the difference"),
        (Swap("Water", ALKANE, 2.0), "let water take up the difference"),
        (Swap("Cetearyl Alcohol", ALKANE, 2.0), "is not an emollient of the base"),
        (Swap(SHEA, ALKANE, 2.0), "is not an emollient of the base"),
        (Swap(CARBONATE, "Xanthan Gum", 2.0), "is known as structurant"),
        (Swap(CARBONATE, "Glyceryl Stearate Citrate", 2.0), "not as an emollient"),
        (Swap(CARBONATE, ALKANE, 6.5), "the base holds 6 %"),
        (Swap(CARBONATE, ALKANE, 0.0), "above zero"),
        (Swap(CARBONATE, ALKANE, float("nan")), "above zero"),
        (Swap(CARBONATE, CARBONATE, 2.0), "cannot be swapped for itself"),
    ],
)
def test_what_is_no_swap_of_emollients_at_equal_mass_is_refused(swap, words):
    with pytest.raises(ModelError, match=words):
        _known_swap(swap, BASE)


def test_an_ingredient_nobody_knows_may_be_swapped_in():
    assert _known_swap(Swap(CARBONATE, "New Ester", 2.0), BASE).added == "New Ester"


def test_a_base_must_be_complete_and_hold_an_emollient():
    lines = BASE[["ingredient", "percent", "phase", "kind"]]
    with pytest.raises(ModelError, match=f"no amount of {CARBONATE}"):
        base_formula(lines.assign(percent=lines["percent"].mask(lines["ingredient"] == CARBONATE)))
    with pytest.raises(ModelError, match="holds no emollient"):
        base_formula(lines.loc[~BASE["emollient"]])


def test_a_base_without_phases_and_kinds_is_enough():
    plain = pd.DataFrame({"ingredient": ["Aqua", CARBONATE], "percent": [90.0, 10.0]})
    assert base_formula(plain).loc[1, "emollient"]


def test_emollients_can_be_set_at_once():
    made = amounts(with_emollients(BASE, {CARBONATE: 10.0, ALKANE: 5.0, SHEA: 0.0}))
    assert (made[CARBONATE], made[ALKANE]) == (10.0, 5.0)
    assert SHEA not in made
    assert TRIGLYCERIDE not in made
    assert sum(made.values()) == pytest.approx(100)


def test_prototypes_are_stacked_as_a_formulas_table():
    table = formulas_of({"P1": _with_swaps(BASE, []), "P2": _with_swaps(BASE, [Swap(CARBONATE, ALKANE, 6.0)])})
    assert table.columns.tolist() == ["prototype", "ingredient", "percent", "phase", "kind"]
    assert table.groupby("prototype")["percent"].sum().tolist() == pytest.approx([100, 100])
    assert {str(kind) for kind in table.dtypes} == {"str", "float64"}


def test_cautions_of_nuts_and_flammable_materials_are_called():
    called = called_cautions([ALMOND, "Isododecane", "New Ester"])
    assert set(called["caution"]) >= {"tree_nut", "flammable"}
    assert called.loc[called["caution"] == "tree_nut", "ingredient"].tolist() == [ALMOND]
    assert (called["words"] != "").all()
