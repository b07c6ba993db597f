"""How long do liking, groups and preference map take, for the demo and for thousands of consumers?

Run from the checkout: python -m benchmarks.consumers_speed. One thread; the quickest of three
runs, in seconds of the processor, which other processes hardly change.
Promised: 60 consumers, everything on the page in less than 0.5 s; 5,000 consumers by 8 prototypes, liking in less
than 2 s.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from typing import Any

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402  # the number of threads has to be set before

from data_demo.make_demo import HERE  # noqa: E402
from panel.models.consumers.liking import weigh_liking  # noqa: E402
from panel.models.consumers.preference_map import map_preferences  # noqa: E402
from panel.models.consumers.segments import find_segments  # noqa: E402
from panel.models.prototypes.differences import find_differences  # noqa: E402
from panel.models.prototypes.map import find_map  # noqa: E402
from panel.study.open_study import open_study  # noqa: E402
from panel.study.study import Study  # noqa: E402
from tests.consumer_studies import answers_study, one_group_panel  # noqa: E402

RUNS = 3


def quickest(question: Callable[[], Any]) -> float:
    """Return the seconds of the quickest of a few runs."""
    times = []
    for _ in range(RUNS):
        begin = time.process_time()
        question()
        times.append(time.process_time() - begin)
    return min(times)


def main() -> None:
    """Print the table."""
    demo = open_study(HERE / "reading_room")
    rng = np.random.default_rng(1)
    two = np.where(np.arange(5000) % 3 == 0, 1.0, -1.0)[:, None] * np.array([1, 0.8, 0.4, 0, 0, -0.4, -0.8, -1])
    many = np.clip(one_group_panel(rng, "even", 5000) + np.rint(two), 1, 9)
    many[rng.random(many.shape) < 0.03] = np.nan
    thousands = Study(demo.tables | {"answers": answers_study(many).table("answers")}, demo.facts)
    print("| consumers | liking | groups | preference map | all |\n|---|---|---|---|---|")
    means = find_differences(demo).means
    placed = find_map(demo, rng=rng, means=means)
    for name, study in (("60 (demo)", demo), ("5,000", thousands)):
        segments = find_segments(study, np.random.default_rng(1))
        each = [
            quickest(lambda study=study: weigh_liking(study)),
            quickest(lambda study=study: find_segments(study, np.random.default_rng(1))),
            quickest(
                lambda study=study, segments=segments: map_preferences(
                    study, np.random.default_rng(1), segments=segments, placed=placed, means=means
                )
            ),
        ]
        print(f"| {name} | {' | '.join(f'{seconds:.3f} s' for seconds in (*each, sum(each)))} |", flush=True)


if __name__ == "__main__":
    main()
