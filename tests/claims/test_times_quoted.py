"""Times and counts that a sentence quotes beside a comparison are the means that were measured, or it is refused.

The studies are invented, their means exact by construction; the sentences were sorted by hand before any was read.
Common practice, no source: a mean is quoted to the nearest, never in favour of the claim.
"""

from itertools import product

import pytest

from tests.claims.claim_studies import claim_row, study_with, words_judge

TIME = {"attribute": "UNTANGLE (s)", "name": "time to untangle wet hair", "direction": "less", "unit": "s"}
COUNT = {"attribute": "PADS", "name": "number of cotton pads", "direction": "less", "unit": "pads"}
OWN_VIEWS, NOISE = (-4.0, -2.0, 0.0, 2.0, 4.0, -3.0, -1.0, 1.0, 3.0, 0.0), (-1.0, 1.0)


def judge_of(attribute, own, other, *, spread=1.0):
    """What says whether a sentence is supported on a panel of ten whose means are exactly these."""
    name = attribute["attribute"]
    scores = [
        {
            "assessor": f"A{person:02d}",
            "prototype": prototype,
            "session": "1",
            "replicate": place + 1,
            "attribute": name,
            "score": mean + spread * (view + noise),
        }
        for (person, view), (prototype, mean), (place, noise) in product(
            enumerate(OWN_VIEWS), (("P1", own), ("P2", other)), enumerate(NOISE)
        )
    ]
    study = study_with(
        [],
        scores=scores,
        facts={"title": "Hair mask"},
        names={"P1": "new hair mask", "P2": "previous hair mask"},
        roles={"P2": "benchmark"},
        attributes=[attribute],
    )
    return words_judge(study, claim_row("x", "superiority", attribute=name, versus="P2", direction="less"))


@pytest.fixture(scope="module")
def times():
    return judge_of(TIME, 54.3, 79.8)


@pytest.mark.parametrize(
    "sentence",
    [
        "Untangles wet hair faster than our previous hair mask: 54 seconds instead of 80.",
        "Untangles wet hair faster than our previous hair mask (54 s against 80 s).",
        "Untangles wet hair in 54 s, our previous hair mask in 80 s",
        "Wet hair untangled in 54 s - our previous hair mask took 80 s",
        "It took 54.3 s to untangle wet hair, compared with 79.8 s with our previous hair mask.",
        "Untangles wet hair in 55 s instead of 79 s with our previous hair mask.",
        "On average 54 seconds to untangle wet hair, where our previous hair mask takes 80.",
        "Untangles wet hair 25 seconds faster than our previous hair mask.",
    ],
)
def test_the_means_that_were_measured_may_be_quoted(times, sentence):
    assert times(sentence)


@pytest.mark.parametrize(
    "sentence",
    [
        "Untangles wet hair in 80 s, our previous hair mask in 54 s",
        "Untangles wet hair in 53 s instead of 80 s with our previous hair mask.",
        "Untangles wet hair in 54 s instead of 81 s with our previous hair mask.",
        "Untangles wet hair in 54 minutes instead of 80 minutes with our previous hair mask.",
        "Untangles wet hair in 54 s instead of 80 minutes with our previous hair mask.",
        "Untangles wet hair in 54 s.",
        "Untangles wet hair in 54 s instead of 80 s.",
        "Untangles wet hair 26 seconds faster than our previous hair mask.",
        "Untangles wet hair 20 seconds faster than our previous hair mask.",
        "Untangles wet hair 25 minutes faster than our previous hair mask.",
        "After 54 s wet hair is untangled faster than with our previous hair mask after 80 s.",
        "Untangles wet hair within 54 s instead of 80 s with our previous hair mask.",
        "Untangles wet hair in 54 strokes instead of 80 strokes with our previous hair mask.",
        "Untangles wet hair in 54 s instead of 80 s with our previous hair mask, for everybody.",
        "Untangles wet hair slower than our previous hair mask: 54 seconds instead of 80.",
    ],
)
def test_no_other_time_may_be_quoted(times, sentence):
    assert not times(sentence)


def test_a_mean_is_quoted_to_the_nearest_or_less_in_favour():
    judge = judge_of(TIME, 54.6, 79.4)
    than = "with our previous hair mask."
    assert judge(f"Untangles wet hair in 55 s instead of 79 s {than}")
    assert not judge(f"Untangles wet hair in 54 s instead of 79 s {than}")
    assert not judge(f"Untangles wet hair in 55 s instead of 80 s {than}")


@pytest.mark.parametrize(
    ("own", "other", "holds"),
    [
        ("1 minute 20 seconds", "2 minutes 5 seconds", True),
        ("1 minute and 20 seconds", "125 seconds", True),
        ("80 seconds", "2 min 5 s", True),
        ("1 minute 20 seconds", "2 minutes 25 seconds", False),
        ("1 minute 2 seconds", "2 minutes 5 seconds", False),
        ("1 minute", "2 minutes 5 seconds", False),
        ("1 hour 20 minutes", "2 hours 5 minutes", False),
    ],
)
def test_a_time_may_be_told_in_minutes_and_seconds(own, other, holds):
    sentence = f"Untangles wet hair in {own} instead of {other} with our previous hair mask."
    assert judge_of(TIME, 80.0, 125.0)(sentence) == holds


@pytest.mark.parametrize(
    ("sentence", "holds"),
    [
        ("2.4 cotton pads, compared with 4.2 with our previous hair mask.", True),
        ("An average of 2.4 cotton pads, where our previous hair mask needs 4.2.", True),
        ("Fewer cotton pads than with our previous hair mask: 2.4 pads instead of 4.2.", True),
        ("2.3 cotton pads, compared with 4.2 with our previous hair mask.", False),
        ("2.4 seconds, compared with 4.2 with our previous hair mask.", False),
        ("4.2 cotton pads, compared with 2.4 with our previous hair mask.", False),
        ("2.4 cotton pads.", False),
    ],
)
def test_what_was_counted_may_be_quoted(sentence, holds):
    assert judge_of(COUNT, 2.4, 4.2, spread=0.1)(sentence) == holds


def test_scores_on_a_scale_are_no_measured_amounts():
    on_scale = {"attribute": "SOFT", "name": "softness", "direction": "less", "scale_min": 0.0, "scale_max": 100.0}
    judge = judge_of(on_scale, 54.0, 80.0)
    assert judge("Less soft than our previous hair mask")
    assert not judge("54 softness instead of 80 with our previous hair mask")
    assert not judge("Less soft than our previous hair mask: 54 s instead of 80 s")
