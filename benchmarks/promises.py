"""Are false verdicts rare where nothing is true, or where the truth lies just at the margin?

    .venv/bin/python -m benchmarks.promises [studies] [words of the lines wanted] [scheduler]

Each line is a kind of study and a wrong thing that may be said of it, with its nominal chance, what came out, and the
standard error. Panels: SDs 6 (assessor), 5 (assessor x prototype), 8 (residual). Each block of studies has a seed of
its own, and blocks are spread over processes, or over the workers of a scheduler.
"""

from __future__ import annotations

import sys
import zlib
from collections.abc import Callable
from functools import partial

import numpy as np
import pandas as pd

from benchmarks.confounds import Line, lines
from panel.claims.claim import read_claims
from panel.claims.judge import _find_evidence
from panel.claims.materials import Materials
from panel.claims.verdict import _is_shown, adjust_together
from panel.models.consumers.check_all import count_check_all
from panel.models.consumers.liking import weigh_liking
from panel.models.consumers.segments import find_segments
from panel.models.over_time.after_feel import follow_after_feel
from panel.models.over_time.dominance import follow_dominance
from panel.models.prototypes.alike import find_alike
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.verdict import EQUIVALENT, WOULD_BE
from panel.spread import spread
from panel.study.study import Study
from tests.claims.claim_studies import claim_row, panel_scores, study_with
from tests.consumer_studies import answers_study
from tests.time_studies import dominance_rows


def panel_study(rng: np.random.Generator, truth: np.ndarray, margin: float = 8.0) -> Study:
    """Return scores on 14 attributes of prototypes with true means `truth` (prototypes,); P1 is the benchmark."""
    a, p, q, r = 10, len(truth), 14, 3
    score = 50 + truth[None, :, None, None] + rng.normal(0, 6, (q, 1, a, 1)) + rng.normal(0, 5, (q, p, a, 1))
    score = score + rng.normal(0, 8, (q, p, a, r))
    place = np.indices(score.shape).reshape(4, -1)
    names = [np.array([f"{letter}{number + 1}" for number in range(20)]) for letter in "TPA"]
    labels = {name: names[k][place[k]] for k, name in enumerate(("attribute", "prototype", "assessor"))}
    scores = pd.DataFrame(labels | {"score": score.ravel(), "replicate": (place[3] + 1).astype(str)})
    roles = ["benchmark"] + ["prototype"] * (p - 1)
    return Study(
        {
            "prototypes": pd.DataFrame({"prototype": names[1][:p], "role": roles}),
            "attributes": pd.DataFrame({"attribute": names[0][:q]}),
            "scores": scores,
        },
        {"margin": margin, "scale_min": 0, "scale_max": 100},
    )


def some_row_differs(rng: np.random.Generator) -> bool:
    """Return whether nothing true is told as different somewhere, of 14 attributes x 7 differences."""
    found = find_differences(panel_study(rng, np.zeros(8)))
    return bool(found.versus["verdict"].str.startswith("differs").any())


def some_row_alike(rng: np.random.Generator, margin: float) -> bool:
    """Return whether a difference as large as the margin is told as within it, of 98.

    The interval that decides on the first of 98 reaches 10.6 to either side: at a smaller margin nothing can be shown.
    """
    study = panel_study(rng, np.array([0.0, *[margin, -margin] * 3, margin]), margin)
    rows = find_alike(study, find_differences(study, margin=margin)).differences
    return bool(rows["verdict"].isin([EQUIVALENT, WOULD_BE]).any())


def some_claim_supported(rng: np.random.Generator, attributes: int = 1) -> bool:
    """Return whether some of the same claims about seven alike prototypes is supported."""
    names = [f"T{number}" for number in range(attributes)]
    truth = {name: dict.fromkeys([f"P{number}" for number in range(1, 9)], 50.0) for name in names}
    rows = [
        claim_row("softer", "superiority", prototype=f"P{number}", versus="P1", attribute=name, direction="more")
        for number in range(2, 9)
        for name in names
    ]
    study = study_with(rows, scores=panel_scores(truth, rng, replicates=3))
    claims = read_claims(study)
    materials = Materials(study, claims, 0.95)
    evidence = [_find_evidence(each, materials) for each in claims]
    families = adjust_together(claims, evidence, [True] * len(claims))
    return any(_is_shown(found, p_adjusted) for found, (_, _, p_adjusted, _) in zip(evidence, families, strict=True))


