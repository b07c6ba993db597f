"""The live board: who has answered what, who reported a reaction, and stopping the ballots."""

from __future__ import annotations

import atexit
import shlex
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryFile
from typing import Any

import numpy as np
import pandas as pd
import streamlit as st

from panel.app.state import StudyInUse, keep, leave_message, moment
from panel.app.widgets import act_and_tell, attempt, download, heading, plain, say, show_done, table, warn
from panel.ballots.answers import links_page, qr_svg, with_links
from panel.ballots.paper import LINE_LENGTHS_MM, PAPERS, paper_ballots, serving_labels
from panel.ballots.protection import fingerprint_at, what_to_compare
from panel.ballots.serving import THIS_COMPUTER, USUAL_PORT, ballots_at, firewall_hint, lan_address, link_opens
from panel.plan.codes import note_opening
from panel.plan.orders import MOST_PER_SESSION
from panel.plan.safety import safety_gate, when_to_stop
from panel.plan.study_plan import plan_study, with_plan
from panel.store.ballot import BallotRecord, ballot_record
from panel.store.board import board_of_assessors, board_of_servings, reactions_table
from panel.store.database import local, now
from panel.store.double_entry import PLACE, keep_typed, take_over_typed, typed_differences, typed_grid
from panel.store.events import assessors_with_token, let_go_on, make_tokens, revoke_token
from panel.store.lock import lock_session
from panel.store.preparing import follow_gate, refuse_scored, stop_ballots, stopped_by
from panel.study.naming import Naming
from panel.study.numbers_read import typed_whole
from panel.study.people import WHO_MAY_SEE
from panel.study.shown import shown
from panel.study.study import Study
from panel.views.planning.plan import tell_servings
from panel.views.planning.safety import PROGRESS, SAMPLES, what_locking_did, what_locking_leaves_out, who_has_answered
from panel.views.told import Told
from panel.words import format_list

_TRIES, _PAUSE = 60, 0.5  # thirty seconds; two or three are usual
_SECONDS = 5
"""How often the board looks again."""


@st.fragment(run_every=_SECONDS)
def board(study: StudyInUse, session: str) -> None:
    """Show how far a session has come, again and again."""
    if study.folder is not None:
        attempt(_counts, study.folder, session)


def _counts(folder: Path, session: str) -> None:
    with ballot_record(folder) as record:
        if record is None:
            return
        people = board_of_assessors(record.store, record.collection, session)
        samples = board_of_servings(record.store, record.collection, session)
    st.markdown(f"**{plain(who_has_answered(people))}**")
    st.caption(f"Looks again every {_SECONDS} seconds. It counts marks; what was marked is not shown before the lock.")
    table(shown(PROGRESS, people, Naming()), name="board", alt=PROGRESS.title, full=people)
    with st.expander("Sample by sample"):
        table(shown(SAMPLES, samples, Naming()), name="board_samples", alt=SAMPLES.title, full=samples)


def interventions(study: StudyInUse, record: BallotRecord, session: str) -> None:
    """Let the leader stop all ballots, let them go on, and let somebody go on after a reaction."""
    heading("If something is wrong")
    st.markdown(plain(when_to_stop()))
    _reported(record, session)
    stopped = stopped_by(record.store, record.collection)
    if stopped:
        st.warning(f"All ballots are stopped. {plain(stopped)}", icon=":material/pan_tool:")
    with st.form("stop or go on"):
        left, right = st.columns([1, 2])
        who, why = left.text_input("Who decides it") or "", right.text_input("Why") or ""
        label = "Let the ballots go on" if stopped else "Stop all ballots now"
        if st.form_submit_button(label):
            act_and_tell(lambda: _decided(study.study, record, who, why, stopped=bool(stopped)), str)


def _decided(study: Study, record: BallotRecord, who: str, why: str, *, stopped: bool) -> str:
    """Stop all ballots, or let those that are stopped go on; return what was done."""
    if not stopped:
        stop_ballots(record.store, record.collection, who=who, why=why, at=now())
        return "All ballots are stopped. Phones show that nothing is to be applied."
    if not who.strip():
        return "Nothing was changed: write who decides it."
    return follow_gate(record.store, record.collection, study, at=now(), who=who, why=why)


