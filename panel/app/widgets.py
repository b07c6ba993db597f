"""What the pages share: title, sentences, tables and pictures that can be taken away, how it was computed."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from itertools import groupby
from typing import Any, ParamSpec, TypeVar

import pandas as pd
import streamlit as st

from panel.app.guide import FACTS, explain
from panel.app.guide import fill as go_and_fill
from panel.app.places import links
from panel.app.state import StudyInUse, keep, leave_message, name_of_file, study_in_use, take_message
from panel.checks.moments_recorded import GIVE_DAYS
from panel.errors import PanelError
from panel.study.knowledge import shared_table
from panel.study.naming import Naming
from panel.study.numbers_read import typed_number
from panel.study.safe_write import media_type
from panel.study.shown import Shown, Table
from panel.study.study import Study
from panel.study.table_cells import with_headings
from panel.views.told import Item, Picture, Told

_P = ParamSpec("_P")
_T = TypeVar("_T")

# Only what would be taken for formatting gets a stroke: whoever hears a label would hear each of them.
_MARKDOWN = re.compile(
    r"[\\`*\[\]~$<>|{}]|(?<![^\W_])_|_(?![^\W_])"  # emphasis, links, formulas, code, tags; a_b needs none
    r"|&(?=#|\w+;)"  # signs by name
    r"|^\s*(?:\d+[.)]|[#+=-])",  # headings and lists
    re.MULTILINE,
)
# Streamlit makes links of addresses, icons of names between colons, arrows of strokes, even where each sign is escaped;
# an invisible sign in them keeps them words.
_REPLACED = re.compile(r"https?:(?=//)|www(?=\.)|(?<=[\w.+-])(?=@)|:(?=[a-z]|[\w+-]+:)|[<>~-](?=[-=>])", re.IGNORECASE)
_WORD_JOINER, _KEEP_TOGETHER = "\u2060", "\u00a0"
_ONE_NUMBER = re.compile(r"(?<=\d) (?=%)|(?<=[=<>]) (?=\d)")  # 68 %, p < 0.001: no line ends inside
# A text that begins so is calculated, unless it is a number or a range of two.
_CALCULATED = re.compile(r"[=@\t\r\n]|[+-](?![\d.,]+(?:[eE][+-]?\d+)?(?: to [+-]?[\d.,]+)?\s?%?$)")
_FIRST_ROWS, _ROWS_SHOWN, _ROW_PIXELS, _FEW_COLUMNS = 10, 16, 36, 5
_ALWAYS = ("always", "with any result")


# Wide things scroll by themselves; a picture drawn for a phone stands in for the broad one; pictures, which are drawn
# on white, turn dark with the system and keep their hues; on paper only what is said is printed.
_STYLE = """
[class*='st-key-wide']{overflow-x:auto;overflow-y:hidden}
[class*='st-key-wide'] :is(img,table){min-width:44rem}
[class*='st-key-only-broad'] img{max-width:72rem}
@media(max-width:40rem){[class*='st-key-only-broad']{display:none}}
@media(min-width:40.01rem){[class*='st-key-only-narrow']{display:none}}
.put-back{margin:.25rem 0 0;font-size:.875rem}
.put-back button{padding:.25rem;border:0;background:none;color:inherit;font:inherit;text-decoration:underline}
[class*='st-key-wrong']{padding:.5rem .75rem;border:2px solid #b3261e;border-radius:.25rem}
.st-key-head h1{padding:0}
.st-key-head{row-gap:0}
[data-testid=stMainBlockContainer]{padding-top:4.5rem}
[data-testid=stMarkdownContainer] :is(p,li){max-width:75ch}
[data-testid=stException] a{display:none}
[data-testid=stExpandSidebarButton]{width:auto}
[data-testid=stExpandSidebarButton]::after{content:'Places'}
.stPageLink :is(a,span,div,p){white-space:normal;overflow:visible;text-overflow:clip}
@media screen and (prefers-color-scheme:dark){
  [class*='st-key-wrong']{border-color:#f2b8b5}
  [data-testid=stImage] img,[data-testid=stHeaderLogo],[data-testid=stLogo]{filter:invert(.92) hue-rotate(180deg)}
}
@media print{
  header,button,[data-testid=stSidebar],[data-testid=stForm],.st-key-tour,.put-back,details:not([open]),summary,
  :is(.stButton,.stDownloadButton,.stPageLink,.stTextInput,.stTextArea,.stSelectbox,.stMultiSelect,.stRadio,.stCheckbox,
  .stSlider,.stButtonGroup,.stFileUploader,.stPopover){display:none!important}
}
"""


def plain(text: object) -> str:
    """Return text from a study so that it is shown as it is and never taken for formatting."""
    words = _REPLACED.sub(lambda found: f"{found[0]}{_WORD_JOINER}", _ONE_NUMBER.sub(_KEEP_TOGETHER, str(text)))
    return _MARKDOWN.sub(lambda found: f"{found[0][:-1]}\\{found[0][-1]}", words)


class PartEnds(Exception):  # noqa: N818  # no error: the part has said what there is to say
    """Raised where nothing more can be shown of a part of a place."""


def page(title: str, otherwise: Callable[[], None] | None = None) -> StudyInUse:
    """Write the title and the name of the study in use, and return that study.

    If it cannot be read the page says why, calls `otherwise`, and ends.
    """
    study = attempt(study_in_use)
    with st.container(horizontal=True, vertical_alignment="center", key="head"):
        st.title(title, anchor=False, width="content")
        if study is not None:
            kept = "" if study.handle.path else " \u00b7 only in this window until you save a copy on the page Study"
            st.caption(f"{plain(study.title)}{kept}", width="content")
    message, place = take_message(), st.container()  # the place stays, so that what stands below keeps its state
    if message:
        with place:
            show_done(message)
    if study is None:
        (otherwise or (lambda: st.markdown("Choose another study on the page Study.")))()
        close()
        st.stop()
    return study


def show_done(words: str) -> None:
    """Say that something was done; the page's script then forgets what was typed for it."""
    st.container(key=f"done {time.monotonic_ns()}").success(plain(words), icon=":material/check:")


def ask(question: Callable[_P, _T], /, *args: _P.args, **kwargs: _P.kwargs) -> _T:
    """Return the answer, or show the sentence that says why there is none and end the part."""
    answer = attempt(question, *args, **kwargs)
    if answer is None:
        raise PartEnds
    return answer


def attempt(question: Callable[_P, _T], /, *args: _P.args, **kwargs: _P.kwargs) -> _T | None:
    """Return the answer, or show the sentence that says why there is none and return None."""
    try:
        return question(*args, **kwargs)
    except PanelError as error:
        warn(with_headings(str(error)))
        links([str(error)])
        return None


def warn(words: str) -> None:
    """Say what keeps something from being done."""
    st.warning(plain(words), icon=":material/info:")


def act_and_tell(action: Callable[[], _T], done: str | Callable[[_T], str]) -> None:
    """Do something and start the page again, which says what was done; say why not if it cannot be done."""
    found = attempt(lambda: (action(),))
    if found is not None:
        leave_message(done if isinstance(done, str) else done(found[0]))
        st.rerun()


def keep_and_tell(
    study: StudyInUse,
    change: Callable[[Study], Study],
    done: str,
    *,
    who: str = "",
    to_disk: bool = True,
    after: Callable[[StudyInUse], str | None] | None = None,
) -> None:
    """Save a change and start the page again, which says what was done; say why not if it cannot be saved.

    `after` is called once it is saved, and may return a sentence more.
    """
    act_and_tell(
        lambda: keep(study, change, done, who=who, to_disk=to_disk),
        lambda said: " ".join(words for words in (said, after(study) if after else "") if words),
    )


def headline(text: str) -> None:
    """Write the sentence that answers."""
    st.header(plain(text), anchor=False)


def heading(text: str) -> None:
    """Write the heading of a section."""
    st.subheader(plain(text), anchor=False)


def say(lines: Iterable[str], first: Iterable[str] = ()) -> None:
    """Write sentences as a list; `first` are the words at the head of each line that are set in bold."""
    heads, said, told = [*first], [*lines], []
    for line in said:
        head = next((words for words in heads if line.startswith(f"{words}:")), "")
        told.append(f"- {f'**{plain(head)}**' if head else ''}{plain(line[len(head) :])}")
    st.markdown("\n".join(told))
    links(said)


def table(
    shown: pd.DataFrame, *, name: str, alt: str, full: pd.DataFrame | None = None, figures: Sequence[bool] = ()
) -> None:
    """Show a table of texts, its first rows and the rest where asked for, with a download as CSV.

    Parameters
    ----------
    name
        Name of the file without ending.
    alt
        What the table holds, for people who hear it.
    full
        What the file holds, such as the unrounded numbers; by default what is shown.
    figures
        For each column whether it holds figures, which stand on the right.
    """
    wide = shown.shape[1] > _FEW_COLUMNS  # then it scrolls sideways on a narrow screen, not the whole page
    place = st.container(key=f"wide table {name}") if wide else st.container()
    place.table(_escaped(shown.iloc[:_FIRST_ROWS], figures), hide_index=True, border="horizontal", alt=alt)
    with st.container(horizontal=True, vertical_alignment="center"):
        every = len(shown) > _FIRST_ROWS and st.toggle(f"All {len(shown)} rows", key=f"all rows {name}")
        file = csv_bytes(shown if full is None else full)
        download("Table as CSV", file, f"{name}.csv", quiet=True)
    if every:
        st.dataframe(shown.astype("str"), hide_index=True, alt=alt, height=_ROWS_SHOWN * _ROW_PIXELS)


def _escaped(shown: pd.DataFrame, figures: Sequence[bool]) -> Any:
    """Return the table with its texts as they are, figures on the right."""
    escaped = shown.astype("str").map(plain)
    escaped.columns = pd.Index([plain(column) for column in shown.columns])
    right = [column for column, figure in zip(escaped.columns, figures, strict=False) if figure]
    if right and escaped.columns.is_unique and escaped.index.is_unique:  # a styled table needs that
        return escaped.style.set_properties(subset=pd.Index(right), **{"text-align": "right"})
    return escaped


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """Return a table as CSV in which a spreadsheet calculates no text: an apostrophe stands before such a one."""

    def never_calculated(cell: Any) -> Any:
        return f"'{cell}" if isinstance(cell, str) and _CALCULATED.match(cell) else cell

    texts = frame.select_dtypes(["object", "string", "category"]).astype("object").map(never_calculated)
    safe = frame.copy()
    safe[texts.columns] = texts
    safe.columns = pd.Index([never_calculated(name) for name in frame.columns])
    return safe.to_csv(index=False).encode("utf-8-sig")


def show_picture(told: Picture) -> None:
    """Show a picture, to be taken away as SVG and PNG; on a narrow screen as it is drawn for one."""
    for width, svg in (("broad", told.svg), ("narrow", told.narrow_svg)):
        st.container(key=f"only {width} {told.name}").image(svg, alt=told.alt, width="stretch")
    with st.popover("Take away", icon=":material/download:", type="tertiary"):
        download("Picture as SVG", told.svg.encode(), f"{told.name}.svg", quiet=True)
        download("Picture as PNG", told.png, f"{told.name}.png", quiet=True)


def download(label: str, data: bytes | Callable[[], bytes], file_name: str, *, quiet: bool = False) -> None:
    """Offer a file to take away; a function makes it when it is asked for. The ending of its name says what it is."""
    st.download_button(
        label,
        data,
        file_name,
        media_type(file_name),
        key=f"download {file_name}",
        on_click="ignore",
        type="tertiary" if quiet else "secondary",
        icon=":material/download:",
    )


def offer_days(texts: Iterable[str]) -> None:
    """Offer the way to the days of the sessions where a sentence asks for them."""
    if any(GIVE_DAYS in text for text in texts) and st.button("Write the days down", icon=":material/edit:"):
        go_and_fill(FACTS)


def drawer(title: str, fill: Callable[[], object], of: str = "") -> None:
    """Show a drawer that is filled when it is opened; `of` tells drawers with the same title apart."""
    place = st.expander(plain(title), key=f"drawer {of}{title}", on_change="rerun")
    if place.open:
        with place:
            fill()


def show(told: Told | None) -> None:
    """Show what is told of an answer, if any: the sentence that answers, its picture, what to mind, then drawers."""
    if told is None:
        return
    headline(told.headline)
    if told.picture is not None:
        show_items((told.picture,), told)
    if told.mind:
        say(told.mind)
    explain([told.headline, *told.mind, *(each.title for each in told.drawers)])
    for each in told.every_drawer():
        drawer(each.title, partial(show_items, each.items, told), f"{type(told.result).__name__} ")


def show_closed(title: str, told: Told) -> None:
    """Show another answer in a drawer: only one picture stands on a page."""
    pictures = () if told.picture is None else (told.picture,)
    rest = (item for each in told.every_drawer() for item in each.items)
    drawer(title, partial(show_items, (told.headline, *pictures, *told.mind, *rest), told))


def show_items(items: Iterable[Item], told: Told) -> None:
    """Show sentences, pictures and tables, one under the other; sentences that follow each other as one list."""
    for kind, group in groupby(items, type):
        if kind is str:
            say(map(str, group))
            continue
        for item in group:
            if isinstance(item, Picture):
                show_picture(item)
            elif isinstance(item, Table | Shown):
                own = told.shown(item)
                st.caption(plain(own.title))
                table(own.texts, name=own.table.name, alt=own.title, full=own.full, figures=own.figures)


def style() -> None:
    """Let wide things scroll by themselves, and keep the letters in pictures large enough to read on a phone."""
    st.html(f"<style>{_STYLE}</style>")


def close() -> None:
    """End the page with the cautions that belong under every result."""
    known = shared_table("cautions")
    words = known.loc[known["applies"].isin(_ALWAYS), "words"]
    st.divider()
    st.caption(plain(" ".join(words)))


def margin_field(study: StudyInUse, names: Naming, *, per_cent: bool = False) -> float | None:
    """Return the smallest difference that matters, typed with a decimal point or comma; None if empty or unreadable.

    Streamlit's own number field would turn 7,5 into 75. `per_cent`: it is asked for in per cent of each scale, which
    the study's own margin, in scale units, is not.
    """
    stated = None if per_cent else study.study.facts.get("margin")
    text = st.text_input(
        f"Smallest difference that matters ({plain(names.scale or 'scale units')})",
        f"{stated:g}" if isinstance(stated, int | float) else "",
        key=study.choice("margin in per cent" if per_cent else "margin"),
        help="Decided by people before the test. 7.5 and 7,5 are both read. Empty: the study's own, if it has one.",
        persist_state="session",
    )
    return attempt(typed_number, text or "", "The margin")


def file_name(study: StudyInUse) -> str:
    """Return a name for files of a study, without ending: letters, digits and underscores of its title."""
    return name_of_file(str(study.study.facts.get("title") or study.handle.name))
