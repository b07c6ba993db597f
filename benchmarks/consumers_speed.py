"""How long does everything on the pages Consumers and Forced choice take, for the demo and for thousands of consumers?

Run from the checkout: python -m benchmarks.consumers_speed. One thread, seconds of the processor, which other processes
hardly change; each question in its turn, as a page asks for it, and all of them from first to last; of five rounds the
median. The panel's map and the traced swaps are at hand already: they belong to other pages.
Promised: 60 consumers less than 0.5 s; 5,000 consumers by 8 prototypes and 40 questions less than 5 s.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from typing import Any

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np
import pandas as pd

from data_demo.make_demo import HERE
from panel.models.consumers.agreement import count_agreement
from panel.models.consumers.check_all import count_check_all
from panel.models.consumers.choices import count_preferences
from panel.models.consumers.forced_choice import judge_forced_choices
from panel.models.consumers.just_about_right import weigh_just_about_right
from panel.models.consumers.liking import weigh_liking
from panel.models.consumers.preference_map import map_preferences
from panel.models.consumers.segments import Segments, find_segments
from panel.models.emollients.swaps import TracedSwaps, trace_swaps
from panel.models.prototypes.differences import Differences, find_differences
from panel.models.prototypes.map import PrototypeMap, find_map
from panel.study.open_study import open_study
from panel.study.study import Study
from tests.consumer_studies import answers_study, one_group_panel

ROUNDS = 5


def seconds_of(study: Study, panel: tuple[Differences, PrototypeMap, TracedSwaps]) -> dict[str, float]:
    """Return the seconds of each question, one after the other."""
    differences, placed, traced = panel
    segments: list[Segments] = []
    asked: dict[str, Callable[[], Any]] = {
        "liking": lambda: weigh_liking(study),
        "groups": lambda: segments.append(find_segments(study, np.random.default_rng(1))),
        "preference map": lambda: map_preferences(
            study, np.random.default_rng(1), segments=segments[0], placed=placed, means=differences.means
        ),
        "just about right": lambda: weigh_just_about_right(study, swaps=traced),
        "check all": lambda: count_check_all(study),
        "agreement": lambda: count_agreement(study),
        "forced choice": lambda: judge_forced_choices(study),
        "preference": lambda: count_preferences(study),
    }
    took = {}
    for name, ask in asked.items():
        begin = time.process_time()
        ask()
        took[name] = time.process_time() - begin
    return took | {"all": sum(took.values())}


def main() -> None:
    """Print the table."""
    demo = open_study(HERE / "reading_room")
    differences = find_differences(demo)
    placed = find_map(demo, rng=np.random.default_rng(1), means=differences.means)
    panel = differences, placed, trace_swaps(demo)
    print("| consumers | first round, all | " + " | ".join(seconds_of(demo, panel)) + " |")
    for name, make in (("60 (demo)", lambda: fresh(demo)), ("5,000", lambda: thousands(demo))):
        rounds = [seconds_of(make(), panel) for _ in range(ROUNDS)]
        middle = [float(np.median([each[key] for each in rounds])) for key in rounds[0]]
        print(f"| {name} | {rounds[0]['all']:.3f} s | {' | '.join(f'{value:.3f} s' for value in middle)} |", flush=True)


def fresh(study: Study) -> Study:
    """Return the same study as it is after opening, nothing remembered from an earlier round."""
    return Study(dict(study.tables), study.facts)


def thousands(demo: Study) -> Study:
    """Return 5,000 consumers with 40 questions on each of 8 prototypes, a triangle test and a preference."""
    rng = np.random.default_rng(1)
    two = np.where(np.arange(5000) % 3 == 0, 1.0, -1.0)[:, None] * np.array([1, 0.8, 0.4, 0, 0, -0.4, -0.8, -1])
    liked = np.clip(one_group_panel(rng, "even", 5000) + np.rint(two), 1, 9)
    liked[rng.random(liked.shape) < 0.03] = np.nan
    parts = [answers_study(liked).table("answers")]
    shift = np.linspace(-0.6, 0.6, 8)
    for kind, low, high, questions in (("just_about_right", 1, 5, 8), ("check_all", 0, 1, 21), ("agreement", 1, 5, 10)):
        for number in range(questions):
            told = (low + high) / 2 + np.roll(shift, number) + rng.normal(0, 0.9, liked.shape)
            table = np.where(np.isnan(liked), np.nan, np.clip(np.rint(told), low, high))
            parts.append(answers_study(table, kind=kind, question=f"{kind} {number + 1}").table("answers"))
    answers = demo.table("answers")
    chosen = answers.loc[answers["kind"].isin(["triangle", "preference"])].drop(columns="assessor")
    people = [f"C{person + 1:04d}" for person in range(5000)]
    for _, rows in chosen.groupby("kind"):
        drawn = rows.sample(len(people), replace=True, random_state=1)
        parts.append(drawn.assign(assessor=people))
    return Study(demo.tables | {"answers": pd.concat(parts, ignore_index=True)}, demo.facts)


if __name__ == "__main__":
    main()
