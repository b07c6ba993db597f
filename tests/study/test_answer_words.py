"""Answers of agreement are read whatever their words, and none falls out of the base: counts are drawn beforehand."""

from __future__ import annotations

import random

import pandas as pd
import pytest

from panel.checks.all_checks import check_study
from panel.claims.judge import judge_claims
from panel.claims.materials import Materials
from panel.errors import ModelError, StudyError
from panel.models.consumers.agreement import count_agreement
from panel.study.editing import put_block
from panel.study.raw_table import raw_file, raw_table
from panel.study.score_sheets import score_table
from panel.study.scores_import import guess_layout, read_scores
from panel.study.scores_used import agreement_words, question_words
from panel.study.study import RawFile, Study
from panel.study.survey import as_said, read_survey, with_survey

STATES = "It leaves no film"


def drawn(steps: int, n: int = 84, seed: int = 7, low: int = 1) -> list[int]:
    """Return steps of a scale that people answered, each of them at least once."""
    lot = random.Random(seed)
    return [*range(low, low + steps), *(lot.randrange(low, low + steps) for _ in range(n - steps))]


def survey(columns: dict[str, list[str]], kind: str = "") -> tuple[Study, dict[str, str]]:
    """Return a study made of a survey about P1, all of a `kind` where it is said, and what was noticed of each."""
    rows = zip(*columns.values(), strict=True)
    lines = ["\t".join(["Person", *(f"P1: {head}" for head in columns)])]
    lines += ["\t".join([f"R{n}", *row]) for n, row in enumerate(rows)]
    table, asked = read_survey(raw_table(raw_file("homes.csv", "\n".join(lines).encode())))
    for place, row in enumerate(asked.to_dict("records")):
        if kind and row["kind"] != "person":
            asked.loc[place, ["kind", "noticed"]] = kind, as_said(table, kind, row["column"], row["question"])
    return with_survey(Study({}), table, asked), dict(asked[["question", "noticed"]].to_numpy().tolist())


def of_all(study: Study, question: str = STATES) -> tuple[int, int]:
    """Return how many agreed of how many: as claims count them, and as the page of agreement does."""
    rows = count_agreement(study).statements.set_index("question")
    told = Materials(study, ()).agreed("P1", question)
    assert (told.agreed, told.base) == (rows.loc[question, "agreed"], rows.loc[question, "base"])
    assert told.unread == rows.loc[question, "strange"]
    return told.agreed, told.base


STRANGE = ["by no means", "sooner not", "hm, well", "kind of so", "just so"]
KNOWN = ["do not agree at all", "disagree", "undecided", "agree", "fully agree"]


@pytest.mark.parametrize("written", ["{} = {}", "{} - {}", "{1} ({0})", "{}: {}"])
@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("strange", [[1], [0, 2], [3], [0, 1, 2]])
def test_a_number_beside_each_answer_is_its_step_whatever_the_words(written: str, turned: bool, strange: list[int]):
    words = [STRANGE[at] if at in strange else KNOWN[at] for at in range(5)]
    points = drawn(5)
    cells = [written.format(6 - at if turned else at, words[at - 1]) for at in points]
    study, noticed = survey({STATES: cells})
    assert of_all(study) == (sum(at > 3 for at in points), len(points))
    assert study.table("answers")["answer"].tolist() == [str(at) for at in points]
    assert "not understood" not in noticed[STATES]
    assert not any(each.kind == "answers_not_understood" for each in check_study(study))


def test_numbers_with_words_at_the_ends_alone_are_turned_as_these_say():
    points = drawn(5)
    words = {1: "1 (agree fully)", 5: "5 (do not agree at all)"}
    study, _ = survey({STATES: [words.get(at, str(at)) for at in points]})
    assert of_all(study) == (sum(at < 3 for at in points), len(points))


