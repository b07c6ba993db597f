"""A phone without a hand: opens a ballot, reads its pages and sends marks, as a browser without scripts does."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

import httpx

from panel.errors import StudyError

PATIENCE = 60.0  # seconds; an answer takes a few milliseconds


@dataclass(eq=False, slots=True)
class SeenPage:
    """What a page shows: its address, words, links, the fields of its form, the names of its lines and their ends."""

    path: str
    status: int
    html: str
    words: str = ""
    links: list[str] = field(default_factory=list)
    fields: dict[str, str] = field(default_factory=dict)
    lines: list[str] = field(default_factory=list)
    ends: dict[str, tuple[float, float]] = field(default_factory=dict)
    acts: set[str] = field(default_factory=set)

    @property
    def code(self) -> str:
        """The code of the sample on the page; empty if it shows none."""
        found = re.search(r"^Sample (\S+)", self.words)
        return found[1] if found else ""

    @property
    def onward(self) -> str:
        """Where `Go on with sample ...` leads; empty if nothing is to be done now."""
        return next((link for link in self.links if re.search(r"/\d+/\d+$", link)), "") if self.waits is None else ""

    @property
    def waits(self) -> bool | None:
        """True if there is nothing to do yet, False if all is done, None otherwise."""
        if "Nothing to do until" in self.words:
            return True
        return False if "All samples are done" in self.words else None


class Visitor:
    """Opens one personal link and follows it."""

    def __init__(self, address: str, token: str) -> None:
        self.path = f"/b/{token}"
        # plain HTTP on this computer: reading the list of certificates would take longer than a whole ballot
        options: Any = {"verify": False, "trust_env": False, "follow_redirects": True}
        self._client = httpx.Client(base_url=address, timeout=PATIENCE, **options)

    def __enter__(self) -> Visitor:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.close()

    def go(self, path: str = "") -> SeenPage:
        """Return the page at a path; the overview of the ballot if none is given."""
        return self._seen(lambda: self._client.get(path or self.path))

    def send(self, page: SeenPage, marks: Mapping[str, str], act: str = "send") -> SeenPage:
        """Send the form of a page with these fields; return the page that follows."""
        fields = {**page.fields, **marks, "act": act}
        return self._seen(lambda: self._client.post(page.path, data=fields))

    def _seen(self, ask: Any) -> SeenPage:
        try:
            answer: httpx.Response = ask()
        except httpx.HTTPError as error:
            raise StudyError(f"The ballot server did not answer: {error}. Start it, then try again.") from error
        return read_page(answer.url.path, answer.status_code, answer.text)


def read_page(path: str, status: int, html: str) -> SeenPage:
    """Return what stands on a page."""
    page = SeenPage(path, status, html)
    reader = _Reader(page)
    reader.feed(html)
    reader.close()
    page.words = " ".join(" ".join(reader.texts).split())
    return page


class _Reader(HTMLParser):
    def __init__(self, page: SeenPage) -> None:
        super().__init__()
        self.page = page
        self.texts: list[str] = []
        self._inside = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = {name: value or "" for name, value in attrs}
        self._inside = tag
        if tag == "a":
            self.page.links.append(values.get("href", ""))
        elif tag == "button" and values.get("name") == "act":
            self.page.acts.add(values["value"])
        elif tag == "input" and values.get("type") == "hidden":
            self.page.fields[values["name"]] = values.get("value", "")
        elif tag == "input" and values.get("type") == "text":
            self.page.lines.append(values["name"])
            if "data-low" in values:
                self.page.ends[values["name"]] = (float(values["data-low"]), float(values["data-high"]))

    def handle_endtag(self, tag: str) -> None:
        self._inside = ""

    def handle_data(self, data: str) -> None:
        if self._inside not in ("style", "script", "title"):
            self.texts.append(data)