def _reported(record: BallotRecord, session: str) -> None:
    """Show the reactions that were reported on phones, and let somebody go on."""
    reported = reactions_table(record.store, record.collection)
    here = reported.loc[reported["session"] == session]
    if here.empty:
        st.caption("No skin reaction was reported on a phone in this session.")
        return
    told = here[["at", "assessor", "code", "text"]].set_axis(["When", "Assessor", "Code", "What was noticed"], axis=1)
    table(told, name="reported", alt="Skin reactions reported on phones", full=here)
    st.caption(
        "Write each of them down on the page Safety. Until somebody lets the person go on, nobody gets that code. "
        f"{WHO_MAY_SEE}"
    )
    with st.form("let go on"):
        left, middle, right = st.columns(3)
        assessor = left.selectbox("Assessor", list(dict.fromkeys(here["assessor"])))
        who, why = middle.text_input("Who lets this person go on"), right.text_input("Why this person may")
        if st.form_submit_button("Let this person go on"):
            place = (record.store, record.collection, session, str(assessor))
            act_and_tell(lambda: let_go_on(*place, who=who or "", why=why or "", at=now()), f"{assessor} may go on.")


# Handing out personal links: where the server answers, new links with their QR codes, and taking a link back.


_HERE, _NETWORK = "This computer only", "Phones in the laboratory's network"


def links(study: StudyInUse, record: BallotRecord, session: str) -> None:
    """Show how phones reach their ballots in a session."""
    address = _address(study)
    if record.locked[session]:
        st.markdown(f"Session {plain(session)} is locked: its links open nothing any more.")
        return
    given_out = assessors_with_token(record.store, record.collection, session)
    st.markdown(
        f"Links of session {plain(session)} in force: {plain(', '.join(given_out))}."
        if given_out
        else f"Nobody has a link for session {plain(session)} yet."
    )
    st.caption("A link is shown once: only its fingerprint is kept. New links replace the ones before.")
    fresh = f"links {study.choice(session)}"
    again = not given_out or st.checkbox("Replace the links that were handed out", key=study.choice(f"again {session}"))
    if st.button("Make links for everybody", type="primary", disabled=not again):
        made = attempt(_new_links, study, record, session)
        if made is not None:
            st.session_state[fresh] = made
            st.rerun()
    if given_out:
        _single(record, session, given_out, fresh)
    if fresh in st.session_state:
        _show(with_links(st.session_state[fresh], address), session)


def _new_links(study: StudyInUse, record: BallotRecord, session: str) -> pd.DataFrame:
    refuse_scored(study.study, session)
    return make_tokens(record.store, record.collection, session, at=now())


@st.cache_resource
def _started() -> dict[str, subprocess.Popen[bytes]]:
    """Return the ballot servers that this app started, by folder; they stop when the app does."""
    servers: dict[str, subprocess.Popen[bytes]] = {}

    def stop() -> None:
        for server in servers.values():
            server.terminate()

    atexit.register(stop)
    return servers


def _offer_start(folder: str, address: str, options: list[str]) -> None:
    """Offer to start the ballot server of a study folder."""
    st.info("No phone reaches them yet: start the ballots.")
    goes_on = st.checkbox("Let the ballots go on when the app is closed")
    if st.button("Start the ballots", type="primary"):
        with st.spinner("Starting the ballots ..."):
            failed = _start_server(folder, address, options, goes_on=goes_on)
        if failed:
            warn(failed)
        else:
            leave_message("The ballots are served.")
            st.rerun()


def _start_server(folder: str, address: str, options: list[str], *, goes_on: bool) -> str:
    """Start the ballot server of a study folder and wait until it answers; return why it does not, else nothing."""
    with TemporaryFile() as said:
        server = subprocess.Popen(  # noqa: S603  # our own command, on the folder of the study in use
            [sys.executable, "-m", "panel", "ballots", folder, *options],
            stdout=subprocess.DEVNULL,
            stderr=said,
            start_new_session=True,  # what stops the app in its terminal stops no ballots by itself
        )
        for _ in range(_TRIES):
            if ballots_at(address):
                if not goes_on:
                    _started()[folder] = server
                return ""
            if server.poll() is not None:
                said.seek(0)
                words = said.read().decode(errors="replace").strip().rpartition("\n")[2]
                return words.removeprefix("afterfeel: ") or "The ballots did not start."
            time.sleep(_PAUSE)
    server.terminate()
    server.wait()
    return f"The ballots did not answer at {address} within {_TRIES * _PAUSE:.0f} seconds."


def _offer_stop(folder: str) -> None:
    server = _started().get(folder)
    if server is not None and server.poll() is None and st.button("Stop the ballots"):
        server.terminate()
        server.wait()
        leave_message("The ballots are not served any more. What was answered is kept.")
        st.rerun()


