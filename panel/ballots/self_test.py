"""Does a ballot server work on this computer? One made-up ballot, from the link to the record, and the refusals."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd

from panel.ballots.rehearsal import rehearse
from panel.ballots.serving import served
from panel.ballots.visitor import Visitor
from panel.errors import PanelError
from panel.store.database import open_store
from panel.study.disk_place import place_warning
from panel.study.study import Study

_SEED = 1


def self_test(store_at: str | Path = "") -> pd.DataFrame:
    """Return what works here: columns `what ok words`, one row a check; nothing real is touched.

    Parameters
    ----------
    store_at
        Where the ballots of a study are kept: it is opened too, and told whether the place is fit for it.
    """
    with TemporaryDirectory() as folder:
        checks = [*_checks(Path(folder) / "self-test.sqlite"), *_place_checks(store_at)]
    return pd.DataFrame(checks, columns=["what", "ok", "words"])


def _checks(file: Path) -> Iterator[tuple[str, bool, str]]:
    try:
        store = open_store(file)
        try:
            result = rehearse(_study(), store, np.random.default_rng(_SEED), name="self-test")
            answered = bool(len(result.sent)) and not result.failures
            yield "a ballot is answered and kept", answered, "; ".join(result.failures)
            with served(store) as address, Visitor(address, "no-such-token") as stranger:
                page = stranger.go()
            yield "a wrong link opens nothing", page.status == 404 and not page.lines, page.words
        finally:
            store.close()
    except PanelError as error:
        yield "the server starts and answers", False, str(error)


def _place_checks(store_at: str | Path) -> Iterator[tuple[str, bool, str]]:
    if not str(store_at):
        return
    try:
        store = open_store(store_at)
    except PanelError as error:
        yield "the record of ballots opens", False, str(error)
        return
    warning = place_warning(store.place) if store.engine.dialect.name == "sqlite" else ""
    store.close()
    yield "the record of ballots opens", True, ""
    yield "the record lies on this computer", not warning, warning


def _study() -> Study:
    servings = pd.DataFrame(
        [("1", "A01", 1.0, "one", "417", "left forearm"), ("1", "A01", 2.0, "two", "852", "right forearm")],
        columns=["session", "assessor", "position", "prototype", "code", "site"],
    )
    attributes = pd.DataFrame(
        [("SPREAD", "rub-out", np.nan), ("GREASE", "after-feel", 2.0)], columns=["attribute", "stage", "minutes"]
    )
    return Study({"servings": servings, "attributes": attributes}, {"scale_min": 0, "scale_max": 100})