def some_groups(rng: np.random.Generator, falling: float, *, back_and_forth: bool = False) -> bool:
    """Return whether one taste, with liking that falls with each place, is told as several groups."""
    orders = rng.permuted(np.tile(np.arange(8), (60, 1)), axis=1)
    if back_and_forth:
        orders = np.where(np.arange(60)[:, None] % 2 == 0, np.arange(8), np.arange(8)[::-1])
    own = rng.normal(6, 1, (60, 1)) + rng.normal(0, 0.6, 8)
    position = np.argsort(orders, axis=1) + 1.0
    answer = np.clip(np.rint(own - falling * (position - 1) + rng.normal(0, 1.2, orders.shape)), 1, 9)
    return find_segments(answers_study(answer, position=position.ravel()), rng).n_groups > 1


def something_dominant(rng: np.random.Generator, people: int) -> bool:
    """Return whether pure noise of 8 sensations is told as dominant somewhere."""
    texts = ["".join(np.repeat(rng.choice(list("abcdefgh"), 5), 2)) for _ in range(people)]
    study = Study({"dominances": dominance_rows({"P1": texts})}, {"dominance_attributes": list("abcdefgh")})
    return len(follow_dominance(study, rng=rng).periods) > 0


def told_apart_over_time(rng: np.random.Generator, *, split: bool) -> bool:
    """Return whether six alike prototypes, over two sessions (SD 4), are told as different on the whole or at a time.

    Everybody scores each twice at three times; `split`: three in either session, else all in both.
    """
    a, p, m = 8, 6, 3
    person, view, moment = rng.normal(0, 5, a), rng.normal(0, 4, (a, p)), rng.normal(0, 2, (a, m))
    session, rows = rng.normal(0, 4, 2), []
    for who, what, turn in np.ndindex(a, p, 2):
        at = what // 3 if split else turn
        level = 50 + person[who] + view[who, what] + session[at] + rng.normal(0, 2)
        scores = level + moment[who] + rng.normal(0, 5, m)
        rows += [
            (f"A{who}", f"P{what + 1}", f"G{time}", score, f"{at + 1}", f"{turn + 1}")
            for time, score in enumerate(scores)
        ]
    columns = ["assessor", "prototype", "attribute", "score", "session", "replicate"]
    names = [f"P{number + 1}" for number in range(p)]
    roles = ["benchmark"] + ["prototype"] * (p - 1)
    tables = {
        "prototypes": pd.DataFrame({"prototype": names, "role": roles}),
        "attributes": pd.DataFrame({"attribute": ["G0", "G1", "G2"], "name": "grease", "minutes": [2.0, 10.0, 20.0]}),
        "scores": pd.DataFrame(rows, columns=columns),
    }
    found = follow_after_feel(Study(tables))
    whole = found.tests.loc[found.tests["term"] == "prototype", "differs"].any()
    return bool(whole or found.versus["differs"].any())


def told_apart_by_consumers(rng: np.random.Generator, *, one_order: bool, ticks: bool) -> bool:
    """Return whether 60 people are said to like four alike prototypes differently, or by one of six `ticks` to see.

    Each place in the order takes 0.35 off; all in `one_order`, else orders drawn.
    """
    orders = np.tile(np.arange(4.0), (60, 1)) if one_order else rng.permuted(np.tile(np.arange(4.0), (60, 1)), axis=1)
    position, person = (orders + 1).ravel(), rng.normal(0, 1, (60, 1)) - 0.35 * orders
    if not ticks:
        liking = np.clip(np.rint(6 + person + rng.normal(0, 1.2, orders.shape)), 1, 9)
        return weigh_liking(answers_study(liking, position=position)).differs
    ticked = (person + rng.normal(0, 1, (6, *orders.shape)) > 0).astype(int)
    asked = {"kind": "check_all", "position": position}
    answers = [answers_study(each, question=f"w{n}", **asked).table("answers") for n, each in enumerate(ticked)]
    return bool(count_check_all(Study({"answers": pd.concat(answers, ignore_index=True)})).terms["differs"].any())


