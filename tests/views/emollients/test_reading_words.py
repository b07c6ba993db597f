"""Sentences about readings: true to the numbers, each verdict in its own words, numbers as a person writes them."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from panel.models.emollients.readings import AGAINST, AS_EXPECTED, CANNOT_TELL, LINKED, join_readings
from panel.study.naming import Naming, naming
from panel.study.open_study import open_study
from panel.views.emollients.readings import (
    format_reading,
    joint_map_alt_text,
    joint_map_sentences,
    measure_title,
    partner_alt_text,
    partner_sentence,
    partner_sentences,
    reading_swap_sentences,
    screening_sentences,
    unit_words,
    what_readings_cannot_show,
    with_unit,
)

DEMO = open_study(Path(__file__).parents[3] / "data_demo" / "reading_room")
JOINED = join_readings(DEMO)
NAMES = naming(DEMO)
ROW = {
    "attribute": "AF_GREASE",
    "measure": "paper blot",
    "estimate": 0.949,
    "ci_low": 0.738,
    "ci_high": 0.991,
    "n": 8,
    "p_value": 0.0003,
    "p_adjusted": 0.003,
    "needed": 0.7067,
    "verdict": AS_EXPECTED,
}


def told(**other):
    return partner_sentence(ROW | other, Naming({"AF_GREASE": "greasy film"}), 0.95, 10)


def test_each_verdict_has_its_sentence():
    assert told() == (
        "The panel's greasy film and the reading paper blot rise together, as expected (r = 0.95, 95 % interval 0.74 "
        "to 0.99, 8 prototypes)."
    )
    assert "go opposite ways, against what was expected (r = −0.95" in told(estimate=-0.949, verdict=AGAINST)
    assert "rise together (r = 0.95" in told(verdict=LINKED)
    assert told(estimate=0.3, ci_low=-0.5, ci_high=0.82, verdict=CANNOT_TELL) == (
        "8 prototypes cannot say whether the panel's greasy film goes with the reading paper blot (r = 0.30, 95 % "
        "interval −0.50 to 0.82, 8 prototypes; for one pair chosen beforehand r must be beyond 0.71)."
    )


def test_a_pair_that_does_not_hold_in_its_family_says_so():
    doubt = "Counted together with the other 9 declared pairs this can be chance (p after Holm = 0.100)."
    assert told(p_adjusted=0.1).endswith(doubt)
    assert "chance" not in told(p_adjusted=0.04)


def test_the_demo_in_words():
    sentences = partner_sentences(JOINED, NAMES)
    assert len(sentences) == 10
    assert any("greasy film and the reading paper blot rise together, as expected" in text for text in sentences)
    assert any("ease of spreading and the reading work of shear go opposite ways" in text for text in sentences)
    assert any("cannot say whether the panel's gloss in the dish" in text for text in sentences)
    assert partner_alt_text(JOINED, NAMES).startswith("Panel means against instrument readings")


def test_without_partners_it_is_said_how_to_name_one():
    empty = replace(JOINED, partners=JOINED.partners.iloc[:0])
    (sentence,) = partner_sentences(empty, NAMES)
    assert "No attribute has a partner" in sentence


def test_the_screening_list_is_told_with_its_limits():
    seen = int((JOINED.screening["p_adjusted"] < 0.05).sum())
    first, second = screening_sentences(JOINED, NAMES)
    assert f"Of the 144 pairs nobody declared beforehand, {seen} stand out" in first
    assert "integrity of shape with viscosity (r = 0.99)" in first
    assert "leads for another study" in second
    none = replace(JOINED, screening=JOINED.screening.assign(p_adjusted=1.0))
    assert screening_sentences(none, NAMES) == (
        "Of the 144 pairs nobody declared beforehand, none stands out after adjusting for their number.",
    )
    one = replace(JOINED, screening=JOINED.screening.assign(p_adjusted=[0.01] + [1.0] * 143))
    assert "1 stands out after adjusting for their number. It is integrity" in screening_sentences(one, NAMES)[0]
    assert screening_sentences(replace(JOINED, screening=JOINED.screening.iloc[:0]), NAMES) == ()


def swap_rows(**measures):
    """One swap's rows: measure=(estimate, ci_low, ci_high, ratio, ratio_ci_low, ratio_ci_high, unit)."""
    names = ["estimate", "ci_low", "ci_high", "ratio", "ratio_ci_low", "ratio_ci_high", "unit"]
    rows = [
        {"measure": measure, "swap": "X -> Y", "removed": "X", "added": "Y", "percent": 6.0, "n_pairs": 4}
        | dict(zip(names, numbers, strict=True))
        for measure, numbers in measures.items()
    ]
    return replace(JOINED, swaps=pd.DataFrame(rows))


