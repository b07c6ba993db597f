"""Sheets, logs and books as laboratories keep them: each is written here from a long table, which is the judge."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest

from panel.checks.all_checks import check_study
from panel.errors import StudyError
from panel.study.people import without_person
from panel.study.raw_table import RawTable, raw_file
from panel.study.score_sheets import score_table
from panel.study.scores_import import ImportedScores, guess_layout, read_scores, study_from_scores
from panel.study.study import Study
from tests.study.test_score_sheets import book, csv

PEOPLE, PRODUCTS = ("Ida", "Jon", "Kim", "Lea"), ("wax 3", "wax 5", "wax 9")
Cells = list[list[str]]


def number(*of: str) -> int:
    """A score from 1 to 7 of whatever it is of: drawn from the names, the same each time."""
    return 1 + sum(map(ord, "".join(of))) % 7


def imported(*sheets: object) -> ImportedScores:
    """Return what is read of a file of one text table, or of a workbook of sheets by their names."""
    table = read_table(*sheets)
    return read_scores(table, guess_layout(table))


def read_table(*sheets: object) -> RawTable:
    return score_table(written(*sheets))


def written(*sheets: object):
    """Return a text file of rows, or a workbook of sheets by their names."""
    return raw_file(*(book(**sheets[0]) if isinstance(sheets[0], dict) else csv(sheets[0])))


def study_of(*sheets: object) -> Study:
    return study_from_scores(imported(*sheets), written(*sheets), "waxes")


def told(of: ImportedScores) -> str:
    return " ".join(of.notes)


# A log with a row for each answer.

POINTS = ("not at all", "barely", "a little", "somewhat", "clearly", "strongly", "extremely")
KEY = {"417": "wax 3", "862": "wax 5", "235": "wax 9"}


def answer_log(served: str = "Served", answer=lambda n: f"{n} {POINTS[n - 1]}", key=("Code", "Polish")) -> dict:
    rows = [["Assessor", "Sitting", "Code", served, "Question", "Answer"]]
    for who, day, question in product(PEOPLE, "12", ("streaks", "slips")):
        for place, (code, wax) in enumerate(KEY.items()):
            order = str(1 + (place + PEOPLE.index(who)) % 3)
            rows.append([who, day, code, order, question, answer(number(who, day, wax, question))])
    return {"Log": rows, "Key": [list(key), *map(list, KEY.items())]}


@pytest.mark.parametrize("served", ["Served", "Served as", "Tried", "Place"])
@pytest.mark.parametrize("key", [("Code", "Polish"), ("No.", "Which"), ("Code", "Product")])
def test_a_log_of_answers_is_scored_by_its_answers_and_not_by_the_order(served: str, key: tuple[str, str]):
    scores = imported(answer_log(served, key=key)).scores
    assert len(scores) == 48
    for row in scores.to_dict("records"):
        assert row["score"] == number(row["assessor"], row["session"], row["prototype"], row["attribute"])
        assert row["position"] == 1 + (PRODUCTS.index(row["prototype"]) + PEOPLE.index(row["assessor"])) % 3


def test_the_number_that_leads_the_words_of_an_answer_is_read_and_said():
    of = imported(answer_log())
    assert "What stands beside the number was left out: '6 strongly' is 6: Answer." in of.notes
    ends = imported(answer_log(answer=lambda n: f"{n} {POINTS[n - 1]}" if n in (1, 7) else str(n)))
    assert list(ends.scores["score"]) == list(of.scores["score"])


@pytest.mark.parametrize("turn", ["Served", "Turn", "Round", "Row"])
def test_answers_in_words_alone_are_asked_about_and_no_order_is_taken_for_them(turn: str):
    with pytest.raises(StudyError, match="the answers in 'Answer' are no numbers"):
        imported(answer_log(turn, answer=lambda n: POINTS[n - 1])["Log"])


def test_a_unit_or_a_day_behind_a_number_is_no_word_for_a_point():
    days = [[a, p, d, "4", "7"] for a, p, d in product(PEOPLE, PRODUCTS, "12")]
    for row, cell in zip(days, ("3 mm", "5 cm", "6 May"), strict=False):
        row[4] = cell
    rows = [["Judge", "Product", "Day", "streaks", "depth"], *days]
    assert list(imported(rows).unread["text"]) == ["3 mm", "5 cm", "6 May"]


# A line for each attribute, a column for each prototype.

TRAITS = ("Dusty on the sleeve", "Seconds to a shine", "Squeaks")


def lines_of_attributes(what: str, heads: tuple[str, ...], day: str = "Bench day", of=TRAITS) -> Cells:
    rows = [["Shoe wax, 2 g a shoe, scale 1 to 7", "", "", "", "", ""], ["", "", "", "", "", ""]]
    rows.append(["Judge", day, what, *heads, "Remark"])
    for who, when, term in product(PEOPLE, ("day 1", "day 2"), of):
        rows.append([who, when, term, *(str(number(who, when, head, term)) for head in heads), ""])
    return rows


@pytest.mark.parametrize("what", ["What", "Looked at", "Trait on the form"])
@pytest.mark.parametrize("heads", [("SW-1", "SW-4", "SW-9"), ("K1", "K2", "K3")])
@pytest.mark.parametrize("slip", [False, True])
def test_texts_that_stand_again_for_each_person_are_the_attributes_and_no_title_is(what, heads, slip):
    rows = lines_of_attributes(what, heads)
    if slip:
        rows[3][2] = "Dusty on sleeve"
    of = imported(rows)
    assert len(of.scores) == 72
    assert {*of.scores["attribute"]} == {*TRAITS, *(["Dusty on sleeve"] if slip else [])}
    assert {*of.scores["prototype"]} == {*heads}
    assert {*of.scores["session"]} == {"day 1", "day 2"}
    for row in of.scores.iloc[9:].to_dict("records"):
        assert row["score"] == number(row["assessor"], row["session"], row["prototype"], row["attribute"])
    assert f"{what!r} was read as what was scored" in told(of)
    assert study_of(rows).tables["attributes"].set_index("attribute").loc["Squeaks", "scale_max"] == 7


@pytest.mark.parametrize("head", ["Variant of it", "Room", "Which cream"])
def test_a_heading_that_names_products_or_conditions_is_of_no_attributes(head: str):
    rows = [["Judge", head, "A1", "A2"], *([a, k, "3", "5"] for a, k in product(PEOPLE, ("matt", "silky")))]
    assert guess_layout(read_table(rows)).attribute == ""


def test_several_columns_of_texts_for_each_person_are_asked_about():
    rows = lines_of_attributes("What", ("SW-1", "SW-4"))
    rows[2].insert(3, "How")
    for row in rows[3:]:
        row.insert(3, f"by {row[2].split()[0]}")
    with pytest.raises(StudyError, match="which of the columns What and How names what was scored"):
        imported(rows)


def test_a_sheet_for_each_day_has_its_attributes_down_too():
    heads, sheets = ("SW-1", "SW-4", "SW-9"), {}
    for day in ("Monday", "Tuesday"):
        rows = [["Judge", "What", *heads]]
        rows += [[a, t, *(str(number(a, day, h, t)) for h in heads)] for a, t in product(PEOPLE, TRAITS)]
        sheets[day] = rows
    for row in imported(sheets).scores.to_dict("records"):
        assert row["score"] == number(row["assessor"], row["session"], row["prototype"], row["attribute"])


# What numbers something is no attribute; what is counted or timed is one, without a scale.


def counted_and_timed(*more: tuple[str, object]) -> Cells:
    """A wide sheet with one rated attribute and further columns, each with what its cells are."""
    rows = [["Judge", "Day", "Polish", *(head for head, _ in more), "streaks"]]
    for who, day, (n, wax) in product(PEOPLE, ("1", "2"), enumerate(PRODUCTS)):
        cells = [str(cell(who, day, n)) for _, cell in more]
        rows.append([who, day, wax, *cells, str(number(who, day, wax))])
    return [["Streaks 1 = none, 7 = many"], *rows]


def turn(who: str, day: str, n: int) -> int:
    return 1 + (n + PEOPLE.index(who) + int(day)) % 3


@pytest.mark.parametrize(
    "head", ["No. of the evening", "Nr. des Abends", "Number of the dish", "Evening no.", "No. this day", "Turn"]
)
def test_what_numbers_each_that_was_tried_is_the_position_and_no_attribute(head: str):
    of = imported(counted_and_timed((head, turn)))
    assert {*of.scores["attribute"]} == {"streaks"}
    for row in of.scores.to_dict("records"):
        assert row["position"] == turn(row["assessor"], row["session"], PRODUCTS.index(row["prototype"]))


@pytest.mark.parametrize("head", ["No. of the bench", "Number of session", "Nummer der Kabine", "Booth, number"])
def test_what_numbers_anything_else_is_no_attribute_either(head: str):
    of = imported(counted_and_timed((head, lambda who, day, n: 3 + int(day) + PEOPLE.index(who))))
    assert {*of.scores["attribute"]} == {"streaks"}
    assert f"The column {head!r} numbers sittings, people or what was tried." in told(of) or head == "Booth, number"


@pytest.mark.parametrize(
    "head",
    [
        *("Strokes (number)", "Number of cloths", "Anzahl der Züge", "Rubs counted", "No. of passes"),
        *("Marks on black cloth, number", "Strokes, n", "Marks: count", "Tücher, Anzahl", "Marks, number, 10 min"),
    ],
)
def test_what_is_counted_is_an_attribute_without_a_scale(head: str):
    rows = counted_and_timed((head, lambda who, day, n: 2 + len(who) - n + int(day)))
    of, attributes = imported(rows), study_of(rows).tables["attributes"].set_index("attribute")
    assert {*of.scores["attribute"]} == {"streaks", head}
    assert attributes["scale_max"].isna()[head]
    assert attributes["scale_max"]["streaks"] == 7
    assert not any(found.kind == "scale_missing" for found in check_study(study_of(rows)))  # it has none to be stated


@pytest.mark.parametrize(
    ("head", "read_as"), [("Dry (mm:ss)", "Dry (s)"), ("Dry (min:s)", "Dry (s)"), ("Dry (s)", "Dry (s)")]
)
def test_what_was_timed_is_an_attribute_without_a_scale(head: str, read_as: str):
    def time(who: str, day: str, n: int) -> str:
        seconds = 61 + 7 * n + PEOPLE.index(who)
        return f"{seconds // 60}:{seconds % 60:02d}" if ":" in head else str(seconds)

    rows = counted_and_timed((head, time))
    scores, attributes = imported(rows).scores, study_of(rows).tables["attributes"].set_index("attribute")
    assert {*scores["attribute"]} == {"streaks", read_as}
    for row in scores.loc[scores["attribute"] == read_as].to_dict("records"):
        assert row["score"] == 61 + 7 * PRODUCTS.index(row["prototype"]) + PEOPLE.index(row["assessor"])
    assert (attributes["unit"][read_as], attributes["scale_max"].isna()[read_as]) == ("s", True)


@pytest.mark.parametrize("head", ["Time (min)", "Duration (s)", "Waited (min)"])
def test_a_time_of_the_test_or_one_for_all_is_no_attribute(head: str):
    of = imported(counted_and_timed((head, lambda who, day, n: 5 if "W" in head else 5 + n + PEOPLE.index(who))))
    assert {*of.scores["attribute"]} == {"streaks"}
    assert f"The column {head!r} " in told(of)


# One day in several ways of writing it.


def dated(*days: str, head: str = "Date") -> Cells:
    """Each person tries all waxes on each of two days; the ways of writing them follow upon each other."""
    rows = [[head, "Judge", "Polish", "streaks"]]
    for n, (who, day, wax) in enumerate(product(PEOPLE, (0, 1), PRODUCTS)):
        ways = days[day::2]
        rows.append([ways[n % len(ways)], who, wax, str(number(who, str(day), wax))])
    return rows


@pytest.mark.parametrize(
    "ways",
    [
        ("3.2.2025", "10.2.2025", "2025-02-03", "2025-02-10", "3 Feb 2025", "10 February 2025", "03/02/25", "10/02/25"),
        ("2025-02-03", "2025-02-20", "Mon 3 February 2025", "20/02/2025", "03/02/2025", "Feb 20, 2025"),
        ("03.02.25", "20.02.25", "3. Februar 2025", "20.02.2025"),
    ],
)
def test_one_day_is_one_session_however_it_is_written(ways: tuple[str, ...]):
    of = imported(dated(*ways))
    assert {*of.scores["session"]} == {"2025-02-03", f"2025-02-{'10' if '10' in ways[1] else '20'}"}
    for row in of.scores.to_dict("records"):
        assert row["score"] == number(row["assessor"], str(int(row["session"] > "2025-02-03")), row["prototype"])
    assert "Days of 'Date' were read however they are written" in told(of)


def test_days_in_one_way_of_writing_stay_as_they_are():
    assert {*imported(dated("3.2.2025", "10.2.2025")).scores["session"]} == {"3.2.2025", "10.2.2025"}
    assert {*imported(dated("03/02/25", "10/02/25")).scores["session"]} == {"03/02/25", "10/02/25"}


def test_a_day_that_the_others_do_not_settle_is_asked_about():
    with pytest.raises(StudyError, match="in the column 'Date' it cannot be told which day 04/05/25 is"):
        imported(dated("2025-02-03", "2025-02-10", "3 Feb 2025", "04/05/25"))


@pytest.mark.parametrize("stamp", ["04.11.2025 09:{:02d}:00", "11/04/2025 09:{:02d}:00", "4 Nov 2025, 09:{:02d}:00"])
def test_a_date_with_a_time_is_a_moment_in_every_usual_way_of_writing(stamp: str):
    rows = dated("1", "2", head="Session")
    stamps = [stamp.format(n) for n in range(len(rows) - 1)]
    if "/" in stamp:
        stamps[-1] = stamps[-1].replace("11/04", "11/25")  # only the month can stand first
    stamped = [["Time stamp", *rows[0]], *([at, *row] for at, row in zip(stamps, rows[1:], strict=True))]
    assert imported(stamped).scores["recorded_at"].iloc[0] == "2025-11-04 09:00:00"
    assert not any("cannot be understood" in finding.message for finding in check_study(study_of(stamped)))


def test_moments_that_cannot_be_told_give_one_warning():
    rows = dated("1", "2", head="Session")
    stamped = [["Time stamp", *rows[0]], *([f"05/04/2025 09:{n:02d}:00", *row] for n, row in enumerate(rows[1:]))]
    (finding,) = [each for each in check_study(study_of(stamped)) if each.kind == "date_not_understood"]
    assert finding.message.startswith("24 dates, all written alike, cannot be understood: '05/04/2025 09:00:00'")


# Moments, days and stages above the attributes.


def grouped(upper: list[str], lower: list[str], *before: str) -> Cells:
    """A sheet with two rows of headings: the upper one over the first of its columns, as merged cells are."""
    rows = [[""] * len(before) + upper + [""], [*before, *lower, "Remark"]]
    for who, wax in product(PEOPLE, PRODUCTS):
        cells = [str(number(who, wax, str(place))) for place in range(len(lower))]
        rows.append([*([who, wax] if len(before) > 1 else [who]), *cells, "ok" if who == "Ida" else ""])
    return rows


@pytest.mark.parametrize(
    "upper",
    [
        ["while rubbing", "", "after 2 min", "after 30 min"],
        ["when applied", "", "after 60 min outdoors", "after one wash at 40 °C"],
        ["before buffing", "", "after buffing", "after 1 h"],
    ],
)
def test_moments_over_attributes_that_stand_once_belong_to_them(upper: list[str]):
    lower = ["streaks", "Strokes (number)", "slips", "dull"]
    of = imported(grouped(upper, lower, "Judge", "Polish"))
    under = [upper[0], upper[0], upper[2], upper[3]]
    names = [f"{word}, {at}" for word, at in zip(lower, under, strict=True)]
    names[1] = f"Strokes, {upper[0]} (number)"
    assert list(of.scores["attribute"].unique()) == names
    for row in of.scores.to_dict("records"):
        place = names.index(row["attribute"])
        assert row["score"] == number(row["assessor"], row["prototype"], str(place))


def test_means_beside_them_have_no_moment():
    rows = grouped(
        ["at once", "", "after 2 min", "", ""], ["streaks", "slips", "dull", "dry", "Mean"], "Judge", "Polish"
    )
    assert len(imported(rows).scores["attribute"].unique()) == 4


def test_they_do_on_a_sheet_for_each_prototype_too():
    lower = ["streaks", "slips", "dull", "dry"]
    sheets = {wax: grouped(["at once", "", "after 2 min", ""], lower, "Name")[:2] for wax in PRODUCTS}
    for wax, who in product(PRODUCTS, PEOPLE):
        sheets[wax].append([who, *(str(number(who, wax, word)) for word in lower), ""])
    of = imported(sheets)
    assert {*of.scores["attribute"]} == {"streaks, at once", "slips, at once", "dull, after 2 min", "dry, after 2 min"}
    for row in of.scores.to_dict("records"):
        assert row["score"] == number(row["assessor"], row["prototype"], row["attribute"].partition(",")[0])


def test_stages_over_attributes_that_stand_once_stay_out_of_their_names():
    of = imported(grouped(["Rub-out", "", "After feel", ""], ["streaks", "slips", "dull", "dry"], "Judge", "Polish"))
    assert list(of.scores["attribute"].unique()) == ["streaks", "slips", "dull", "dry"]


@pytest.mark.parametrize(
    "days",
    [("Monday 8 September", "Wednesday 10 September"), ("8 Sept 2025", "10 Sept 2025"), ("Mon 8/9", "Wed 10/9")],
)
def test_groups_that_are_days_are_sessions(days: tuple[str, str]):
    lower = ["Order", "streaks", "Sets (min:s)"]
    rows = [["", "", days[0], "", "", days[1], "", ""], ["Judge", "Polish", *lower, *lower]]
    for who, (place, wax) in product(PEOPLE, enumerate(PRODUCTS)):
        timed = f"1:{10 + place + PEOPLE.index(who)}"
        cells = [[str(turn(who, str(n + 1), place)), str(number(who, wax, days[n])), timed] for n in (0, 1)]
        rows.append([who, wax, *cells[0], *cells[1]])
    of = imported(rows)
    assert {*of.scores["session"]} == {*days}
    for row in of.scores.query("attribute == 'streaks'").to_dict("records"):
        day = str(1 + days.index(row["session"]))
        assert row["score"] == number(row["assessor"], row["prototype"], row["session"])
        assert row["position"] == turn(row["assessor"], day, PRODUCTS.index(row["prototype"]))
    assert {*of.scores.query("attribute == 'Sets (s)'")["score"]} == {70.0, 71.0, 72.0, 73.0, 74.0, 75.0}


# A book kept by hand: the day on the first line of its block, remarks in the margin.


def kept_by_hand(days: tuple[str, ...], head: str = "Morning", *, names_once: bool = True, margin: str = "") -> Cells:
    rows = [[head, "Name", "Polish", "streaks", "slips", "(margin)"]]
    for (n, day), (k, who) in product(enumerate(days), enumerate(PEOPLE)):
        for place in range(3):
            wax = PRODUCTS[(place + n + k) % 3]
            first = day if k == place == 0 else ""
            name = who if place == 0 or not names_once else ""
            rows.append([first, name, wax, *(str(number(who, day, wax, term)) for term in ("streaks", "slips")), ""])
    rows[3][5], rows[20][5] = "window open", margin
    return rows


@pytest.mark.parametrize(
    ("head", "days"),
    [
        ("Morning", ("6 Oct", "8 Oct")),
        ("When", ("Tuesday", "Friday")),
        ("Done", ("7.10.2025", "9.10.2025")),
        ("At", ("day 1", "day 2")),
    ],
)
@pytest.mark.parametrize("names_once", [True, False])
def test_a_day_on_the_first_line_of_its_block_is_the_session_of_the_lines_below(head, days, names_once):
    table = read_table(kept_by_hand(days, head, names_once=names_once))
    layout = guess_layout(table)
    assert layout.session == head
    of = read_scores(table, replace(layout, fill_down=True))
    assert len(of.scores) == 48
    for row in of.scores.to_dict("records"):
        assert row["score"] == number(row["assessor"], row["session"], row["prototype"], row["attribute"])
    assert f"The session above was used for 22 rows in which {head!r} is blank" in told(of)


def test_a_day_that_is_missing_here_and_there_is_not_made_up():
    rows = kept_by_hand(("6 Oct", "8 Oct"), names_once=False)
    for n, row in enumerate(rows[1:]):
        row[0] = "" if n == 5 else "6 Oct" if n < 12 else "8 Oct"
    table = read_table(rows)
    layout = guess_layout(table, {"session": "Morning"})
    with pytest.raises(StudyError, match="name no session"):
        read_scores(table, layout)


def remarks_told(margin: str) -> dict[str, str]:
    rows = kept_by_hand(("6 Oct", "8 Oct"), names_once=False, margin=margin)
    study = study_of(rows)
    assert [each["text"] for each in study.facts["import"]["remarks"]] == ["window open", margin]
    return {each.kind: f"{each.where}: {each.message}" for each in check_study(study) if "remark" in each.kind}


@pytest.mark.parametrize(
    "margin",
    [
        "small cut, stopped the blood",
        "itched a little",
        "skin burning",
        "got a rash",
        "stung",
        "Juckreiz am Arm",
        "skin went red",
    ],
)
def test_a_remark_of_an_injury_is_pointed_to_the_record_of_reactions_and_not_repeated(margin: str):
    found = remarks_told(margin)
    assert found["remark_of_reaction"].startswith("line 21, column '(margin)': 1 remark beside the scores may tell of")
    assert margin not in " ".join(found.values())
    assert "“window open”" in found["remarks"]


def test_other_remarks_are_told_as_they_stand():
    assert "“window open” and “phone rang”" in remarks_told("phone rang")["remarks"]


def test_with_a_person_their_remarks_go():
    study = study_of(kept_by_hand(("6 Oct", "8 Oct"), names_once=False, margin="a rash"))
    who = study.scores.loc[study.scores["raw_line"] == 21, "assessor"].iloc[0]
    left = without_person(study, who, who="panel leader", why="asked for it", when="2026-01-01")[0]
    assert "a rash" not in str(left.facts)


# Who judged, and who typed it.


def typed_by(typists: str, who: str = "Member", people=PEOPLE, days="123") -> Cells:
    rows = [["Tester", "Session", who, "Product", "streaks", "slips"]]
    for n, (day, person, wax) in enumerate(product(days, people, PRODUCTS)):
        rows.append([typists[n * len(typists) // (len(days) * len(people) * 3)], day, person, wax])
        rows[-1] += [str(number(day, person, wax, what)) for what in rows[0][4:]]
    return rows


@pytest.mark.parametrize(("typists", "told_as", "product_is"), [("R", "R", "Polish"), ("RT", "R and T", "Product")])
def test_who_typed_the_rows_is_not_read_as_who_judged(typists: str, told_as: str, product_is: str):
    people = ("107", "112", "113", "119", "120", "125", "131", "134", "138", "140", "142")
    rows = typed_by(typists, people=people)
    rows[0][3] = product_is
    of = imported(rows)
    assert set(of.scores["assessor"]) == {*people}
    for row in of.scores.to_dict("records"):
        assert row["score"] == number(row["session"], row["assessor"], row["prototype"], row["attribute"])
    assert f"'Member' was read as who judged, and not 'Tester' ({told_as})" in told(of)


@pytest.mark.parametrize(
    ("beside", "held"),
    [("Wear", "{day}"), ("Name", "{wax} of May"), ("Respondent", "{n}"), ("Panel", "polishers")],
)
def test_a_study_of_one_person_stays_theirs_and_that_is_said(beside: str, held: str):
    rows = typed_by("R", beside, people=("R",))
    for n, row in enumerate(rows[1:]):
        row[2] = held.format(day=row[1], wax=row[3], n=n + 1)
    of = imported(rows)
    assert set(of.scores["assessor"]) == {"R"}
    assert "All rows were read as those of one person, R ('Tester')" in told(of)


def test_people_named_once_above_their_rows_are_who_judged():
    rows = typed_by("R", "Name")
    for row in rows[1:]:
        row[0] = row[2] if row[3] == PRODUCTS[0] else ""
        row[2] = "panel of May"
    layout = guess_layout(read_table(rows))
    assert layout.assessor == "Tester"


def test_a_day_with_one_sample_by_a_slip_is_a_session_still():
    rows = typed_by("R", "Member")
    rows[0][1] = "Morning"
    for n, row in enumerate(rows[1:]):
        row[1] = "06/10/2025" if n == 4 else f"0{5 + int(row[1])}/10/2026"
    assert guess_layout(read_table(rows)).session == "Morning"


def test_one_is_said_as_one_and_a_title_with_a_full_stop_ends_with_one():
    rows = [["Waxes of May, 1 = none."], [""], *typed_by("R", people=("R",), days="1")]
    rows[3][4] = ""
    assert "stands: Waxes of May, 1 = none. " in told(imported(rows))
    assert "3 rows gave 6 scores; 1 of them is empty or could not be read." in told(imported(rows))


# The order of each person on a sheet of its own.


def with_order(heads: tuple[str, ...], of_day: bool = True) -> tuple[dict[str, Cells], dict[tuple[str, ...], int]]:
    """Return a book of scores and orders, and the place of each person, day and wax, which is the judge."""
    scores, orders, places = [["Judge", "Day", "Product", "streaks"]], [["Judge", "Day", *heads]], {}
    for n, (day, who) in enumerate(product("12", PEOPLE)):
        turned = [PRODUCTS[(n + k) % 3] for k in range(3)]
        orders.append([who, day, *turned])
        for wax in PRODUCTS:
            scores.append([who, day, wax, str(number(who, day, wax))])
            places[who, day, wax] = 1 + turned.index(wax)
    orders = orders if of_day else [[who, *rest] for who, _, *rest in orders[: 1 + len(PEOPLE)]]
    return {"Scores": scores, "Served": orders}, places


@pytest.mark.parametrize(
    "heads", [("1st", "2nd", "3rd"), ("First", "Second", "Third"), ("Place 1", "Place 2", "Place 3")]
)
def test_the_order_of_each_person_is_read_from_a_sheet_beside_the_scores(heads: tuple[str, ...]):
    book_, places = with_order(heads)
    of = imported(book_)
    assert len(of.scores) == len(places)
    for row in of.scores.to_dict("records"):
        assert row["position"] == places[row["assessor"], row["session"], row["prototype"]]
        assert row["score"] == number(row["assessor"], row["session"], row["prototype"])
    assert "The order was read from the sheet 'Served', for 24 of 24 rows." in told(of)
    assert "not read" not in told(of)


def test_an_order_that_does_not_say_the_session_is_not_guessed_and_other_names_are_no_order():
    of = imported(with_order(("1st", "2nd", "3rd"), of_day=False)[0])
    assert of.scores["position"].isna().all()
    assert "'Served' was not read as the order: it needs a row for each assessor and session." in told(of)
    book_, _ = with_order(("1st", "2nd", "3rd"))
    book_["Served"] = [[cell.replace("wax", "soap") for cell in row] for row in book_["Served"]]
    of = imported(book_)
    assert of.scores["position"].isna().all()
    assert "Other sheets were not read: Served." in told(of)


def test_the_order_is_read_where_a_name_is_mistyped_and_a_line_stands_twice():
    design = [(who, day, n) for who in range(6) for day in (1, 2) for n in range(5)]
    rows = [[f"J{w}", str(d), f"W{n}", str(1 + (n * d + w) % 5), str((w + 3 * n * d) % 7)] for w, d, n in design]
    rows[4][0] = "J 0"
    sheet = [["Judge", "Session", "Wax", "Turn", "streaks"], *rows, rows[-1]]
    assert {*imported(sheet).scores["position"]} == {1, 2, 3, 4, 5}
