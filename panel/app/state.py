"""Which study is in use? One handle in the session; the study itself stays on disk or in the uploaded bytes."""

from __future__ import annotations

import hashlib
import itertools
import os
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

import streamlit as st

from panel.answers import Answers, Question
from panel.app.front_door import STUDY_FIELD
from panel.errors import ModelError, StudyError
from panel.study.open_study import open_study, remember_study, study_of_bytes, zip_bytes
from panel.study.saving import save
from panel.study.study import Study
from panel.views.told import Told

_T = TypeVar("_T")

STUDY_VARIABLE = "AFTERFEEL_STUDY"
"""Environment variable with the full path of the study given on the command line; set by `panel.app.launch`."""
FOLDERS_VARIABLE = "AFTERFEEL_FOLDERS"
"""Environment variable with the folders in which studies may be opened and saved; set by `panel.app.launch`."""

_HANDLE, _MESSAGE, _TIMES = "study_handle", "study_message", "times a study was opened"


@dataclass(frozen=True, slots=True)
class StudyHandle:
    """Where the study in use comes from.

    Parameters
    ----------
    name
        What it is called on the pages.
    path
        Folder, workbook or zip on this computer; empty if the study is only in memory.
    content
        Bytes of a zip or workbook if there is no path.
    content_hash
        SHA-256 of what was read; empty before the first reading.
    """

    name: str
    path: str = ""
    content: bytes = field(default=b"", repr=False)
    content_hash: str = ""


@dataclass(frozen=True, eq=False, slots=True)
class StudyInUse:
    """The study in use, its handle, and the key under which answers about it are kept."""

    study: Study
    handle: StudyHandle
    lacking: list[Callable[[StudyInUse], Told]] = field(default_factory=list)
    """What would be told on this page if the study held it: each gives it for another study, such as the demo."""

    @property
    def key(self) -> str:
        """SHA-256 of everything a page can see of the study."""
        return self.handle.content_hash

    @property
    def place(self) -> str:
        """Where it lives; its key where it is only in this window."""
        return self.handle.path or self.key

    @property
    def title(self) -> str:
        """The study's own title, else the name of its file; and whether it is invented."""
        title = str(self.study.facts.get("title") or self.handle.name)
        return f"{title} (invented, for trying things out)" if self.study.facts.get("invented") else title

    @property
    def folder(self) -> Path | None:
        """The folder it lives in, if it does and if it is not the demo."""
        path = Path(self.handle.path)
        return path if self.handle.path and path.is_dir() and path != demo_folder() else None

    @property
    def answers(self) -> Answers:
        """The answers about the study, kept as long as its content is the same."""
        return _answers(self.key, self.study)

    def answer(self, question: Question[_T], /, **settings: Any) -> _T:
        """Return the answer to a question, saying meanwhile what is worked out; ModelError where there is none."""
        if self.answers.known(question, **settings):
            return self.answers.need(question, **settings)
        with st.spinner(question.waiting):
            return self.answers.need(question, **settings)

    def told(self, tell: Callable[..., Told], question: Question[_T], /, *also: object, **settings: Any) -> Told:
        """Return what is told of the answer to a question, its pictures drawn once; ModelError where there is none.

        `tell` gets the answer, the words of the study, and `also`, of which texts tell one told from another.
        """
        try:
            found, kept = self.answer(question, **settings), _told(self.key)
        except ModelError:
            kinds = [isinstance(each, Answers) for each in also]
            self.lacking.append(
                lambda other: other.told(tell, question, *(other.answers for is_answers in kinds if is_answers))
            )
            raise
        chosen = [text for text in also if isinstance(text, str)]
        key = (tell.__module__, tell.__qualname__, question.name, repr((chosen, sorted(settings.items()))))
        if key not in kept or kept[key][0] is not found:
            kept[key] = (found, tell(found, self.answers.names, *also))
        return kept[key][1]

    def choice(self, name: str) -> str:
        """Return the key under which a choice on a page is kept for this study."""
        return f"{name} of {self.handle.path or self.handle.name}"


@st.cache_resource(max_entries=8)
def _told(content_hash: str) -> dict[tuple[str, ...], tuple[object, Told]]:
    """Return what was told of a study, beside its answer; what is told keeps pictures and tables once they are made."""
    return {}


