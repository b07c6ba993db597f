"""A survey with one row per person becomes answers, one for each person, prototype and question."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import pytest

from panel.checks.all_checks import check_study
from panel.claims.materials import Materials
from panel.cli.studies import survey_of
from panel.errors import StudyError
from panel.models.consumers.agreement import count_agreement
from panel.models.consumers.choices import count_preferences
from panel.models.consumers.just_about_right import weigh_just_about_right
from panel.models.consumers.liking import weigh_liking
from panel.study.editing import put_block
from panel.study.raw_table import raw_file, raw_table
from panel.study.study import Study
from panel.study.survey import read_survey, survey_table, with_survey
from tests.studies import small_study
from tests.study.test_score_sheets import book


def exported(text: str):
    return raw_table(raw_file("survey.csv", text.encode()))


def asked_in(text: str, prototypes: tuple[str, ...] = ()) -> pd.DataFrame:
    return read_survey(exported(text), prototypes=prototypes)[1].drop(columns="noticed")


def answers_in(text: str, study: Study | None = None) -> pd.DataFrame:
    return with_survey(study or Study({}), *read_survey(exported(text))).table("answers")


HEADINGS = (
    "Respondent;Age;P1: overall liking;P1 - greasiness (JAR);P1 light;P2: overall liking;P2 - greasiness (JAR);P2 light"
)


def people(number: int = 30) -> str:
    rows = [f"R{n};{20 + n};{5 + n % 3};{3 + n % 2};{n % 2};{7 + n % 2};3;1" for n in range(number)]
    return "\n".join([HEADINGS, *rows])


def test_columns_say_what_they_ask_about_which_prototype():
    asked = asked_in(people()).set_index("column")
    assert asked["kind"].tolist() == ["person", "", *["liking", "just_about_right", "check_all"] * 2]
    assert asked.loc["P2 - greasiness (JAR)"].tolist() == ["P2", "greasiness (JAR)", "just_about_right"]
    own = asked_in("who;Cream liking;Gel liking\na;1;2", ("Gel", "Cream"))
    assert own["prototype"].tolist() == ["", "Cream", "Gel"]


def test_the_answers_are_those_of_the_file_and_can_be_analysed():
    table = exported(people())
    study = with_survey(Study({}), *read_survey(table))
    answers = study.table("answers")
    assert len(answers) == 30 * 6
    wide = pd.DataFrame(dict(zip(table.header, table.columns, strict=True)))
    liked = answers.loc[(answers["kind"] == "liking") & (answers["prototype"] == "P1")].set_index("assessor")["answer"]
    assert liked.to_dict() == dict(zip(wide["Respondent"], wide["P1: overall liking"], strict=True))
    means = weigh_liking(study).means.set_index("prototype")["estimate"]
    assert means["P2"] == pytest.approx(wide["P2: overall liking"].astype(float).mean())
    shares = weigh_just_about_right(study).shares
    assert set(shares["prototype"]) == {"P1", "P2"}


def below(*, answers: bool) -> str:
    """Return the same answers with a row for each person and product, or for each answer."""
    rows = []
    for n in range(30):
        for p, asked in (("P1", (5 + n % 3, 3 + n % 2, n % 2)), ("P2", (7 + n % 2, 3, 1))):
            named = list(zip(("overall liking", "greasiness (JAR)", "light"), asked, strict=True))
            rows += [f"R{n};{p};{q};{a}" for q, a in named] if answers else [f"R{n};{p};" + ";".join(map(str, asked))]
    heads = (
        "Respondent;Product;Question;Answer" if answers else "Respondent;Product;overall liking;greasiness (JAR);light"
    )
    return "\n".join([heads, *rows])


@pytest.mark.parametrize("answers", [False, True])
def test_a_row_for_each_person_and_product_gives_the_same_answers(answers: bool):
    table, asked = read_survey(exported(below(answers=answers)))
    assert (set(asked["prototype"]), table.lines[:2]) == ({"", "P1", "P2"}, [2, 8] if answers else [2, 4])
    found, expected = answers_in(below(answers=answers)), answers_in(people())
    parts = ["assessor", "prototype", "kind", "answer"]
    assert sorted(found[parts].itertuples(index=False)) == sorted(expected[parts].itertuples(index=False))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Product;liking\nP1;3\nP2;4\nP1;5", "has a row for each 'Product'. Say which column holds the person"),
        ("Person;Product;liking\nA;P1;3\nA;P2;4\nA;P1;5", "Line 4 of survey.csv is a second one of A for P1"),
        ("Person;Product;liking\nA;P1;3\n;P1;4\nB;P2;5", "Line 3 of survey.csv does not say whose it is"),
    ],
)
def test_rows_that_are_not_one_of_each_person_and_product_are_named(text: str, words: str):
    with pytest.raises(StudyError, match=words):
        read_survey(exported(text))


@pytest.mark.parametrize(
    ("change", "person", "words"),
    [
        ({"kind": ""}, "Respondent", "No column is read"),
        ({"prototype": ""}, "Respondent", "needs a prototype and a question"),
        ({"question": "one", "prototype": "P1", "kind": "liking"}, "Respondent", "asks what another one asks"),
        ({}, "P1 light", "does not name each person once"),
        ({}, "Age and Respondent", "cannot all say who answered"),
    ],
)
def test_what_cannot_be_read_is_said(change: dict[str, str], person: str, words: str):
    table, asked = read_survey(exported(people()))
    asked = asked.assign(**change)
    named = asked["column"].isin(person.split(" and "))
    asked.loc[named, "kind"] = "person"
    asked.loc[~named & (asked["kind"] == "person"), "kind"] = ""
    with pytest.raises(StudyError, match=words):
        with_survey(Study({}), table, asked)


def test_rows_are_numbered_where_nobody_is_named_and_blanks_are_no_answers():
    answers = answers_in("P1 liking;P2 liking\n7;\n6;5")
    assert list(zip(answers["assessor"], answers["answer"], strict=True)) == [
        ("C001", "7"),
        ("C002", "6"),
        ("C002", "5"),
    ]


def test_a_heading_may_name_the_prototype_in_words_beside_what_it_asks():
    """Signs between the two, and scales behind a question, as surveys are exported; common practice, no source."""
    heads = "ID;Crème (A) - Overall liking (1-9);Huile [C] - Overall liking (1-9);Crème (A) - Oily;Huile [C] - Oily;Age"
    asked = asked_in(f"{heads}\nx;7;8;0;1;30").set_index("column")
    assert asked["prototype"].tolist() == ["", "Crème (A)", "Huile [C]", "Crème (A)", "Huile [C]", ""]
    assert asked["question"].tolist()[1:5] == ["Overall liking", "Overall liking", "Oily", "Oily"]
    assert asked["kind"].tolist() == ["person", "liking", "liking", "check_all", "check_all", ""]
    turned = asked_in("ID;Liking: Crème;Liking: Huile\nx;7;8")
    assert turned["prototype"].tolist() == ["", "Crème", "Huile"]


def test_worded_just_about_right_answers_become_points():
    rows = [
        f"R{n};{words}" for n, words in enumerate(("Too little", "just right", "Too  much", "much too little", "4"))
    ]
    text = "\n".join(["ID;P1 oiliness (too little / just right / too much)", *rows])
    assert asked_in(text)["question"].iloc[1] == "oiliness"
    assert answers_in(text)["answer"].tolist() == ["2", "3", "4", "1", "4"]


LONG = "ID;Product;Liking;{}\nA;P1;7;{}\nA;P2;6;{}\nB;P1;5;{}\nB;P2;8;{}"


@pytest.mark.parametrize(
    ("heading", "cells", "kind", "answers"),
    [
        ("Soft", ("x", "", "X", ""), "check_all", ["1", "1", "0", "0"]),
        ("Soft", ("✓", "", "", ""), "check_all", ["1", "0", "0", "0"]),
        ("I would buy it", ("Yes", "no", "", "yes"), "agreement", ["4", "2", "4"]),  # no property that is ticked
        ("Silky", ("Yes", "no", "", "yes"), "check_all", ["1", "0", "1"]),
        ("Would you buy it?", ("Maybe", "no", "weiß nicht", "yes"), "agreement", ["3", "don't know", "2", "4"]),
        ("Overall liking (0-10)", ("1", "10", "0", "7"), "", []),
        (
            "Firmness (1 = too soft, 2 = just right, 3 = too firm)",
            ("1", "2", "3", "3"),
            "just_about_right",
            list("2434"),
        ),
        ("Firmness (just right in between)", ("1", "2", "3", "3"), "", []),  # of three points or of five?
        ("Tick: soft", ("Soft", "", "", "soft"), "check_all", ["1", "0", "0", "1"]),
        ("Is it light?", ("agree", "Strongly agree", "Disagree", "5 - strongly agree"), "agreement", list("4255")),
        ("Zieht ein", ("stimme eher zu", "teils/teils", "stimme gar nicht zu", "k.A."), "agreement", list("413")),
        ("Light (1 = strongly agree, 5 = strongly disagree)", ("1", "2", "4", "5"), "agreement", list("5241")),
        ("Opinion", ("Like slightly", "Like extremely", "Dislike very much", ""), "liking", list("629")),
        ("Feels like silk", ("1", "2", "4", "5"), "", []),  # no liking, though it says like
        ("I like it (1-7)", ("1", "2", "4", "7"), "", []),  # on another scale
        ("Light", ("agree", "somewhat agree", "disagree", "neutral"), "agreement", list("5143")),  # nobody strongly
        ("Light", ("agree", "rather agree", "somewhat agree", "neutral"), "", []),  # more answers than steps
        ("Rank of", ("1", "2", "2", "1"), "", []),
    ],
)
def test_cells_are_read_by_their_words_and_the_scale_of_the_heading(heading, cells, kind, answers):
    """The second cell is A's of P2, the third B's of P1. Blank boxes count only beside another answer of the person."""
    text = LONG.format(heading, *cells)
    asked = read_survey(exported(text))[1]
    row = asked[asked["column"] == f"P1: {heading}"].iloc[0]
    assert row["kind"] == kind
    assert kind or row["noticed"].startswith("not read")
    found = answers_in(text)
    assert found.loc[found["question"] == row["question"], "answer"].tolist() == answers


ADJECTIVES = [  # question, answers from too little to too much; the sides as common English and German have them
    ("Thickness", "Much too thin;A bit too thin;Just right;A bit too thick;Much too thick", "12345"),
    ("Consistency", "too runny;just right;too stiff", "234"),
    ("Softness", "far too firm;slightly too firm;about right;slightly too soft;far too soft", "12345"),
    ("Lightness", "too heavy;just right;not heavy enough", "234"),
    ("Konsistenz", "viel zu weich;etwas zu weich;genau richtig;etwas zu fest;viel zu fest", "12345"),
    ("Spread", "not nearly slippery enough;not slippery enough;just right;too slippery", "1234"),
    ("Shine", "way too matt;too matt;slightly too matt;ok;slightly too shiny;too shiny;way too shiny", "1223445"),
    ("Feel", "too slippery;just right;too draggy", ""),
    ("Feel", "too dry;just right;too thin", ""),
]


@pytest.mark.parametrize(("question", "words", "points"), ADJECTIVES)
def test_just_about_right_may_be_worded_with_the_adjective_of_the_thing(question: str, words: str, points: str):
    each = words.split(";")
    text = "\n".join(["ID;P1 liking;P1 " + question, *(f"R{n};7;{word}" for n, word in enumerate(each))])
    table, asked = read_survey(exported(text))
    found = with_survey(Study({}), table, asked).table("answers").query("kind == 'just_about_right'")["answer"]
    assert "".join(found) == points
    if not points:
        assert f"is {each[0]!r} or {each[-1]!r} too much?" in asked["noticed"].iloc[-1]
        chosen = asked.assign(kind=["person", "liking", "just_about_right"])
        with pytest.raises(StudyError, match="Name the question after what it is too much of"):
            with_survey(Study({}), table, chosen)
        named = chosen.assign(question=["", "liking", each[-1].removeprefix("too ") + "ness"])
        answers = with_survey(Study({}), table, named).table("answers")["answer"].tolist()
        assert answers[-3:] == ["2", "3", "4"]


def test_the_serving_order_is_the_place_of_each_answer():
    """Numbered samples are an order only where they are not the same for everybody."""
    text = "ID;Product;{};Liking\nA;P1;2;7\nA;P2;1;6\nB;P1;{};5\nB;P2;{};8"
    for heading, one, two in (("Order", 1, 2), ("Tasting order", 2, 1), ("Sample no.", 1, 2), ("Reihenfolge", 1, 2)):
        answers = answers_in(text.format(heading, one, two))
        assert answers["position"].tolist() == [2, one, 1, two]
    for heading, one, two in (
        ("Rank order", 1, 2),
        ("Order", 3, 1),
        ("Sample no.", 2, 1),
        ("Order of preference", 1, 2),
    ):
        assert answers_in(text.format(heading, one, two))["position"].isna().all()
    chosen = answers_in("ID;P1 order;P2 order;P1 liking;P2 liking;Preferred\nA;2;1;7;5;P1\nB;1;2;6;8;P2")
    assert chosen.query("kind == 'preference'")["position"].tolist() == [2, 1]


def test_numbers_that_may_be_the_order_of_use_are_asked_about():
    rows = [f"H{n},{of},{1 + (n + k) % 2},{5 + k}" for n in range(8) for k, of in enumerate(("P1", "P2"))]
    text = "\n".join(["Household,Product,Used,Overall liking (1-9)", *rows])
    asked = read_survey(exported(text))[1].set_index("question")
    told = "not read: 1 to 2, each once of a person; if it is the order of use, say Used=position"
    assert asked.loc["Used", "noticed"].unique().tolist() == [told]
    read = asked.reset_index().assign(kind=lambda each: each["kind"].where(each["question"] != "Used", "position"))
    table = read_survey(exported(text))[0]
    answers = with_survey(Study({}), table, read).table("answers")
    assert answers.groupby("assessor")["position"].agg(set).tolist() == [{1, 2}] * 8
    doses = read_survey(exported(text.replace(",2,", ",7,")))[1].set_index("question")
    assert doses.loc["Used", "noticed"].unique().tolist() == ["not read: numbers; say what they are"]


def test_numbers_under_a_statement_are_agreement_beside_statements_in_words():
    worded = "ID;P1 It spreads well;P1 It absorbs quickly;P1 Dose\nA;agree;4;2\nB;strongly {};2;3"
    assert asked_in(worded.format("disagree"))["kind"].tolist() == ["person", "agreement", "agreement", ""]
    asks = "ID;P1 Would you buy it?;P1 It absorbs quickly;P1 How greasy is it?;P1 The faint smell\nA;yes;4;{0};{0}"
    assert asked_in(asks.format("2"))["kind"].tolist() == ["person", "agreement", "", "", ""]
    worse = worded.replace("Dose", "The faint smell").format("disagree")
    assert asked_in(worse.replace("It absorbs quickly", "How greasy is it?"))["kind"].tolist()[2:] == ["", ""]
    alone = "ID;P1 It absorbs quickly;P1 liking\nA;4;7\nB;2;6"
    assert read_survey(exported(alone))[1]["noticed"].iloc[1] == "not read: numbers from 1 to 5; say what they are"
    for legend, kind in (("1 = strongly disagree, 5 = strongly agree", "agreement"), ("1 = strongly agree", "")):
        asked = asked_in(f"ID;P1 It is light ({legend});P1 It absorbs quickly\nA;4;5\nB;2;1")
        assert asked["kind"].tolist() == ["person", "agreement", kind]


def test_who_answered_nothing_about_a_prototype_is_told_and_the_file_is_kept():
    content = "ID;P1 soft;P1 rich;P2 soft;P2 rich\nA;x;;;x\nB;;;x;\nC;;x;x;"
    file = raw_file("survey.csv", content.encode())
    table, asked = read_survey(raw_table(file))
    assert table.notes[-1] == "Nothing is answered about P1 by B; nothing ticked is not counted there."
    study = with_survey(Study({}), table, asked, file)
    assert study.raw_files == (file,)
    assert with_survey(study, table, asked.assign(question=asked["question"] + " later"), file).raw_files == (file,)
    assert "B" not in set(study.table("answers").query("prototype == 'P1'")["assessor"])


def test_a_list_of_ticked_words_is_a_box_for_each():
    text = LONG.format("What is it? (all that apply)", "soft, light", "light", "greasy,  soft, my own words for it", "")
    text += "\nC;P1;4;Soft\nC;P2;5;soft, light, greasy"
    found = answers_in(text)
    ticked = found[found["answer"] == "1"].groupby("question")["assessor"].agg("".join).to_dict()
    assert ticked == {"soft": "ABCC", "light": "AAC", "greasy": "BC"}
    assert "my own words for it" in read_survey(exported(text))[0].notes[-1]


def test_which_of_two_is_softer_is_a_paired_comparison_and_no_preference(tmp_path):
    rows = ["1;F1;F2;F1;F1", "2;F2;F1;F2;no preference", "3;F1;F2;F1;F2"]
    file = tmp_path / "pairs.csv"
    file.write_text("\n".join(["Voter;Left;Right;Which side feels softer?;Which do you prefer?", *rows]))
    raw, table, asked, _ = survey_of(file, "", ["Which side feels softer?=paired"])
    answers = with_survey(Study({}), table, asked, raw).table("answers")
    told = answers.groupby("kind")["answer"].agg(list).to_dict()
    assert told == {"paired": ["F1", "F2", "F1"], "preference": ["F1", "no preference", "F2"]}
    assert {*answers.query("kind == 'paired'")["question"]} == {"Which side feels softer"}


def test_a_preference_between_two_is_read_and_among_three_is_said():
    text = "ID;P1 liking;P2 liking;Which do you prefer?\nA;7;5;P1\nB;6;8;no preference\nC;6;6;P2"
    found = answers_in(text).query("kind == 'preference'")
    assert found[["prototype", "versus", "answer"]].to_numpy().tolist() == [
        ["P1", "P2", "P1"],
        ["P1", "P2", "no preference"],
        ["P1", "P2", "P2"],
    ]
    asked = read_survey(exported("ID;P1 liking;P2 liking;P3 liking;Preferred\nA;7;5;4;P1\nB;6;8;7;P3"))[1]
    assert asked.iloc[-1][["kind", "noticed"]].tolist() == ["", "not read: more than two to choose from"]
    table, first = read_survey(exported("ID;P1 liking;Preferred\nA;7;P1"))
    with pytest.raises(StudyError, match="A preference is read between two prototypes"):
        with_survey(Study({}), table, first.assign(kind=["person", "liking", "preference"]))


def test_a_survey_is_added_to_a_study_with_scores_and_nobody_of_the_panel_is_a_consumer():
    panel = small_study()
    code = panel.scores["assessor"].iloc[0]
    study = with_survey(panel, *read_survey(exported(f"ID;P1 liking;P2 liking\n{code};7;5\nB77;6;8")))
    pd.testing.assert_frame_equal(study.scores, panel.scores)
    assert set(study.table("answers")["assessor"]) == {f"C{code}", "CB77"}
    kinds = study.table("assessors").set_index("assessor")["kind"]
    assert (kinds[f"C{code}"], kinds[code] == "consumer") == ("consumer", False)
    again = exported(f"ID;P1 liking;P2 liking\n{code};7;5\nC{code};7;5")
    two = with_survey(panel, *read_survey(exported(f"ID;P1 liking;P2 liking\nC{code};7;5\nQ;7;5")))
    assert f"C{code}" in set(two.table("answers")["assessor"])
    scored = Study({**panel.tables, "scores": panel.scores.assign(assessor=f"C{code}")}, panel.facts)
    with pytest.raises(StudyError, match="scored already in the panel"):
        with_survey(scored, *read_survey(again))


def test_a_prototype_may_be_called_by_a_word_for_it_and_a_letter():
    asked = asked_in("Person;Gefallen Creme A;Gefallen Creme B\n1;3;4\n2;5;6")
    assert asked[["prototype", "question"]].values.tolist()[1:] == [["Creme A", "Gefallen"], ["Creme B", "Gefallen"]]
    assert asked["kind"].tolist() == ["person", "liking", "liking"]


@pytest.mark.parametrize("none", ["keine", "no difference", "aucune"])
def test_the_two_to_choose_from_are_those_that_were_chosen(none: str):
    answers = answers_in(f"Consumer;Which do you prefer?\nC1;B\nC2;A\nC3;{none}\nC4;A\nC5;")
    assert answers[["prototype", "versus", "answer"]].values.tolist() == [
        ["A", "B", "B"],
        ["A", "B", "A"],
        ["A", "B", "no preference"],
        ["A", "B", "A"],
    ]
    asked = read_survey(exported("Consumer;Which do you prefer?\nC1;B\nC2;A\nC3;C"))[1]
    assert asked["noticed"].iloc[1] == "not read: more than two to choose from"


def test_questions_in_full_below_short_names_are_the_headings():
    text = "Id,Q1_P1,Q1_P2\nResponse Id,How much do you like it? - P1,How much do you like it? - P2\nR1,3,4\nR2,5,9"
    table, asked = read_survey(exported(text))
    assert asked[["prototype", "kind"]].values.tolist() == [["", "person"], ["P1", "liking"], ["P2", "liking"]]
    assert (list(table.lines), list(table.column("Response Id"))) == ([3, 4], ["R1", "R2"])
    assert "The headings were read from line 2, below: Id, Q1_P1 and Q1_P2." in table.notes


def test_ranks_are_no_liking_and_comments_no_boxes():
    table, asked = read_survey(exported("Consumer,Rank lotion A,Rank lotion B\nC1,1,2\nC2,2,1"))
    asked.loc[asked["prototype"] != "", "kind"] = "liking"
    with pytest.raises(StudyError, match="hold ranks, 1 the best; as points they would count the wrong way round"):
        with_survey(Study({}), table, asked)
    rows = [f"R{n};P{p};{n % 9 + 1};thick, nice" for n in range(6) for p in (1, 2)]
    asked = asked_in("\n".join(["Consommateur;Produit;Liking;Any comments?", *rows]))
    assert set(asked["kind"]) == {"person", "liking", ""}


OWN_WORDS = ("-", "-", "would buy", "would buy", "a bit like gel; ok", "", "-", "would buy", "nice", "nice", "-", "")


@pytest.mark.parametrize("heading", ["Anything else you want to tell us?", "Your thoughts, please"])
def test_what_people_write_again_and_again_is_no_list_of_boxes(heading: str):
    rows = [f"R{n}\tP{p}\t{n % 9 + 1}\t{OWN_WORDS[n]}" for n in range(len(OWN_WORDS)) for p in (1, 2)]
    asked = asked_in("\n".join([f"Your number\tProduct\tLiking\t{heading}", *rows]))
    assert asked["kind"].tolist() == ["person", "liking", "liking", "", ""]


def test_a_dash_is_no_word_that_was_ticked():
    rows = [f"R{n}\tP{p}\t{('soft; light', '-; soft', 'light', '-')[(n + p) % 4]}" for n in range(8) for p in (1, 2)]
    asked = asked_in("\n".join(["Respondent\tProduct\tWhich words fit?", *rows]))
    assert {*asked["question"]} - {"Respondent"} == {"soft", "light"}


@pytest.mark.parametrize("sign", [", ", ";", " / ", "/", "|", " + ", " \u00b7 ", "\u2022", " & "])
def test_ticked_words_are_parted_by_any_sign(sign):
    lists = ("soft; light", "greasy; soft", "light", "n/a")
    cells = [lists[(n + p) % 4].replace("; ", sign) for n in range(8) for p in (1, 2)]
    rows = [f"R{row // 2}\tP{row % 2 + 1}\t{cell}" for row, cell in enumerate(cells)]
    asked = asked_in("\n".join(["Respondent\tProduct\tWhich words fit?", *rows]))
    assert {*asked["question"]} >= {"soft", "light", "greasy"}


@pytest.mark.parametrize("words", [("7/9", "6/9", "7/9"), ("12/03", "12/04", "12/03"), ("P1/P2", "P2/P1", "P1/P2")])
def test_points_days_and_pairs_are_no_lists_of_ticked_words(words):
    rows = [f"R{n}\tP{p}\t{words[(n + p) % 3]}" for n in range(8) for p in (1, 2)]
    asked = asked_in("\n".join(["Respondent\tProduct\tWhat about it?", *rows]))
    assert "check_all" not in {*asked["kind"]}


def test_a_column_that_would_become_boxes_can_be_left_out(tmp_path):
    rows = [
        f"R{n}\tP{p}\t{n % 9 + 1}\t{('soft; light', 'soft', 'light')[(n + p) % 3]}" for n in range(6) for p in (1, 2)
    ]
    file = tmp_path / "form.csv"
    file.write_text("\n".join(["Respondent\tProduct\tLiking\tWhich words fit?", *rows]))
    _, _, asked, _ = survey_of(file, "", ["Which words fit?="])
    assert asked["kind"].tolist() == ["person", "liking", "liking"]


TYPED = [
    "The sunscreen goes well under my make-up",
    "It's non-greasy, isn't it",
    "Does it leave a 24-h after-feel",
    "SOFT & smooth",
    "soft (skin)",
]


@pytest.mark.parametrize("around", ["P1: {}.", "{} - P1", "{} [P1]", "{}? (P1)", "Q1. P1: {}"])
@pytest.mark.parametrize("words", TYPED)
def test_the_words_of_a_question_are_those_that_were_typed(words, around):
    heading = around.format(words)
    text = f'who,"{heading}","{heading.replace("P1", "P2")}"\na,agree,disagree\nb,strongly agree,agree'
    asked = asked_in(text)
    assert asked["question"].tolist()[1:] == [words, words]
    assert asked["prototype"].tolist()[1:] == ["P1", "P2"]


def test_a_question_that_the_study_calls_by_fewer_signs_keeps_that_name():
    first = with_survey(Study({}), *read_survey(exported("who;P1: takes off my make up\na;agree\nb;disagree")))
    again = exported("who;P1: Takes off my make-up.\nc;agree\nd;agree")
    answers = with_survey(first, *read_survey(again)).table("answers")
    assert list(answers["question"].unique()) == ["takes off my make up"]
    assert len(answers) == 4


YES = "who,Product,My lips feel soft.,One application lasts me the whole morning.,Greasy\n" + "\n".join(
    f"R{n},P{1 + n % 2},{'yes' if n % 3 else 'no'},{'no' if n % 4 else 'yes'},{'yes' if n % 5 else 'no'}"
    for n in range(12)
)


def test_sentences_answered_by_yes_and_no_are_read_alike_and_words_to_tick_are_not():
    table, asked = read_survey(exported(YES))
    kinds = dict(zip(asked["question"], asked["kind"], strict=True))
    assert kinds["My lips feel soft"] == kinds["One application lasts me the whole morning"] == "agreement"
    assert kinds["Greasy"] == "check_all"
    assert asked.loc[asked["question"].str.startswith("One"), "noticed"].str.contains("yes 4, as beside it").all()
    ends = {
        row["question"]: (row["low_end"], row["high_end"])
        for row in with_survey(Study({}), table, asked).facts["questions"]
    }
    assert set(ends.values()) == {("no", "yes")}
    five = exported("who;P1: It feels soft\na;agree\nb;strongly disagree\nc;disagree")
    (stated,) = with_survey(Study({}), *read_survey(five)).facts["questions"]
    assert stated == {"question": "It feels soft", "kind": "agreement", "agrees": "5"}  # five points, no yes and no


def test_a_survey_of_one_product_says_which_and_what_to_do_if_nothing_does():
    text = "Participant;Age;It feels soft.;Lasts for 24 h.\nH1;19;agree;agree\nH2;30;disagree;agree"
    with pytest.raises(StudyError, match=r"names no prototype\. Say which one all of it is about \(product=NAME\)"):
        with_survey(Study({}), *read_survey(exported(text.replace("24 h", "long"))))
    table, asked = read_survey(exported(text), about="SL-214")
    answers = with_survey(Study({}), table, asked).table("answers")
    assert set(answers["prototype"]) == {"SL-214"}
    assert list(answers["assessor"].unique()) == ["H1", "H2"]
    assert set(answers["question"]) == {"It feels soft", "Lasts for 24 h"}


@pytest.mark.parametrize(
    ("header", "cells"),
    [
        ("Tried first,Tried second", lambda one, two: f"{one},{two}"),
        ("Zuerst probiert (erste),Zweite probiert", lambda one, two: f"{one},{two}"),
        ("First product", lambda one, _: one),
    ],
)
def test_columns_that_name_what_was_tried_first_give_the_order(header, cells):
    orders = [("A", "B"), ("B", "A"), ("B", "A"), ("A", "B")]
    rows = [f"R{n},{cells(*order)},{'A' if n else 'B'}" for n, order in enumerate(orders)]
    text = "\n".join([f"Respondent,{header},Which do you prefer?", *rows])
    answers = with_survey(Study({}), *read_survey(exported(text))).table("answers").set_index("assessor")
    for n, order in enumerate(orders):
        row = answers.loc[f"R{n}"]
        assert row["position"] == 1 + order.index(row["prototype"])


FOUR = ("BR-2", "BR-4", "BR-6", "BR-9")
TRIED = [
    ("BR-2", "BR-9", "BR-9"),
    ("BR-9", "BR-2", "br-9"),
    ("BR-2", "BR-9", "no preference"),
    ("BR-9", "BR-2", "BR-2"),
]


def chosen(header: str, last: Sequence[str] = tuple(row[2] for row in TRIED)) -> str:
    rows = [
        ",".join([f"G{n}", *row[: header.count(",") - 1], end])
        for n, (row, end) in enumerate(zip(TRIED, last, strict=True))
    ]
    return "\n".join([header, *rows])


@pytest.mark.parametrize("order", ["Tried first,Tried second", "First,Second", "Sample 1,Sample 2", "1st bar,2nd bar"])
@pytest.mark.parametrize("question", ["Which bar would you rather have in your shed?", "Which one goes home?", "Pick"])
@pytest.mark.parametrize("known", [FOUR, ()])
def test_a_column_of_prototypes_or_none_is_a_preference_whatever_it_asks(order, question, known):
    last = [row[2].upper() if "b" in row[2] else row[2] for row in TRIED] if not known else [row[2] for row in TRIED]
    table, asked = read_survey(exported(chosen(f"Gardener no.,{order},{question}", last)), prototypes=known)
    answers = with_survey(Study({}), table, asked).table("answers")
    assert answers[["prototype", "versus", "kind"]].drop_duplicates().to_numpy().tolist() == [
        ["BR-2", "BR-9", "preference"]
    ]
    assert answers["answer"].tolist() == ["BR-9", "BR-9", "no preference", "BR-2"]
    assert answers["position"].tolist() == [1, 2, 1, 2]


@pytest.mark.parametrize("question", ["Which bar is stickier?", "Which do you prefer least?", "The odd one"])
def test_what_names_one_of_two_for_another_reason_is_no_preference(question: str):
    asked = read_survey(exported(chosen(f"Gardener no.,First,Second,{question}")), prototypes=FOUR)[1]
    assert "preference" not in asked["kind"].tolist()
    assert asked["noticed"].iloc[3] == "not read: names one of them; say preference if that is asked, or paired"


def test_the_product_of_a_row_is_no_preference_where_something_else_is_asked():
    for heading in ("Bar", "Which mask did you use?"):
        text = f"Respondent,{heading},It feels soft.\nA,BR-2,yes\nB,BR-9,no\nC,BR-9,yes"
        assert {*answers_of(text, FOUR)["kind"]} == {"agreement"}
    two = "Respondent,Liking - BR-2,Liking - BR-9,Goes home\nA,6,7,BR-9\nB,5,7,neither\nC,5,7,BR-2"
    assert answers_of(two)["kind"].tolist() == ["liking"] * 6 + ["preference"] * 3
    points = "Respondent,Liking - 1,Liking - 2,It is soft (agreement) - 1\nA,1,2,1\nB,2,2,1\nC,1,1,2"
    assert "preference" not in read_survey(exported(points), prototypes=("1", "2"))[1]["kind"].tolist()


@pytest.mark.parametrize("ticks", ["01", ["no", "yes"], ["", "x"], ["", "itself"]])
@pytest.mark.parametrize("asks", ["Which words fit this mask?", "Which of these words describes the mask?"])
def test_boxes_below_a_question_about_a_product_are_no_products(ticks: Sequence[str], asks: str):
    terms = ("silky", "sticky", "cold")
    of = {
        (f"R{n}", f"{asks} {term}"): (n * 5 + k) % 3 == 0 for n in range(9) for k, term in enumerate(terms)
    }  # the judge
    lines = [["Respondent", *(f"{asks} {term}" for term in terms)]]
    for n in range(9):
        cells = [ticks[of[f"R{n}", head]] for head in lines[0][1:]]
        lines.append(
            [
                f"R{n}",
                *(cell.replace("itself", head.split()[-1]) for cell, head in zip(cells, lines[0][1:], strict=True)),
            ]
        )
    table, asked = read_survey(exported("\n".join(map(",".join, lines))), prototypes=FOUR, about="BR-2")
    answers = with_survey(Study({}), table, asked).table("answers")
    assert {*answers["prototype"]} == {"BR-2"}
    assert {*answers["kind"]} == {"check_all"}
    for row in answers.to_dict("records"):
        assert (row["answer"] == "1") == of[row["assessor"], row["question"]]


@pytest.mark.parametrize("heading", ["Which mask was it?", "Which of the two masks?", "Which number has your mask?"])
def test_products_called_0_and_1_are_those_of_a_column_that_asks_which(heading: str):
    text = f"Respondent,{heading},It feels soft.\nA,0,yes\nA,1,no\nB,0,yes\nB,1,yes"
    assert {*answers_of(text, ("0", "1"))["prototype"]} == {"0", "1"}


def test_a_product_is_the_one_of_its_very_spelling_where_the_study_has_two():
    for known in (("Br-2", "BR-2", "BR-9"), ("BR-2", "Br-2", "BR-9")):
        text = "Respondent,Bar,It feels soft.\nA,BR-2,yes\nA,br-9,no\nB,BR-2,yes\nB,BR-9,yes"
        assert {*answers_of(text, known)["prototype"]} == {"BR-2", "BR-9"}
        with pytest.raises(StudyError, match="'bR-2' in 'Bar' may be B"):
            answers_of(text.replace("B,BR-2", "B,bR-2"), known)


def test_one_word_of_several_for_a_product_is_no_product():
    text = "Respondent,Which words fit the mask?,Sex\nA,silky,f\nB,cold,m\nC,silky,m\nD,silky,f"
    assert {*read_survey(exported(text), prototypes=FOUR)[1]["prototype"]} == {""}


def test_the_order_is_kept_where_somebody_says_that_it_is_a_preference(tmp_path):
    file = tmp_path / "shed.csv"
    file.write_text(chosen("Gardener no.,Tried first,Tried second,Shed", ["BR-9", "BR-9", "hm", "BR-2"]))
    raw, table, asked, _ = survey_of(file, "", ["Shed=preference"], FOUR)
    answers = with_survey(Study({}), table, asked, raw).table("answers")
    assert answers["position"].tolist() == [1, 2, 1, 2]


def answers_of(text: str, known: tuple[str, ...] = ()) -> pd.DataFrame:
    return with_survey(Study({}), *read_survey(exported(text), prototypes=known)).table("answers")


def test_places_of_what_was_preferred_are_no_order_of_trying():
    text = "Respondent,First choice,Which do you prefer?\nR1,A,A\nR2,B,B\nR3,A,A"
    assert "position" not in read_survey(exported(text))[1]["kind"].tolist()


def below_each_other(heading: str, spelled: str = "DS-14") -> str:
    rows = [f"N{n},{of},{1 + (n + k) % 2},{5 + k}" for n in range(9) for k, of in enumerate(("DS-10", spelled))]
    return "\n".join([f"Respondent,{heading},Order,Overall liking (1-9)", *rows])


@pytest.mark.parametrize("heading", ["Stick", "Product", "What they had", "Colour of the cap"])
def test_a_column_of_prototypes_of_the_study_is_the_product_whatever_its_heading(heading):
    table, asked = read_survey(exported(below_each_other(heading, "ds-14 ")), prototypes=("DS-10", "DS-14", "DS-3"))
    answers = with_survey(Study({}), table, asked).table("answers")
    assert answers.groupby(["prototype", "answer"]).size().to_dict() == {("DS-10", "5"): 9, ("DS-14", "6"): 9}
    assert set(answers["assessor"]) == {f"N{n}" for n in range(9)}
    told = " ".join(table.notes)
    assert (f"{heading!r} was read as the column of the product" in told) == (heading != "Product")
    assert f"Read as the study spells it, in {heading!r}: ds-14." in told


def test_what_was_chosen_and_figures_are_no_products():
    chosen = exported("Respondent,First stick,Which did you like best?\nA,P1,P2\nB,P2,P2\nC,P1,P1\nD,P2,P1")
    assert "person" in read_survey(chosen, prototypes=("P1", "P2"))[1]["kind"].tolist()
    assert "" not in read_survey(chosen, prototypes=("P1", "P2"))[0].header
    assert len(read_survey(chosen, prototypes=("P1", "P2"))[0].lines) == 4
    points = exported("Respondent,It feels soft (agreement)\nA,1\nB,2\nC,1\nD,2")
    assert read_survey(points, prototypes=("1", "2"), about="2")[1]["kind"].tolist() == ["person", "agreement"]


def test_all_of_it_is_not_about_one_where_a_column_names_others_and_nobody_is_invented():
    text = exported(below_each_other("Stick"))
    with pytest.raises(StudyError, match="'Stick' names DS-10, so not all is about DS-14"):
        read_survey(text, prototypes=("DS-10", "DS-14"), about="DS-14")
    with pytest.raises(StudyError, match=r"18 rows of 9 people \(Respondent\), and no column says what each row is"):
        read_survey(exported(below_each_other("Shop")), about="DS-14")


@pytest.mark.parametrize("heading", ["Product", "Milk", "Tube", ""])
def test_a_list_of_ticked_words_is_read_alike_whatever_the_product_is_called(heading):
    rows = [f"{n};{{}}LM3;agree;{'soft, light' if n % 2 else 'soft, greasy'}" for n in range(8)]
    rows = [row.format("") if heading else row.replace("{}LM3;", "") for row in rows]
    first = f"Tester no.;{heading};" if heading else "Tester no.;"
    text = exported("\n".join([f"{first}It is light.;It feels (tick all that fit)", *rows]))
    table, asked = read_survey(text, prototypes=("LM0", "LM3"), about="" if heading else "LM3")
    ticked = with_survey(Study({}), table, asked).table("answers").query("kind == 'check_all' and answer == '1'")
    counts = ticked.groupby(["prototype", "question"]).size().to_dict()
    assert counts == {("LM3", "soft"): 8, ("LM3", "light"): 4, ("LM3", "greasy"): 4}


@pytest.mark.parametrize("turned", [False, True])
def test_a_sheet_of_lines_that_say_what_numbers_stand_for_is_used(turned: bool):
    words = ["strongly disagree", "disagree", "neither", "agree", "strongly agree"]
    points = [*range(5, 0, -1)] if turned else [*range(1, 6)]
    key = [[f"{point} = {word}"] for point, word in zip(points, words, strict=True)]
    rows = [["Man", "Oil", "The razor glides over my skin."], *([f"M{n}", "PB9", str(1 + n % 5)] for n in range(10))]
    table, asked = read_survey(
        survey_table(raw_file(*book(answers=rows, key=key, Notes=[["half-face"]]))), prototypes=("PB9",)
    )
    answers = with_survey(Study({}), table, asked).table("answers").set_index("assessor")["answer"].astype(int)
    assert answers.to_dict() == {f"M{n}": 1 + 4 - n % 5 if turned else 1 + n % 5 for n in range(10)}
    told = " ".join(table.notes)
    assert "was read from the sheet 'key'" in told
    assert "Other sheets were not read: Notes." in told


# Which end of bare numbers agrees: the words of the file, of a key beside it or of the study say so, else it is told.

NUMBERS = "Person;P1: It spreads well\n" + "\n".join(f"R{n};{5 if n < 48 else 1}" for n in range(60))
SPREADS = {"question": "It spreads well", "kind": "agreement"}


def counted_as_agreed(study: Study) -> int:
    by_question = count_agreement(study).statements.set_index("question")["agreed"]
    materials = Materials(study, ())
    assert materials.agreed("P1", "It spreads well").agreed == by_question["It spreads well"]
    return int(by_question["It spreads well"])


def agreement_findings(study: Study) -> list[str]:
    return [each.kind for each in check_study(study) if each.kind.startswith("agreement")]


def in_numbers(facts: dict[str, object] | None = None, text: str = NUMBERS) -> Study:
    table, asked = read_survey(exported(text))
    asked.loc[asked["question"] == "It spreads well", "kind"] = "agreement"
    return with_survey(Study({}, facts or {}), table, asked)


@pytest.mark.parametrize("before", [True, False])
@pytest.mark.parametrize(
    ("ends", "agreed", "found"),
    [
        (("agree completely", "disagree completely"), 12, ["agreement_from_one"]),
        (("stimme gar nicht zu", "stimme voll zu"), 48, []),
        (("no", "yes"), 48, []),
        (("", ""), 48, ["agreement_not_stated"]),
        (("left", "right"), 48, ["agreement_not_stated"]),
        (("agree", "strongly agree"), 48, ["agreement_not_stated"]),
    ],
)
def test_bare_numbers_are_counted_as_the_ends_say(before, ends, agreed, found):
    block = pd.DataFrame([{"question": "It spreads well", "low_end": ends[0], "high_end": ends[1]}])
    stated = {"questions": [SPREADS | {"low_end": ends[0], "high_end": ends[1]}]}
    study = in_numbers(stated) if before else put_block(in_numbers(), "questions", block)
    assert counted_as_agreed(study) == agreed
    assert agreement_findings(study) == found
    read = "1 read as full agreement" if agreed == 12 else "5 read as full agreement"
    counted = count_agreement(study)
    assert read in " ".join((counted.method, *counted.agrees))
    assert bool(counted.agrees) == (agreed == 12 or bool(found))  # to mind only where it is not as usual, or not said


def test_numbers_are_counted_as_a_sheet_beside_them_says():
    rows = [row.split(";") for row in NUMBERS.splitlines()]
    turned = ["agree completely", "rather agree", "neither nor", "rather disagree", "disagree completely"]
    for words, agreed in ((turned, 12), (turned[::-1], 48)):
        key = [[str(point), word] for point, word in enumerate(words, 1)]
        table, asked = read_survey(survey_table(raw_file(*book(answers=rows, key=[*key, ["all tried P1"]]))))
        assert asked["kind"].tolist() == ["person", "agreement"]
        study = with_survey(Study({}), table, asked)
        assert (counted_as_agreed(study), agreement_findings(study)) == (agreed, [])
    lines = [["1 = agree completely, 5 = disagree completely"], *rows]
    with pytest.raises(StudyError, match="the sheet 'key' something else"):
        survey_table(raw_file(*book(answers=lines, key=[["1", "disagree completely"], ["5", "agree completely"]])))


def test_what_came_in_words_is_not_turned_by_ends_written_later_and_they_are_contradicted():
    rows = "\n".join(f"R{n};{'strongly agree' if n < 48 else 'disagree'}" for n in range(60))
    study = in_numbers(text=f"Person;P1: It spreads well\n{rows}")
    ends = pd.DataFrame([{"question": "It spreads well", "low_end": "strongly agree", "high_end": "disagree"}])
    study = put_block(study, "questions", ends)
    assert len(study.facts["questions"]) == 1
    assert (counted_as_agreed(study), agreement_findings(study)) == (48, ["agreement_contradicted"])


def test_an_answer_is_told_with_its_apostrophe():
    said = ("agree", "can\u2019t say", "agree", "can't say")
    rows = "\n".join(f"R{n};{said[n % 4]}" for n in range(12))
    asked = read_survey(exported(f"Person;P1: It feels soft\n{rows}"))[1]
    told = asked.loc[asked["kind"] == "agreement", "noticed"].iloc[0]
    assert "can't say" in told
    assert "can t" not in told


AGREED = ["strongly agree", "agree", "neither", "disagree", "strongly disagree"]  # the points of the key are turned
KEYS = {
    "lines": [[f"{point} = {words}"] for point, words in enumerate(AGREED, 1)],
    "lines with a colon": [[f"{point}: {words}"] for point, words in enumerate(AGREED, 1)],
    "a cell each, and a note": [*([str(point), words] for point, words in enumerate(AGREED, 1)), ["half-face"]],
    "one line": [["1 = strongly agree, 5 = strongly disagree"]],
    "a table": [["Code", "Meaning"], *([str(point), words] for point, words in enumerate(AGREED, 1))],
}


@pytest.mark.parametrize("way", [*KEYS, "above the table"])
def test_a_key_of_agreement_is_read_whatever_its_layout_and_says_nothing_of_ages_and_liking(way: str):
    heads = ["Man", "Oil", "Age group", "Session", "It glides well.", "Overall liking (1-9)"]
    rows = [heads, *([f"M{n}", "PB9", str(1 + n % 5), "1", str(1 + n % 5), str(1 + n % 4)] for n in range(10))]
    sheets = {"answers": rows, "key": KEYS[way]} if way in KEYS else {"answers": [*KEYS["one line"], *rows]}
    table, asked = read_survey(survey_table(raw_file(*book(**sheets))), prototypes=("PB9",))
    assert asked["column"].tolist()[1] == "PB9: Age group"
    assert asked["kind"].tolist()[3:] == ["agreement", "liking"]
    answers = with_survey(Study({}), table, asked).table("answers")
    glides = answers.loc[answers["kind"] == "agreement"].set_index("assessor")["answer"].astype(int)
    assert glides.to_dict() == {f"M{n}": 5 - n % 5 for n in range(10)}
    assert sorted(answers.loc[answers["kind"] == "liking", "answer"].unique()) == ["1", "2", "3", "4"]
    told = " ".join(table.notes)
    assert "not read" not in told
    assert "was read from the sheet 'key'" in told or (way not in KEYS and "was read from beside the table" in told)


AGREE_FIRST = [f"{point} = {words}" for point, words in enumerate(AGREED, 1)]
AGREE_LAST = [f"{point} = {words}" for point, words in enumerate(AGREED[::-1], 1)]
TICKED = ["0 = not selected", "1 = selected", "9 = no answer"]
BOOKS = {  # of items 1 and 2, of item 3, of the box
    "items by span": ["Q7_1 to Q7_2", *AGREE_FIRST, "Q8", *AGREE_LAST, "Q9_1", *TICKED],
    "items short": ["Items Q7_1-2:", *AGREE_FIRST, "Q8: dull", *AGREE_LAST, "Q9_1", *TICKED],
    "items one by one": ["Code book of May", "Q7_1, Q7_2", *AGREE_FIRST, "Q8", *AGREE_LAST, "Q9_1", *TICKED],
    "in their words": ["It dries fast.", *AGREE_FIRST, "it stays clear", *AGREE_FIRST, "It looks dull.", *AGREE_LAST],
    "with others": ["Q7_1 \u2013 Q7_2", *AGREE_FIRST, "Q31", "1 = north", "2 = south", "Q8", *AGREE_LAST],
}


def items_with(book_: list[str], heads: int = 2) -> pd.DataFrame:
    short = ["ID", "Q7_1", "Q7_2", "Q8", "Q9_1"]
    rows = [short, ["Interview", "It dries fast.", "It stays clear.", "It looks dull.", "Chosen word: glassy"]][-heads:]
    rows += [[f"M{n}", str(1 + n % 5), str(1 + n % 3), str(1 + n % 4), "019"[n % 3]] for n in range(20)]
    file = raw_file(*book(answers=rows, Codes=[[line] for line in book_]))
    table, asked = read_survey(survey_table(file), about="LQ-4")
    answers = with_survey(Study({}), table, asked).table("answers").assign(notes=" ".join(table.notes))
    return answers.assign(n=answers["assessor"].str[1:].astype(int))


@pytest.mark.parametrize("way", [*BOOKS])
def test_each_item_of_a_codebook_is_read_by_the_lines_below_its_name(way: str):
    answers = items_with(BOOKS[way])
    assert {*answers.loc[answers["kind"] == "agreement", "question"]} == {
        "It dries fast",
        "It stays clear",
        "It looks dull",
    }
    for row in answers[answers["kind"] == "agreement"].to_dict("records"):
        typed = 1 + row["n"] % {"It dries fast": 5, "It stays clear": 3, "It looks dull": 4}[row["question"]]
        assert row["answer"] == str(typed if row["question"] == "It looks dull" else 6 - typed)
    if "Q9_1" in BOOKS[way]:
        boxes = answers[answers["kind"] == "check_all"]
        assert [*boxes["answer"]] == ["01"[n % 3] for n in boxes["n"]]
        assert {*boxes["n"] % 3} == {0, 1}
    assert "was read from the sheet 'Codes'" in answers["notes"].iloc[0]


def test_lines_below_a_title_or_a_note_are_one_scale_of_all_statements():
    lines = ["Scale of the statements", *AGREE_FIRST[:3], "(half the face)", *AGREE_FIRST[3:]]
    answers = items_with(lines)
    dries = answers[answers["question"] == "It dries fast"]
    assert [*dries["answer"]] == [str(5 - n % 5) for n in dries["n"]]


def test_two_scales_of_no_item_of_the_table_are_not_mixed_and_the_sheet_is_told():
    rows = [["ID", "It dries fast."], *([f"M{n}", str(1 + n % 5)] for n in range(20))]
    lines = ["Q31", *AGREE_FIRST, "Q32", *AGREE_LAST]
    table = survey_table(raw_file(*book(answers=rows, Codes=[[line] for line in lines])))
    assert table.header == ("ID", "It dries fast.")
    assert table.notes[-1] == "Other sheets were not read: Codes ('1 = strongly agree' stands there)."


def test_a_scale_with_its_highest_step_first_is_asked_about(tmp_path):
    file = tmp_path / "boats.csv"
    file.write_text("ID,Varnish,It dries fast.\nA,LQ-4,1\nB,LQ-4,5")
    with pytest.raises(StudyError, match="'5-1' does not say which end agrees"):
        survey_of(file, "", ["It dries fast.=dry=agreement 5-1"], ("LQ-4",))


def test_a_key_of_liking_names_no_session():
    words = ["dislike extremely", "dislike", "neither like nor dislike", "like", "like extremely"]
    key = [[f"{point} = {said}"] for point, said in zip((1, 3, 5, 7, 9), words, strict=True)]
    rows = [
        ["Man", "Session", "P1: liking"],
        *([f"M{n}", str(1 + 2 * (n % 2)), str(1 + 2 * (n % 5))] for n in range(10)),
    ]
    table = survey_table(raw_file(*book(answers=rows, key=key)))
    assert set(table.column("Session")) == {"1", "3"}
    assert table.header[2].startswith("P1: liking (1=dislike extremely, 9=like extremely")


TITLED_HEAD = ["Respondent", "Product", "Overall liking (1-9)", "Softness (JAR)", "I would buy it"]
TITLED_ROWS = [
    [f"R{n}", p, str(3 + (n * 7 + k) % 6), str(1 + (n + k) % 5), ["Yes", "No"][(n + k) % 2]]
    for n in range(1, 13)
    for k, p in enumerate(("P1", "P2"))
]


@pytest.mark.parametrize("sep", [",", ";", "\t"])
@pytest.mark.parametrize(
    "above",
    [
        ["Hand cream survey March 2026"],
        ["Hand cream survey March 2026", ""],
        ["Hand cream survey March 2026////"],
        ["Hand cream survey, March 2026", "Site: North; n = 12", ""],
        ['"Hand cream survey, March 2026"', "", ""],
        ["Exported/2026-03-14///", "////"],
        ["", ""],
    ],
)
def test_a_survey_is_read_below_its_title_as_without_one(sep: str, above: list[str]):
    lines = [sep.join(cells) for cells in (TITLED_HEAD, *TITLED_ROWS)]
    plain = survey_table(raw_file("s.csv", "\n".join(lines).encode()))
    titles = [line.replace("/", sep) for line in above]
    below = survey_table(raw_file("s.csv", "\n".join([*titles, *lines]).encode()))
    assert below.header == plain.header
    assert [*map(list, below.columns)] == [*map(list, plain.columns)]
    assert list(below.lines) == [line + len(above) for line in plain.lines]
    pd.testing.assert_frame_equal(read_survey(below)[1], read_survey(plain)[1])
    said = [note for note in below.notes if note.startswith("Above the headings in line")]
    assert len(said) == any(above)


POINTS = {
    "zeros behind whole numbers": (
        ("4.0", "9.0", "1.0"),
        "overall liking (1-9)",
        "Whole numbers were read without the",
    ),
    "what they are out of": (
        ("4/9", "9 / 9", "1/9"),
        "overall liking",
        "What the number is out of was read as its scale",
    ),
    "from the middle": (("0", "+2", "-2"), "thickness (JAR)", "Points from -2 to 2 became points of 1 to 5"),
    "from the middle, named": (
        ("0", "2", "\u22122"),
        "thickness (-2 = much too thin, 0 = just right, 2 = much too thick)",
        "Points from -2 to 2 became points of 1 to 5",
    ),
}


@pytest.mark.parametrize("written", POINTS)
def test_points_that_are_written_otherwise_are_read_and_that_is_said(written: str):
    cells, asks, said = POINTS[written]
    meant = {"4.0": "4", "9.0": "9", "1.0": "1", "4/9": "4", "9 / 9": "9", "1/9": "1"}
    meant |= {"0": "3", "+2": "5", "2": "5", "-2": "1", "\u22122": "1"}
    rows = [["who", "product", asks], *([f"R{n}", name, cells[n % 3]] for n in range(12) for name in ("P1", "P2"))]
    table, asked = read_survey(exported("\n".join(map(";".join, rows))))
    assert any(note.startswith(said) for note in table.notes)
    answers = with_survey(Study({}), table, asked).table("answers")
    assert answers.set_index(["assessor", "prototype"])["answer"].to_dict() == {
        (f"R{n}", name): meant[cells[n % 3]] for n in range(12) for name in ("P1", "P2")
    }


def test_points_above_the_middle_alone_are_read_as_those_of_the_column_beside_that_has_both_sides():
    rows = ["who;P1 thickness (JAR);P2 thickness (JAR)", *(f"R{n};{n % 3};{n % 3 - 2}" for n in range(12))]
    answers = answers_in("\n".join(rows)).set_index(["assessor", "prototype"])["answer"]
    assert [answers[f"R{n}", "P1"] for n in range(3)] == ["3", "4", "5"]
    assert [answers[f"R{n}", "P2"] for n in range(3)] == ["1", "2", "3"]


def test_a_number_for_no_answer_does_not_take_the_column_with_it():
    """99 and 999 lie far beyond the scale: no point of another one; the answer is not understood, and that is said."""
    rows = ["who;product;overall liking", *(f"R{n};{name};{n % 9 + 1}" for n in range(18) for name in ("P1", "P2"))]
    rows[3], rows[8], rows[11] = "R1;P1;999", "R3;P2;999", "R5;P1;999"
    asked = read_survey(exported("\n".join(rows)))[1]
    liking = asked.loc[asked["prototype"] != ""]
    assert {*liking["kind"]} == {"liking"}
    assert {*liking["noticed"]} == {"3 of 36 answers not understood: 999"}
    ten = [row[:-1] + "10" if row.endswith(";9") else row for row in rows]
    assert {*read_survey(exported("\n".join(ten)))[1]["noticed"]} >= {
        "not read: from 1 to 10; liking is read from 1 to 9"
    }


@pytest.mark.parametrize(
    "text",
    [
        "who,Test,Product,Reference,Right?\na,triangle,P1,P2,1\nb,Triangle test,P1,P2,0",
        "who;Duo-Trio;Answer\na;1;yes\nb;1;no",
    ],
)
def test_answers_of_a_test_for_differences_are_no_ticked_boxes(text: str):
    with pytest.raises(StudyError, match=r"names a test for differences, and its answers are no survey\. Bring"):
        read_survey(exported(text))


VOTES = {("a", "P2"): "P1", ("a", "P3"): "P3", ("b", "P2"): "P2", ("b", "P3"): "P3", ("c", "P2"): "no preference"}


@pytest.mark.parametrize(
    "text",
    [
        "who;First;Second;Preferred\na;P1;P2;P1\na;P1;P3;P3\nb;P2;P1;P2\nb;P3;P1;P3\nc;P1;P2;no preference",
        "who;Left cream;Right cream;Vote;Age\na;P1;P2;p1 ;3\na;P1;P3;P3;3\nb;P2;P1;P2;4\nb;P3;P1;P3;4\nc;P1;P2;none;5",
        "who;Pair;Which is better?\na;P1/P2;P1\na;P1/P3;P3\nb;P2/P1;P2\nb;P1/P3;P3\nc;P1/P2;the same",
        "who;Pair;Vote\na;P1 vs. P2;P1\na;P1 vs. P3;P3\nb;P2 vs. P1;P2\nb;P1 vs. P3;P3\nc;P1 vs. P2;both",
        "who;P1 or P2?;P1 or P3?\na;P1;P3\nb;P2;P3\nc;no preference;",
        "who;Which is better, P1 or P2?;Which is better, P1 or P3?\na;P1;P3\nb;P2;P3\nc;neither;n/a",
        "who,P1 - P2,P1 - P3,Remarks\na,P1,P3,\nb,P2,p3,nice\nc,none,,",
    ],
)
def test_votes_about_several_pairs_of_one_file_are_those_of_each_pair(text: str):
    answers = answers_in(text)
    assert len(answers[["prototype", "kind", "question"]].drop_duplicates()) == 1
    assert (answers["prototype"][0], answers["kind"][0]) == ("P1", "preference")
    assert answers.set_index(["assessor", "versus"])["answer"].to_dict() == VOTES
    first = "First" in text
    places = [1, 2, 1, 1, 2] if first else [None] * len(VOTES)
    assert answers["position"].astype(object).where(answers["position"].notna(), None).tolist() == places


def test_votes_of_pairs_count_as_those_of_a_file_of_each_pair():
    head, rows = "who;First;Second;Preferred", ["a;P1;P2;P1", "a;P1;P3;P3", "b;P2;P1;P2", "b;P3;P1;P3", "c;P1;P2;none"]
    apart = Study({})
    for other in ("P2", "P3"):
        rows_of = "\n".join([head, *(row for row in rows if f"{other};" in row)])
        apart = with_survey(apart, *read_survey(exported(rows_of)))
    together = with_survey(Study({}), *read_survey(exported("\n".join([head, *rows]))))
    columns = ["assessor", "prototype", "versus", "question", "answer", "position"]
    for counted_ in (apart, together):
        assert len(count_preferences(counted_).counts) == len(("P2", "P3"))
    pd.testing.assert_frame_equal(together.table("answers")[columns], apart.table("answers")[columns])


def test_names_of_several_pairs_are_spelled_as_they_are_most_often_and_numbers_of_the_place_are_no_names():
    rows = ["who;Pair;Choice", "a;A/B;a", "a;A/C;C", "b;A/B;B", "b;B/C;B"]
    answers = answers_in("\n".join(rows))
    assert answers[["prototype", "versus", "answer"]].to_numpy().tolist() == [
        *(["A", "B", "A"], ["A", "B", "B"], ["A", "C", "C"], ["B", "C", "B"])
    ]
    with pytest.raises(StudyError, match="no column says what each row is about"):
        read_survey(exported("who;Pair;Preferred\na;P1/P2;1\na;P1/P3;2\nb;P1/P2;2\nb;P1/P3;1"))
    with pytest.raises(StudyError, match="no column says what each row is about"):
        read_survey(exported("who;Pair;Preferred\na;1/2;1\na;2/3;2\nb;1/2;2\nb;1/3;1"))


def test_a_vote_for_none_of_its_pair_and_a_second_vote_are_refused_with_their_line():
    rows = ["who;First;Second;Preferred", *(f"R{n};P1;P{2 + n % 2};P1" for n in range(9))]
    with pytest.raises(StudyError, match=r"Line 11 of survey\.csv: 'P4' below 'Preferred' is none of the two"):
        read_survey(exported("\n".join([*rows, "R9;P1;P2;P4"])))
    with pytest.raises(StudyError, match=r"Line 11 of survey\.csv is a second one of R1 for P1 against P3"):
        read_survey(exported("\n".join([*rows, "R1;P3;P1;P3"])))
    with pytest.raises(StudyError, match=r"Line 11 of survey\.csv does not say whose it is"):
        read_survey(exported("\n".join([*rows, ";P3;P1;P3"])))


def test_what_is_told_of_two_and_is_no_choice_is_not_read_from_them():
    text = "who;Pair;Preferred;Sure?\na;P1/P2;P1;yes\na;P1/P3;P3;no\nb;P1/P2;P2;no\nb;P1/P3;P1;yes"
    table, asked = read_survey(exported(text))
    told = asked.loc[asked["column"] == "P1 against P2: Sure?", ["kind", "noticed"]]
    assert told.to_numpy().tolist() == [["", "not read: is about two; only which one is chosen is read"]]
    assert any("each pair was read by itself: P1 against P2 and P1 against P3" in note for note in table.notes)
    with pytest.raises(StudyError, match=r"P1 against P2: Sure.* is about two: only a preference or a paired"):
        with_survey(Study({}), table, asked.assign(kind=asked["kind"].mask(asked["question"] == "Sure", "check_all")))


def test_of_which_pair_softer_is_said_is_a_paired_comparison_of_each(tmp_path):
    file = tmp_path / "pairs.csv"
    file.write_text("who;Pair;Softer\na;P1/P2;P1\na;P1/P3;P3\nb;P1/P2;P2\nb;P1/P3;P1")
    raw, table, asked, _ = survey_of(file, "", ["Softer=paired"])
    answers = with_survey(Study({}), table, asked, raw).table("answers")
    assert {*answers["kind"]} == {"paired"}
    assert answers["versus"].tolist() == ["P2", "P2", "P3", "P3"]
    assert answers["answer"].tolist() == ["P1", "P2", "P3", "P1"]
