"""Whatever is put into a sentence that stands: a word outside the grammar, a negation, the other way, a look-alike."""

import sys
import unicodedata

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from panel.claims.parts import SILENT, known_words, tokens_of
from panel.claims.study_names import names_of
from tests.claims.claim_studies import words_judge
from tests.claims.test_fresh import PROTOTYPES, STATEMENTS, STUDIES

STAND = {
    ("demo", "less greasy"): "less greasy than our previous hand cream",
    ("demo", "faster"): "sinks in faster than our previous hand cream",
    ("demo", "not greasy"): "89 % of users agreed that it does not leave their hands feeling greasy",
    ("demo", "no mark"): "75 % of users agreed that the cream left no mark on the paper they handled",
    ("evening", "as soft"): "leaves skin as soft as our previous body lotion",
    ("evening", "non-greasy"): "non-greasy 2 minutes after rubbing in",
    ("evening", "preferred"): "preferred by 68 % of users to our previous body lotion",
    ("everyday", "least greasy"): "the least greasy of our body butters",
    ("everyday", "unsurpassed"): "nothing in our range spreads more easily",
    ("everyday", "in a minute"): "sinks in within 60 seconds",
}
OTHER_WAY = (
    *(
        ("less", "more"),
        ("least", "most"),
        ("faster", "slower"),
        ("more easily", "less easily"),
        ("non-greasy", "greasy"),
    ),
    *(
        ("does not leave", "does leave"),
        ("left no mark", "left a mark"),
        ("as soft", "not as soft"),
        ("quickly", "slowly"),
    ),
    *(("68 %", "22 %"), ("within", "after"), ("nothing", "everything")),
)
NEGATIONS = (
    *("not", "never", "no", "n't", "without", "hardly", "barely", "scarcely", "neither", "cannot", "isn't", "nothing"),
    *("anything but", "far from", "fails to", "by no means", "no longer", "not even", "the opposite of", "non", "none"),
    *("except", "unless", "but not", "rarely", "seldom", "little", "few", "nobody", "wrongly", "not at all", "zero"),
)
LOOK_ALIKES = str.maketrans("aceiopsxy", "асеіорѕху")  # Latin to Cyrillic letters drawn alike
UNSEEN = [chr(code) for code in range(sys.maxunicode + 1) if unicodedata.category(chr(code)) == "Cf"]
WORDS = st.text(st.characters(categories=("L", "M", "N", "So", "Sm", "Sc")), min_size=1, max_size=12)


@pytest.fixture(scope="module")
def judges():
    studies = {name: make() for name, make in STUDIES.items()}
    found = {
        (name, statement): words_judge(studies[name], {"prototype": PROTOTYPES[name], **STATEMENTS[name][statement]})
        for name, statement in STAND
    }
    assert all(found[key](sentence) for key, sentence in STAND.items())
    return found


@pytest.fixture(scope="module")
def taken():
    """Every word that some table or study knows."""
    names = [names_of(make()) for make in STUDIES.values()]
    groups = (group for own in names for group in (own.prototypes, own.titles, own.ingredients, own.attributes))
    return SILENT | known_words() | {word for phrases in groups for phrase in phrases for word in phrase}


def put_in(sentence, added):
    """Put each of some words at its place, counted in letters: between words and inside of them."""
    for words, place in added:
        place %= len(sentence) + 1
        between = not sentence[max(0, place - 1) : place + 1].strip() or place in (0, len(sentence)) or place % 2
        place = len(" ".join(sentence[:place].split(" ")[:-1])) if between and place else place
        sentence = f"{sentence[:place]} {words} {sentence[place:]}"
    return sentence


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(sorted(STAND)), st.lists(st.tuples(WORDS, st.integers(0, 200)), min_size=1, max_size=2))
@example(("demo", "less greasy"), [("Ⅻ", 0)])
@example(("demo", "not greasy"), [("½", 4)])
@example(("everyday", "in a minute"), [("ﬁrm", 4), ("²", 9)])
def test_no_word_from_outside_leaves_a_sentence_supported(judges, taken, key, added):
    outside = [word for words, _ in added for word in tokens_of(words) if word not in taken]
    if outside:
        assert not judges[key](put_in(STAND[key], added))


@settings(max_examples=80, deadline=None)
@given(st.sampled_from(sorted(STAND)), WORDS, st.integers(0, 200), st.sampled_from(["wide", "bold", "capitals"]))
def test_however_a_word_from_outside_is_written(judges, taken, key, word, place, way):
    written = {
        "wide": "".join(chr(ord(sign) + 0xFEE0) if "!" <= sign <= "~" else sign for sign in word),
        "bold": "".join(chr(0x1D41A + ord(sign) - 97) if "a" <= sign <= "z" else sign for sign in word.lower()),
        "capitals": word.upper(),
    }[way]
    if any(token not in taken for token in tokens_of(written)):
        assert not judges[key](put_in(STAND[key], [(written, place)]))


@pytest.mark.parametrize("key", sorted(STAND))
def test_no_negation_anywhere_leaves_a_sentence_supported(judges, key):
    words = STAND[key].split()
    still = [
        sentence
        for negation in NEGATIONS
        for place in range(len(words) + 1)
        if judges[key](sentence := " ".join([*words[:place], negation, *words[place:]]))
    ]
    assert still == []


@pytest.mark.parametrize("key", sorted(STAND))
def test_the_other_way_round_is_never_supported(judges, key):
    turned = [STAND[key].replace(old, new) for old, new in OTHER_WAY if old in STAND[key]]
    assert turned
    assert [sentence for sentence in turned if judges[key](sentence)] == []


@pytest.mark.parametrize("key", sorted(STAND))
def test_no_letter_of_another_script_and_no_sign_nobody_sees(judges, key):
    sentence, own = STAND[key], UNSEEN[sorted(STAND).index(key) % 5 :: 5]  # each sign in two sentences
    alike = [
        sentence[:place] + sign.translate(LOOK_ALIKES) + sentence[place + 1 :] for place, sign in enumerate(sentence)
    ]
    unseen = [sentence[:place] + sign + sentence[place:] for place in (3, len(sentence) // 2) for sign in own]
    changed = [other for other in (*alike, *unseen) if other != sentence]
    assert len(changed) > len(own)
    assert [other for other in changed if judges[key](other)] == []


def test_the_quick_judge_of_words_says_what_the_slow_one_says(judges):
    from panel.claims.judge import judge_drafts
    from panel.claims.verdict import AS_WORDED

    key = "demo", "less greasy"
    sentences = [STAND[key], "less greasy", "greasier than our previous hand cream", f"{STAND[key]} and how"]
    statement = {"prototype": "P4", **STATEMENTS["demo"]["less greasy"]}
    drafts = judge_drafts(STUDIES["demo"](), [statement | {"claim": sentence} for sentence in sentences])
    assert [draft.verdict in AS_WORDED for draft in drafts] == [judges[key](sentence) for sentence in sentences]
