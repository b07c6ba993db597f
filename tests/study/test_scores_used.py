"""Which scores an analysis uses: nothing leaves without a rule or a written reason, and what leaves is listed."""

import numpy as np
import pandas as pd
import pytest

from panel.study.scores_used import _outside_scale, _rows_of_key, orders_uneven, scores_used
from panel.study.study import Study

FACTS = {"scale_min": 0, "scale_max": 100}
RULE = {"rules": [{"rule": "set_aside_outside_scale", "recorded_on": "2025-03-01"}]}


def study(corrections=(), facts=FACTS, values=(10.0, 330.0, np.nan, -1.0, 50.0)):
    scores = pd.DataFrame(
        {
            "assessor": [f"A{i}" for i in range(len(values))],
            "prototype": "P1",
            "attribute": "film",
            "score": list(values),
            "session": "1",
        }
    )
    columns = ["when", "who", "table", "key", "old", "new", "why"]
    return Study({"scores": scores, "corrections": pd.DataFrame(corrections, columns=columns, dtype="str")}, facts)


def correction(key, new, why="ballot read again", when="2025-04-01", table="scores"):
    return (when, "leader", table, key, "", new, why)


def test_blank_is_no_score_and_all_else_stays_without_a_rule():
    used = scores_used(study())
    assert list(used.frame["score"]) == [10.0, 330.0, -1.0, 50.0]
    assert used.set_aside.empty
    assert used.corrected.empty


def test_a_recorded_rule_sets_aside_what_lies_outside_the_scale_and_lists_it():
    used = scores_used(study(facts=FACTS | RULE))
    assert list(used.frame["score"]) == [10.0, 50.0]
    assert list(used.set_aside["score"]) == [330.0, -1.0]
    assert list(used.set_aside["row"]) == [3, 5]
    assert set(used.set_aside["why"]) == {"outside the scale, by the rule recorded beforehand"}


def test_a_correction_gives_the_new_value_and_keeps_the_old_one_in_the_list():
    used = scores_used(study([correction("assessor=A1;attribute=film", "33,0")], FACTS | RULE))
    assert list(used.frame["score"]) == [10.0, 33.0, 50.0]
    assert list(used.corrected["score"]) == [330.0]
    assert list(used.corrected["why"]) == ["ballot read again (leader, 2025-04-01)"]
    assert list(used.set_aside["score"]) == [-1.0]


def test_a_correction_without_a_value_sets_the_score_aside_and_a_later_one_takes_it_back():
    aside = correction("assessor=A0", "", "cold lotion")
    assert list(scores_used(study([aside])).set_aside["why"]) == ["cold lotion (leader, 2025-04-01)"]
    back = correction("assessor=A0", "10", "was right")
    used = scores_used(study([aside, back]))
    assert used.set_aside.empty
    assert 10.0 in list(used.frame["score"])


def test_without_rules_and_corrections_everything_is_there():
    used = scores_used(study([correction("assessor=A0", "")], FACTS | RULE), rules=False)
    assert list(used.frame["score"]) == [10.0, 330.0, -1.0, 50.0]


def test_corrections_of_other_tables_and_unknown_keys_change_nothing():
    others = [
        correction("assessor=A0", "", table="batches"),
        correction("colour=red", ""),
        correction("assessor=A9", "5"),
    ]
    used = scores_used(study(others))
    assert len(used.frame) == 4
    assert used.set_aside.empty


def test_the_study_itself_is_not_changed():
    original = study([correction("assessor=A1", "33")], FACTS | RULE)
    before = original.scores.copy()
    scores_used(original)
    pd.testing.assert_frame_equal(original.scores, before)


def test_a_score_outside_is_found_by_the_attribute_own_scale_before_the_study_scale():
    frame = pd.DataFrame({"attribute": ["film", "glide", "glide"], "score": [50.0, 50.0, 9.0]})
    own = pd.DataFrame({"attribute": ["glide"], "scale_min": [0.0], "scale_max": [10.0]})
    assert list(_outside_scale(Study({"attributes": own}, FACTS), frame)) == [False, True, False]
    assert not _outside_scale(Study({}), frame).any()


@pytest.mark.parametrize(
    ("key", "rows"), [("assessor=A0", 1), ("assessor = A0 ; session=1", 1), ("session=1", 5), ("", 0)]
)
def test_keys_name_rows(key, rows):
    assert _rows_of_key(study().scores, key).sum() == rows


def served(orders, sessions=1):
    """Scores of people served in these `orders` (person, place), the same in each session."""
    rows = [
        (f"A{person}", f"P{prototype}", "film", 5.0, f"{session}", place + 1.0)
        for (person, place), prototype in np.ndenumerate(orders)
        for session in range(sessions)
    ]
    columns = ["assessor", "prototype", "attribute", "score", "session", "position"]
    return Study({"scores": pd.DataFrame(rows, columns=columns)})


SQUARE = np.array([[0, 1, 2, 3], [1, 2, 3, 0], [2, 3, 0, 1], [3, 0, 1, 2]])


def test_orders_are_uneven_where_they_tie_prototypes_to_positions():
    # of a square each stands once at each place; by lot, 7 of 8 people in one order come once in millions of times
    tied = np.array([[0, 1, 2, 3]] * 7 + [[3, 2, 1, 0]])
    assert orders_uneven(served(tied))
    assert not orders_uneven(served(np.vstack([SQUARE, SQUARE])))


def test_a_person_who_keeps_one_order_counts_once():
    # two people in one order are nothing unusual, however often they come
    assert not orders_uneven(served(np.array([[0, 1, 2, 3], [0, 1, 2, 3], [2, 3, 0, 1], [3, 2, 1, 0]]), sessions=6))


def test_nothing_is_said_of_orders_of_which_a_position_is_not_known():
    study = served(np.array([[0, 1, 2, 3]] * 7 + [[3, 2, 1, 0]]))
    scores = study.scores.assign(position=study.scores["position"].where(study.scores.index > 0))
    assert not orders_uneven(Study({"scores": scores}))
    assert not orders_uneven(Study({"scores": scores.assign(position=np.nan)}))