def _address(study: StudyInUse) -> str:
    """Ask who is to reach the server, say how to start it, and return its address."""
    ways = (_NETWORK, _HERE)
    who = st.radio("Who opens the ballots", ways, horizontal=True, key=study.choice("who opens the ballots"))
    state, drawer = st.container(), st.expander("If no phone reaches it, or without the app")
    port = (drawer.text_input("Port", str(USUAL_PORT), key=study.choice("port"), width=260) or "").strip()
    number = int(port) if port.isdecimal() else USUAL_PORT
    host = (attempt(lan_address) if who == _NETWORK else None) or THIS_COMPUTER
    plainly, through_tls = f"http://{host}:{number}", f"https://{host}:{number}"
    address = next((one for one in (plainly, through_tls) if ballots_at(one)), "")
    options = ["--port", str(number), *(["--lan"] if who == _NETWORK else [])]
    with state:
        if address:
            st.success(f"A ballot server answers at {plain(address)}.", icon=":material/check:")
            _offer_stop(str(study.folder))
            if address == through_tls:
                st.caption(plain(what_to_compare(fingerprint_at(host, number))))
        else:
            _offer_start(str(study.folder), plainly, options)
    with drawer:
        if who == _NETWORK:
            st.caption(plain(firewall_hint(number, tls=address == through_tls)))
        if not address:
            st.code(f"afterfeel ballots {shlex.quote(str(study.folder))} {' '.join(options)}", language=None)
    return address or plainly


def _single(record: BallotRecord, session: str, given_out: tuple[str, ...], fresh: str) -> None:
    """Let one link be replaced or taken back, as for a phone that was lost."""
    with st.expander("One link: make it anew, or take it back"):
        assessor = str(st.selectbox("Whose link", given_out, key=f"whose link {session}"))
        left, right = st.columns(2)
        if left.button("New link"):
            made = make_tokens(record.store, record.collection, session, at=now(), assessors=(assessor,))
            st.session_state[fresh] = made
            st.rerun()
        if right.button("Take it back"):
            revoke_token(record.store, record.collection, session, assessor, at=now())
            st.session_state.pop(fresh, None)
            leave_message(f"The link of {assessor} opens nothing any more.")
            st.rerun()


def _show(shown: pd.DataFrame, session: str) -> None:
    """Show new links once, each with its QR code, and as a page to print."""
    if not link_opens(str(shown["link"].iloc[0])):
        warn(
            "The server that answers there does not know these links: it serves another study. Stop it, or start this "
            "one at another port and write that port above."
        )
    download("Page to print, with QR codes", links_page(shown).encode(), f"links_session_{session}.html")
    assessor = str(st.selectbox("Show the link of", list(shown["assessor"]), key=f"show link {session}"))
    link = str(shown.loc[shown["assessor"] == assessor, "link"].iloc[0])
    st.image(qr_svg(link), alt=f"QR code with the personal link of {assessor}", width="content")
    st.code(link, language=None)
    say(["Hand a link to nobody but the person it is for; whoever has it can answer in that person's place."])


# The end of a session: locking it, which writes the scores, and opening the key, which is written down.


def lock(study: StudyInUse, record: BallotRecord, session: str) -> None:
    """Let a session be closed for good and its scores be written into the study."""
    heading(f"Lock session {session}")
    if record.locked[session]:
        st.markdown(
            f"Session {plain(session)} was locked on {plain(local(record.locked[session]))}. "
            "Nothing is added to it any more."
        )
        return
    st.markdown(
        "Locking closes the record of the session for good, seals it with its SHA-256, and writes its scores into the "
        "study, each under its prototype."
    )
    missing = what_locking_leaves_out(board_of_servings(record.store, record.collection, session))
    if missing:
        say(missing)
    with st.form(f"lock {session}"):
        who = st.text_input("Who locks it")
        label = "Lock it, with what is missing" if missing else "Lock it for good"
        sure = st.checkbox(label, key=f"sure to lock {session}")
        if st.form_submit_button("Lock the session"):
            _lock(study, record, session, who or "", sure=sure)


def _lock(study: StudyInUse, record: BallotRecord, session: str, who: str, *, sure: bool) -> None:
    folder = study.folder
    if folder is None or not sure:
        warn("Tick that the session is to be locked for good.")
        return
    act_and_tell(
        lambda: lock_session(record.store, record.collection, session, folder, who=who, at=now()),
        lambda done: (
            f"{what_locking_did(session, done.scores, done.cannot_judge)} Seal {done.events_sha256[:12]}. The page "
            "Differences shows them."
        ),
    )


