"""A prototype whose name begins with our, the or new is named by that name, and by it without the article."""

import pytest

from panel.claims.study_names import names_of
from tests.claims.claim_studies import claim_row, panel_scores, seeded, study_with, words_judge


def judge_of(rival, own="", title="Lip balm"):
    scores = panel_scores({"X": {"P1": 8, "P2": 50}}, seeded(), replicates=3)
    study = study_with(
        (), scores=scores, names={"P1": own, "P2": rival}, facts={"title": title},
        attributes=[{"attribute": "X", "name": "stickiness", "direction": "less", "minutes": 2.0}],
    )  # fmt: skip
    return words_judge(study, claim_row("x", "superiority", attribute="X", versus="P2", direction="less"))


@pytest.mark.parametrize(
    ("rival", "than"),
    [
        ("our current lip balm", ("our current lip balm", "the current lip balm", "current lip balm")),
        ("Our Market Lip Balm", ("our market lip balm", "the market lip balm", "market lip balm")),
        ("the winter stick", ("the winter stick", "our winter stick")),
        ("our lip balm of 2024", ("our lip balm of 2024", "the lip balm of 2024")),
        ("our lip balm", ("our lip balm",)),
        ("The new lip balm", ("the new lip balm",)),
        ("new winter balm", ("our new winter balm", "the new winter balm", "new winter balm")),
    ],
)
def test_it_is_compared_with_under_its_name(rival, than):
    holds = judge_of(rival)
    assert [words for words in than if not holds(f"Less sticky than {words}")] == []
    for other in (
        "our previous lip balm",
        "other lip balms",
        "the leading lip balm",
        "lip balm",
        "it",
        "our summer stick",
    ):
        assert not holds(f"Less sticky than {other}"), other
    assert not holds("Less sticky")
    assert not holds(f"{than[0][:1].upper()}{than[0][1:]} is less sticky than P1")


@pytest.mark.parametrize("own", ["our new lip balm", "the new lip balm", "Our LB3"])
def test_its_own_name_may_begin_so(own):
    holds = judge_of("our current lip balm", own)
    assert holds(f"{own} is less sticky than our current lip balm")
    assert not holds(f"Our current lip balm is less sticky than {own}")
    assert not holds(f"Less sticky than {own}")


def test_an_article_is_left_out_of_no_name_that_any_product_has():
    holds = judge_of("our lip balm", "our new lip balm")
    assert not holds("Less sticky than lip balm")
    assert not holds("Less sticky than any lip balm")
    assert holds("This lip balm is less sticky than P2")


@pytest.mark.parametrize(("title", "kinds"), [("Fondant", {("fondant",)}), ("Fondant 2", set())])
def test_a_product_of_no_table_is_called_by_the_last_word_of_the_title(title, kinds):
    study = study_with(
        (), scores=panel_scores({"X": {"P1": 8, "P2": 50}}, seeded()), facts={"title": title},
        names={"P1": "summer fondant", "P2": "previous 2"},
    )  # fmt: skip
    assert names_of(study).product_types == kinds


@pytest.mark.parametrize(
    ("who", "said", "not_said"),
    [
        ("parents of a child of 6 to 30 months", "parents", "doctors"),
        ("parents of a child of 6 to 30 months", "parents", "grandparents"),
        ("adults who garden", "gardeners", "farmers"),
        ("women who swim", "swimmers", "runners"),
        ("cyclists", "cyclists", "patients"),
        ("", "users", "parents"),
    ],
)
def test_who_took_part_is_named_as_the_study_has_it(who, said, not_said):
    named = names_of(study_with((), facts={"users": {"who": who, "sex": "women and men"}})).people
    assert ((said,) in named) == bool(who)
    assert (not_said,) not in named


@pytest.mark.parametrize("who", ["people with eczema", "nurses"])
def test_who_is_ill_or_an_authority_is_not_named_by_the_study(who):
    assert names_of(study_with((), facts={"users": {"who": who}})).people == ()


