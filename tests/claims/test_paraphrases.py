"""One statement said in hundreds of ways: each way is supported, none once it is turned round or its facts are wrong.

The frames are written here, apart from the table of words; the words for a property come from that table. Common
practice, no source.
"""

import pytest

from panel.study.knowledge import shared_table
from tests.claims.claim_studies import words_judge
from tests.claims.test_fresh import PROTOTYPES, STATEMENTS, STUDIES

PREVIOUS = "our previous hand cream"
OTHERS = (PREVIOUS, "our old formula", "our last hand cream", "the former version", "its predecessor")
COMPARED = (
    *("{subject} {feels} {less} than {other}", "{subject} {feels} {less} compared with {other}"),
    *("compared with {other}, {subject} {feels} {less}", "{less} than {other} {time}", "{time}, {less} than {other}"),
    *("{time}, {subject} {feels} {less} than {other}", "a hand cream that is {less} than {other}"),
    *("it was found to be {less} than {other}", "rated {less} than {other} by a trained panel"),
    *(
        "trained assessors described it as {less} than {other}",
        "in a sensory test, {subject} {feels} {less} than {other}",
    ),
    *("according to our sensory panel, it is {less} than {other}", "we made it {less} than {other}"),
    *("set against {other}, it was {less}", "how does it feel? {less} than {other}", "now {less} than {other} was"),
    *("we compared it with {other}: it is {less}", "{less} than {other} did"),
)
SUBJECTS = (("it", "feels"), ("your hands", "feel"), ("hands", "felt"), ("our new hand cream", "is"))
TIMES = ("two minutes after use", "after 2 minutes", "2 minutes later", "just two minutes after application")
NOUNS = (
    *(
        "{less} {noun} than {other}",
        "{less} {noun} on your hands than with {other}",
        "{noun} is {lower} than with {other}",
    ),
    *("there is {less} {noun} than with {other}", "scored {lower} for {noun} than {other}"),
    *("a {fall} in {noun} compared with {other}", "trained assessors scored it {lower} for {noun} than {other}"),
)
ASKED = (
    *(
        "{share} of users {agreed} that {clause}",
        "{clause}, {agreed} {share} of users",
        "{clause}: {share} of users {agreed}",
    ),
    *("according to {share} of users, {clause}", "in a home-use test, {share} of users {agreed} {clause}"),
    *("of {base} users, {count} {agreed} that {clause}", "{count} of {base} users {agreed} {clause}"),
    *(
        "we asked {base} users: {share} {agreed} that {clause}",
        "{count} out of {base} users in our test {agreed} {clause}",
    ),
    *(
        "{base} users tried it, and {share} {agreed} that {clause}",
        "{share} of those who used it {agreed} that {clause}",
    ),
)
AGREED = ("agreed", "said", "found", "reported", "thought", "told us", "noticed", "confirmed")
CLAUSES = (
    *("it sinks in quickly", "the cream absorbs quickly", "it is quickly absorbed", "it was quick to soak in"),
    *("this hand cream soaks in fast", "it sinks into the skin quickly", "it is a fast-absorbing hand cream"),
)


def words_for(family, part):
    """Every word of the table for a property that stands alone."""
    table = shared_table("claim_words_en")
    own = table.loc[(table["family"] == family) & (table["part"] == part), "phrase"]
    return [word for word in own if word.replace("-", "").isalpha()]


def less_greasy(adjectives, nouns, *, less="less", lower="lower", fall="reduction", other=PREVIOUS, times=TIMES):
    """Every frame with every adjective or noun, subjects and times in turn."""
    for number, frame in enumerate(COMPARED):
        for place, adjective in enumerate(adjectives):
            for turn in range(len(SUBJECTS)):
                subject, feels = SUBJECTS[turn]
                time = times[(number + place + turn) % len(times)]
                yield frame.format(subject=subject, feels=feels, less=f"{less} {adjective}", other=other, time=time)
    for frame in NOUNS:
        for noun in nouns:
            yield frame.format(less=less, lower=lower, fall=fall, noun=noun, other=other)


