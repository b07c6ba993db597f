"""Command before anybody scores: plan servings, or the prototypes to make."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from panel.cli.shared import json_option, open_path, print_json, print_lines, print_table, study_argument

if TYPE_CHECKING:
    from panel.plan.planned_formulas import Swap
    from panel.study.study import Study


@click.command()
@study_argument
@click.option(
    "--swaps",
    "swaps",
    multiple=True,
    metavar="'REMOVED -> ADDED: PERCENT'",
    help="A swap to plan, such as 'Dicaprylyl Carbonate -> Coco-Caprylate: 6'; may be given more than once.",
)
@click.option(
    "--base", default=None, metavar="PROTOTYPE", help="Prototype the swaps start from; the benchmark if not given."
)
@click.option(
    "--make",
    type=click.Choice(["full", "half", "one at a time"]),
    default="full",
    help="Every combination of the swaps, half of them, or the base and each swap alone.",
)
@click.option("--replicates", type=int, default=1, show_default=True, help="Servings: how often everybody gets each.")
@click.option("--per-session", type=int, default=8, show_default=True, help="Servings: most samples in one session.")
@click.option("--seed", type=int, default=1, show_default=True, help="Servings: seed of codes and orders.")
@json_option
def plan(
    study: Path,
    swaps: tuple[str, ...],
    base: str | None,
    make: str,
    replicates: int,
    per_session: int,
    seed: int,
    as_json: bool,
) -> None:
    """Plan servings: codes, orders, balance. With --swaps: the prototypes to make, so that swaps can be told apart."""
    opened = open_path(study)
    if swaps:
        _plan_prototypes(opened, swaps, base, make, as_json=as_json)
    else:
        _plan_servings(opened, replicates, per_session, seed, as_json=as_json)


def _plan_prototypes(opened: Study, swaps: tuple[str, ...], base: str | None, make: str, *, as_json: bool) -> None:
    """Plan the prototypes to make, so that the effects of swaps can be told apart."""
    from panel.plan.swap_plan import plan_swaps
    from panel.study.formulas import formula

    start = base or opened.benchmark or next(iter(opened.prototypes), "")
    result = plan_swaps(formula(opened, start), [_swap(text) for text in swaps], make)  # type: ignore[arg-type]  # click checked the choice
    if as_json:
        frames = ("prototypes", "formulas", "swaps", "aliases", "extra", "cautions")
        content: dict[str, Any] = {name: getattr(result, name) for name in frames}
        print_json(content | {"moves": result.n_moves, "method": result.method, "notes": result.notes})
        return
    from panel.views.planning.plan_tables import cautions_sentences, plan_sentences, plan_swaps_table, plan_table

    print_lines(*plan_sentences(result), "")
    print_table(plan_table(result))
    print_table(plan_swaps_table(result))
    print_lines(*cautions_sentences(result.cautions), result.method, *result.notes)


def _plan_servings(opened: Study, replicates: int, per_session: int, seed: int, *, as_json: bool) -> None:
    """Plan who gets what, when, under which code and where."""
    import numpy as np

    from panel.plan.study_plan import plan_study

    result = plan_study(opened, np.random.default_rng(seed), replicates=replicates, per_session=per_session)
    if as_json:
        balance = result.balance
        content: dict[str, Any] = {"servings": result.servings, "balance": balance.summary, "gaps": result.gaps}
        content |= {name: getattr(balance, name) for name in ("positions", "carry_over", "sites", "together")}
        print_json(content | {"seed": seed, "method": result.method, "notes": result.notes})
        return
    from panel.views.planning.plan_words import what_the_plan_cannot_show, what_the_plan_shows
    from panel.views.planning.serving_tables import balance_table, servings_table

    print_lines(*what_the_plan_shows(result), "")
    print_table(balance_table(result.balance))
    print_table(servings_table(result.servings, result.warm_up))
    print_lines(result.method, *result.notes, *what_the_plan_cannot_show())


def _swap(text: str) -> Swap:
    """Read a swap as it is written on the command line."""
    from panel.plan.planned_formulas import Swap
    from panel.study.typed_number import typed_number

    both, _, amount = text.rpartition(":")
    removed, arrow, added = both.partition("->")
    percent = typed_number(amount, f"The amount in {text!r}") if arrow else None
    if percent is None:
        raise click.UsageError(f"{text!r} is no swap. Write it as 'REMOVED -> ADDED: PERCENT'.")
    return Swap(removed.strip(), added.strip(), percent)
