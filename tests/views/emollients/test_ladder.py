"""The ladder in words: every sentence follows from the numbers beside it, and nothing is named that may not be."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_rgb

from panel.models.emollients.ladder import find_ladder
from panel.study.naming import Naming, naming
from panel.study.shown import Table, shown
from panel.views.emollients.ladder import _LINKS, _TITLES, PREDICTION, _ladder_headline, _verdict_sentences, tell_ladder
from panel.views.emollients.ladder import LADDER as STEPS
from panel.views.pictures import BROAD, INK, NARROW
from panel.words import format_number
from tests.blend_studies import DEMO, SHARES, hand_cream, mixture_formulas, scored

LADDER = find_ladder(DEMO, rng=np.random.default_rng(1), draws=200)
NAMES = naming(DEMO)


def steps(ladder, names):
    """Name of each step to what it adds and what it cannot say."""
    table = shown(STEPS, ladder, names)
    cells = zip(table["What it adds"], table["What it cannot say"], strict=True)
    return dict(zip(ladder.steps, cells, strict=True))


WORDS = steps(LADDER, NAMES)
FEW = find_ladder(hand_cream([[-15.0, -8.0, 7.0]], kept=[0, 1, 2, 4]), rng=np.random.default_rng(1), draws=50)
CONTINUOUS = find_ladder(scored(mixture_formulas(), [30 + 40 * SHARES[:, 0]]), rng=np.random.default_rng(1), draws=50)


def test_every_step_adds_and_cannot_or_stops():
    assert list(WORDS) == list(_TITLES)
    assert list(shown(STEPS, LADDER, NAMES)["Step"]) == list(_TITLES.values())
    for adds, cannot in WORDS.values():
        assert (cannot == "–") == adds.startswith("Stops here: ")


def test_numbers_in_the_sentences_are_those_of_the_steps():
    assert "differ in 3 independent ways, so no more than 3 effects" in WORDS["moves"][0]
    for name in ("swaps", "prototypes"):
        numbers = LADDER.steps[name]
        assert WORDS[name][0].startswith(f"{(numbers['p_adjusted'] < 0.05).sum()} of {len(numbers)} effects")
    facts = LADDER.facts.iloc[0]
    assert WORDS["descriptors"][0].startswith(f"{int(facts['below_5_percent'])} of {int(facts['questions'])} pairs")
    assert "With 8 blends one pair chosen beforehand must reach r = 0.71" in WORDS["descriptors"][0]
    assert "r = 0.95 or more" in WORDS["descriptors"][1]
    prediction = LADDER.prediction
    assert f"on {(prediction['p_adjusted'] < 0.05).sum()} of 14" in WORDS["prediction"][0]
    assert f"as well or better on {(prediction['q2_swaps'] >= prediction['q2']).sum()} of 14" in WORDS["prediction"][0]
    assert "40,320 different orders" in WORDS["prediction"][0]
    share = LADDER.steps["ceiling"]["ceiling"]
    assert WORDS["ceiling"][0].startswith(f"{share.min() * 100:.0f} % to {share.max() * 100:.0f} %")


def test_a_stop_says_why():
    assert WORDS["mixture"][0].startswith("Stops here: no emollient takes three different amounts")
    few = steps(FEW, Naming())
    assert few["descriptors"][0] == (
        "Stops here: 4 blends are too few to set an attribute against a property; at least 5 are needed."
    )
    assert ".." not in few["prototypes"][0]


def test_the_mixture_step_in_words():
    words = steps(CONTINUOUS, Naming())
    assert words["mixture"][0].startswith("The linear model describes 1 of 1 attributes")
    assert "nobody made" in words["mixture"][1]


def test_the_headline_counts_the_verdicts():
    counts = LADDER.verdicts["verdict"].value_counts()
    assert _ladder_headline(LADDER) == (
        f"Of 14 attributes, on {counts['swaps']} the difference goes with a swap of emollients, on "
        f"{counts['assessors']} a swap stands out from the scatter of the assessors only; no property of the oil may "
        "be named."
    )


@pytest.mark.parametrize(
    ("verdicts", "sentence"),
    [
        (
            ("alike", "unclear"),
            "Of 2 attributes, none goes with a swap of emollients; no property of the oil may be named.",
        ),
        (
            ("along", "driver"),
            "Of 2 attributes, on 1 a property of the blend may be named, on 1 it may be a swap or what "
            "goes along with it.",
        ),
    ],
)
def test_the_headline_names_no_step_that_nothing_stands_on(verdicts, sentence):
    assert _ladder_headline(replace(LADDER, verdicts=pd.DataFrame({"verdict": verdicts}))) == sentence


def test_every_attribute_has_a_sentence_and_no_property_is_the_cause():
    sentences = _verdict_sentences(LADDER, NAMES)
    assert len(sentences) == 14
    assert not any("made by" in sentence for sentence in sentences)
    assert any("goes along with" in sentence and "or the making day" in sentence for sentence in sentences)
    along = [sentence for sentence in sentences if "It goes along with" in sentence]
    assert all(sentence.endswith("these data cannot say which, if any, is the cause.") for sentence in along)
    assert along


def verdict(**row):
    blank = {"attribute": "AF_GREASE", "verdict": "alike", "driver": "", "swaps": "", "doubtful": "", "running": ""}
    blank["along"] = ""
    frame = pd.DataFrame([blank | row], dtype="str")
    return _verdict_sentences(replace(LADDER, verdicts=frame), NAMES)[0]


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (
            {"verdict": "driver", "driver": "solid_share", "running": "solid_share"},
            "greasy film goes with solid share, as said beforehand, and nothing else explains it as well. Confirm it "
            "with a prototype made for that.",
        ),
        (
            {"verdict": "swaps", "swaps": "A → B; C → D", "doubtful": "E → F"},
            "greasy film: goes with A → B and C → D, beyond the scatter of the assessors and beyond that of the "
            "prototypes. Beyond the scatter of the assessors, not beyond that of the prototypes: E → F.",
        ),
        (
            {"verdict": "assessors", "doubtful": "A → B"},
            "greasy film: the assessors agree on A → B; from prototype to prototype it is not sure.",
        ),
        (
            {"verdict": "along", "along": "A → B | making day"},
            "greasy film: goes along with A → B or the making day; these data cannot tell which.",
        ),
        ({"verdict": "unclear"}, "greasy film: the prototypes differ, but no swap stands out."),
        ({"verdict": "alike"}, "greasy film: the prototypes are not told apart."),
    ],
)
def test_each_verdict_in_words(row, sentence):
    assert verdict(**row) == sentence


def test_a_named_property_is_told_with_its_limits():
    named = pd.DataFrame([("RO_SPREAD", "log10_viscosity_liquids")], columns=["attribute", "descriptor"], dtype="str")
    ladder = replace(LADDER, named=named)
    adds, cannot = steps(ladder, NAMES)["descriptors"]
    assert "explained by nothing else as well: ease of spreading goes with viscosity of the liquids." in adds
    assert cannot.startswith("Show a cause. Blends that differ in 3 ways")


def test_what_the_ladder_cannot_show_warns_of_fit():
    assert any("only left-out prototypes do" in sentence for sentence in tell_ladder(LADDER, NAMES).cannot)


def test_no_sentence_shows_code_names_or_broken_numbers():
    texts = [*_verdict_sentences(LADDER, NAMES), *(adds + cannot for adds, cannot in WORDS.values())]
    for text in texts:
        assert "_" not in text
        assert "nan" not in text
        assert not re.search(r"\d\.\d{4,}", text)


def test_links_come_the_closest_first():
    table = shown(_LINKS, LADDER, NAMES)
    assert len(table) == len(LADDER.steps["descriptors"])
    r = LADDER.steps["descriptors"]["r"]
    assert table["R"].iloc[0] == format_number(r.iloc[r.abs().argmax()], 2)
    said = table.loc[(table["Attribute"] == "greasy film") & (table["Property of the blend"] == "volatile share")]
    assert said[["Said beforehand, and so found", "Moves with others"]].to_numpy().tolist() == [["falls: yes", "yes"]]


def test_slopes_show_two_digits_that_count():
    slopes = shown(_LINKS, LADDER, NAMES)["Slope"]
    assert all(len(text.replace("−", "").replace(".", "").lstrip("0")) >= 2 for text in slopes)


def test_predictions_stand_beside_chance_and_the_swaps():
    table = shown(PREDICTION, LADDER, NAMES)
    row = table.loc[table["Attribute"] == "firmness"].iloc[0]
    numbers = LADDER.prediction.set_index("attribute").loc["PU_FIRM"]
    assert row["All properties"] == format_number(numbers["q2"], 2)
    assert row["The swaps alone"] == format_number(numbers["q2_swaps"], 2)
    assert row["Most that can be explained"] == f"{100 * numbers['ceiling']:.0f} %"


def test_steps_that_were_not_made_have_no_tables():
    assert shown(_LINKS, FEW, Naming()).empty
    items = [item for each in tell_ladder(FEW, Naming()).every_drawer() for item in each.items]
    assert [item.name for item in items if isinstance(item, Table)] == [STEPS.name]


def test_each_sensation_stands_on_the_step_its_evidence_reaches():
    picture = tell_ladder(LADDER, NAMES).picture
    for width in (BROAD, NARROW):
        (axes,) = picture.figure(width).axes
        written = [text.get_text().replace("\n", " ") for text in axes.texts]
        words, own = written[::2], written[1::2]
        assert words[0] == "a property of the blend may be named"
        on_step = {text: names.split(" · ") for text, names in zip(words, own, strict=True) if names != "–"}
        assert sorted(name for names in on_step.values() for name in names) == sorted(
            NAMES.attribute(name) for name in LADDER.verdicts["attribute"]
        )
        kinds = LADDER.verdicts.set_index("attribute")["verdict"]
        both = [name for name, kind in kinds.items() if kind == "swaps"]
        (step,) = [names for text, names in on_step.items() if text.endswith("of assessors and of prototypes")]
        assert step == [NAMES.attribute(name) for name in both]
        filled = [sum(bar.get_facecolor()[:3] == to_rgb(INK) for bar in bars) for bars in axes.containers]
        assert filled == [6, 5, 4, 3, 2, 1]
    assert "Goes with a swap, beyond the scatter of assessors and of prototypes: " in picture.alt
