"""Is the safety gate still open while ballots are served? Looked at again and again; what cannot be seen is closed."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from panel.errors import PanelError, StudyError
from panel.store.database import Store, now
from panel.store.safety import follow_gate
from panel.study.folder import DESCRIPTION, read_folder

LOOKS_EVERY = 2.0  # seconds
READS_EVERY = 30.0  # seconds after which the study is read again though no file has changed: a sign-off may run out
_LOOKS_THAT_FAIL = 2  # one may fall into the moment in which a study is being written
_TOO_LONG_AGO = 30.0  # seconds; whoever looks has stopped, or waits for something that does not come

_BACK = 60.0  # seconds; what a clock that is set from the network is put back by at the most

_Stamp = tuple[tuple[str, int, int], ...]


class GateWatch:
    """Watches the safety gate of the study whose ballots are served, and closes them whatever goes wrong.

    The reason is kept here and not in the record, for the record may lie in the folder that is gone.
    """

    def __init__(self, store: Store, collection: int, folder: str | Path, seconds: float = LOOKS_EVERY) -> None:
        self._store, self._collection, self._folder, self._seconds = store, collection, Path(folder), seconds
        self._reason = ""
        self._failed = 0
        self._read: tuple[_Stamp, float] | None = None
        self._last_look = time.monotonic()
        self._clock = time.time() - time.monotonic()

    def closed(self) -> str:
        """Return why nobody may apply anything now though the record says so; empty if there is no such reason."""
        if time.monotonic() - self._last_look > _TOO_LONG_AGO + 2 * self._seconds:
            return f"The safety gate has not been looked at for {_TOO_LONG_AGO:.0f} seconds"
        return self._reason

    @contextmanager
    def following(self) -> Iterator[None]:
        """Look at the gate in a thread of its own until the ballots are no longer served."""
        over = threading.Event()

        def look_again() -> None:
            while not over.wait(self._seconds):
                self.look()

        watching = threading.Thread(target=look_again, daemon=True)
        watching.start()
        try:
            yield
        finally:
            over.set()
            watching.join()

    def look(self) -> None:
        """Look once: follow the gate if the study can be read, else close, the second time that it cannot."""
        try:
            stamp = _stamp(self._folder)
            moment = time.monotonic()
            if self._read is None or self._read[0] != stamp or moment - self._read[1] > READS_EVERY:
                follow_gate(self._store, self._collection, read_folder(self._folder), at=now())
                self._read = (stamp, moment)
            self._failed, self._reason = 0, self._clock_went_back()
        except (PanelError, OSError) as error:
            self._failed += 1
            self._read = None
            if self._failed >= _LOOKS_THAT_FAIL:
                self._reason = f"The study with the safety gate cannot be read ({error})"
        except Exception as error:  # whatever it is, nobody may apply anything while it lasts
            self._read = None
            self._reason = f"The safety gate cannot be told ({type(error).__name__}: {error})"
        self._last_look = time.monotonic()

    def _clock_went_back(self) -> str:
        """Return that the clock was put back since the start; a sign-off that has run out would hold again."""
        now = time.time() - time.monotonic()
        back = self._clock - now
        self._clock = max(self._clock, now)  # a computer that slept is later than it seems, which is no fault
        if back <= _BACK:
            return ""
        return f"The clock of this computer went back by {back:.0f} seconds; set it right, then start the ballots again"


def _stamp(folder: Path) -> _Stamp:
    """Return names, times and sizes of the tables of a study; StudyError if the study is not there any more."""
    if not (folder / DESCRIPTION).is_file():
        raise StudyError(f"{folder} is not there any more, or is no study")
    files = sorted(file for file in folder.iterdir() if file.suffix == ".csv" or file.name == DESCRIPTION)
    facts = [(file.name, file.stat()) for file in files]
    return tuple((name, fact.st_mtime_ns, fact.st_size) for name, fact in facts)