def test_a_number_that_the_words_contradict_is_no_step():
    words = ["1 disagree", "2 agree", "3 fully agree", "4 neither", "5 sooner not"]
    points = drawn(5)
    study, noticed = survey({STATES: [words[at - 1] for at in points]}, "agreement")
    lost = points.count(5)
    assert of_all(study) == (points.count(2) + points.count(3), len(points))
    assert f"{lost} of {len(points)} answers not understood: 5 sooner not" in noticed[STATES]
    assert [each.message for each in check_study(study) if each.kind == "answers_not_understood"] == [
        f"{lost} of {len(points)} answers to “{STATES}” were not understood: '5 sooner not' ({lost}). They count as "
        "not agreeing."
    ]


@pytest.mark.parametrize(
    "words",
    [
        "I fully disagree;I rather disagree;I am undecided;I rather agree;I fully agree",
        "I don't agree at all;I don't agree;I'm undecided;I tend to agree;I agree completely",
        "disagree entirely;disagree a little;neither;agree a bit;agree very much",
        "does not apply at all;rather does not apply;neither;rather applies;applies fully",
        "Ich stimme gar nicht zu;Ich stimme eher nicht zu;Ich bin unentschieden;Ich stimme eher zu;Ich stimme voll zu",
        "Je ne suis pas du tout d'accord;Je ne suis plutôt pas d'accord;neutre;Je suis plutôt d'accord;"
        "Je suis entièrement d'accord",
    ],
)
def test_a_pronoun_before_and_an_adverb_beside_are_read(words: str):
    """Ordinary ways to word five steps; from memory."""
    points = drawn(5)
    study, _ = survey({STATES: [words.split(";")[at - 1] for at in points]})
    assert study.table("answers")["answer"].tolist() == [str(at) for at in points]


def test_not_fully_is_no_full_disagreement():
    points = drawn(5)
    words = ["disagree", "rather disagree", "do not fully agree", "agree", "never agree entirely"]
    study, _ = survey({STATES: [words[at - 1] for at in points]}, "agreement")
    assert of_all(study) == (points.count(4), len(points))
    assert count_agreement(study).statements["strange"].iloc[0] == points.count(3) + points.count(5)


@pytest.mark.parametrize("middle", ["partly", "so-so", "in between", "depends on the day"])
@pytest.mark.parametrize("place", [1, 3, 5])
def test_the_one_answer_that_is_left_is_the_free_step_of_five(middle: str, place: int):
    words = ["disagree strongly", "disagree", "neither", "agree", "agree strongly"]
    words[place - 1] = middle if place == 3 else f"{words[2 if place == 3 else 1 if place < 3 else 3]} from the heart"
    points = drawn(5)
    beside = [at for at in points if at != 2][:40] + [3] * 44  # nobody answered one of the steps there
    study, noticed = survey(
        {STATES: [words[at - 1] for at in points], "It smells fresh": [words[at - 1] for at in beside[:84]]}
    )
    answers = study.table("answers").groupby("question", sort=False)["answer"].agg(list)
    assert answers[STATES] == [str(at) for at in points]
    assert answers["It smells fresh"] == [str(at) for at in beside[:84]]
    assert f"{words[place - 1].replace('-', ' ')} {place}" in noticed[STATES]


def test_a_remark_in_place_of_agreement_is_no_step():
    words = ["disagree strongly", "disagree", "neither", "agree", "see the note"]
    points = drawn(5)
    study, _ = survey({STATES: [words[at - 1] for at in points]}, "agreement")
    assert of_all(study) == (points.count(4), len(points))


def test_where_most_answers_are_not_understood_nothing_is_told():
    words = ["gar net", "net so", "passt scho", "passt", "passt genau"]
    points = drawn(5)
    study, noticed = survey({STATES: [words[at - 1] for at in points]}, "agreement")
    assert "84 of 84 answers not understood" in noticed[STATES]
    with pytest.raises(ModelError, match="None of the 84 agreement answers"):
        count_agreement(study)
    claim = {"claim": "leaves no film", "kind": "agreement", "prototype": "P1", "question": STATES, "bar": "50"}
    study = put_block(study, "claims", pd.DataFrame([claim]))
    judged = judge_claims(study)
    assert judged.claims["verdict"].iloc[0] == "cannot tell yet"
    assert "84 of 84 answers to 'It leaves no film' were not understood" in judged.needs.to_string()
    found = next(each for each in check_study(study) if each.kind == "answers_not_understood")
    assert found.message.endswith("So it cannot be told how many agree.")


