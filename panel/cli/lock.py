"""The command that closes a session: its record is sealed and its scores go into the study."""

from __future__ import annotations

from pathlib import Path

import click

from panel.cli.shared import json_option, print_json, print_lines, study_argument
from panel.errors import StudyError


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
    from panel.store.ballot_record import ballot_record
    from panel.store.board import board_of_servings
    from panel.store.lock import lock_session
    from panel.store.moments import now
    from panel.views.planning.board_tables import what_locking_did, what_locking_leaves_out

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
        print_json(
            {
                "session": done.session,
                "scores": done.scores,
                "cannot_judge": done.cannot_judge,
                "corrections": done.corrections,
                "sha256": done.events_sha256,
                "locked_at": done.locked_at,
                "missing": missing,
            }
        )
        return
    print_lines(
        *missing,
        f"{what_locking_did(done.session, done.scores, done.cannot_judge)} Seal {done.events_sha256}.",
    )
