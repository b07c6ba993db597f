"""Page: what may be said, and what would it take to say more?"""

from __future__ import annotations

import streamlit as st

from panel.app import cached_claims
from panel.app.claim_form import claim_form
from panel.app.one_claim import one_claim
from panel.app.widgets import ask, close, heading, how_computed, page, plain, say, table
from panel.claims.verdict import VERDICTS
from panel.report.contents.evidence import mark
from panel.views.decision.claim_tables import claims_table
from panel.views.decision.claim_words import (
    claims_headline,
    local_law,
    verdict_words,
    what_claims_cannot_show,
    what_the_claims_show,
)
from panel.views.drawing.naming import naming

study = page("Claims")
names = naming(study.study)
result = ask(cached_claims.claims, study.key, study.study)
st.markdown(f"**{plain(claims_headline(result))}**")
warned = mark(study.study)
if warned:
    st.warning(plain(f"{warned}."), icon=":material/info:")
st.caption(plain(local_law()))

if len(result.claims):
    say(what_the_claims_show(result), first=map(verdict_words, VERDICTS))
    shown = claims_table(result)
    with st.expander("All claims as a table"):
        table(shown, name="claims", alt="Every claim with its verdict and the number that decides", full=result.claims)
    heading("One claim")
    sentences = dict(zip(result.claims["number"], result.claims["claim"], strict=True))
    number = st.selectbox(
        "Claim",
        list(sentences),
        format_func=lambda chosen: f"{chosen}. {sentences[chosen]}",
        key=study.choice("claim"),
        persist_state="session",
    )
    one_claim(result, int(number))

heading("Write down another claim")
st.markdown(
    "Fix a claim before the data are unblinded: sentence, margin and bar are stamped with the time. A claim stamped "
    "later stays exploratory."
)
claim_form(study, names)
how_computed(result.method, result.notes, what_claims_cannot_show())
close()
