"""Command before anybody scores: plan servings, or the prototypes to make."""

from __future__ import annotations

import math
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from panel.cli.shared import (
    json_option,
    open_path,
    parts_of,
    print_json,
    print_lines,
    print_table,
    print_told,
    study_argument,
    tell,
)
from panel.errors import StudyError

if TYPE_CHECKING:
    from panel.plan.study_plan import BatchNumbers
    from panel.plan.swap_plan import Swap
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
@click.option(
    "--sessions",
    type=int,
    default=None,
    help="Servings: sessions each person comes to, if too few to try everything: then everybody tries a part.",
)
@click.option("--seed", type=int, default=1, show_default=True, help="Servings: seed of codes and orders.")
@click.option("--keep", "who", default="", metavar="NAME", help="Servings: write them into the study, made by NAME.")
@click.option("--all", "everything", is_flag=True, help="Also what else there is to say: servings with codes, methods.")
@json_option
def plan(
    study: Path,
    swaps: tuple[str, ...],
    base: str | None,
    make: str,
    replicates: int,
    per_session: int,
    sessions: int | None,
    seed: int,
    who: str,
    everything: bool,
    as_json: bool,
) -> None:
    """Plan servings: codes, orders, balance. With --swaps: the prototypes to make, so that swaps can be told apart."""
    opened = open_path(study)
    how = {"replicates": replicates, "per_session": per_session, "sessions": sessions}
    if who:
        _keep_servings(study, opened, how, seed, who)
    elif swaps:
        _plan_prototypes(opened, swaps, base, make, everything=everything, as_json=as_json)
    else:
        _plan_servings(opened, how, seed, everything=everything, as_json=as_json)


def _plan_prototypes(
    opened: Study, swaps: tuple[str, ...], base: str | None, make: str, *, everything: bool, as_json: bool
) -> None:
    from panel.plan.swap_plan import plan_swaps
    from panel.study.formulas import formula

    start = base or opened.benchmark or next(iter(opened.prototypes), "")
    result = plan_swaps(formula(opened, start), [_swap(text) for text in swaps], make)  # type: ignore[arg-type]  # click checked the choice
    if as_json:
        content = parts_of(result, "prototypes", "formulas", "swaps", "aliases", "extra", "cautions")
        print_json(content | {"moves": result.n_moves} | parts_of(result, "method", "notes"))
        return
    from panel.study.naming import naming
    from panel.study.shown import shown
    from panel.views.planning.plan import SWAPS, tell_plan

    told = tell_plan(result, naming(opened))
    print_told(told, everything=everything)
    print_table(shown(SWAPS, result, told.names))


def _plan_servings(opened: Study, how: dict[str, Any], seed: int, *, everything: bool, as_json: bool) -> None:
    import numpy as np

    from panel.plan.study_plan import plan_study

    result = plan_study(opened, np.random.default_rng(seed), **how)
    weighed = _weigh_batches(opened, how["replicates"])
    if as_json:
        balance = result.balance
        content: dict[str, Any] = {"servings": result.servings, "balance": balance.summary, "gaps": result.gaps}
        content |= parts_of(balance, "positions", "carry_over", "sites", "together")
        content |= {"batches": None if weighed is None else weighed.rows, "seed": seed}
        print_json(content | parts_of(result, "method", "notes"))
        return
    from panel.study.naming import naming
    from panel.study.shown import shown
    from panel.views.planning.plan import BALANCE, SERVINGS, tell_servings
    from panel.views.planning.sizes import BATCHES, what_batches_buy

    names = naming(opened)
    told = tell_servings(result, names)
    print_told(told, everything=everything)
    if weighed is not None:
        print_lines(what_batches_buy(weighed, names), "")
    print_table(shown(BALANCE, result.balance, names))
    if everything:
        print_table(shown(SERVINGS, result, names))
        if weighed is not None:
            print_table(shown(BATCHES, weighed, names))
            print_lines(weighed.method, *weighed.notes)


def _keep_servings(folder: Path, seen: Study, how: dict[str, Any], seed: int, who: str) -> None:
    """Write a plan of servings into a study that has none, and seal its key."""
    import numpy as np

    from panel.plan.study_plan import plan_study, with_plan
    from panel.study.saving import save

    if len(seen.table("servings")):
        raise StudyError(
            "The study has a serving plan. One more session is written by: afterfeel set STUDY session PROTOTYPES."
        )
    made = plan_study(seen, np.random.default_rng(seed), **how)
    save(folder, seen, lambda now: with_plan(now, made, who), who=who, what="The serving plan was written.")
    print_lines("The serving plan is in the study, its key is sealed.")


def _weigh_batches(opened: Study, replicates: int) -> BatchNumbers | None:
    from panel.checks.confounds import making_confounds
    from panel.models.prototypes.verdict import batch_spread
    from panel.plan.sample_size import PLANNING_SCATTER
    from panel.plan.study_plan import batch_numbers

    sd, margin = batch_spread(opened, making_confounds(opened)).of(""), opened.facts.get("margin")
    people, k = len(opened.assessors), len(opened.prototypes)
    if math.isnan(sd) or not isinstance(margin, int | float) or replicates < 2 or people < 2:
        return None
    return batch_numbers(float(margin), k, PLANNING_SCATTER, sd, people, replicates)


