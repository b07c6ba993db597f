"""Sentences about swaps: made from the numbers, never saying more than they allow."""

import re

import numpy as np
import pandas as pd
import pytest

from panel.models.emollients.swaps import trace_swaps
from panel.study.formulas import emollient_blend
from panel.study.naming import Naming, naming
from panel.views.emollients.swaps import (
    alias_sentences,
    blend_alt_text,
    descriptor_words,
    effect_digits,
    effect_sentence,
    interaction_sentences,
    moves_sentence,
    swap_alt_text,
    swap_words,
    what_the_swaps_cannot_show,
    what_the_swaps_show,
)
from tests.formula_studies import (
    ALKANE,
    ARROW,
    CARBONATE,
    ISOSTEARATE,
    TRIGLYCERIDE,
    hand_cream_formulas,
    scores_of,
    study_of,
)

NAMES = Naming(attributes={"AF_GREASE": "Greasy film", "PH": "pH of the film"})
ROW = {
    "attribute": "AF_GREASE",
    "swap": f"{CARBONATE} -> {ALKANE}",
    "removed": CARBONATE,
    "added": ALKANE,
    "percent": 6.0,
    "estimate": -13.2,
    "ci_low": -17.3,
    "ci_high": -9.1,
    "p_value": 0.0001,
    "p_adjusted": 0.001,
    "n_pairs": 4,
    "n_assessors": 10,
}


def test_an_effect_that_is_seen():
    assert effect_sentence(ROW, NAMES, 0.95) == (
        "In this base, replacing 6 % Dicaprylyl Carbonate by C13-15 Alkane lowers greasy film by 13 points "
        "(95 % interval 9 to 17, 4 matched pairs, 10 assessors)."
    )
    raised = ROW | {"estimate": 13.2, "ci_low": 9.1, "ci_high": 17.3, "percent": 2.5, "n_pairs": 1}
    assert effect_sentence(raised, NAMES, 0.9, 1) == (
        "In this base, replacing 2.5 % Dicaprylyl Carbonate by C13-15 Alkane raises greasy film by 13.2 points "
        "(90 % interval 9.1 to 17.3, 1 matched pair, 10 assessors)."
    )


def test_an_effect_that_many_questions_may_have_made():
    sentence = effect_sentence(ROW | {"p_value": 0.03, "p_adjusted": 0.12}, NAMES, 0.95)
    assert sentence == (
        "In this base, replacing 6 % Dicaprylyl Carbonate by C13-15 Alkane may lower greasy film (−13 points, 95 % "
        "interval −17 to −9, 4 matched pairs, 10 assessors), but among so many questions this can be chance "
        "(p = 0.120 after adjusting)."
    )


def test_an_effect_that_is_not_seen_is_not_called_absent():
    unclear = ROW | {"estimate": -1.2, "ci_low": -4.3, "ci_high": 1.9, "p_value": 0.4, "p_adjusted": 0.7}
    assert effect_sentence(unclear, NAMES, 0.95) == (
        "In this base, these data cannot say whether replacing 6 % Dicaprylyl Carbonate by C13-15 Alkane changes "
        "greasy film (−1 point, 95 % interval −4 to 2, 4 matched pairs, 10 assessors)."
    )


def test_an_end_of_the_interval_is_never_written_as_zero_if_a_digit_can_help():
    close = ROW | {"estimate": -2.4, "ci_low": -4.6, "ci_high": -0.2}
    assert "lowers greasy film by 2.4 points (95 % interval 0.2 to 4.6" in effect_sentence(close, NAMES, 0.95)


def test_without_an_interval_only_the_estimate_is_given():
    lone = ROW | dict.fromkeys(("ci_low", "ci_high", "p_value", "p_adjusted"), np.nan) | {"n_assessors": 1}
    assert effect_sentence(lone, NAMES, 0.95) == (
        "In this base, replacing 6 % Dicaprylyl Carbonate by C13-15 Alkane changes greasy film by −13 points; no "
        "interval can be given (4 matched pairs, 1 assessor)."
    )


def test_a_joint_change_names_all_of_it_and_abbreviations_keep_their_letters():
    joint = ROW | {"attribute": "PH", "removed": f"{CARBONATE} + {TRIGLYCERIDE}", "added": f"{ALKANE} + {ISOSTEARATE}"}
    assert effect_sentence(joint, NAMES, 0.95).startswith(
        "In this base, replacing 6 % Dicaprylyl Carbonate and Caprylic/Capric Triglyceride by C13-15 Alkane and "
        "Isopropyl Isostearate together lowers pH of the film by 13 points"
    )


