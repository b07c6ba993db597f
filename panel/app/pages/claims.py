"""Page: what may be said, and what would it take to say more?"""

from __future__ import annotations

import secrets
from functools import partial
from typing import Any

import streamlit as st

from panel.app.state import StudyInUse, moment
from panel.app.widgets import ask, attempt, download, keep_and_tell, offer_days, plain, say, show_picture
from panel.app.widgets import show as show_told
from panel.checks.moments_recorded import stamps_hash
from panel.claims.claim import fields_of
from panel.claims.judge import CLAIMS, DRAFT, Claims, Draft, judge_drafts, suggested, with_also_said
from panel.claims.time_stamp import page_to_sign, time_stamp_request, verify_time_stamp, with_claim, with_withdrawn
from panel.study.editing import texts_of_table
from panel.study.knowledge import shared_table
from panel.study.naming import Naming, naming
from panel.study.numbers_read import typed_number
from panel.views.decision.claims import claim_pictures, kind_words, tell_claims, verdict_words
from panel.views.planning.study import mark

_NUMBERS = {
    "minutes": (
        "Minutes",
        "When it was judged, after rubbing in or the moment that the study states; or for how long it is to hold.",
    ),
    "margin": ("Margin", "The smallest difference that matters; per cent points where votes are counted."),
    "bar": ("Bar", "What must be exceeded: per cent of people, seconds, or a value of the scale."),
    "bar_panel": ("Bar of the panel", "What the panel's mean must stay below."),
}
_TEXTS = {
    "competitors": ("Competitors or range", "Short names, separated by ;"),
    "ingredient": ("Ingredient", "INCI name"),
    "session_before": ("Sitting before", ""),
    "session_after": ("Sitting after", ""),
}
_ALWAYS = {
    "family": ("Family", "Claims of one family are adjusted together; empty: by prototype"),
    "media": ("Media", "Where it is to be said"),
    "territory": ("Territory", "In which countries"),
    "owner": ("Owner", "Who wants to say it"),
}


def show(study: StudyInUse) -> None:
    """Show the board of claims, and let people try, fix and withdraw claims."""
    names, told = naming(study.study), ask(study.told, tell_claims, CLAIMS, mark(study.study))
    result: Claims = told.result
    if result.claims.empty:
        study.lacking.append(lambda demo: demo.told(tell_claims, CLAIMS, mark(demo.study)))
    show_told(told)
    offer_days(result.reasons["reason"])
    if len(result.claims):
        with st.expander("Numbers of one claim as a picture"):
            _pictures(study, result)
    with st.expander("Try a sentence, then stamp it", expanded=result.claims.empty):
        _form(study, names)
    _drafts(study)
    if len(result.claims):
        with st.expander("Withdraw a claim, or anchor the stamps outside"):
            _withdraw(study, result)
            _anchor(study)


def _choose(study: StudyInUse, result: Claims, label: str, key: str) -> int:
    sentences = dict(zip(result.claims["number"], result.claims["claim"], strict=True))
    told = {number: f"{number}. {sentence}" for number, sentence in sentences.items()}
    return int(st.selectbox(label, list(told), format_func=told.__getitem__, key=study.choice(key)))


def _pictures(study: StudyInUse, result: Claims) -> None:
    number = _choose(study, result, "Claim", "claim")
    for picture in claim_pictures(result, number, study.answers.names):
        show_picture(picture)


