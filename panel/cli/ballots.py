"""Commands while the test is run: serve the ballots, or rehearse it all beforehand."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from panel.cli.shared import json_option, open_path, print_json, print_lines, study_argument

if TYPE_CHECKING:
    from panel.ballots.rehearsal import Rehearsal
    from panel.store.lock import Locked

PORT = 8600  # the usual one of `panel.ballots.serving`, written again so that `--help` stays quick


@click.command(short_help="Serve ballots to phones.")
@study_argument
@click.option("--lan", is_flag=True, help="Let phones in the local network reach it; otherwise this computer only.")
@click.option(
    "--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="Port; 0 takes a free one."
)
@click.option("--session", default="", help="Session about to begin; the first not locked if not given.")
@click.option("--new-links", is_flag=True, help="Make a link for each assessor of the session; earlier ones end.")
def ballots(study: Path, lan: bool, port: int, session: str, new_links: bool) -> None:
    """Serve the ballots of a study folder to phones until stopped with Ctrl+C.

    Ballots stay closed while the safety gate is. Each assessor has a personal link for each session.
    """
    from panel.ballots.serving import serve

    serve(study, port=port, lan=lan, session=session, new_links=new_links, tell=click.echo)


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
        print_json(
            {
                "path": str(out),
                "rehearsal": True,
                "sent": len(result.sent),
                "servings": result.servings,
                "failures": result.failures,
                "sessions": [
                    {"session": one.session, "scores": one.scores, "sha256": one.events_sha256} for one in locked
                ],
                "seed": seed,
            }
        )
    else:
        _say(result, locked, out)
    if result.failures:
        sys.exit(1)


def _say(result: Rehearsal, locked: tuple[Locked, ...], out: Path) -> None:
    """Print what was rehearsed."""
    count = len(result.servings)
    kept = sum(one.scores + one.cannot_judge for one in locked)
    print_lines(
        f"{count} serving{'' if count == 1 else 's'} answered through the server, {kept} answers in the study.",
        *(result.failures or ("Everything that was sent is there, once.",)),
        f"The rehearsal is in {out}. It is marked as one for ever and says nothing about the prototypes.",
    )
