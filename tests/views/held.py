"""What an answer holds: every number and every word of its frames, row by row, to set beside what is told of it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, fields, is_dataclass
from functools import partial
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

from panel import answers as asked
from panel.answers import Answers, NoAnswer
from panel.checks.all_checks import readiness
from panel.claims.judge import CLAIMS
from panel.models.emollients.predictions import PredictionRecord, WhatIf
from panel.plan.mixture_plan import plan_mixture
from panel.plan.orders import plan_servings
from panel.plan.protocol import read_protocol
from panel.plan.safety import safety_gate
from panel.plan.sample_size import Scatter, panel_sizes, what_you_can_see
from panel.plan.study_plan import batch_numbers
from panel.plan.swap_plan import Swap, plan_swaps
from panel.study.formulas import formula, formula_difference
from panel.study.naming import Naming
from panel.study.scores_used import scores_used
from panel.study.study import Study
from panel.views.assessors.people import differences_without, person_items
from panel.views.decision.claims import CLAIM_NUMBERS, CLAIMS_TABLE, claim_pictures, wording_lines
from panel.views.decision.decision_pictures import windows_picture
from panel.views.emollients.next_prototype import tell_record, tell_what_if
from panel.views.emollients.swaps import swap_drawers
from panel.views.glance import in_short, tell_glance
from panel.views.planning import plan, safety, sizes
from panel.views.planning import study as of_study
from panel.views.told import Item, Shown, Table, Told, drawer
from tests.drawn_studies import DRAWN
from tests.formula_studies import ALKANE, ALMOND, CARBONATE, ISOSTEARATE, SHEA, TRIGLYCERIDE, hand_cream_formulas
from tests.formula_studies import study_of as of_formulas
from tests.models.as_answered import asked_apart
from tests.studies import small_study
from tests.views.every_picture import demo_answers, everything_told

NUMBER = re.compile(r"(?<![\w.,–-])[+−]?\d[\d,]*(?:\.\d+)?(?!\w|-[A-Z])")
TWELFTH_DIGIT = 1e-9  # for what was multiplied by 100 and cut


def _answers_of(make: Callable[[], Study]) -> Answers:
    return Answers(make())


# The demo; four formulas with a benchmark; and drawn studies that take other ways.
STUDIES = {
    "demo": demo_answers,
    "four": lambda: Answers(small_study({"benchmark": "P1", "margin": 8.0})),
} | {name: partial(_answers_of, make) for name, make in DRAWN.items()}


def all_told(answers: Answers) -> list[Told]:
    """Everything that is told of a study, also of one person, of the swaps by themselves and of two other blends."""
    told, names = everything_told(answers), answers.names
    if "panel" in told:
        check = told["panel"].result
        who, attribute = str(check.people["assessor"].iloc[0]), str(check.assessors["attribute"].iloc[0])
        left = answers.ask(asked.LEFT_OUT)
        without = () if isinstance(left, NoAnswer) else (Shown(differences_without(who), left, names),)
        items = (*person_items(check, names, who, attribute), *without)
        told["person"] = Told(check, names, f"{who}.", drawers=(drawer(who, *items),))
    if not isinstance(traced := answers.ask(asked.SWAPS), NoAnswer):
        told["swaps"] = Told(traced, names, "The swaps.", drawers=swap_drawers(traced, names))
    for name, found in asked_apart(answers).items():
        if isinstance(found, WhatIf):
            told[name] = tell_what_if(found, names, answers.need(asked.PREDICTION).level.base)
        elif isinstance(found, PredictionRecord):
            told[name] = tell_record(found, names)
    return list(told.values())


def _page(names: Naming, title: str, *items: Item) -> Told:
    """What belongs to no answer."""
    return Told(SimpleNamespace(method="", notes=()), names, title, drawers=(drawer(title, *items),))


def study_told(answers: Answers) -> list[Told]:
    """What is told of the study itself: at a glance, what is in it, its batches, findings and gate, what pages add."""
    study, names, findings = answers.study, answers.names, answers.need(asked.FINDINGS)
    glance = [f"{name}: {words}" for name, words in asdict(tell_glance(answers)).items() if name != "settle"]
    own = [of_study.mark(study), of_study.what_is_in_the_study(study), of_study.what_the_findings_say(findings)]
    tables: dict[Table, Any] = {of_study.FINDINGS: findings, of_study.CHANGED_SCORES: scores_used(study)}
    if made := len(study.table("batches")):
        tables |= {of_study.BATCHES: study, safety.PROTOCOL: read_protocol(study)}
    more: list[Item] = []
    if not isinstance(decision := answers.ask(asked.DECISION), NoAnswer):
        more += [
            windows_picture(decision, names, versus=versus) for versus in (False, True)[: 1 + bool(decision.benchmark)]
        ]
    if not isinstance(claims := answers.ask(CLAIMS), NoAnswer):
        for number in claims.claims["number"]:
            more += [*claim_pictures(claims, number, names), *wording_lines(claims, number)]
        more += [Shown(table, claims, names) for table in (CLAIMS_TABLE, CLAIM_NUMBERS)]
    on = "2025-03-14T10:00"
    gate = safety_gate(study, on)
    lists = [Shown(safety.checklist(batch), gate, names) for batch in gate.batches["batch"][:1]]
    shut = safety.tell_gate(gate, names, readiness(study, on), on)
    return [
        _page(names, "The first screen", *glance, *map(in_short, findings)),
        _page(names, "The study", *own, *(Shown(table, of, names) for table, of in tables.items()), *lists, *more),
        *([shut] if made else []),
    ]


def planned_told() -> list[Told]:
    """What is told of plans: servings, swaps, blends, how many people, what batches buy."""
    names, own = Naming(scale="0 to 100"), of_formulas(hand_cream_formulas())
    base = formula(own, "P1")
    swaps = [Swap(CARBONATE, ALKANE, 6.0), Swap(TRIGLYCERIDE, ISOSTEARATE, 5.0), Swap(ALMOND, SHEA, 4.0)]
    to_make = [plan_swaps(base, swaps, kind) for kind in ("full", "half", "one at a time")]
    blends = plan_mixture(base, {CARBONATE: (0, 15), TRIGLYCERIDE: (0, 15), ALMOND: (0, 15)}, "lattice")
    scatter = Scatter(25.0, 64.0, "own", df=(15.0, 24.0), replicates=2.0)
    many = (panel_sizes(8.0, 6, scatter), panel_sizes(8.0, 8), panel_sizes(8.0, 8, assessors=[4, 5], replicates=[2]))
    weighed = [batch_numbers(8.0, 6, scatter, sd, 10, 2) for sd in (3.0, 0.1)]
    served = [_served(*each) for each in ((8, 10, 2, 8), (11, 3, 1, 6), (3, 30, 1, 8))]
    difference = of_study.formula_difference_table(formula_difference(own, "P8", "P1"), "P8", "P1")
    keys = [of_study.formulas_table(own), difference, plan.key_table(served[0].servings)]
    rows = [" | ".join(row) for frame in keys for row in (frame.columns, *frame.to_numpy(dtype=str).tolist())]
    tables: list[tuple[Table, Any]] = [(plan.mixture_blends(blends), blends), (plan.MIXTURE_MODELS, blends)]
    tables += [(plan.BALANCE, each.balance) for each in served]
    return [
        *(plan.tell_servings(each, names) for each in served),
        *(plan.tell_plan(each, names) for each in (*to_make, plan_swaps(base, swaps[:1], "full"))),
        *(sizes.tell_sizes(each, names, 2, weighed=weighed[0], seen=what_you_can_see(9, 2, 6)) for each in many),
        _page(names, "Plans", *rows, *(Shown(table, of, names) for table, of in tables)),
        _page(names, "People", *(sizes.what_batches_buy(each, names) for each in weighed)),
        _page(names, "Panels", *(sizes.own_panel(many[0], names, people, 2) or "none" for people in (8, 99))),
    ]


def _served(prototypes: int, people: int, replicates: int, per_session: int) -> Any:
    rng, assessors = np.random.default_rng(1), [f"A{number:02d}" for number in range(1, people + 1)]
    gaps = pd.DataFrame([("A01", "P3", "avoids nuts")], columns=["assessor", "prototype", "reason"], dtype="str")
    return plan_servings(
        [f"P{number}" for number in range(1, prototypes + 1)], assessors, rng, replicates=replicates,
        per_session=per_session, forbidden=gaps,
    )  # fmt: skip


def frames(thing: Any, depth: int = 4) -> Iterator[pd.DataFrame]:
    """Every frame that an answer holds, also inside what was handed on to it."""
    if isinstance(thing, pd.DataFrame):
        yield thing
    elif depth and is_dataclass(thing):
        for each in fields(thing):
            yield from frames(getattr(thing, each.name), depth - 1)
    elif depth and isinstance(thing, Mapping):
        yield from (frame for each in thing.values() for frame in frames(each, depth - 1))
    elif depth and isinstance(thing, tuple | list):
        yield from (frame for each in thing for frame in frames(each, depth - 1))


def numbers_in(row: Mapping[Any, Any]) -> np.ndarray:
    """Every number of a row."""
    held = [each for value in row.values() for each in (value if isinstance(value, tuple | list) else (value,))]
    found = [float(each) for each in held if isinstance(each, int | float | np.number) and not isinstance(each, bool)]
    return np.array([each for each in found if np.isfinite(each)])


def words_in(row: Mapping[Any, Any], names: Naming) -> set[str]:
    """Every word of a row, as it stands and as the study says it."""
    own = {str(each) for each in row.values() if isinstance(each, str | int | np.integer)}
    return own | {names.attribute(each) for each in own} | {names.prototype(each) for each in own}


def told_numbers(text: str) -> list[tuple[float, int]]:
    """Every number of a text, with its decimals; a thousand or more may be rounded before the point."""
    found = [each.replace("−", "-").replace("+", "").replace(",", "") for each in NUMBER.findall(text)]
    return [(float(each), len(each.partition(".")[2]) or _noughts(each)) for each in found]


def _noughts(told: str) -> int:
    return len(told.rstrip("0")) - len(told) if abs(float(told)) >= 1000 else 0


def holds(row: np.ndarray, told: float, digits: int, *, cut: bool = False) -> bool:
    """Whether a number told with these decimals is one of those in a row, or one in per cent."""
    room = (1.0 if cut else 0.5) * 10.0**-digits + TWELFTH_DIGIT
    return bool((np.abs(np.concatenate([row, 100 * row]) - told) <= room).any())
