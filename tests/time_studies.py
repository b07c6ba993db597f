"""Small studies over time for tests: scores at several minutes, courses of intensity, dominant sensations."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from panel.study.study import Study

MINUTES = (2.0, 10.0, 20.0)
PROTOTYPES = ("P1", "P2", "P3")


def after_feel_scores(rng: np.random.Generator, people: int = 8, repeats: int = 2, fall: float = 0.0) -> pd.DataFrame:
    """Return balanced scores: everybody, every prototype, every time, `repeats` sessions; P3 falls faster by `fall`."""
    own = rng.normal(0, 5, people)
    pair, moment = rng.normal(0, 4, (people, 3)), rng.normal(0, 3, (people, len(MINUTES)))
    both = rng.normal(0, 3, (people, 3, len(MINUTES)))
    rows = []
    for person in range(people):
        for sample, prototype in enumerate(PROTOTYPES):
            for turn in range(repeats):
                serving = rng.normal(0, 2)
                for time in range(len(MINUTES)):
                    level = 60 - 8 * sample - 6 * time - fall * time * (sample == 2) + own[person]
                    level += pair[person, sample] + moment[person, time] + both[person, sample, time] + serving
                    score = level + rng.normal(0, 4)
                    rows.append((f"A{person:02d}", prototype, f"GREASE_{MINUTES[time]:g}", score, "", f"{turn + 1}"))
    columns = ["assessor", "prototype", "attribute", "score", "session", "replicate"]
    return pd.DataFrame(rows, columns=columns)


def after_feel_study(scores: pd.DataFrame, **facts: Any) -> Study:
    """Return the study of these scores; the three attributes share one name."""
    attributes = pd.DataFrame(
        {"attribute": [f"GREASE_{time:g}" for time in MINUTES], "name": "greasy film", "minutes": list(MINUTES)}
    )
    prototypes = pd.DataFrame({"prototype": PROTOTYPES, "name": "", "role": ["benchmark", "prototype", "prototype"]})
    return Study({"prototypes": prototypes, "attributes": attributes, "scores": scores}, facts)


def course_rows(peaks: dict[str, float], people: int = 6, seed: int = 1) -> pd.DataFrame:
    """Return courses that rise to a peak of about this height at 20 s and are gone at 60 s, two of each person."""
    rng = np.random.default_rng(seed)
    rows = []
    for person in range(people):
        for prototype, peak in peaks.items():
            for turn in "12":
                height = peak + rng.normal(0, 4)
                for seconds, share in ((0, 0), (10, 0.6), (20, 1), (40, 0.4), (60 + rng.integers(0, 5), 0)):
                    rows.append((f"A{person:02d}", prototype, "STICK", float(seconds), height * share, "", turn))
    columns = ["assessor", "prototype", "attribute", "seconds", "score", "session", "replicate"]
    return pd.DataFrame(rows, columns=columns)


def dominance_rows(sequences: dict[str, list[str]], repeat: str = "1") -> pd.DataFrame:
    """Return evaluations: one letter for each tenth of the time, such as `aaaabbbccc`, one text for each person."""
    rows = []
    for prototype, texts in sequences.items():
        for person, text in enumerate(texts):
            before = ""
            for place, letter in enumerate(text):
                if letter != before:
                    rows.append((f"A{person:02d}", prototype, float(place), letter, "", repeat))
                before = letter
            rows.append((f"A{person:02d}", prototype, float(len(text)), "stop", "", repeat))
    columns = ["assessor", "prototype", "seconds", "attribute", "session", "replicate"]
    return pd.DataFrame(rows, columns=columns)


def everything_over_time(fall: float = 8.0) -> Study:
    """Return a study with scores at three times, courses and dominance evaluations."""
    base = after_feel_study(after_feel_scores(np.random.default_rng(6), fall=fall))
    sequences = {"P1": ["wwwwwgggg"] * 14 + ["wwwsssggg"] * 2, "P2": ["sssdddddd"] * 13 + ["wwwwdddgg"] * 3}
    dominances = dominance_rows(sequences)
    words = {"w": "wet", "s": "sticky", "g": "greasy", "d": "dry", "stop": "stop"}
    dominances["attribute"] = dominances["attribute"].map(words)
    tables = {"courses": course_rows({"P1": 40, "P2": 60}), "dominances": dominances}
    return Study(dict(base.tables) | tables, {"benchmark": "P1"})
