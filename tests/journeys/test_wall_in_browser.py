"""The wall board and the lead's desk in a real Chromium: the board follows an entry without reloading, axe finds nothing, streams end."""

import http.client
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from real_page import DAY, SIZES
from test_axe import violations

pytestmark = pytest.mark.invented
PAGES = ("/board", "/lead", "/lead/file", "/lead/file/text", "/lead/file/versions", "/lead/file/versions/1")


@pytest.fixture
def lead(page, served):
    """A page at which the lead is signed in."""
    page.goto(f"{served.address}/sign-in")
    page.get_by_role("button", name="Ana").click()
    page.wait_for_url(lambda address: "/sign-in" not in address)
    return page


def test_the_board_shows_an_entry_without_reloading(lead, served, chromium):
    board = chromium.new_page()
    board.goto(f"{served.address}/board")
    board.evaluate("window.same = true")
    board.locator("#line[data-state=live]").wait_for()
    bath = board.locator(".box", has=board.get_by_role("link", name="bath 1"))
    for act, why in (("Take bath 1 out of service", "it leaks"), ("Return bath 1 to service", "new hose")):
        lead.goto(f"{served.address}/lead")
        lead.get_by_text(act, exact=True).click()
        form = lead.locator("form", has=lead.locator("input[value='machine:bath 1']"))
        form.get_by_label("Reason").fill(why)
        form.get_by_role("button").click()
        lead.wait_for_url("**/lead#service")
        if why == "it leaks":
            bath.get_by_text("it leaks").wait_for()
            assert "unfit" in bath.inner_text()
        else:
            bath.get_by_text("it leaks").wait_for(state="detached")
    assert board.evaluate("window.same") is True
    board.close()


@pytest.mark.parametrize("size", SIZES)
def test_axe_finds_nothing_on_the_board_and_at_the_lead_desk(lead, served, size):
    width, height = SIZES[size]
    lead.set_viewport_size({"width": width, "height": height})
    for address in PAGES:
        assert lead.goto(served.address + address).status == 200
        if address == "/board":
            lead.locator("#line[data-state=live]").wait_for()
        lead.evaluate("document.querySelectorAll('main details').forEach(fold => fold.open = true)")
        assert lead.evaluate("document.documentElement.scrollWidth <= innerWidth"), address
        assert violations(lead) == [], address


def test_what_would_change_is_seen_before_it_is_saved(lead, served):
    lead.goto(f"{served.address}/lead/file")
    lead.get_by_text("Sets owned", exact=True).click()
    field = lead.get_by_label("Examination set: owned")
    field.fill(str(int(field.input_value()) + 1))
    lead.locator("form", has=field).get_by_role("button").click()
    lead.locator(".diff .added").wait_for()
    assert lead.locator(".diff .gone").count() == 1
    assert violations(lead) == []


def test_the_server_stops_at_once_with_streams_open(serve):
    served = serve("--date", DAY)
    host, port = served.address.removeprefix("http://").split(":")
    streams = []
    for _ in range(3):
        stream = http.client.HTTPConnection(host, int(port), timeout=60)
        stream.request("GET", "/board/stream")
        answer = stream.getresponse()
        assert answer.status == 200
        assert answer.readline() == b": begins\n"
        streams.append((stream, answer))
    assert served.stop() == 0
    assert all(answer.read() is not None for _, answer in streams)  # each was ended, none was cut: a cut one raises here
    assert served.log.read_text() == ""
