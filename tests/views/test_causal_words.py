"""No sentence says that something caused something unless the design earns it; common practice, no source.

Looked at are all sentences of the demo and of simulated studies: what is told, heard and written over tables. Words in
quotes are other people's, and a sentence that denies or asks states no cause.
"""

import re
from dataclasses import fields, is_dataclass, replace
from itertools import product

import pandas as pd
import pytest

from panel.answers import Answers
from panel.study.study import Study
from panel.views.told import Picture
from tests.blend_studies import hand_cream, scored
from tests.formula_studies import hand_cream_formulas
from tests.views.every_picture import demo_answers, everything_told

CAUSAL = re.compile(
    r"\b(gave|gives? (?:more|less)|causes|caused|(?:is|are) the cause|because of|due to|thanks to|owing to|"
    r"drives?|drove|driven|drivers?|raises?|raised|lowers|lowered|increase[sd]?|reduce[sd]?|improve[sd]?|"
    r"worsen(s|ed)?|leads? to|led to|result(s|ed)? in|makes it|made it|makes the|ma(?:de|kes?) \w+ (?:more|less)|"
    r"brings? about|brought about|did it|explain(?:s|ed by)|responsible for|influence[sd]?|affect(?:s|ed))\b"
)
DENIES = re.compile(r"\b(no|not|nothing|none|never|cannot|neither|whether|without|need not|may)\b", re.IGNORECASE)
QUOTED = re.compile(r"“[^”]*”")
OF_NUMBERS = re.compile(r"reduced to its quantities|lowers the scatter|gave a liking")  # no prototype does it


def sentences(told):
    """Every sentence that views makes for an answer, and every text the models put into it."""
    yield told.headline
    yield from told.mind
    items = [] if told.picture is None else [told.picture]
    items += [item for drawer in told.every_drawer() for item in drawer.items]
    for item in items:
        if isinstance(item, str):
            yield item
        elif isinstance(item, Picture):
            yield from (item.title, item.alt)
        else:
            yield told.shown(item).title
    yield from texts(told.result)


def texts(value):
    """Every text of a result: its method and notes, and the cells of its frames."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, pd.DataFrame):
        for _, column in value.select_dtypes(["object", "str"]).items():
            yield from texts(column.unique().tolist())
    elif isinstance(value, dict):
        yield from texts(list(value.values()))
    elif isinstance(value, tuple | list):
        for each in value:
            yield from texts(each)
    elif is_dataclass(value):
        yield from texts([getattr(value, field.name) for field in fields(value)])


def causal(told, claimed=()):
    """The sentences that state a cause, save what somebody claims word by word."""
    split = (
        one
        for text in dict.fromkeys(sentences(told))
        if text not in claimed
        for one in re.split(r"(?<=[.?:;]) ", OF_NUMBERS.sub("", QUOTED.sub("", text)))
    )
    return [one for one in split if CAUSAL.search(one) and not DENIES.search(one)]


def served(study: Study, batches: int) -> Study:
    """The study with an order that changes from person to person, and so many batches of each prototype."""
    scores = study.scores
    people, names = list(dict.fromkeys(scores["assessor"])), list(dict.fromkeys(scores["prototype"]))
    turn = [
        (names.index(name) + people.index(who)) % len(names) + 1.0
        for who, name in zip(scores["assessor"], scores["prototype"], strict=True)
    ]
    batch = [
        f"{name}-{people.index(who) % batches}"
        for who, name in zip(scores["assessor"], scores["prototype"], strict=True)
    ]
    made = pd.DataFrame([(f"{name}-{n}", name, "2025-03-03") for name, n in product(names, range(batches))])
    made.columns = ["batch", "prototype", "made_on"]
    tables = {**study.tables, "scores": scores.assign(position=turn, batch=batch), "batches": made}
    return replace(study, tables=tables)


EFFECTS = [[-15.0, -8.0, 7.0], [0.0, 12.0, 0.0]]
STUDIES = {
    "orders not known": hand_cream(EFFECTS),
    "one pair, one batch": served(hand_cream(EFFECTS, kept=[0, 1]), batches=1),
    "two batches, orders known": served(hand_cream(EFFECTS), batches=2),
}


@pytest.mark.parametrize("name", ["demo", *STUDIES])
def test_no_sentence_states_a_cause_that_the_design_does_not_earn(name):
    answers = demo_answers() if name == "demo" else Answers(STUDIES[name])
    told = everything_told(answers)
    assert len(told) > 4
    claimed = set(answers.study.table("claims").get("claim", []))
    found = {question: causal(each, claimed) for question, each in told.items()}
    earned = set(told["causes"].result.swaps["earned"]) == {True}
    assert earned == (name == "two batches, orders known")
    stated = found.pop("causes")
    assert bool(stated) == earned
    assert all(" gave " in sentence for sentence in stated)
    assert {question: lines for question, lines in found.items() if lines} == {}


def test_beside_a_swap_that_has_not_earned_it_no_swap_gave_anything():
    some = Answers(served(hand_cream(EFFECTS, kept=range(5)), batches=1))  # two swaps in two pairs, one in one
    assert some.causes.swaps["earned"].tolist() == [True, True, False]
    told = everything_told(some)["causes"]
    assert causal(told) == []
    assert " went with " in told.headline
    assert any(" went with " in sentence for sentence in told.mind)


def test_pairs_that_share_a_batch_do_not_earn_what_two_pairs_would():
    twice = {f"P{n}": hand_cream_formulas()[name] for n, name in enumerate(("P1", "P1", "P2"), 1)}
    study = served(scored(twice, [[50.0, 50.0, 35.0]]), batches=1)
    causes = Answers(study).causes
    assert causes.swaps[["n_pairs", "earned"]].to_numpy().tolist() == [[2, False]]


@pytest.mark.parametrize("words", ["Shea raises softness.", "P4 sinks in fast because of alkane.", "Alkane gave slip."])
def test_the_test_finds_what_it_looks_for(words):
    told = next(iter(everything_told(demo_answers()).values()))
    assert causal(replace(told, headline=words)) == [words]
    assert causal(replace(told, headline=f"These data cannot tell whether {words}")) == []