SCALES = [  # lowest step, number of steps
    *((1, steps) for steps in (3, 4, 6, 7, 9, 10)),
    *((0, steps) for steps in (5, 7, 11)),
]


@pytest.mark.parametrize(("low", "steps"), SCALES)
@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("told", ["in the cells", "behind the question"])
def test_a_scale_of_other_steps_is_kept_and_those_beyond_the_middle_agree(low, steps, turned, told):
    points, high = drawn(steps, low=low), low + steps - 1
    ends = {low: "disagree entirely", high: "agree entirely"}
    number = {at: low + high - at if turned else at for at in range(low, high + 1)}
    if told == "in the cells":
        head, cells = STATES, [f"{number[at]} ({ends[at]})" if at in ends else str(number[at]) for at in points]
    else:
        marks = ", ".join(f"{number[at]} = {ends[at]}" for at in ends)
        head, cells = f"{STATES} ({marks})", [str(number[at]) for at in points]
    study, _ = survey({head: cells})
    assert of_all(study) == (sum(2 * at > low + high for at in points), len(points))
    assert study.table("answers")["answer"].tolist() == [str(number[at]) for at in points]
    stated = next(row for row in study.facts["questions"] if row["question"] == STATES)
    assert (stated["scale"], stated["agrees"]) == (f"{low}-{high}", str(number[high]))
    beyond = sorted(number[at] for at in number if 2 * at > low + high)
    words = f"{' to '.join(map(str, dict.fromkeys((beyond[0], beyond[-1]))))} of {low} to {high}"
    assert words in count_agreement(study).method
    assert not any(each.kind.startswith(("agreement", "answers")) and not turned for each in check_study(study))


def test_fewer_steps_may_be_said_to_agree_and_never_more():
    points = drawn(7)
    words = {1: "1 (disagree entirely)", 7: "7 (agree entirely)"}
    study, _ = survey({STATES: [words.get(at, str(at)) for at in points]})
    for least, counted in (("6", 6), ("5", 5), ("4", 5), ("1", 5)):
        block = pd.DataFrame([{"question": STATES, "kind": "agreement", "agrees_from": least}])
        stricter = put_block(study, "questions", block)
        assert of_all(stricter) == (sum(at >= counted for at in points), len(points))
        unused = [each for each in check_study(stricter) if each.kind == "agreement_from_unused"]
        assert bool(unused) == (int(least) < 5)


def test_seven_degrees_in_words_alone_are_seven_steps():
    words = [
        "disagree strongly",
        "disagree",
        "disagree slightly",
        "neither",
        "agree slightly",
        "agree",
        "agree strongly",
    ]
    points = drawn(7)
    study, _ = survey({STATES: [words[at - 1] for at in points]})
    assert study.table("answers")["answer"].tolist() == [str(at) for at in points]
    assert of_all(study) == (sum(at > 4 for at in points), len(points))


def test_numbers_up_to_seven_without_words_are_no_scale_of_five():
    points = drawn(7)
    study_of = lambda head: survey({head: list(map(str, points)), "liking": ["5"] * len(points)})  # noqa: E731
    told = study_of("I agree that it leaves no film")[1]["I agree that it leaves no film"]
    assert told == "not read: numbers from 1 to 7; write the scale behind it, (1-7), or say agreement 1-7"


def test_who_says_which_point_agrees_is_told_as_it_is():
    words = ["strongly disagree", "disagree", "neither", "agree", "strongly agree"]
    study, _ = survey({STATES: [words[at - 1] for at in drawn(5)]})
    assert agreement_words(study)[0] == (
        "5 read as full agreement, as its answers in words or the table of questions say."
    )


