"""Tables over time: what stands in their cells."""

from panel.models.over_time.after_feel import follow_after_feel
from panel.models.over_time.dominance import follow_dominance
from panel.models.over_time.intensity import reduce_courses
from panel.study.naming import naming
from panel.views.over_time.over_time import (
    after_feel_means_table,
    after_feel_tests_table,
    after_feel_versus_table,
    courses_table,
    dominance_table,
)
from tests.time_studies import everything_over_time

STUDY = everything_over_time()
NAMES = naming(STUDY)


def test_after_feel():
    found = follow_after_feel(STUDY)
    tests = after_feel_tests_table(found)
    assert tests["What is tested"].tolist()[-1] == "Prototype x time"
    assert tests["Degrees of freedom"].tolist()[-1] == "4; 28.0"
    means = after_feel_means_table(found, NAMES)
    assert means["Minutes"].tolist() == ["2", "10", "20"] * 3
    assert means["Mean"].iloc[0] == f"{found.curves['estimate'].iloc[0]:.1f}"
    versus = after_feel_versus_table(found, NAMES)
    assert set(versus["Compared with"]) == {"P1"}
    assert versus["95 % interval, simultaneous"].str.contains(" to ").all()


def test_courses():
    table = courses_table(reduce_courses(STUDY), NAMES)
    assert table["Prototype"].tolist() == ["P1", "P2"]
    assert table["Time to the largest intensity (s)"].tolist() == ["20.00", "20.00"]
    assert len(table.columns) == 11


def test_dominance():
    table = dominance_table(follow_dominance(STUDY), NAMES)
    assert set(table["Evaluations"]) == {"16"}
    assert set(table["Beyond chance from"]) == {"50.0 %"}
    greasy = table.loc[table["Dominant"] == "greasy"].iloc[0]
    assert (greasy["From, % of the time"], greasy["To, % of the time"]) == ("56", "100")
