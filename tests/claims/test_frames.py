"""The harmless parts of a sentence crossed at random: who, verb, test, moment, comparator, base, opening.

The parts follow an inventory of ordinary phrases that was made without the grammar. A true sentence is supported
whatever parts it is made of; one with one part falsified never is. Common practice, no source.
"""

import random

import pytest

from tests.claims.test_fresh import judge_of

PANEL = {
    ("demo", "less greasy"): ("our hand cream", "our previous hand cream", "less greasy", "greasiness", 10),
    ("evening", "less sticky"): ("our evening body lotion", "our previous body lotion", "less tacky", "tackiness", 12),
    ("morning", "less shiny"): ("our face cream", "our previous face cream", "less shiny", "shine", 12),
}
PARTS = {
    "who": "the trained assessors|the panel members|{k} trained assessors|the sensory judges|our panellists"
    "|assessors trained for the task",
    "verb": "established that|recorded that|decided that|could tell that|returned the verdict that"
    "|came to the view that|settled on the view that|concluded that",
    "passive": "was recorded as|emerged as|came across as|turned out|was seen to be|ended up|was held to be",
    "test": "in a panel session|in our check with {k} trained assessors|in a sensory evaluation|in a product trial"
    "|in a comparative test|in our work with {k} trained assessors",
    "opener": "in fact|as it happens|all in all|for our part|worth knowing|we are pleased to report that|results are in"
    "|without exaggeration|the panel has spoken|their conclusion was that|what emerged was that|the scores show that"
    "|going by the scores|a quick word about {noun}|the test looked at {noun}|curious?|hear it from the panel",
    "after": "so the panel found|this statement rests on a test with {k} trained assessors"
    "|according to our trained panel|source: panel test with {k} trained assessors"
    "|the test was carried out with {k} trained assessors",
    "time": "two minutes after use|at the two-minute mark|once two minutes have passed|two minutes post application",
    "other": "than {previous}|compared with {previous}|than what we sold before|than the outgoing formula"
    "|than our earlier formula|than the generation before it",
}
FRAMES = (
    *("{opener}, {time}, {own} is {less} {other}", "{time}, {who} {verb} {own} is {less} {other}"),
    *("{test}, {own} is {less} {other} {time}", "{own} {passive} {less} {other} {time}; {after}"),
    *("{opener}: {time}, {own} {passive} {less} {other}", "{test}, {who} {verb} {own} is {less} {other} {time}"),
    *("{who} rated {own} {less} {other} {time}", "{test} {who} {verb}: {time}, {own} is {less} {other}"),
)
WRONG_PARTS = {
    "who": "dermatologists|independent experts|everyone|a hundred users|two dozen trained assessors",
    "verb": "could not tell that|never found that|proved that|returned the unanimous verdict that|doubted whether",
    "passive": "was clinically shown to be|did not emerge as|is proven|was never held to be",
    "test": "in a clinical check|in our work with dermatologists|in our road test|in home use|in all tests",
    "time": "at the two-hour mark|once five minutes have passed"
    "|by the time two minutes are up|20 minutes post application",
    "other": "than what others sell|than its successor|than ever|than any other cream|than our other creams",
    "less": "more {bare}|no less {bare}|much less {bare}|not {bare}|as {bare}|less waxy"
    "|less {bare} and less irritating",
}
ASKED = {
    ("evening", "smooth"): ("my skin feels smooth", "their skin feels smooth", 93, "their skin feels smoother"),
    ("evening", "absorbs"): (
        "the lotion absorbs quickly",
        "the lotion absorbs quickly",
        90,
        "the lotion absorbs at once",
    ),
    ("morning", "easy"): (
        "the cream is easy to spread",
        "the cream is easy to spread",
        94,
        "the cream is easy to absorb",
    ),
}
PEOPLE = "users|participants|home testers|consumer panellists|everyday users|test volunteers|people who used it"
SHARES = "{n} of 100 {people}|as many as {n} of the 100 {people}|a full {n} of 100 {people}|{n} per hundred {people}"
SHARES += "|{n} from a sample of 100 {people}|{n} in a consumer panel of 100"
WRONG_SHARES = (
    "{m} of 100 {people}|as many as {m} of the 100 {people}|a full {m} of 100 {people}|{n} in a group of 80 {people}"
)
SAID = "{share} agreed with the words “{asked}”|{share} endorsed the statement “{asked}”|{share} voted yes to “{asked}”"
SAID += (
    "|{share} put a tick beside “{asked}”|{share} agreed when asked whether {clause}|“{asked}” rang true with {share}"
)
SAID += "|there was agreement from {share}: “{asked}”|“{asked}” was true for {share}|“{asked}”: {share} were with us"
WRONG_SAID = "{share} did not agree that {clause}|{share} agreed that {wrong}|“{asked}” was not true for {share}"
WRONG_SAID += "|there was no agreement from {share}: “{asked}”|{share} tried it: {clause}|{share} were asked: {clause}"
WRONG_SAID += "|{share} carried out the test: {clause}|{share} were delighted that {clause}"
WHERE = "in our road test at home|in their own homes|in home use|we ran a home-use test|in short|for the record"


def compared(draw, *, wrong):
    """A sentence from the panel, one of its parts falsified where `wrong`."""
    key = draw.choice(sorted(PANEL))
    own, previous, less, noun, k = PANEL[key]
    parts = {part: draw.choice(ways.split("|")) for part, ways in PARTS.items()} | {"less": less}
    frame = draw.choice(FRAMES)
    if wrong:
        part = draw.choice([part for part in WRONG_PARTS if f"{{{part}}}" in frame])
        parts[part] = draw.choice(WRONG_PARTS[part].split("|"))
    known = {"own": own, "previous": previous, "noun": noun, "k": k, "bare": less.split()[-1]}
    return key, frame.format(**known | {part: words.format(**known) for part, words in parts.items()})


def agreed(draw, *, wrong):
    """A sentence from users, its share or what they did falsified where `wrong`."""
    key = draw.choice(sorted(ASKED))
    asked, clause, n, other = ASKED[key]
    of_share = wrong and draw.random() < 0.5
    shares, said = WRONG_SHARES if of_share else SHARES, WRONG_SAID if wrong and not of_share else SAID
    share = draw.choice(shares.split("|")).format(n=n, m=n + 2, people=draw.choice(PEOPLE.split("|")))
    words = draw.choice(said.split("|")).format(share=share, asked=asked, clause=clause, wrong=other)
    where = draw.choice(WHERE.split("|"))
    return key, f"{where}{' and' if where.startswith('we') else ','} {words}"


@pytest.mark.parametrize("made", [compared, agreed])
@pytest.mark.parametrize("wrong", [False, True])
def test_whatever_parts_a_sentence_is_made_of_only_what_is_true_is_supported(made, wrong):
    draw = random.Random(20250311)
    sentences = {made(draw, wrong=wrong) for _ in range(150)}
    assert len(sentences) > 130
    assert [sentence for key, sentence in sorted(sentences) if judge_of(*key)(sentence) == wrong] == []
