"""Words, picture and tables of groups of consumers: different people, one group, or the same taste more strongly."""

from dataclasses import replace

import pandas as pd

from panel.study.shown import shown
from panel.views.consumers.segments import (
    _DIVIDED,
    _STEPS,
    SEGMENT_MEANS,
    _divided,
    _figure,
    _headline,
    _segment_name,
    tell_segments,
)
from tests.views.consumer_results import demo, demo_segments, one_group


def test_the_demos_prototypes_please_different_people():
    result = demo_segments()
    assert _headline(result) == "The prototypes please different people: 2 groups of 38 and 19 consumers."
    assert _segment_name(result, 2) == "group 2 (19 consumers)"
    assert _segment_name(result, 0) == "all consumers"


def _pairs(result):
    return result.divided[["prototype", "versus"]].itertuples(index=False, name=None)


def test_p4_and_p8_cannot_be_separated_but_please_different_people():
    told = tell_segments(demo_segments(), demo()[1])
    assert (
        told.drawers[0]
        .items[0]
        .startswith("Group 1 (38 consumers): likes best, and does not separate, P4 (7.0) and P2 (6.9)")
    )
    line = _divided(demo_segments())
    assert "in these answers the groups part over them: P8 against P4: group 1 −" in line
    assert line.endswith(f"; {len(set(_pairs(demo_segments()))) - line.count(' against ')} more pairs in the table.")


def test_how_many_pairs_are_left_to_the_table_is_counted_from_one_on():
    result = demo_segments()
    pairs = list(dict.fromkeys(_pairs(result)))
    rows = list(_pairs(result))
    assert len(pairs) > 4
    for kept, end in ((3, ")."), (4, "; 1 more pair in the table."), (5, "; 2 more pairs in the table.")):
        some = result.divided.loc[[row in pairs[:kept] for row in rows]]
        line = _divided(replace(result, divided=some))
        assert line.endswith(end)
        assert ("in the table" in line) == (kept > 3)


def test_of_the_pairs_that_divide_the_groups_those_come_first_of_which_both_are_liked():
    result = demo_segments()
    order = [part.split(": group")[0].rpartition(": ")[2] for part in _divided(result).split("; ") if "against" in part]
    answers = demo()[0].table("answers").query("kind == 'liking'")
    liked = pd.to_numeric(answers["answer"], errors="coerce").groupby(answers["prototype"]).mean()
    lesser = sorted((liked[list(pair)].min() for pair in set(_pairs(result))), reverse=True)
    assert [liked[pair.split(" against ")].min() for pair in order] == lesser[: len(order)]


def test_how_sure_the_groups_are():
    first, second, order = tell_segments(demo_segments(), demo()[1]).mind
    assert first == (
        "The groups are unlikely to be chance (p = 0.005) and come back when consumers are drawn anew (0.92 of 1 for "
        "the least sure one)."
    )
    assert "two ends of one gradient" in second
    assert order == (
        "What the place in the serving does to liking was taken out first: position (p = 0.025) and the sample before "
        "(p = 0.048); session does not show."
    )


def _items(told):
    return [item for drawer in told.drawers for item in drawer.items]


def test_one_group_is_said_and_not_taken_for_agreement():
    result, names = one_group(), demo()[1]
    assert _headline(result).startswith("One group: no stable groups of consumers were found. Two groups")
    told = tell_segments(result, names)
    assert "noise alone reaches that" in told.mind[0]
    assert (told.picture, told.table) == (None, None)
    assert "does not show that everybody wants the same" in told.cannot[0]
    assert _segment_name(result, 1) == "all consumers"
    assert _STEPS in _items(told)
    nothing = replace(result, steps=result.steps.iloc[:0], why_one="Too few people.")
    assert tell_segments(nothing, names).mind == ()
    assert not {_STEPS, _DIVIDED} & {*_items(tell_segments(nothing, names))}  # no table without rows
    assert {_STEPS, _DIVIDED, SEGMENT_MEANS} <= {*_items(tell_segments(demo_segments(), names))}
    assert _headline(nothing) == "Whether there are groups of consumers is not known. Too few people."


def test_more_strongly_is_not_differently():
    result = demo_segments()
    assert result.alike["same_taste"].tolist() == [False]
    alike = replace(result, alike=result.alike.assign(same_taste=True))
    assert "like much the same prototypes, some of them more strongly" in _headline(alike)


def test_groups_are_a_hint():
    assert "Test again" in tell_segments(demo_segments(), demo()[1]).cannot[0]


def test_groups_differ_in_shape_as_well_as_colour():
    figure = _figure(demo_segments(), demo()[1])
    axes = figure.axes[0]
    shapes = {line.get_marker() for line in axes.lines if line.get_marker() not in ("None", None)}
    assert shapes == {"o", "s"}
    legend = [text.get_text() for text in figure.legends[0].get_texts()]
    assert legend == ["group 1 (38 consumers)", "group 2 (19 consumers)"]


def test_the_picture_in_words():
    assert "P4 7.0" in tell_segments(demo_segments(), demo()[1]).picture.alt


def test_tables():
    names = demo()[1]
    table = shown(SEGMENT_MEANS, demo_segments(), names)
    assert list(table.columns)[1:] == [
        "Mean liking of group 1 (38 consumers)",
        "Mean liking of group 2 (19 consumers)",
    ]
    assert table.iloc[3, 1] == "7.03 (6.64 to 7.42) a"
    assert shown(_STEPS, demo_segments(), names)["Believed"].tolist() == ["yes", "no"]
    assert shown(_STEPS, one_group(), names)["Believed"].tolist() == ["no"]
    assert set(shown(_DIVIDED, demo_segments(), names)["Group"]) == {"1", "2"}
    assert list(shown(SEGMENT_MEANS, one_group(), names).columns) == ["Prototype", "Mean liking of all consumers"]