def test_swaps_are_told_as_per_cent_or_as_amounts():
    nan = float("nan")
    (sentence,) = reading_swap_sentences(
        swap_rows(
            viscosity=(-3500, -4400, -2700, 0.87, 0.82, 0.93, "mPa s"),
            friction=(0.05, 0.001, 0.1, 1.17, 1.0002, 1.36, "1"),
            gloss=(0.1, -0.2, 0.4, 1.0, 0.98, 1.02, "GU"),
            pH=(-0.045, -0.08, -0.01, nan, nan, nan, "1"),
            bloom=(2.0, nan, nan, 1.1, nan, nan, "mm"),
        )
    )
    assert sentence == (
        "In this base, replacing 6 % X by Y (4 matched pairs; in brackets 95 % intervals): lowers viscosity by 13 % (7 "
        "to 18 %) and pH by 0.045 (0.010 to 0.080); raises friction by 17 % (0.02 to 36 %); these readings cannot say "
        "whether it changes gloss and bloom."
    )


def test_the_demos_swaps_are_told_once_each():
    sentences = reading_swap_sentences(JOINED)
    assert len(sentences) == 3
    assert "lowers viscosity" in sentences[0]
    assert "paper blot by 47 %" in sentences[0]


def test_the_joint_map_is_told_with_what_chance_would_give():
    first, second = joint_map_sentences(JOINED.map)
    assert "RV = 0.94" in first
    assert "0.32 on average." in first
    assert "no more than chance" not in first
    assert "80 %" in second
    chance = replace(JOINED.map, rv=0.3)
    assert joint_map_sentences(chance)[0].endswith("That is no more than chance.")
    assert "P1 at 0.1, −0.3" in joint_map_alt_text(JOINED.map)


def test_an_instrument_does_not_replace_people():
    assert any("what people feel is for people to say" in text for text in what_readings_cannot_show())


@pytest.mark.parametrize(
    ("value", "written"),
    [
        *((24486.7, "24500"), (62.04, "62.0"), (0.3149, "0.315"), (3.4, "3.40"), (0, "0"), (-21.37, "−21.4")),
        *((9.996, "10.0"), (99.96, "100"), (0.00012345, "0.000123"), (1e6, "1000000"), (float("nan"), "–")),
        (float("inf"), "∞"),
    ],
)
def test_readings_carry_three_digits_that_mean_something(value, written):
    assert format_reading(value) == written


def test_units_as_they_are_printed():
    assert unit_words("1") == ""
    assert unit_words("mm2/s") == "mm²/s"
    assert unit_words("kg/m3") == "kg/m³"
    assert unit_words("Pa s^n") == "Pa s^n"
    assert with_unit("5", "1") == "5"
    assert with_unit("5", "g s") == "5 g s"
    assert measure_title("firmness", "g") == "firmness, g"
    assert measure_title("friction at 5 min", "1") == "friction at 5 min"
    assert np.all([unit_words(unit) == unit for unit in ("mPa s", "0.1 mm", "GU", "%")])
