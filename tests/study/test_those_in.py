"""Names that occur in a column, in their own order."""

import pandas as pd

from panel.study.study import those_in


def test_the_order_is_that_of_the_names_and_each_comes_once_as_it_stands():
    column = pd.Series(["P3", "P1", "P3", "P9", ""], dtype="str")
    assert those_in(["P1", "P2", "P3"], column) == ("P1", "P3")
    assert those_in([], column) == ()
    assert those_in(["P1"], pd.Series(dtype="str")) == ()
