"""Tables about liking: best first, every share with its count and base."""

from panel.views.consumers.liking import liking_pairs_table, liking_table, liking_tests_table
from tests.views.consumer_results import demo, demo_liking


def test_means_best_first_with_counts_and_bases():
    table = liking_table(demo_liking(), demo()[1])
    assert table["Prototype"].iloc[0] == "P4 (swap AB)"
    assert table["Prototype"].iloc[-1] == "P5 (swap C)"
    assert table["8 or 9 (95 % interval)"].iloc[0] == "14 of 59: 23 % (14 % to 35 %)"
    assert table["Mean liking (1 to 9)"].iloc[0] == "6.32"


def test_pairs_say_cannot_be_separated():
    result = demo_liking()
    table = liking_pairs_table(result.versus, result)
    told = dict(zip(table["Prototype"], table["In words"], strict=True))
    assert told["P3"] == "cannot be separated"
    assert told["P4"] == "differs"
    assert len(liking_pairs_table(result.pairs, result)) == 28


def test_tests_with_what_each_loses():
    table = liking_tests_table(demo_liking()).set_index("Test")
    assert table.loc["Friedman", "Lost"] == "3 (12 answers)"
    assert table.loc["Friedman", "Because they"] == "did not try every prototype"
    assert table.loc["mixed model", "Lost"] == "–"
    assert table.loc["mixed model, corrected", "Degrees of freedom"].startswith("4.")