def demo_folder() -> Path:
    """Return the folder of the demo study: inside the installed package, else beside it in the checkout."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "_data_demo", package.parent / "data_demo"):
        if (folder / "reading_room").is_dir():
            return folder / "reading_room"
    raise StudyError("The demo study was not found. Install the package again, or open a study of your own.")


def _demo_handle() -> StudyHandle:
    return StudyHandle("demo", str(demo_folder()))


def demo_in_use() -> StudyInUse:
    """Return the demo, beside the study in use."""
    return _read(_demo_handle())


def study_in_use() -> StudyInUse:
    """Return the study in use: the chosen one, else the address's, else the one given at the start, else the demo.

    StudyError if it cannot be read.
    """
    if _HANDLE not in st.session_state:
        given = os.environ.get(STUDY_VARIABLE, "")
        first = StudyHandle(Path(given).name, given) if given else _demo_handle()
        st.session_state[_HANDLE] = _of_address() or first
    _into_address(st.session_state[_HANDLE])
    study = _read(st.session_state[_HANDLE])
    st.session_state[_HANDLE] = study.handle
    return study


def _read(handle: StudyHandle) -> StudyInUse:
    if handle.path:
        study, content_hash = _read_path(handle.path, _stamp(Path(handle.path)))
    else:
        study, content_hash = _read_bytes(hashlib.sha256(handle.content).hexdigest(), handle.name, handle.content)
    return StudyInUse(study, replace(handle, content_hash=content_hash))


def _of_address() -> StudyHandle | None:
    """Return the study that the address names, if it is one in a folder that was named at the start."""
    text = st.query_params.get(STUDY_FIELD, "")
    if not text:
        return None
    try:
        path = typed_path(text)
        open_study(path)
    except StudyError as error:
        leave_message(f"The study of this address is not open: {error}")
        return None
    return StudyHandle(path.name, str(path.resolve()))


def _into_address(handle: StudyHandle) -> None:
    """Write the path of the study in use into the address; one that is only in this window has none."""
    path = "" if handle.path == str(demo_folder()) and not os.environ.get(STUDY_VARIABLE) else handle.path
    if path and st.query_params.get(STUDY_FIELD) != path:
        st.query_params[STUDY_FIELD] = path
    elif not path:
        st.query_params.pop(STUDY_FIELD, None)


def use_path(text: str) -> None:
    """Use the study at a path of this computer; StudyError if there is none, or it is in no folder that was named."""
    if not text.strip():
        raise StudyError("Write the path of a study folder, workbook or zip.")
    path = typed_path(text)
    open_study(path)
    _use(StudyHandle(path.name, str(path.resolve())))
    remember_study(path)


def typed_path(text: str) -> Path:
    """Return the path that somebody typed; StudyError if it is not in a folder named when the app was started.

    Whoever reaches a page from elsewhere could otherwise look into every folder of this computer.
    """
    path = Path(text.strip().strip('"')).expanduser()
    try:
        place = path.resolve()
        inside = any(place.is_relative_to(folder) for folder in _named_folders())
    except (OSError, ValueError, RuntimeError) as error:
        raise StudyError(f"{text.strip()} is no path: {error}.") from error
    if not inside:
        named = ", ".join(str(folder) for folder in _named_folders() if folder != demo_folder())
        raise StudyError(
            f"{path} is in no folder that was named when the app was started ({named}). Start it again with: afterfeel "
            "app --folder FOLDER"
        )
    return path


def _named_folders() -> tuple[Path, ...]:
    """Return where studies may be opened and saved: the folders named at the start, else home and where it started."""
    named = [Path(folder) for folder in os.environ.get(FOLDERS_VARIABLE, "").split(os.pathsep) if folder]
    return tuple(folder.resolve() for folder in dict.fromkeys([*(named or [Path.home(), Path.cwd()]), demo_folder()]))


def name_of_file(title: str) -> str:
    """Return a title as the name of a file or folder: its letters, digits and underscores."""
    return re.sub(r"[^\w-]+", "_", title).strip("_").lower()[:60] or "study"


def default_folder(title: str) -> Path:
    """Return a folder for a new study, under the first of the named folders, in which nothing is yet."""
    words = name_of_file(title)
    home = _named_folders()[0] / "afterfeel"
    places = (home / (words if number == 1 else f"{words}_{number}") for number in itertools.count(1))
    return next(place for place in places if not place.exists())


def use_bytes(name: str, content: bytes) -> None:
    """Use a study uploaded as zip or workbook; StudyError if it is none."""
    study_of_bytes(content, name)
    _use(StudyHandle(name, content=content))


def use_study(name: str, study: Study) -> None:
    """Use a study made or changed here; it stays in memory until it is saved."""
    _use(StudyHandle(name, content=zip_bytes(study)))


def use_demo() -> None:
    """Use the demo study."""
    _use(_demo_handle())


def times_opened() -> int:
    """Return how often another study was taken into use; fields that belong to opening one begin anew with it."""
    return int(st.session_state.get(_TIMES, 0))


def _use(handle: StudyHandle) -> None:
    st.session_state[_HANDLE] = handle
    st.session_state[_TIMES] = times_opened() + 1


def leave_message(text: str) -> None:
    """Keep a sentence to be shown once, on the next run of a page."""
    st.session_state[_MESSAGE] = text


def take_message() -> str:
    """Return the sentence left for this run; empty if there is none."""
    return str(st.session_state.pop(_MESSAGE, ""))


def moment() -> str:
    """Return this moment in ISO 8601, to the second, in UTC."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def _stamp(path: Path) -> tuple[tuple[str, int, int], ...]:
    """Return names, times and sizes of the study's files, so that a change on disk is noticed."""
    try:
        files = sorted(path.iterdir()) if path.is_dir() else [path]
        # the record of running ballots changes with every answer, and no page reads it as part of the study
        kept = [file for file in files if file.is_file() and not file.name.startswith("ballots.sqlite")]
        facts = [(file.name, file.stat()) for file in kept]
    except OSError as error:
        raise StudyError(f"{path} cannot be read: {error}. Choose another study on the Study page.") from error
    return tuple((name, fact.st_mtime_ns, fact.st_size) for name, fact in facts)


