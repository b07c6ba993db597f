"""Results about consumers for tests of words and pictures: computed once from the demo."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from panel.models.consumers.liking import Liking, weigh_liking
from panel.models.consumers.preference_map import PreferenceMap, map_preferences
from panel.models.consumers.segments import Segments, find_segments
from panel.study.naming import Naming, naming
from panel.study.open_study import open_study
from panel.study.study import Study
from tests.consumer_studies import answers_study, one_group_panel

DEMO = Path(__file__).resolve().parents[2] / "data_demo" / "reading_room"


@cache
def demo() -> tuple[Study, Naming]:
    study = open_study(DEMO)
    return study, naming(study)


@cache
def demo_liking() -> Liking:
    return weigh_liking(demo()[0])


@cache
def demo_segments() -> Segments:
    return find_segments(demo()[0], np.random.default_rng(1))


@cache
def demo_preferences() -> PreferenceMap:
    return map_preferences(demo()[0], np.random.default_rng(1), segments=demo_segments())


@cache
def one_group() -> Segments:
    table = one_group_panel(np.random.default_rng(1), "even")
    return find_segments(answers_study(table), np.random.default_rng(1))