def key(study: StudyInUse, record: BallotRecord) -> None:
    """Let somebody open the key, after the lock or in an emergency, and write it down first."""
    heading("Open the key")
    closed = [session for session, moment in record.locked.items() if not moment]
    st.markdown(
        f"Not locked yet: {'session' if len(closed) == 1 else 'sessions'} {plain(format_list(closed))}. "
        "Open a code only in an emergency; that is noted."
        if closed
        else "All sessions are locked. Whoever opens the key is written down."
    )
    with st.form("open the key"):
        left, middle, right = st.columns(3)
        session = str(left.selectbox("Session", list(record.locked)))
        code = (middle.text_input("Code (empty: all codes of the session)") or "").strip()
        who = right.text_input("Who opens it") or ""
        example = "such as: analysis after the lock; or: reaction of A03"
        why = st.text_input("For which reason", placeholder=example) or ""
        asked = st.form_submit_button("Write it down and open")
    if asked:
        _open(study, record.locked, session, code, who, why)
    past = study.study.table("unblindings")
    if len(past):
        told = past[["when", "who", "what", "why", "locked"]]
        told = told.set_axis(["When", "Who", "What", "Why", "After the lock"], axis=1)
        with st.expander(f"Openings so far ({len(past)})"):
            table(told, name="unblindings", alt="Who opened the key, and why", full=past)


def _with_opening(study: Study, opening: dict[str, str]) -> Study:
    noted = note_opening(study.table("unblindings"), **opening)
    return replace(study, tables={**study.tables, "unblindings": noted})


def _open(study: StudyInUse, locked: dict[str, str], session: str, code: str, who: str, why: str) -> None:
    plan = study.study.table("servings")
    rows = plan.loc[(plan["session"] == session) & ((plan["code"] == code) | (code == ""))]
    if rows.empty:
        warn(f"Session {session} has no code {code}.")
        return
    what = f"session {session}, {f'code {code}' if code else 'all codes'}"
    opening = {"when": moment(), "who": who, "why": why, "what": what, "locked_at": locked[session]}
    said = attempt(keep, study, lambda now: _with_opening(now, opening), "It is written down.", who=who)
    if said is None:
        return
    show_done(said)
    shown = rows[["code", "prototype"]].drop_duplicates().rename(columns={"code": "Code", "prototype": "Prototype"})
    table(shown, name=f"key_{session}", alt="What stands behind the codes")


# Ballots on paper: pages to print, labels for the cups, and typing what was marked, twice.


_FIRST, _SECOND = "first typing", "second typing"
_UNITS = {"scores": None} | {f"mm on a line of {mm} mm": float(mm) for mm in LINE_LENGTHS_MM}


def print_paper(study: StudyInUse, session: str, *, stamp: str) -> None:
    """Offer the ballots and labels of a session as PDF files; `stamp` is the warning on every page, if there is one."""
    left, right = st.columns(2)
    paper = str(left.selectbox("Paper", list(PAPERS), key=study.choice("paper")))
    length = right.selectbox("Length of the lines (mm)", LINE_LENGTHS_MM, key=study.choice("line length"))
    if stamp:
        st.markdown(f"**{plain(stamp)}** The same sentence stands on every page.")
    with st.container(horizontal=True):
        download(
            "Ballots as PDF",
            lambda: paper_ballots(study.study, session, paper=paper, line_mm=int(length or 100), stamp=stamp),
            f"ballots_session_{session}_{paper}.pdf",
        )
        download(
            "Labels as PDF", lambda: serving_labels(study.study, session, paper=paper), f"labels_{session}_{paper}.pdf"
        )
    st.caption("Print at 100 %, not fitted to the page, and check one line with a ruler.")


def typing(study: StudyInUse, record: BallotRecord, session: str, names: Naming) -> None:
    """Let two people type the paper ballots of a session, one assessor at a time, and compare what they typed."""
    heading("Typing paper ballots")
    if record.locked[session]:
        st.markdown("The session is locked; nothing can be typed any more.")
        return
    st.caption("Two people type, each alone. Write x where cannot judge is ticked; 48.7 and 48,7 are both read.")
    which = st.radio("Which typing", (_FIRST, _SECOND), horizontal=True, key=study.choice(f"typing {session}"))
    grid = typed_grid(record.store, record.collection, session, second=which == _SECOND)
    if grid.empty:
        return
    assessor = st.selectbox(
        "Whose ballots", list(dict.fromkeys(grid["assessor"])), key=study.choice(f"typed {session}")
    )
    own = grid.loc[grid["assessor"] == assessor]
    with st.form(f"typing {session} {which} {assessor}"):
        who = st.text_input("Who types", key=f"typist {which}", persist_state="session")
        typed = _cells(own, names, which)
        if st.form_submit_button("Keep what is typed"):
            place, who = (record.store, record.collection, session), who or ""
            kept = attempt(keep_typed, *place, typed, second=which == _SECOND, who=who, at=now())
            if kept is not None:
                show_done(f"{kept} cells are kept.")
    _compare(record, session, names)