def _form(study: StudyInUse, names: Naming) -> None:
    """Ask for a claim, only for what its kind needs; try it as often as wanted, then stamp it."""
    st.caption("Write claims before the scores: one stamped after the first score or answer stays exploratory.")
    sentence = st.text_input("Sentence, exactly as it is to be said", key=study.choice("sentence")) or ""
    kinds = list(shared_table("claim_kinds")["kind"])
    asked_at_all = (study.study.table("answers")["kind"] == "agreement").any()
    first = 0 if asked_at_all else kinds.index("superiority")  # nobody agreed if nobody was asked
    kind = st.selectbox("Kind of claim", kinds, first, format_func=kind_words, key=study.choice("kind"))
    row: dict[str, Any] = {"claim": sentence, "kind": kind}
    wanted = fields_of(str(kind))
    row |= _choices(study, names, wanted, suggested(study.study, sentence))
    asked = {name: told for name, told in _NUMBERS.items() if name in wanted}
    typed = {name: st.text_input(label, help=more) or "" for name, (label, more) in asked.items()}
    row |= {name: st.text_input(label, help=more) or "" for name, (label, more) in _TEXTS.items() if name in wanted}
    if "sides" in wanted:
        row["sides"] = st.radio("Test of a difference", ("two", "one"), format_func="{}-sided".format, horizontal=True)
    if st.button("Try it") and sentence:
        found = attempt(_numbers_of, typed)
        tried = None if found is None else attempt(judge_drafts, study.study, [row | found])
        if tried:
            others = [each for each in st.session_state.get(study.choice("drafts"), []) if each[0].claim != sentence]
            st.session_state[study.choice("drafts")] = [(tried[0], row | (found or {})), *others]
    with st.popover("Where it is to be said"):
        row |= {name: st.text_input(label, help=more) or "" for name, (label, more) in _ALWAYS.items()}
    who = st.text_input("Who stamps it") or ""
    to_disk = study.folder is not None and st.checkbox(f"Also write it into {plain(study.folder)}", value=True)
    if st.button("Write the claim and stamp it"):
        _fix(study, row, typed, who, to_disk=to_disk)


def _choices(study: StudyInUse, names: Naming, wanted: tuple[str, ...], meant: dict[str, str]) -> dict[str, str]:
    """Ask for what is chosen from a list; what the sentence seems to be about comes first."""
    data = study.study
    planned = texts_of_table(data, "questions")["question"]
    asked = list(dict.fromkeys(str(name) for name in (*data.table("answers")["question"], *planned) if name))
    lists: dict[str, tuple[str, list[str], Any]] = {
        "prototype": ("Prototype", ["", *data.prototypes], names.prototype),
        "versus": ("Compared with", ["", *data.prototypes], names.prototype),
        "attribute": ("Attribute", ["", *data.attributes], names.attribute),
        "question": ("Question", ["", *asked], str),
        "direction": ("It says", ["", "more", "less"], lambda way: way or "as the attribute is wanted"),
    }
    row = {}
    for name, (label, options, words) in lists.items():
        if name in wanted:
            first = options.index(meant[name]) if meant.get(name) in options else 0
            row[name] = st.selectbox(label, options, first, format_func=words) or ""
    if "question" in wanted and not asked:
        st.caption("No question is planned so far. Write one under Study, Edit, Questions: its words are the sentence.")
    return row


def _numbers_of(typed: dict[str, str]) -> dict[str, float | None]:
    return {name: typed_number(text, _NUMBERS[name][0]) for name, text in typed.items()}


def _fix(study: StudyInUse, row: dict[str, Any], typed: dict[str, str], who: str, *, to_disk: bool) -> None:
    numbers, done = attempt(_numbers_of, typed), "The claim is written and stamped."
    if numbers is None:
        return
    full, drafts = row | numbers, st.session_state.get(study.choice("drafts"), [])
    st.session_state[study.choice("drafts")] = [each for each in drafts if each[0].claim != row["claim"]]
    keep_and_tell(study, lambda now: with_claim(now, full, who=who, when=moment()), done, who=who, to_disk=to_disk)


