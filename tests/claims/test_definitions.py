"""What a sentence says of an attribute in the words of its definition: more of it, less of it, or nothing that is read.

Each row is a product, the attribute's name (a code, where nothing can be read from it), its definition, and phrases
with what they say. Definitions are of many kinds; what they say was written by hand, of some rows after the program had
read them (common practice, no source). What is true and not read stands in no row.
"""

from functools import cache

import pytest

from panel.claims.as_described import judged_of
from tests.claims.claim_studies import panel_scores, seeded, study_with, words_finder

CODE = "KQ"
TOLD = [
    ("cream", CODE, "force needed to squeeze the tube", {
        "More force is needed to squeeze the tube": "more", "Less force is needed to squeeze the tube": "less",
        "Needs more force to squeeze the tube": "more", "More force is needed to open the tube": "", "More force": "",
    }),
    ("cream", CODE, "how soon the sample stops feeling like a moving layer", {
        "The sample stops feeling like a moving layer sooner": "more",
        "Stops feeling like a moving layer faster": "more",
        "It stops feeling like a moving layer later": "less", "It stops feeling like a layer sooner": "",
        "Your skin stops feeling like a moving layer sooner": "", "It starts feeling like a moving layer sooner": "",
        "It stops moving sooner": "",
    }),
    ("balm", CODE, "pull felt when the fingers part", {
        "More pull is felt when the fingers part": "more", "Less pull felt when the fingers part": "less",
        "More pull is felt when the lips part": "", "More pull": "",
    }),
    ("lotion", CODE, "how easily the glass rod slides over the forearm", {
        "The glass rod slides over the forearm more easily": "more",
        "The glass rod slides less easily over the forearm": "less",
        "The glass rod slides more easily over the shin": "", "The spatula slides over the forearm more easily": "",
        "The glass rod rolls over the forearm more easily": "", "The glass rod slides over the forearm better": "",
    }),
    ("lacquer", "Time until the lacquer sets", "stop-watch, from the last stroke", {
        "The lacquer sets more slowly": "more", "The lacquer sets faster": "less",
        "Less time until the lacquer sets": "less", "The lacquer dries faster": "",
    }),
    ("mousse", "FLAKES", "how many flakes hang in the brush", {
        "More flakes hang in the brush": "more", "Fewer flakes hang in the brush": "less",
        "Fewer flakes hang in the towel": "", "Larger flakes hang in the brush": "",
    }),
    ("soap", CODE, "grit left on the slate", {
        "More grit is left on the slate": "more", "Less grit is left on the slate": "less",
        "Less grit is left on the plate": "", "Less dust is left on the slate": "",
    }),
    ("tint", CODE, "how evenly the tint lies on the brow", {
        "The tint lies more evenly on the brow": "more", "The tint lies less evenly on the brow": "less",
        "The tint lies more evenly on the lid": "", "The tint lies more heavily on the brow": "",
    }),
    ("ointment", CODE, "layer felt between thumb and wrist", {
        "More of a layer is felt between thumb and wrist": "more", "Less layer is felt between thumb and wrist": "less",
        "Less layer is felt between finger and thumb": "",
    }),
    ("serum", CODE, "how much the finger clings when it taps and lifts", {  # two things at once are not taken apart
        "The finger clings less when it rests": "", "The hair clings less when it taps and lifts": "",
    }),
    ("bath oil", CODE, "how milky the water looks", {
        "The water looks milkier": "more", "The water looks less milky": "less", "The oil looks milkier": "",
        "The water feels milkier": "",
    }),
    ("serum", CODE, "how far the drop runs down the tile", {
        "The drop runs further down the tile": "more", "The drop runs less far down the tile": "less",
        "The drop runs faster down the tile": "", "The drop runs further down the sleeve": "",
    }),
    ("wax", CODE, "how well the fringe lies down", {
        "The fringe lies down better": "more", "The fringe lies down less well": "less",
        "The fringe stands up better": "", "The fringe lies down longer": "",
    }),
    ("gel", CODE, "how often the brush has to pass over the brow", {
        "More passes of the brush over the brow": "more", "Fewer passes of the brush over the brow": "less",
        "More passes over the lid": "",
    }),
    ("balm", CODE, "how fast the balm melts in the palm", {
        "The balm melts faster in the palm": "more", "The balm melts more slowly in the palm": "less",
        "The balm melts faster in the jar": "", "The balm melts more evenly in the palm": "",
    }),
    ("scrub", CODE, "how harshly the grains scrape over the elbow", {
        "The grains scrape more harshly over the elbow": "more",
        "The grains scrape less harshly over the elbow": "less", "The nails scrape more harshly over the elbow": "",
    }),
    ("blush", CODE, "how much colour one tap takes up", {
        "One tap takes up more colour": "more", "One tap takes up less colour": "less",
        "One tap takes up more powder": "", "One tap gives off more colour": "",
    }),
    ("mist", CODE, "how strongly the sleeve smells", {
        "The sleeve smells more strongly": "more", "The sleeve smells less strongly": "less",
        "The collar smells less strongly": "",
    }),
    ("wax", CODE, "how freely the knuckle bends under the wrap", {
        "The knuckle bends more freely under the wrap": "more", "The knuckle bends less freely under the wrap": "less",
        "The knuckle bends more freely under the glove": "",
    }),
    ("balm", CODE, "how far the foot slips in a cotton sock", {  # of the foot, and not of the balm
        "The foot slips further in a cotton sock": "more", "The foot slides less in a cotton sock": "less",
        "The foot slips less in a woollen shoe": "", "The balm slips less in a cotton sock": "",
    }),
    ("cream", CODE, "how velvety the knee feels", {  # of the skin, and not of what was put on it
        "The knee feels more velvety": "more", "The knee feels less velvety": "less", "A more velvety knee": "more",
        "The cream feels more velvety": "", "A more velvety cream": "", "The elbow feels more velvety": "",
    }),
    ("gel", CODE, "how cold the skin feels", {
        "The skin feels colder": "more", "The skin feels less cold": "less", "The gel feels colder": "",
        "The gel is colder": "", "A colder gel": "",
    }),
    ("gel", "Coolness", "how cold the skin feels", {
        "The skin feels colder": "more", "The gel is cooler": "", "The gel is colder": "",
    }),
    ("foam", "Softness", "how soft the cheek feels", {
        "The cheek feels softer": "more", "The cheek feels less soft": "less", "The foam feels softer": "",
        "A softer foam": "", "The foam is softer": "",
    }),
    ("cream", CODE, "how grainy the cream is between the fingers", {  # of the sample
        "The cream is grainier between the fingers": "more", "The cream is less grainy between the fingers": "less",
        "The skin is grainier": "", "The cream is softer between the fingers": "",
    }),
]  # fmt: skip
ROWS = [(kind, name, told, phrase, says) for kind, name, told, phrases in TOLD for phrase, says in phrases.items()]


