"""Page: which prototype comes nearest to what is wanted, can it be told from the others, and who decided what?"""

from __future__ import annotations

import streamlit as st

from panel.app import cached_decision
from panel.app.decision_form import decision_record
from panel.app.decision_sections import chances, gates, other_choices, typed_weights, unmet
from panel.app.widgets import ask, close, heading, how_computed, page, plain, say, table
from panel.models.decision.profile import target_profile
from panel.views.decision.decision_tables import ranking_table
from panel.views.decision.decision_words import (
    decision_headline,
    what_the_decision_cannot_show,
    what_the_decision_shows,
)
from panel.views.drawing.naming import naming

study = page("Decide")
names = naming(study.study)
profile = ask(target_profile, study.study)
answer = st.container()
weights = typed_weights(study, profile, names)
result = ask(cached_decision.decision, study.key, weights, study.study)
with answer:
    st.markdown(f"**{plain(decision_headline(result))}**")
    say(what_the_decision_shows(result, names))

chances(result, names)
heading("Ranking")
table(ranking_table(result, names), name="ranking", alt="Prototypes by desirability", full=result.ranking)
gates(result)
unmet(result, names)
other_choices(result, names)
decision_record(study, result, names)
seed = f"The draws start from seed {cached_decision.DECISION_SEED}, so that the same study gives the same chances."
how_computed(result.method, (*result.notes, seed), what_the_decision_cannot_show())
close()
