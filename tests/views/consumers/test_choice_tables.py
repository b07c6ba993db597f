"""Tables of forced choices and preferences: what stands in their cells."""

from panel.models.consumers.forced_choice import judge_count, judge_forced_choices
from panel.models.consumers.preference import count_preferences
from panel.views.consumers.choice_tables import (
    choice_sessions_table,
    choices_table,
    preferences_table,
    similarity_table,
)
from tests.choice_studies import choice_study, named_rows, right_rows, votes


def test_one_row_per_test():
    (row,) = choices_table(judge_count("triangle", 19, 36)).to_dict("records")
    assert row["Right"] == "19 of 36"
    assert row["Needed"] == "18"
    assert row["p"] == "0.012"
    assert row["d-prime, 95 % interval"] == "0.49 to 2.48"
    assert row["People who can tell, 95 % interval (%)"] == "3.2 to 54.4"
    assert choices_table(judge_count("triangle", 12, 12))["d-prime"].item() == "∞"
    assert choices_table(judge_count("triangle", 2, 2))["Needed"].item() == "–"


def test_similarity_only_where_a_share_was_set():
    assert similarity_table(judge_count("triangle", 13, 36)).empty
    (row,) = similarity_table(judge_count("triangle", 13, 36, similar_below=0.3)).to_dict("records")
    assert (row["Most that show similarity"], row["Share who may tell"], row["Set beforehand"]) == ("13", "30 %", "yes")
    assert similarity_table(judge_count("triangle", 0, 3, similar_below=0.1))["Most that show similarity"].item() == "–"


def test_sessions():
    first, second = right_rows("triangle", 10, 18), right_rows("triangle", 4, 18, session="2", start=18)
    table = choice_sessions_table(judge_forced_choices(choice_study(first, second)))
    assert table["Session"].tolist() == ["1", "2"]
    assert table["Right"].tolist() == ["10 of 18", "4 of 18"]
    blank = choice_sessions_table(judge_forced_choices(choice_study(right_rows("triangle", 10, 18, session=""))))
    assert blank["Session"].tolist() == ["–"]


def test_preferences_in_three_ways_and_both_directions():
    table = preferences_table(count_preferences(choice_study(named_rows("preference", votes(30, 17, 5)))))
    assert table["Count"].tolist() == ["30 of 47", "32.5 of 52", "30 of 52", "17 of 47", "19.5 of 52", "17 of 52"]
    assert table["Parity"].tolist() == ["no count"] * 6
    assert table["Shown"].tolist() == ["superior, unsurpassed", "unsurpassed", "unsurpassed", "–", "–", "–"]
    large = preferences_table(count_preferences(choice_study(named_rows("preference", votes(200, 200)))))
    assert set(large["Parity"]) == {"197 to 203"}
