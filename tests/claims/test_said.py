"""How sentences write shares: cut, never rounded up. Common practice, no source."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.words import cut_share


@pytest.mark.parametrize(("share", "text"), [(0.797, "79 %"), (0.29, "29 %"), (1.0, "100 %"), (0.9999, "99 %")])
def test_shares_are_cut(share, text):
    assert cut_share(share) == text


@given(st.integers(0, 500), st.integers(1, 500))
def test_a_share_is_never_above_the_count(x, n):
    assert int(cut_share(min(x, n) / n).split()[0]) * n <= 100 * min(x, n)
