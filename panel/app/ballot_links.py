"""Handing out personal links: where the server answers, new links with their QR codes, and taking a link back."""

from __future__ import annotations

import shlex

import pandas as pd
import streamlit as st

from panel.app.state import StudyInUse, leave_message
from panel.app.widgets import attempt, plain, say
from panel.ballots.address import THIS_COMPUTER, ballots_at, firewall_hint, lan_address, link_opens
from panel.ballots.links import links_page, qr_svg, with_links
from panel.ballots.serving import USUAL_PORT
from panel.store.ballot_record import BallotRecord
from panel.store.links import assessors_with_token, make_tokens, revoke_token
from panel.store.moments import now

HERE, NETWORK = "This computer only", "Phones in the laboratory's network"


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
        made = attempt(make_tokens, record.store, record.collection, session, at=now())
        if made is not None:
            st.session_state[fresh] = made
            st.rerun()
    if given_out:
        _single(record, session, given_out, fresh)
    if fresh in st.session_state:
        _show(with_links(st.session_state[fresh], address), session)


def _address(study: StudyInUse) -> str:
    """Ask who is to reach the server, say how to start it, and return its address."""
    left, right = st.columns([3, 1])
    ways = (NETWORK, HERE)
    who = left.radio("Who opens the ballots", ways, horizontal=True, key=study.choice("who opens the ballots"))
    port = (right.text_input("Port", str(USUAL_PORT), key=study.choice("port")) or "").strip()
    number = int(port) if port.isdecimal() else USUAL_PORT
    host = (attempt(lan_address) if who == NETWORK else None) or THIS_COMPUTER
    address = f"http://{host}:{number}"
    if ballots_at(address):
        st.success(f"A ballot server answers at {address}.", icon=":material/check:")
    else:
        st.info("The ballot server does not run yet. Start it in a terminal, and leave that window open:")
        options = (" --lan" if who == NETWORK else "") + (f" --port {number}" if number != USUAL_PORT else "")
        st.code(f"afterfeel ballots {shlex.quote(str(study.folder))}{options}", language=None)
        st.button("Look again")
    if who == NETWORK:
        st.caption(plain(firewall_hint(number)))
    return address


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
        st.warning(
            "The server that answers there does not know these links: it serves another study. Stop it, or start this "
            "one at another port and write that port above.",
            icon=":material/info:",
        )
    st.download_button(
        "Page to print, with QR codes",
        links_page(shown),
        f"links_session_{session}.html",
        "text/html",
        on_click="ignore",
        icon=":material/print:",
    )
    assessor = str(st.selectbox("Show the link of", list(shown["assessor"]), key=f"show link {session}"))
    link = str(shown.loc[shown["assessor"] == assessor, "link"].iloc[0])
    st.image(qr_svg(link), alt=f"QR code with the personal link of {assessor}", width="content")
    st.code(link, language=None)
    say(["Hand a link to nobody but the person it is for; whoever has it can answer in that person's place."])
