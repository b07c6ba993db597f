"""How does a phone reach its ballot? A personal link, and the same as a square to be photographed."""

from __future__ import annotations

import io
from html import escape

import pandas as pd
import segno

_PRINTED = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Personal links to the ballots</title><style>
body{font:14px/1.4 system-ui,sans-serif;margin:1rem;color:#222}
section{display:inline-block;width:15rem;margin:.5rem;padding:1rem;border:1px dashed #888;text-align:center;
vertical-align:top;break-inside:avoid}
h2{font-size:1.2rem;margin:0}small{overflow-wrap:anywhere}
</style></head><body>
<p>Cut along the lines. Each link opens the ballot of one person: hand it to nobody
else, and destroy this page afterwards.</p>
%s
</body></html>
"""


def with_links(tokens: pd.DataFrame, address: str) -> pd.DataFrame:
    """Return tokens as links: columns `session assessor link`."""
    links = [f"{address.rstrip('/')}/b/{token}" for token in tokens["token"]]
    return tokens[["session", "assessor"]].assign(link=pd.Series(links, index=tokens.index, dtype="str"))


def qr_svg(link: str) -> str:
    """Return a QR code of a link as an SVG picture, black on white, with its quiet zone."""
    code = segno.make(link, error="m", micro=False)
    picture = io.BytesIO()
    code.save(picture, kind="svg", scale=4, dark="#000", light="#fff", xmldecl=False, title="Personal link to a ballot")
    return picture.getvalue().decode("utf-8")


def links_page(links: pd.DataFrame) -> str:
    """Return an HTML page to print: for each link a slip with session, assessor, QR code and the link in letters.

    Parameters
    ----------
    links
        `session assessor link`, as `with_links` gives them.
    """
    slips = [
        f"<section><h2>{escape(row['assessor'])}</h2>session {escape(row['session'])}<br>{qr_svg(row['link'])}<br>"
        f"<small>{escape(row['link'])}</small></section>"
        for row in links.astype("str").to_dict("records")
    ]
    return _PRINTED % "\n".join(slips)