def sinks_in(*, share="84 %", count="49", base="58", clauses=CLAUSES):
    """Every frame of what users said, with verbs and clauses in turn."""
    for number, frame in enumerate(ASKED):
        for place, clause in enumerate(clauses):
            for turn in range(3):
                agreed = AGREED[(number + place + turn) % len(AGREED)]
                yield frame.format(share=share, count=count, base=base, clause=clause, agreed=agreed)


@pytest.fixture(scope="module")
def judges():
    study = STUDIES["demo"]()
    return {
        name: words_judge(study, {"prototype": PROTOTYPES["demo"], **STATEMENTS["demo"][name]})
        for name in ("less greasy", "sinks in")
    }


def still(judge, sentences, *, holds):
    """The different sentences, how many there are, and those that are judged otherwise."""
    different = list(dict.fromkeys(sentences))
    return len(different), [sentence for sentence in different if judge(sentence) != holds]


GREASY = ["greasy", "oily"]
GREASE = ["greasiness", "grease", "oiliness"]


def test_the_words_of_the_table_are_there():
    assert set(GREASY) | set(GREASE) <= set(words_for("greasiness", "property"))


def test_every_way_to_say_less_greasy_is_supported(judges):
    sentences = [each for other in OTHERS for each in less_greasy(GREASY, GREASE, other=other)]
    count, wrong = still(judges["less greasy"], sentences, holds=True)
    assert count > 400
    assert wrong == []


@pytest.mark.parametrize(
    "turned",
    [
        {"less": "more", "lower": "higher", "fall": "rise"},
        {"less": "no less", "lower": "no lower", "fall": "rise"},
        {"less": "much less", "lower": "much lower", "fall": "huge drop"},
        {"less": "not less", "lower": "not lower", "fall": "lack of a drop"},
        {"other": "our previous foot cream"},
        {"other": "any other hand cream"},
        {"other": "P2"},
        {"other": "the leading hand cream"},
    ],
    ids=str,
)
def test_none_is_once_it_is_turned_round_or_compared_with_another(judges, turned):
    count, wrong = still(judges["less greasy"], less_greasy(GREASY[:1], GREASE[:1], **turned), holds=False)
    assert count > 40
    assert wrong == []


def test_none_is_at_a_time_that_was_not_tested(judges):
    times = ("two hours after use", "after 20 minutes", "immediately", "all day long")
    frames = [frame for frame in COMPARED if "{time}" in frame]
    sentences = [
        frame.format(subject="it", feels="feels", less="less greasy", other=PREVIOUS, time=time)
        for frame in frames
        for time in times
    ]
    assert still(judges["less greasy"], sentences, holds=False) == (len(sentences), [])


@pytest.mark.parametrize("family", ["stickiness", "softness", "waxiness", "lightness", "residue", "slipperiness"])
def test_none_is_of_another_property(judges, family):
    others = words_for(family, "property")
    assert still(judges["less greasy"], less_greasy(others, others), holds=False)[1] == []


def test_every_way_to_say_what_users_agreed_with_is_supported(judges):
    count, wrong = still(judges["sinks in"], sinks_in(), holds=True)
    assert count > 150
    assert wrong == []


@pytest.mark.parametrize(
    "turned",
    [
        {"share": "85 %", "count": "50"},
        {"share": "nine in ten", "count": "52"},
        {"share": "84 % to 90 %", "count": "40 to 49", "base": "59"},
        {"clauses": ["it sinks in slowly", "it does not sink in quickly", "it sinks in", "it sinks in more quickly"]},
        {"clauses": ["it sinks in quickly and softens", "it spreads quickly", "it never sinks in quickly"]},
        {"clauses": ["it sinks in instantly", "it sinks in quickly on dry skin", "nothing sinks in as quickly"]},
    ],
    ids=str,
)
def test_none_is_with_another_number_or_another_clause(judges, turned):
    wrong = still(judges["sinks in"], sinks_in(**turned), holds=False)[1]
    assert wrong == []
