"""Each sentence agrees with the rows of its answer: intervals, shares, signs, who lies higher, one and many."""

import re
from collections.abc import Iterator

import numpy as np
import pytest

from panel.views.told import Picture, Told
from tests.views.every_picture import everything_told
from tests.views.held import STUDIES, frames, numbers_in, words_in

_N = r"([+−]?\d[\d,]*(?:\.\d+)?)"
_LEVEL = r"[\d.]+ % interval "
_END = r"(?:above |below )?"
# A number with its interval: `−14.1 (97.5 % interval −20.7 to −7.6`, `0.72 (0.49 to 0.81)`, `84 %, 73 to 91 %`.
_WITH_INTERVAL = re.compile(rf"{_N}(?: %)?(?: of \d+)? \((?:{_LEVEL})?{_END}{_N} to {_END}{_N}")
_MANY = "scores? prototypes? attributes? assessors? consumers? pairs? answers? people person targets? windows? curves?"
_ONES = {"person", *(each.rstrip("?").removesuffix("s") for each in _MANY.split() if each.endswith("?"))}
_PLURALS = {"people", *(each.replace("?", "") for each in _MANY.split() if each.endswith("?"))}


def sentences(told: Told) -> Iterator[str]:
    """Everything said of an answer, with what is heard instead of its pictures."""
    items = [told.headline, *told.mind, told.picture, *(item for each in told.every_drawer() for item in each.items)]
    yield from (item.alt if isinstance(item, Picture) else item for item in items if isinstance(item, str | Picture))


@pytest.fixture(scope="module", params=STUDIES)
def everything(request) -> list[Told]:
    return list(everything_told(STUDIES[request.param]()).values())


def _number(text: str) -> tuple[float, float]:
    plain = text.replace("−", "-").replace("+", "").replace(",", "")
    return float(plain), 10.0 ** -len(plain.partition(".")[2])


def test_a_number_and_the_interval_in_brackets_after_it_stand_in_one_row_and_in_order(everything):
    for told in (each for each in everything if each.result.__class__.__name__ != "Claims"):
        rows = [numbers_in(row) for frame in frames(told.result) for row in frame.to_dict("records")]
        if told.result.__class__.__name__ == "JoinedReadings":
            rows = [np.concatenate([row, row - 1]) for row in rows]  # ratios, told as changes
        for text in sentences(told):
            for found in _WITH_INTERVAL.findall(text):
                values, rooms = zip(*map(_number, found), strict=True)
                assert values[1] <= values[0] <= values[2] or values[0] < 0 <= values[1], (found, text)
                assert any(
                    all((np.abs(factor * row - each) <= room).any() for each, room in zip(values, rooms, strict=True))
                    for row in rows
                    for factor in (1, -1, 100, -100)
                ), (found, text)


def test_an_estimate_and_the_ends_of_its_interval_have_the_same_decimals(everything):
    told_before = re.compile(rf"{_N}(?: on their means)?,? \(?{_LEVEL}{_END}{_N} to {_END}{_N}")
    tried = 0
    for told in everything:
        for text in sentences(told):
            for found in told_before.findall(text):
                assert len({len(each.partition(".")[2]) for each in found}) == 1, (found, text)
                tried += 1
    assert tried or len(everything) < 20  # scores alone say few intervals in sentences


def test_a_share_in_brackets_is_that_of_the_counts_before_it(everything):
    for told in everything:
        for text in sentences(told):
            for one, other, share in re.findall(rf"(\d+) of (\d+) \({_N} %\)", text):
                value, room = _number(share)
                assert abs(100 * int(one) / int(other) - value) <= room, text


def test_who_lies_higher_and_who_lower_has_that_sign(everything):
    for told in (each for each in everything if each.result.__class__.__name__ == "Differences"):
        names, rows = told.names, told.result.versus
        by = {(names.attribute(row["attribute"]), row["prototype"]): row for row in rows.to_dict("records")}
        said: list[tuple[str, str, str]] = []
        for text in sentences(told):
            attribute = text.partition(": ")[0]
            for side, listed in re.findall(r"(Higher|Lower) than \w+: ([^.]*)\.", text):
                said += [(side.lower(), attribute, name) for name in re.split(", | and ", listed)]
        heard = told.picture.alt.split(". ") if told.picture and len(rows) else []
        alt = [
            (side, attribute, part.partition(": ")[0])
            for part in heard
            for side, listed in re.findall(r"(higher|lower) on ([^;]*)", part)
            for attribute in re.split(", | and ", listed.rstrip("."))
        ]
        for side, attribute, name in said + alt:
            row = by[attribute, name]
            assert (row["estimate"] > 0) == (side == "higher"), (attribute, name)
            assert row["verdict"] == "differs", (attribute, name)
        told_apart = {key for key, row in by.items() if row["verdict"] == "differs"}
        assert {(attribute, name) for _, attribute, name in alt} == told_apart
        lists = [name for _, attribute, name in said]
        sizes = [abs(by[attribute, name]["estimate"]) for _, attribute, name in said]
        for place in range(1, len(lists)):  # the widest first within each list
            assert said[place][:2] != said[place - 1][:2] or sizes[place] <= sizes[place - 1], said[place]


def test_a_difference_named_by_its_two_prototypes_is_theirs(everything):
    for told in everything:
        rows = [row for frame in frames(told.result) for row in frame.to_dict("records") if "versus" in row]
        for text in sentences(told):
            for one, other, size in re.findall(rf"(\w+) minus (\w+)(?: on [\w ]+,)? is {_N}", text):
                value, room = _number(size)
                own = [row for row in rows if (row.get("prototype"), row["versus"]) == (one, other)]
                own = [row for row in own if words_in(row, told.names) & set(re.split(r": | on |, is", text))]
                assert any((np.abs(numbers_in(row) - value) <= room).any() for row in own), text


def test_more_and_less_agree_with_the_sign_in_the_brackets(everything):
    for told in everything:
        for text in sentences(told):
            _, *parts = re.split(r"\b(more|less)\b", text)
            for side, listed in zip(parts[::2], parts[1::2], strict=True):
                signs = set(re.findall(r"\(([+−])\d", listed.partition("; cannot tell")[0]))
                assert signs <= {"+" if side == "more" else "−"}, text


def test_one_is_one_and_many_are_many(everything):
    for told in everything:
        for text in sentences(told):
            for count, noun in re.findall(r"(?<![\d.,/–-])(\d[\d,]*) (\w+)", text):
                assert noun not in _ONES or count == "1", text
                assert noun not in _PLURALS or count != "1" or re.search(rf"of 1 {noun}", text), text


def test_every_sentence_is_whole(everything):
    for told in everything:
        for text in sentences(told):
            assert not re.search(r"\bnan\b|\bNone\b|[{}]|(?<!\.)\.\.(?!\.)|,,| ,| ;|: \.|;\.|\(\)|\band \.", text), text
            assert text[-1] in ".?!:)”'", text
            assert text == text.strip(), text
