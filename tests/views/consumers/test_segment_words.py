"""Words about groups of consumers: different people, one group, or the same taste told more strongly."""

from dataclasses import replace

from panel.views.consumers.segments import (
    group_sizes,
    segment_name,
    segments_headline,
    what_the_segments_cannot_show,
    what_the_segments_show,
)
from tests.views.consumer_results import demo, demo_segments, one_group


def test_the_demos_prototypes_please_different_people():
    result, names = demo_segments(), demo()[1]
    assert segments_headline(result, names) == (
        "The prototypes please different people: 2 groups of 39 and 18 consumers."
    )
    assert group_sizes(result) == [39, 18]
    assert segment_name(result, 2) == "group 2 (18 consumers)"
    assert segment_name(result, 0) == "all consumers"


def test_p4_and_p8_cannot_be_separated_but_please_different_people():
    lines = what_the_segments_show(demo_segments(), demo()[1])
    assert lines[0].startswith("Group 1 (39 consumers): likes best, and does not separate, P4 (7.1) and P2 (6.9)")
    assert "please different people: P8 against P4: group 1 −" in lines[2]


def test_one_group_is_said_and_not_taken_for_agreement():
    result, names = one_group(), demo()[1]
    assert segments_headline(result, names).startswith(
        "One group: no stable groups of consumers were found. Two groups"
    )
    assert "noise alone reaches that" in what_the_segments_show(result, names)[0]
    assert "does not show that everybody wants the same" in what_the_segments_cannot_show(result)[0]
    assert segment_name(result, 1) == "all consumers"
    assert what_the_segments_show(replace(result, steps=result.steps.iloc[:0]), names) == []


def test_more_strongly_is_not_differently():
    result = demo_segments()
    alike = replace(result, alike=result.alike.assign(correlation=0.95))
    assert "like much the same prototypes, some of them more strongly" in segments_headline(alike, demo()[1])


def test_groups_are_a_hint():
    assert "Test again" in what_the_segments_cannot_show(demo_segments())[0]