@st.cache_resource(max_entries=4, show_spinner="Opening the study ...")
def _read_path(path: str, stamp: tuple[tuple[str, int, int], ...]) -> tuple[Study, str]:
    study = open_study(path)
    return study, _content_hash(study)


@st.cache_resource(max_entries=8, show_spinner="Opening the study ...")
def _read_bytes(sha256: str, name: str, _content: bytes) -> tuple[Study, str]:
    study = study_of_bytes(_content, name)
    return study, _content_hash(study)


def _content_hash(study: Study) -> str:
    """Return a hash of what an analysis sees and of the cells that could not be read, which the findings name."""
    return hashlib.sha256(f"{study.content_hash}\n{study.unread.to_csv(index=False)}".encode()).hexdigest()


# Putting a changed study where the study in use lives: into its folder, or into this window until a copy is saved.


def keep(study: StudyInUse, change: Callable[[Study], Study], done: str, *, who: str = "", to_disk: bool = True) -> str:
    """Save a change of the study, and return a sentence that says what was done and where the study is now.

    StudyError, and a folder as it was, if the change cannot be made, somebody else changed the same rows, or the folder
    cannot be written.

    Parameters
    ----------
    change
        Makes the changed study from the study as it is when it is saved: somebody else may have written meanwhile.
    done
        What was done, as a sentence; it goes into the journal too.
    to_disk
        Save it into the folder where the study has one; otherwise it stays in this window.
    """
    if study.handle.path and not Path(study.handle.path).exists():
        raise StudyError(
            f"{study.handle.path} is not there any more; nothing was saved. Put it back, or open another study on the "
            "page Study."
        )
    if study.folder is None or not to_disk:
        use_study(study.handle.name, change(study.study))
        return f"{done} It is not saved yet: save a copy on the page Study."
    save(study.folder, study.study, change, who=who, what=done)
    return f"{done} It is saved in {study.folder}."


@st.cache_resource(max_entries=8)
def _answers(content_hash: str, _study: Study) -> Answers:
    """Return the answers about a study; the hash of its content is the key, never a table, which would be sampled."""
    return Answers(_study)