def _each(wrong: Callable[[np.random.Generator], bool]) -> Line:
    """Return a line that simulates one study after another."""
    return lambda rng, studies: np.array([wrong(rng) for _ in range(studies)])


LINES: dict[str, tuple[str, Line]] = {
    "null study, 14 x 8: some row differs": ("5", _each(some_row_differs)),
    "truth at a margin of 8: some of 98 rows within it": ("5", _each(lambda rng: some_row_alike(rng, 8.0))),
    "truth at a margin of 16: some of 98 rows within it": ("5", _each(lambda rng: some_row_alike(rng, 16.0))),
    "seven alike prototypes, one claim each: some supported": ("5", _each(some_claim_supported)),
    "seven alike prototypes, three attributes: some supported": ("5", _each(lambda rng: some_claim_supported(rng, 3))),
    "one taste, liking falls 0.2 a place: groups": ("10", _each(lambda rng: some_groups(rng, 0.2))),
    "one taste, liking falls 0.3 a place: groups": ("10", _each(lambda rng: some_groups(rng, 0.3))),
    "one taste, forward and backward, 0.3 a place: groups": (
        "10",
        _each(lambda rng: some_groups(rng, 0.3, back_and_forth=True)),
    ),
    "pure noise, 12 evaluations: something dominant": ("5", _each(lambda rng: something_dominant(rng, 12))),
    "pure noise, 30 evaluations: something dominant": ("5", _each(lambda rng: something_dominant(rng, 30))),
    "pure noise, 60 evaluations: something dominant": ("5", _each(lambda rng: something_dominant(rng, 60))),
    **{
        f"over time, {words}: told apart on the whole or at a time": (
            "10",
            _each(partial(told_apart_over_time, split=split)),
        )
        for words, split in (("3 + 3 over two sessions", True), ("two sessions of all", False))
    },
    **{
        f"60 consumers{words}, 0.35 a place: {told}": (
            "5",
            _each(partial(told_apart_by_consumers, one_order=one, ticks=ticks)),
        )
        for words, one in ((" in one order", True), (", orders drawn", False))
        for told, ticks in (("some liked better", False), ("some word tells them apart", True))
    },
    **lines(),
}
BLOCK = 50  # studies of a task


def wrong_in_block(task: tuple[str, int, int]) -> int:
    """Return in how many studies of a block the wrong thing is said; the task: line, number of the block, studies."""
    name, block, studies = task
    rng = np.random.default_rng([20251128, zlib.crc32(name.encode()), block])
    return int(LINES[name][1](rng, studies).sum())


def main(studies: int = 500, words: str = "", scheduler: str = "") -> None:
    """Print one row a line."""
    sizes = [min(BLOCK, studies - start) for start in range(0, studies, BLOCK)]
    wanted = [name for name in LINES if words in name]
    tasks = [(name, block, size) for name in wanted for block, size in enumerate(sizes)]
    found = spread(wrong_in_block, tasks, scheduler=scheduler)
    print("| what | nominal | measured | studies |\n|---|---|---|---|")
    for name in wanted:
        share = sum(next(found) for _ in sizes) / studies
        error = np.sqrt(max(share * (1 - share), 1 / studies) / studies)
        print(f"| {name} | {LINES[name][0]} | {100 * share:.1f} ± {100 * error:.1f} | {studies:,} |", flush=True)


if __name__ == "__main__":
    main(*([int(sys.argv[1]), *sys.argv[2:]] if len(sys.argv) > 1 else []))
