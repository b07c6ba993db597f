"""Which questions cannot be asked as too little or too much."""

import pytest

from panel.models.consumers.just_about_right import _why_one_sided
from panel.study.knowledge import shared_table
from tests.study.small_study import shared


@pytest.mark.parametrize(
    ("texts", "attribute"),
    [
        (("stickiness", "The stickiness is"), ""),
        (("after-feel", "The greasy film is"), ""),
        (("off-odour",), ""),
        (("Film",), ""),
        (("anything",), "AF_GREASE"),
    ],
)
def test_what_nobody_wants_more_of_is_refused(texts, attribute):
    assert _why_one_sided(*texts, attribute=attribute).startswith("nobody wants")


@pytest.mark.parametrize(
    ("texts", "attribute"),
    [
        (("thickness", "The thickness is"), "RO_THICK"),
        (("richness of the after-feel", "What stays on the skin is"), "LA_RESID"),
        (("filmy thing",), ""),  # a word counts only where it stands alone
        (("tackle",), ""),
        ((), ""),
    ],
)
def test_what_can_be_too_little_may_be_asked(texts, attribute):
    assert _why_one_sided(*texts, attribute=attribute) == ""


def test_the_list_is_explained():
    listed = shared("one_sided")
    assert set(listed["source"]) <= set(shared_table("sources")["source"])
    assert (listed["why"] != "").all()
    assert listed["word"].is_unique
    assert set(listed.loc[listed["attribute"] != "", "attribute"]) <= set(shared_table("lexicon")["attribute"])
    usual = shared_table("lexicon").set_index("attribute")["direction"]
    assert (usual[listed.loc[listed["attribute"] != "", "attribute"]] == "less").all()