@pytest.fixture(scope="module")
def traced():
    rng = np.random.default_rng(3)
    runs = np.arange(8)
    values = 50 + rng.normal(0, 4, (10, 3, 2, 8)) - 12.0 * (runs & 1) - 10.0 * ((runs & 3) == 3)
    values[:, :, 1] = 50 + rng.normal(0, 4, (10, 3, 8))
    study = study_of(
        hand_cream_formulas(), scores=scores_of(values, [f"P{n + 1}" for n in runs], ["AF_GREASE", "GLOSS"])
    )
    return trace_swaps(study), naming(study), emollient_blend(study)


def test_every_row_gets_its_sentence(traced):
    result, names, _ = traced
    sentences = what_the_swaps_show(result, names)
    assert len(sentences) == len(result.swaps) == 6
    for sentence, row in zip(sentences, result.swaps.itertuples(), strict=True):
        assert row.added in sentence
        assert ("lowers" in sentence or "raises" in sentence) == (row.p_adjusted < 0.05)
    assert swap_alt_text(result, names).count("In this base") == 6


def test_aliases_end_in_cannot_say_which(traced):
    sentences = alias_sentences(traced[0])
    assert all("these data cannot say which of them is the cause" in sentence for sentence in sentences)
    first = next(sentence for sentence in sentences if ALKANE in sentence)
    assert "less C13-15 Alkane" in first
    assert "less volatile share" in first
    assert "more Dicaprylyl Carbonate" in first
    slow = next(sentence for sentence in sentences if "slow-spreading" in sentence)
    assert slow.count("slow-spreading share") == 1  # the class under both limits is told once


def test_moves(traced):
    assert moves_sentence(traced[0], 8, 6) == (
        "The blends of 8 prototypes, made from 6 emollients, differ in 3 independent directions: no more than that can "
        "be told apart, whatever is computed from them."
    )


def test_interactions(traced):
    result, names, _ = traced
    sentences = interaction_sentences(result, names)
    swaps = [swap.replace("->", "→") for swap in ARROW]
    assert re.match(
        rf"On AF_GREASE, both swaps together \({re.escape(swaps[0])}; {re.escape(swaps[1])}\) give 1\d\.\d points "
        r"less than their effects added up \(95 % interval \d+\.\d to \d+\.\d\)\.",
        sentences[0],
    )
    doubtful = result.interactions.head(1).assign(p_value=0.02, p_adjusted=0.3)
    other = _with(result, interactions=doubtful)
    assert (
        "among so many questions this can be chance, p = 0.300 after adjusting)."
        in interaction_sentences(other, names)[0]
    )
    nothing = result.interactions.assign(p_value=0.5, p_adjusted=0.9)
    assert interaction_sentences(_with(result, interactions=nothing), names)[0].startswith("No two swaps clearly")
    none = _with(result, interactions=result.interactions.head(0))
    assert interaction_sentences(none, names)[0].startswith("Whether swaps strengthen or weaken each other cannot")


def _with(result, **changes):
    fields = {name: getattr(result, name) for name in type(result).__dataclass_fields__}
    return type(result)(**(fields | changes))


@pytest.mark.parametrize(("error", "digits"), [(2.0, 0), (0.5, 0), (0.2, 1), (0.01, 2), (np.nan, 0)])
def test_digits_follow_the_size_of_the_error(traced, error, digits):
    result = traced[0]
    assert effect_digits(_with(result, swaps=result.swaps.assign(std_error=error))) == digits


def test_small_words():
    assert swap_words("A -> B") == "A → B"
    assert descriptor_words("log10_viscosity_liquids") == "viscosity of the liquids"
    assert descriptor_words("fast_share_300_1000") == "fast-spreading share (limits 300 and 1000)"
    assert descriptor_words("ether_or_carbonate_share") == "ether or carbonate share"
    assert len(what_the_swaps_cannot_show()) == 3


def test_the_blend_is_read_out(traced):
    _, names, blend = traced
    text = blend_alt_text(blend, names)
    assert "P1: 40 % Dicaprylyl Carbonate, 33 % Caprylic/Capric Triglyceride and 27 % Prunus Amygdalus" in text
    assert pd.Series(blend.index).map(lambda name: f"{name}: " in text).all()
