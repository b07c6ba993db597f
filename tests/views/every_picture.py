"""Everything that is told of a study, and every picture in it: for tests of what all pictures have in common."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from panel import answers as asked
from panel.answers import Answers, NoAnswer, Question
from panel.claims.judge import CLAIMS
from panel.study.folder import read_folder
from panel.study.formulas import emollient_blend
from panel.study.naming import Naming
from panel.study.study import Study
from panel.views.assessors.people import person_items, tell_people
from panel.views.consumers.agreement import tell_agreement
from panel.views.consumers.check_all import tell_check_all
from panel.views.consumers.choices import tell_forced_choices, tell_preferences
from panel.views.consumers.just_about_right import tell_just_about_right
from panel.views.consumers.liking import tell_liking
from panel.views.consumers.preference_map import tell_preference_map
from panel.views.consumers.segments import tell_segments
from panel.views.decision.claims import tell_claims
from panel.views.decision.decide import tell_decision
from panel.views.decision.decision_pictures import windows_picture
from panel.views.emollients.blends import tell_blends
from panel.views.emollients.causes import tell_causes
from panel.views.emollients.curves import tell_curves
from panel.views.emollients.ladder import tell_ladder
from panel.views.emollients.next_prototype import tell_next
from panel.views.emollients.readings import tell_readings
from panel.views.over_time import tell_after_feel, tell_courses, tell_dominance
from panel.views.pictures import _literally
from panel.views.prototypes.alike import tell_alike, tell_planned, tell_sensitivity
from panel.views.prototypes.assumptions import tell_assumptions
from panel.views.prototypes.differences import tell_differences
from panel.views.prototypes.map import tell_map
from panel.views.prototypes.other_ways import tell_ranks, tell_scale_use
from panel.views.told import Picture, Told
from tests.report.evidence_studies import DEMO, demo_results

TELL: dict[Question[Any], Callable[[Any, Naming], Told]] = {
    asked.DIFFERENCES: tell_differences,
    asked.PLANNED: tell_planned,
    asked.ALIKE: tell_alike,
    asked.RANKS: tell_ranks,
    asked.SENSITIVITY: tell_sensitivity,
    asked.ASSUMPTIONS: tell_assumptions,
    asked.MAP: tell_map,
    asked.PANEL: tell_people,
    asked.SCALE_USE: tell_scale_use,
    asked.LADDER: tell_ladder,
    asked.CURVES: tell_curves,
    asked.READINGS: tell_readings,
    asked.NEXT: tell_next,
    asked.LIKING: tell_liking,
    asked.SEGMENTS: tell_segments,
    asked.PREFERENCE_MAP: tell_preference_map,
    asked.JUST_ABOUT_RIGHT: tell_just_about_right,
    asked.CHECK_ALL: tell_check_all,
    asked.AGREEMENT: tell_agreement,
    asked.PREFERENCES: tell_preferences,
    asked.FORCED_CHOICES: tell_forced_choices,
    asked.AFTER_FEEL: tell_after_feel,
    asked.COURSES: tell_courses,
    asked.DOMINANCES: tell_dominance,
    asked.DECISION: tell_decision,
    CLAIMS: tell_claims,
}


def everything_told(answers: Answers) -> dict[str, Told]:
    """What is told of every question that the study answers, by the name of the question."""
    names = answers.names
    found = {question.name: answers.ask(question) for question in TELL}
    told = {
        question.name: TELL[question](found[question.name], names)
        for question in TELL
        if not isinstance(found[question.name], NoAnswer)
    }
    traced, described = (answers.ask(each) for each in (asked.SWAPS, asked.DESCRIPTORS))
    if not isinstance(traced, NoAnswer):
        told["causes"] = tell_causes(answers.causes, names)
        if not isinstance(described, NoAnswer):
            told["blends"] = tell_blends(described, names, emollient_blend(answers.study), traced)
    return told


def every_picture(answers: Answers) -> Iterator[Picture]:
    """Every picture that a page, a command or the evidence file may show of a study."""
    told = everything_told(answers)
    for each in told.values():
        if each.picture is not None:
            yield each.picture
        for drawer in each.every_drawer():
            yield from (item for item in drawer.items if isinstance(item, Picture))
    if "decision" in told:
        for versus in (False, True):
            yield windows_picture(told["decision"].result, answers.names, versus=versus)
    if "panel" in told:
        check = told["panel"].result
        who, attribute = (str(check.assessors[column].iloc[0]) for column in ("assessor", "attribute"))
        items = person_items(check, answers.names, who, attribute)
        yield from (item for item in items if isinstance(item, Picture))


demo_answers = demo_results


@cache
def crowded_answers() -> Answers:
    """The demo with twelve prototypes and all its names 40 letters long, for 14 attributes and 100 consumers."""
    return Answers(_long_named(_more(read_folder(DEMO), prototypes=4, consumers=40)))


def _more(study: Study, prototypes: int, consumers: int) -> Study:
    """The study with copies of its first prototypes and consumers; scores of copies are moved a little."""
    rng = np.random.default_rng(5)
    new = {f"P{number}": f"P{number + 8}" for number in range(1, prototypes + 1)}
    tables = {}
    for name, frame in study.tables.items():
        keep = frame
        if "prototype" in frame and name not in ("claims", "servings", "answers", "decisions"):
            own = frame.loc[frame["prototype"].isin(new)]
            own = own.assign(prototype=own["prototype"].map(new))
            if "batch" in own:
                batches = {f"RR-{old[1:]}": f"RR-{to[1:]}" for old, to in new.items()}
                own = own.assign(batch=own["batch"].replace(batches))
            if "score" in own:
                own = own.assign(score=(own["score"] + rng.normal(0, 4, len(own))).clip(0, 100).round(1))
            keep = pd.concat([frame, own], ignore_index=True)
        if "assessor" in keep and name in ("answers", "assessors"):
            people = {f"C{number:03d}": f"C{number + 60:03d}" for number in range(1, consumers + 1)}
            own = keep.loc[keep["assessor"].isin(people)]
            keep = pd.concat([keep, own.assign(assessor=own["assessor"].map(people))], ignore_index=True)
        tables[name] = keep
    return replace(study, tables=tables)


def _long_named(study: Study) -> Study:
    def long(name: str) -> str:
        return f"{name} of the hand cream for the reading room"[:40] if name else name

    words = study.table("attributes")["name"]
    tables = dict(study.tables)
    tables["attributes"] = study.table("attributes").assign(
        name=[f"{name} after rubbing it in for two minutes"[:40] for name in words]
    )
    for name, frame in study.tables.items():
        for column in ("prototype", "versus"):
            if column in frame:
                tables[name] = tables[name].assign(**{column: frame[column].map(long)})
    facts = {name: _renamed(fact, long) for name, fact in study.facts.items()}
    return replace(study, tables=tables, facts=facts)


def _renamed(fact: Any, long: Callable[[str], str]) -> Any:
    if isinstance(fact, dict):
        return {long(key) if _is_prototype(key) else key: _renamed(value, long) for key, value in fact.items()}
    if isinstance(fact, list):
        return [_renamed(each, long) for each in fact]
    return long(fact) if _is_prototype(fact) else fact


def _is_prototype(word: object) -> bool:
    return isinstance(word, str) and len(word) == 2 and word[0] == "P" and word[1].isdigit()


def boxes(figure: Figure) -> list[tuple[str, Bbox]]:
    """Every piece of text that is seen in a figure, with the box it fills, in points from the lower left corner."""
    canvas = FigureCanvasAgg(figure)
    with _literally(figure):
        figure.draw_without_rendering()
        renderer = canvas.get_renderer()
        to_points = 72 / figure.dpi
        unseen = {id(text) for axes in figure.axes for text in _unseen(axes)}
        found = []
        for text in figure.findobj(Text):
            if not text.get_text().strip() or not text.get_visible() or id(text) in unseen:
                continue
            box = text.get_window_extent(renderer)
            found.append((text.get_text(), Bbox(box.get_points() * to_points)))
    return found


def _unseen(axes: Any) -> Iterator[Text]:
    """Labels of ticks that are not drawn: beyond the ends of their axis, or of an axis that is switched off."""
    for axis in (axes.xaxis, axes.yaxis):
        low, high = sorted(axis.get_view_interval())
        room = 1e-9 * (high - low)
        for tick in [*axis.get_major_ticks(), *axis.get_minor_ticks()]:
            if not axes.axison or not low - room <= tick.get_loc() <= high + room:
                yield from (tick.label1, tick.label2)
            else:
                yield from (label for label in (tick.label1, tick.label2) if not label.get_visible())


def overlaps(found: list[tuple[str, Bbox]], room: float = 1.0) -> list[tuple[str, str]]:
    """Pairs of the texts found in a figure that cover each other by more than `room` points both ways."""
    return [
        (text, other)
        for place, (text, box) in enumerate(found)
        for other, second in found[:place]
        if min(box.x1, second.x1) - max(box.x0, second.x0) > room
        and min(box.y1, second.y1) - max(box.y0, second.y0) > room
    ]


def cut_off(found: list[tuple[str, Bbox]], figure: Figure, room: float = 1.0) -> list[str]:
    """Texts found in a figure that reach beyond its edges."""
    width, height = figure.get_size_inches() * 72
    return [
        text
        for text, box in found
        if box.x0 < -room or box.y0 < -room or box.x1 > width + room or box.y1 > height + room
    ]


def drawn(axes: Axes) -> Iterator[np.ndarray]:
    """The points through which each line, mark, bar and area goes that stands in the numbers of the axes."""

    def in_numbers(artist: Artist) -> bool:
        return artist.get_transform().contains_branch_seperately(axes.transData) == (True, True)

    yield from (np.asarray(line.get_xydata(), dtype=float) for line in axes.lines if in_numbers(line))
    for group in axes.collections:
        if group.get_offset_transform() == axes.transData and len(group.get_offsets()):
            yield np.asarray(group.get_offsets(), dtype=float)
        elif in_numbers(group):
            yield from (path.vertices for path in group.get_paths())
    for patch in filter(in_numbers, axes.patches):
        yield (patch.get_transform() - axes.transData).transform_path(patch.get_path()).vertices