@pytest.mark.parametrize("name", ["running off the fingers", "Runs off the fingers"])
def test_what_is_named_by_a_gerund_is_told_by_its_verb(name):
    scores = panel_scores({"X": {"P1": 8, "P2": 50}}, seeded(), replicates=3)
    study = study_with(
        (), scores=scores, names={"P1": "", "P2": "our old serum"}, facts={"title": "Night serum"},
        attributes=[{"attribute": "X", "name": name, "direction": "less"}],
    )  # fmt: skip
    holds = words_judge(study, claim_row("x", "superiority", attribute="X", versus="P2", direction="less"))
    assert holds("Runs off the fingers less than our old serum")
    assert holds("It runs off your fingers less than our old serum")
    for other in ("more than our old serum", "less than other serums", "less"):
        assert not holds(f"Runs off the fingers {other}"), other
    for place in ("pillow", "hands", "spoon"):
        assert not holds(f"Runs off the {place} less than our old serum"), place
    assert not holds("Fingers run off less than our old serum")


# Sorted by hand by what each kind of quantity allows: a time ends or lasts, an ease, a speed, a likeness, an amount.
OWN_WORDS = {
    "time that it keeps gliding": (
        "more", ("Keeps gliding longer", "Glides longer", "Keeps gliding for longer"),
        ("Keeps longer", "Glides more", "Keeps gliding less long", "Glides faster"),
    ),
    "time that it keeps": ("more", ("Keeps longer", "Keeps for longer"), ("Glides longer", "Keeps more")),
    "seconds it takes to foam up": (
        "less", ("Foams up faster", "Takes less time to foam up", "Foams up in less time"),
        ("Foams up more", "Foams up more slowly", "Takes more time to foam up", "Foams up longer"),
    ),
    "foaming time": ("less", ("Foams faster", "Less foaming time"), ("Foams less", "Foams longer", "Foams slower")),
    "ease of foaming": (
        "more", ("Foams more easily", "Easier to foam"), ("Foams more", "Foams faster", "Foams less easily"),
    ),
    "speed of foaming": (
        "more", ("Foams faster", "Foams more quickly"), ("Foams more easily", "Foams more", "Foams more slowly"),
    ),
    "sensation of silk": (
        "more", ("Feels more like silk", "More silk"), ("Feels less like silk", "Feels more like velvet"),
    ),
    "amount of foam": (
        "more", ("More foam", "Foams more", "A greater amount of foam"), ("Less foam", "Foams more easily"),
    ),
    "greasy roots when damp": (
        "less", ("Less greasy roots when damp", "Less oily roots when damp"),
        ("Less waxy roots when damp", "Oilier roots when damp", "Less greasy roots when dry"),
    ),
    "shine on wet hair": (
        "more", ("More shine on wet hair", "Shinier on wet hair", "More glossy on wet hair"),
        ("Less gloss on wet hair", "Duller on wet hair", "More softness on wet hair", "More shine on dry hair"),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", OWN_WORDS)
def test_what_kind_of_quantity_a_name_tells_decides_how_it_is_compared(name):
    direction, true, false = OWN_WORDS[name]
    means = {"P1": 50, "P2": 8} if direction == "more" else {"P1": 8, "P2": 50}
    study = study_with(
        (), scores=panel_scores({"X": means}, seeded(), replicates=3), names={"P1": "", "P2": "our old shampoo"},
        facts={"title": "Shampoo"}, attributes=[{"attribute": "X", "name": name, "direction": direction}],
    )  # fmt: skip
    holds = words_judge(study, claim_row("x", "superiority", attribute="X", versus="P2", direction=direction))
    assert [words for words in true if not holds(f"{words} than our old shampoo")] == []
    assert [words for words in false if holds(f"{words} than our old shampoo")] == []
    assert not holds(f"{true[0]} than other shampoos")
