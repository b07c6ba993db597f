"""The ladder in words: every sentence follows from the numbers beside it, and nothing is named that may not be."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from panel.models.emollients.ladder import find_ladder
from panel.study.naming import Naming, naming
from panel.views.emollients.ladder import (
    TITLES,
    ladder_headline,
    ladder_words,
    verdict_sentences,
    what_the_ladder_cannot_show,
)
from tests.blend_studies import DEMO, SHARES, hand_cream, mixture_formulas, scored

LADDER = find_ladder(DEMO, rng=np.random.default_rng(1), draws=200)
NAMES = naming(DEMO)
WORDS = dict(zip([rung.name for rung in LADDER.rungs], ladder_words(LADDER, NAMES), strict=True))
FEW = find_ladder(hand_cream([[-15.0, -8.0, 7.0]], kept=[0, 1, 2, 4]), rng=np.random.default_rng(1), draws=50)
CONTINUOUS = find_ladder(scored(mixture_formulas(), [30 + 40 * SHARES[:, 0]]), rng=np.random.default_rng(1), draws=50)


def test_every_rung_adds_and_cannot_or_stops():
    assert list(WORDS) == list(TITLES)
    for words in WORDS.values():
        assert bool(words.adds and words.cannot) != bool(words.stopped)
        assert words.title in TITLES.values()


def test_numbers_in_the_sentences_are_those_of_the_rungs():
    assert "differ in 3 independent ways, so no more than 3 effects" in WORDS["moves"].adds
    for name in ("swaps", "prototypes"):
        numbers = LADDER.rung(name).numbers
        assert WORDS[name].adds.startswith(f"{(numbers['p_adjusted'] < 0.05).sum()} of {len(numbers)} effects")
    facts = LADDER.links.facts.iloc[0]
    assert WORDS["descriptors"].adds.startswith(f"{int(facts['below_5_percent'])} of {int(facts['questions'])} pairs")
    assert "With 8 blends one pair chosen beforehand must reach r = 0.71" in WORDS["descriptors"].adds
    assert "r = 0.95 or more" in WORDS["descriptors"].cannot
    prediction = LADDER.prediction
    assert f"on {(prediction['p_adjusted'] < 0.05).sum()} of 14" in WORDS["prediction"].adds
    assert (
        f"as well or better on {(prediction['q2_swaps'] >= prediction['q2']).sum()} of 14" in WORDS["prediction"].adds
    )
    assert "40,320 different orders" in WORDS["prediction"].adds
    share = LADDER.rung("ceiling").numbers["ceiling"]
    assert WORDS["ceiling"].adds.startswith(f"{share.min() * 100:.0f} % to {share.max() * 100:.0f} %")


def test_a_stop_says_why():
    assert WORDS["mixture"].stopped.startswith("Stops here: no emollient takes three different amounts")
    few = dict(zip([rung.name for rung in FEW.rungs], ladder_words(FEW, Naming()), strict=True))
    assert few["descriptors"].stopped == (
        "Stops here: 4 blends are too few to set an attribute against a property; at least 5 are needed."
    )
    assert ".." not in few["prototypes"].stopped


def test_the_mixture_rung_in_words():
    words = dict(zip([rung.name for rung in CONTINUOUS.rungs], ladder_words(CONTINUOUS, Naming()), strict=True))
    assert words["mixture"].adds.startswith("The linear model describes 1 of 1 attributes")
    assert "nobody made" in words["mixture"].cannot


def test_the_headline_counts_the_verdicts():
    counts = LADDER.verdicts["verdict"].value_counts()
    assert ladder_headline(LADDER).startswith(f"On {counts['swaps']} of 14 attributes the difference goes with a swap")
    assert ladder_headline(LADDER).endswith("no property of the blend may be named.")


def test_every_attribute_has_a_sentence_and_no_property_is_the_cause():
    sentences = verdict_sentences(LADDER, NAMES)
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
    return verdict_sentences(replace(LADDER, verdicts=frame), NAMES)[0]


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (
            {"verdict": "driver", "driver": "solid_share", "running": "solid_share"},
            "greasy film goes with solid share, as said beforehand, and nothing else explains it as well. Confirm it "
            "with a prototype made for that.",
        ),
        (
            {"verdict": "swaps", "swaps": "A -> B; C -> D", "doubtful": "E -> F"},
            "greasy film: goes with A → B and C → D, beyond the scatter of the assessors and beyond that of the "
            "prototypes. Beyond the scatter of the assessors, not beyond that of the prototypes: E → F.",
        ),
        (
            {"verdict": "assessors", "doubtful": "A -> B"},
            "greasy film: the assessors agree on A → B; from prototype to prototype it is not sure.",
        ),
        (
            {"verdict": "along", "along": "A -> B | making day"},
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
    ladder = replace(LADDER, links=replace(LADDER.links, named=named))
    words = ladder_words(ladder, NAMES)[4]
    assert "explained by nothing else as well: ease of spreading goes with viscosity of the liquids." in words.adds
    assert words.cannot.startswith("Show a cause. Blends that differ in 3 ways")


def test_what_the_ladder_cannot_show_warns_of_fit():
    assert any("only left-out prototypes do" in sentence for sentence in what_the_ladder_cannot_show())


def test_no_sentence_shows_code_names_or_broken_numbers():
    texts = [*verdict_sentences(LADDER, NAMES), *(w.adds + w.cannot + w.stopped for w in WORDS.values())]
    for text in texts:
        assert "_" not in text
        assert "nan" not in text
        assert not re.search(r"\d\.\d{4,}", text)