LEADS = [
    "How far do you agree? [{}]",
    "Please rate: {}",
    "Q5_{n}: {}",
    "Q{n}. {}",
    "To what extent do you agree that ... {}",
]


@pytest.mark.parametrize("lead", [*LEADS, "P1: " + LEADS[0]])
@pytest.mark.parametrize("named", ["", "film"])
def test_what_stands_before_all_statements_of_a_form_is_no_part_of_them(lead: str, named: str):
    asked = [
        "It leaves no film on the skin.",
        "My pores look less visible.",
        "The tube is easy to open with wet hands.",
    ]
    heads = [lead.format(words, n=n) for n, words in enumerate(asked, 1)]
    rows = [
        f"R{n};" + ";".join(["agree", "strongly agree", "disagree"][(n + k) % 3] for k in range(3)) for n in range(30)
    ]
    text = "\n".join([";".join(["Person", *heads]), *rows])
    table, read = read_survey(raw_table(raw_file("form.csv", text.encode())),
                              about="P1")  # fmt: skip
    assert read["question"].tolist()[1:] == [words.rstrip(".") for words in asked]
    assert set(read["kind"][1:]) == {"agreement"}
    if named:
        read.loc[1, "question"] = named
    study = with_survey(Study({}), table, read)
    assert question_words(study, named or asked[0].rstrip(".")).rstrip(".") == asked[0].rstrip(".")


def test_a_task_before_names_of_products_is_the_question():
    text = "Person;How do you like the smell? [P1];How do you like the smell? [P2]\nA;7;8\nB;6;5"
    asked = read_survey(raw_table(raw_file("form.csv", text.encode())))[1]
    assert asked["prototype"].tolist() == ["", "P1", "P2"]
    assert set(asked["question"][1:]) == {"How do you like the smell"}


# The same column, brought in again under another name, is one question.


def brought(study: Study, file, *names: str, kind: str = "agreement") -> Study:
    table, asked = read_survey(raw_table(file))
    for place, name in enumerate(names, 1):
        asked.loc[place, ["question", "kind"]] = name, kind
    return with_survey(study, table, asked, file)


def home_use(equal: bool = False):
    rows = [f"R{n};{['yes', 'no'][n % 3 == 0]};{['yes', 'no'][n % (3 if equal else 4) == 0]}" for n in range(30)]
    text = "\n".join(["Person;P1: Could you do without rinsing?;P1: Was one pump enough?", *rows])
    return raw_file("home.csv", text.encode())


@pytest.mark.parametrize("equal", [False, True])
def test_a_column_that_is_named_in_a_second_run_is_counted_once(equal: bool):
    file = home_use(equal)
    first = brought(Study({}), file)
    claim = {"claim": "no rinsing needed", "kind": "agreement", "prototype": "P1", "bar": "50"}
    claim["question"] = "Could you do without rinsing"
    first = put_block(first, "claims", pd.DataFrame([claim]))
    for names in (("no rinsing",), ("without water",), ("without water", "one pump"), ("without water", "one pump")):
        first = brought(first, file, *names)
        expected = [*names, "Was one pump enough"][:2]
        assert sorted(first.table("answers")["question"].unique()) == sorted(expected)
        assert len(first.table("answers")) == 60
        assert len(count_agreement(first).bars) == 2
        assert first.table("claims")["question"].tolist() == [names[0]]
        assert question_words(first, names[0]) == "Could you do without rinsing?"


def test_a_question_with_a_short_name_keeps_it_where_its_column_comes_in_without():
    named = brought(Study({}), home_use(), "no rinsing")
    changed = raw_file("later.csv", home_use().content.replace(b"R3;", b"R99;"))  # one more person, another file
    both = brought(named, changed)
    assert set(both.table("answers")["question"]) == {"no rinsing", "Was one pump enough"}
    assert (both.table("answers")["question"] == "no rinsing").sum() == 31
    other = brought(both, changed, "rinse free")
    assert set(other.table("answers")["question"]) == {"rinse free", "Was one pump enough"}