@cache
def _finder(kind, name, told, direction):
    means = {"P1": 80.0, "P2": 20.0} if direction == "more" else {"P1": 20.0, "P2": 80.0}
    study = study_with(
        [],
        scores=panel_scores({name: means}, seeded(), assessors=8, replicates=3, own_view=1, scatter=2),
        attributes=[{"attribute": name, "name": name, "definition": told, "scale_min": 0, "scale_max": 100}],
        roles={"P1": "prototype", "P2": "benchmark"},
        names={"P1": f"new {kind}", "P2": f"previous {kind}"},
        facts={"title": kind.capitalize()},
    )
    statement = {"kind": "superiority", "prototype": "P1", "versus": "P2", "attribute": name, "direction": direction}
    return words_finder(study, statement)


@pytest.mark.parametrize(("kind", "name", "told", "phrase", "says"), ROWS)
def test_a_phrase_says_of_a_definition(kind, name, told, phrase, says):
    sentence = f"{phrase} than with our previous {kind}"
    shown = [way for way in ("more", "less") if _finder(kind, name, told, way)(sentence) == ((), ())]
    assert shown == ([says] if says else [])


@pytest.mark.parametrize(("told", "judged"), [
    ("how grainy the cream is", "product"), ("how much it pulls", "product"),
    ("how much drops into the tub", "product"),
    ("how far the foot slips in a cotton sock", "foot"), ("how cold the skin feels", "skin"),
    ("how much the wet skin squeaks", "wet skin"), ("how easily the comb glides", ""),
    ("how large a mark the forearm leaves", ""), ("force needed to squeeze the tube", ""),
])  # fmt: skip
def test_what_a_definition_says_it_of(told, judged):
    assert judged_of(tuple(told.split()), {"cream"}) == judged
