import io
import os
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
import segno
import zxingcpp
from PIL import Image

from panel.ballots.answers import links_page, qr_svg, with_links
from tests.app.running import CHROMIUM, browser

LINK = "http://192.168.178.23:8600/b/HBXPzk3WiQEKyNWh7W3VExFW"


def test_links_are_the_address_and_the_token():
    tokens = pd.DataFrame({"session": ["1"], "assessor": ["A01"], "token": ["abc"]})
    assert with_links(tokens, "http://127.0.0.1:8600/").to_dict("records") == [
        {"session": "1", "assessor": "A01", "link": "http://127.0.0.1:8600/b/abc"}
    ]


def test_the_code_is_a_picture_that_loads_nothing():
    picture = ElementTree.fromstring(qr_svg(LINK))
    assert picture.tag == "{http://www.w3.org/2000/svg}svg"
    assert LINK not in qr_svg(LINK)
    assert "href" not in qr_svg(LINK)


def test_the_picture_holds_the_code_with_its_quiet_zone():
    # ISO/IEC 18004: 17 + 4 x version modules a side, and 4 modules of quiet zone all round
    code = segno.make(LINK, error="m", micro=False)
    width = (17 + 4 * int(code.version) + 8) * 4
    picture = ElementTree.fromstring(qr_svg(LINK))
    assert (picture.get("width"), picture.get("height")) == (str(width), str(width))


@pytest.mark.browser
@pytest.mark.skipif(not CHROMIUM and not os.environ.get("CI"), reason="Chromium is not installed")
def test_another_reader_finds_the_link_in_the_picture():
    # drawn by Chromium, read by zxing-cpp
    with browser(390) as context:
        page = context.pages[0]
        page.set_content(f"<body>{qr_svg(LINK)}</body>")
        picture = Image.open(io.BytesIO(page.screenshot())).convert("L")
    (found,) = zxingcpp.read_barcodes(np.asarray(picture))
    assert found.text == LINK
    assert "QR" in str(found.format)


def test_the_page_to_print_has_a_slip_for_each_link_and_shows_words_as_text():
    links = pd.DataFrame({"session": ["1", "1"], "assessor": ["A01", "<b>A02"], "link": [LINK, f"{LINK}2"]})
    html = links_page(links)
    assert html.count("<section>") == html.count("<svg") == 2
    assert f"<small>{LINK}</small>" in html
    assert "&lt;b&gt;A02" in html
    assert "<script" not in html
    assert "src=" not in html