def test_another_kind_replaces_what_was_read_and_another_question_stays():
    file = home_use()
    ticked = brought(Study({}), file, "no rinsing", kind="check_all")
    again = brought(ticked, file, "no rinsing afterwards")
    assert len(again.table("answers")) == 90  # another name, other answers: nothing says that it is the same
    own = brought(brought(Study({}), file, "Could you do without rinsing", kind="check_all"), file, "no rinsing")
    assert set(own.table("answers").query("question == 'no rinsing'")["kind"]) == {"agreement"}
    assert len(own.table("answers")) == 60


@pytest.mark.parametrize("equal", [True, False])
def test_two_questions_that_everybody_answered_alike_are_found(equal: bool):
    study = brought(Study({}), home_use(equal), "no rinsing", "one pump")
    found = [each.where for each in check_study(study) if each.kind == "answers_alike"]
    assert found == ["answers, question one pump"] * equal


def test_a_question_that_a_stamped_claim_rests_on_keeps_its_name():
    file = home_use()
    first = brought(Study({}), file)
    claim = {"claim": "no rinsing needed", "kind": "agreement", "prototype": "P1", "stamp": "0" * 64}
    claim["question"] = "Could you do without rinsing"
    first = put_block(first, "claims", pd.DataFrame([claim]))
    with pytest.raises(StudyError, match="A stamped claim rests on “Could you do without rinsing”"):
        brought(first, file, "no rinsing")


# The number that leads each answer of the panel is the score.


PANEL_WORDS = ["1 not at all", "2 hardly", "3 a trace", "4 noticeably", "5 clearly", "6 strongly", "7 very strongly"]


@pytest.mark.parametrize("wide", [False, True])
def test_the_number_that_leads_each_answer_of_the_panel_is_the_score(wide: bool):
    rows = [(f"A{n % 6}", of, str(1 + n // 6)) for n in range(18) for of in ("P1", "P2", "P3")]
    given = {name: drawn(7, len(rows), seed) for seed, name in enumerate(("shines", "oily"))}
    if wide:
        lines = [["Assessor", "Prototype", "Session", *given]]
        lines += [[*row, *(PANEL_WORDS[given[name][n] - 1] for name in given)] for n, row in enumerate(rows)]
    else:
        lines = [["Assessor", "Prototype", "Session", "Question", "Answer"]]
        lines += [[*row, name, PANEL_WORDS[given[name][n] - 1]] for n, row in enumerate(rows) for name in given]
    table = score_table(raw_file("log.csv", "\n".join(map(";".join, lines)).encode()))
    scores = read_scores(table, guess_layout(table)).scores
    assert set(scores["attribute"]) == {*given}
    for name, own in scores.groupby("attribute"):
        assert sorted(own["score"]) == sorted(map(float, given[str(name)]))


def test_who_answers_a_question_anew_has_one_answer_and_scales_are_not_mixed():
    def home(words: list[str], who: str = "R") -> RawFile:
        text = "\n".join(["Person;P1: It leaves no film", *(f"{who}{n};{word}" for n, word in enumerate(words))])
        return raw_file(f"{who}.csv", text.encode())

    points, better = drawn(5, 20), [min(at + 1, 5) for at in drawn(5, 20)]
    five = brought(Study({}), home([f"{at} = {KNOWN[at - 1]}" for at in points]))
    anew = brought(five, home([f"{at} = {KNOWN[at - 1]}" for at in better]))
    assert anew.table("answers")["answer"].tolist() == [str(at) for at in better]
    assert of_all(anew) == (sum(at > 3 for at in better), 20)
    seven = [{1: "1 (disagree entirely)", 7: "7 (agree entirely)"}.get(at, str(at)) for at in drawn(7, 20)]
    with pytest.raises(StudyError, match="was answered on 1-5 before, and here on 1-7"):
        brought(five, home(seven, "S"))
    assert of_all(brought(five, home(seven))) == (sum(at > 4 for at in drawn(7, 20)), 20)