def _drafts(study: StudyInUse) -> None:
    kept: list[tuple[Draft, dict[str, Any]]] = st.session_state.get(study.choice("drafts"), [])
    if kept:
        st.caption(DRAFT)
    for place, (draft, row) in enumerate(kept):  # the last one tried comes first, and stands open
        title = f"Draft. {plain(verdict_words(draft.verdict))}: “{plain(draft.claim)}”"
        with st.expander(title, expanded=place == 0):
            told = [f"What may be said: {draft.may_be_said}"] if draft.may_be_said else []
            told += [f"Not covered: {', '.join(draft.not_covered)}"] if draft.not_covered else []
            told += [why for why in draft.reasons if why != DRAFT]
            say([*told, *(f"It would take: {need}" for need in draft.needs)])
            if draft.may_be_said:
                key, instead = study.choice(f"say {place}"), partial(_say, study, place, draft, row)
                st.button("Say this instead", key=key, on_click=instead)
            if draft.also_said:
                _state(study, place, draft, row)
            if st.button("Delete this draft", key=study.choice(f"delete draft {place}")):
                del kept[place]
                st.rerun()


def _state(study: StudyInUse, place: int, draft: Draft, row: dict[str, Any]) -> None:
    """Offer to state the words of a draft for its attribute: as the study's own, by a named person."""
    called = study.answers.names.attribute(row["attribute"])
    say([f"In the study's own words? Then “{draft.also_said}” is read as more of {called}, and the verdict says so."])
    who = st.text_input("Who states it", key=study.choice(f"who states {place}")) or ""
    if st.button(f"State “{draft.also_said}” for {plain(called)}", key=study.choice(f"state {place}")):
        keep_and_tell(
            study,
            lambda now: with_also_said(now, row["attribute"], draft.also_said, who),
            f"“{draft.also_said}” is stated for {called}. Try the sentence again.",
            who=who,
        )


def _say(study: StudyInUse, place: int, draft: Draft, row: dict[str, Any]) -> None:
    """Put what may be said into the form, and judge it in place of the draft."""
    said = row | {"claim": draft.may_be_said, "kind": draft.said_as}
    st.session_state[study.choice("sentence")], st.session_state[study.choice("kind")] = said["claim"], said["kind"]
    st.session_state[study.choice("drafts")][place] = (judge_drafts(study.study, [said])[0], said)


def _anchor(study: StudyInUse) -> None:
    """Offer the page to sign, and the request for a time stamp by an authority."""
    with st.container(horizontal=True):
        download("Page to print and sign", page_to_sign(study.study).encode(), "claims_to_sign.txt")
        nonce = st.session_state.setdefault(study.choice("nonce"), secrets.randbits(64))
        request = time_stamp_request(stamps_hash(study.study.table("claims")), nonce)
        download("Request for a time stamp (RFC 3161)", request, "claims.tsq")
    st.caption("The stamps are a self-declaration. A signature on paper or an authority's reply shows when they stood.")
    with st.popover("Verify the reply of an authority"):
        given = {}
        for key, (label, types) in _STAMP.items():
            file = st.file_uploader(label, type=types, key=study.choice(key))
            given[key] = None if file is None else file.getvalue()
        if given["reply"] is None:
            return
        claims, also = study.study.table("claims"), {name: given[name] for name in ("request", "roots")}
        found = attempt(lambda: verify_time_stamp(given["reply"] or b"", claims, **also))
        if found is not None:
            (st.error if found.problems else st.success)(plain(found.words))
            say([*found.problems[1:], *found.notes])


_STAMP = {
    "reply": ("Reply (.tsr)", ["tsr"]),
    "request": ("The request it answers (.tsq)", ["tsq"]),
    "roots": ("Certificate of an authority that you trust", ["pem", "crt", "cer", "der"]),
}


def _withdraw(study: StudyInUse, result: Claims) -> None:
    number = _choose(study, result, "Claim to withdraw", "withdraw")
    why = st.text_input("Why it is withdrawn") or ""
    who = st.text_input("Who withdraws it") or ""
    if st.button("Withdraw it"):
        done = "The claim is withdrawn; it stays in the table."
        keep_and_tell(study, lambda now: with_withdrawn(now, number, who=who, when=moment(), why=why), done, who=who)
