import pytest

from panel.ballots.rehearsal import _SeenPage, _Visitor
from panel.errors import StudyError

HTML = """<!doctype html><title>Sample 1</title><style>p{}</style><script>var x="<p>no</p>"</script>
<h1>Sample 375</h1><p>one &amp; two</p><form><input type="hidden" name="submission" value="a&quot;b">
<input type="text" name="v0"><input type="checkbox" name="c0"><button name="act" value="send">Send</button></form>
<a href="/b/x">All</a><a href="/b/x/2/3">Go on</a>"""


def test_a_page_is_read_as_somebody_sees_it():
    page = _SeenPage("/b/x/1/1", 200, HTML)
    assert page.words == "Sample 375 one & two Send All Go on"
    assert page.code == "375"
    assert page.fields == {"submission": 'a"b'}
    assert page.lines == ["v0"]
    assert page.acts == {"send"}
    assert page.onward == "/b/x/2/3"
    assert page.waits is None


def test_waiting_and_the_end_are_told_apart():
    assert _SeenPage("/", 200, "<p>Nothing to do until <b>12:00</b></p>").waits is True
    assert _SeenPage("/", 200, "<p>All samples are done. Thank you.</p>").waits is False


def test_a_server_that_is_not_there_is_told():
    with (
        _Visitor("http://127.0.0.1:9", "x") as phone,
        pytest.raises(StudyError, match="The ballot server did not answer"),
    ):
        phone.go()