def _cells(own: pd.DataFrame, names: Naming, which: str) -> pd.DataFrame:
    """Return the rows as they are typed into fields: a line of fields for each sample."""
    typed = own.copy()
    for serving, row in own.iterrows():
        st.markdown(f"**Sample {plain(row['position'])}, code {plain(row['code'])}**")
        with st.container(horizontal=True):
            for name in own.columns.drop(list(PLACE)):
                label, key = plain(names.attribute(name)), f"cell {which} {serving} {name}"
                typed.loc[serving, name] = st.text_input(label, row[name], key=key, width=150) or ""
    return typed


def _compare(record: BallotRecord, session: str, names: Naming) -> None:
    differences = typed_differences(record.store, record.collection, session)
    if len(differences):
        st.markdown(f"**The two typings differ in {len(differences)} cells. Look at the paper.**")
        told = differences.assign(attribute=[names.attribute(name) for name in differences["attribute"]])
        told = told.drop(columns=["session", "position"]).rename(columns=str.capitalize)
        table(told, name="typing_differences", alt="Where the two typings differ", full=differences)
        return
    if not (typed_grid(record.store, record.collection, session).drop(columns=list(PLACE)) != "").to_numpy().any():
        return
    say(["The two typings agree in every cell that was begun."])
    line = _UNITS[st.radio("What was typed", list(_UNITS), horizontal=True)]
    if st.button("Take over as answers"):
        act_and_tell(
            lambda: take_over_typed(record.store, record.collection, session, at=now(), line_mm=line),
            lambda count: f"{count} answers from paper are in the record.",
        )


# Writing a serving plan into a study that has none: codes, orders, places, and the seal of the key.


SEED, SEED_HELP = "Seed of the order", "Any whole number. The same number gives the same order and codes again."
SESSIONS = "Sessions a person comes to"
SESSIONS_HELP = (
    "Blank: as many as it takes to try everything. Fewer: everybody tries a part, every two about equally often."
)


def usual_servings(study: StudyInUse) -> Told:
    """Return what is told of a plan of servings in which everybody gets each sample once."""
    return tell_servings(plan_study(study.study, np.random.default_rng(1)), study.answers.names)


def cleared(study: Study, session: str = "") -> bool:
    """Return True if each prototype that is served, in this session or at all, has a batch that may be applied."""
    batches = safety_gate(study, now().astimezone().date().isoformat()).batches
    served = study.table("servings")
    wanted = set(served.loc[(served["session"] == session) | (session == ""), "prototype"])
    frozen = set(batches.loc[batches["frozen"] != "", "prototype"])
    return bool(wanted) and wanted <= set(batches.loc[batches["open"].astype(bool), "prototype"]) - frozen


REPEATS = 2
"""As is usual for a trained panel; common practice, no source."""


def serving_form(study: StudyInUse) -> None:
    """Let the user make a serving plan and write it into the study. What stands behind a code is not shown."""
    if study.study.table("assessors").empty or len(study.study.prototypes) < 2:
        study.lacking.append(usual_servings)
    st.markdown(
        "The study has no serving plan yet. The plan gives every sample a code, and everybody a balanced order. "
        "The page Servings shows how even such a plan is."
    )
    with st.form("serving plan"):
        left, middle, third, right = st.columns(4)
        replicates = left.text_input("Times each sample is scored", str(REPEATS))
        most = middle.text_input("Samples in a session at most", str(MOST_PER_SESSION))
        sessions = third.text_input(SESSIONS, "", help=SESSIONS_HELP)
        seed = right.text_input(SEED, "1", help=SEED_HELP)
        who = st.text_input("Who makes the plan (not the panel leader: whoever makes it may know the key)")
        if st.form_submit_button("Write the plan into the study"):
            typed = (replicates or "", most or "", seed or "")
            act_and_tell(lambda: _write_plan(study, typed, sessions or "", who or ""), str)


def _write_plan(study: StudyInUse, typed: tuple[str, str, str], sessions: str, who: str) -> str:
    words = ("The number of times", "The number of samples", "The seed")
    replicates, most, seed = (typed_whole(text, name) or 1 for text, name in zip(typed, words, strict=True))
    how: dict[str, Any] = {"replicates": replicates, "per_session": most, "sessions": typed_whole(sessions, SESSIONS)}
    plan = plan_study(study.study, np.random.default_rng(seed), **how)
    return keep(
        study, lambda now: with_plan(now, plan, who), "The serving plan is in the study, its key is sealed.", who=who
    )