def _swap(text: str) -> Swap:
    from panel.plan.swap_plan import Swap
    from panel.study.numbers_read import typed_number

    both, _, amount = text.rpartition(":")
    removed, arrow, added = both.replace("→", "->").partition("->")
    percent = typed_number(amount, f"The amount in {text!r}") if arrow else None
    if percent is None:
        raise click.UsageError(f"{text!r} is no swap. Write it as 'REMOVED -> ADDED: PERCENT'.")
    return Swap(removed.strip(), added.strip(), percent)


# Commands while the test is run: serve the ballots, or rehearse it all beforehand.


_PASSWORD = "AFTERFEEL_BALLOT_PASSWORD"  # noqa: S105  # the name of a variable
_PORT = 8600  # the usual one of `panel.ballots.serving`, written again so that `--help` stays quick


@click.command(short_help="Serve ballots to phones.")
@study_argument
@click.option("--lan", is_flag=True, help="Let phones in the local network reach it; otherwise this computer only.")
@click.option(
    "--port", type=click.IntRange(0, 65535), default=_PORT, show_default=True, help="Port; 0 takes a free one."
)
@click.option("--session", default="", help="Session about to begin; the first not locked if not given.")
@click.option("--new-links", is_flag=True, help="Make a link for each assessor of the session; earlier ones end.")
@click.option("--tls", is_flag=True, help="Encrypt what phones send; the fingerprint to compare is shown.")
@click.option("--password", "ask_password", is_flag=True, help="Ask each phone for a password, which you type first.")
def ballots(study: Path, lan: bool, port: int, session: str, new_links: bool, tls: bool, ask_password: bool) -> None:
    """Serve the ballots of a study folder to phones until stopped with Ctrl+C.

    Ballots stay closed while the safety gate is. Each assessor has a personal link for each session. A password is
    typed at the start, or taken from AFTERFEEL_BALLOT_PASSWORD; no argument holds it, for others can read those.
    """
    from panel.ballots.serving import serve

    password = os.environ.get(_PASSWORD, "") if ask_password else ""
    if ask_password and not password:
        password = click.prompt("Password for the phones", hide_input=True, confirmation_prompt=True, err=True)
    serve(
        study, port=port, lan=lan, session=session, new_links=new_links, tls=tls, password=password.strip(), tell=tell
    )


@click.command(short_help="Let simulated assessors answer every ballot.")
@study_argument
@click.option("--out", required=True, type=click.Path(path_type=Path), help="New folder for the rehearsed copy.")
@click.option("--seed", type=int, default=1, show_default=True, help="Seed of the simulated marks.")
@json_option
def rehearse(study: Path, out: Path, seed: int, as_json: bool) -> None:
    """Let simulated assessors answer every ballot through the real server, in a copy that is marked for ever.

    The study itself is only read. Nothing rehearsed can support a claim.
    """
    from panel.ballots.rehearsal import rehearse_into

    result, locked = rehearse_into(open_path(study), out, seed)
    if as_json:
        sessions = [parts_of(one, "session", "scores") | {"sha256": one.events_sha256} for one in locked]
        content = {"path": str(out), "rehearsal": True, "sent": len(result.sent)}
        print_json(content | parts_of(result, "servings", "failures") | {"sessions": sessions, "seed": seed})
    else:
        from panel.words import counted

        kept = sum(one.scores + one.cannot_judge for one in locked)
        print_lines(
            f"{counted(len(result.servings), 'serving')} answered through the server, {kept} answers in the study.",
            *(result.failures or ("Everything that was sent is there, once.",)),
            f"The rehearsal is in {out}. It is marked as one for ever and says nothing about the prototypes.",
        )
    if result.failures:
        sys.exit(1)


# The command that closes a session: its record is sealed and its scores go into the study.


@click.command(short_help="Close a session and take its scores into the study.")
@study_argument
@click.argument("session")
@click.option("--who", required=True, metavar="NAME", help="Who locks it; it is written into the study.")
@click.option("--with-gaps", is_flag=True, help="Lock it although marks are missing.")
@json_option
def lock(study: Path, session: str, who: str, with_gaps: bool, as_json: bool) -> None:
    """Close the record of SESSION of a study folder for good, seal it, and write its scores into the study.

    What is missing is said first, and nothing is locked then unless --with-gaps is given.
    """
    from panel.store.ballot import ballot_record
    from panel.store.board import board_of_servings
    from panel.store.database import now
    from panel.store.lock import lock_session
    from panel.views.planning.safety import what_locking_did, what_locking_leaves_out

    if not study.is_dir():
        raise StudyError(f"{study} is no folder. Ballots are kept with a study folder; save the study as one.")
    with ballot_record(study) as record:
        if record is None:
            raise StudyError(
                f"{study} has no ballots yet. Prepare them with 'afterfeel ballots' or on the page Ballots."
            )
        missing = what_locking_leaves_out(board_of_servings(record.store, record.collection, session))
        if missing and not with_gaps:
            raise StudyError(f"Session {session} is not complete: {' '.join(missing)} To lock it so, add --with-gaps.")
        done = lock_session(record.store, record.collection, session, study, who=who, at=now())
    if as_json:
        content = parts_of(done, "session", "scores", "cannot_judge", "corrections")
        print_json(content | {"sha256": done.events_sha256, "locked_at": done.locked_at, "missing": missing})
        return
    did = what_locking_did(done.session, done.scores, done.cannot_judge)
    print_lines(*missing, f"{did} Seal {done.events_sha256}.")
