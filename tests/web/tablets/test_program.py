"""The installed page: manifest, icons, worker, edition; and where a scanned code leads."""

import json
import re
import struct
from pathlib import Path

import pytest

import fettlebook.web
from fettlebook.exchange.paper.qr import CardCode, ThingCode
from fettlebook.web.tablets import edition
from fettlebook.web.tablets.pages import MANIFEST
from fettlebook.web.tablets.scanned import place_of

pytestmark = pytest.mark.invented
STATIC = Path(str(fettlebook.web.__file__)).parent / "static"


def test_the_icons_of_the_manifest_are_there_and_as_large_as_it_says():
    assert {icon.get("purpose", "any") for icon in MANIFEST["icons"]} == {"any", "maskable"}
    for icon in MANIFEST["icons"]:
        content = (STATIC / icon["src"].removeprefix("/static/")).read_bytes()
        assert content[:8] == b"\x89PNG\r\n\x1a\n"
        assert "{}x{}".format(*struct.unpack(">II", content[16:24])) == icon["sizes"]
        assert len(content) < 10_000


def test_the_worker_keeps_every_file_that_a_page_loads():
    text = edition.worker()
    assert "@" not in re.findall(r"const EDITION = .*|const PROGRAM = .*", text)[0]
    kept = set(json.loads(re.search(r"const PROGRAM = (\[.*\]);", text)[1]))
    files = {f"/static/{path.relative_to(STATIC).as_posix()}" for path in STATIC.rglob("*") if path.suffix in (".js", ".css")}
    assert files - kept == {"/static/sw.js"}
    assert {"/manifest.webmanifest", "/minutes.css", "/fonts/AtkinsonHyperlegibleNext-Regular.ttf"} <= kept


def test_another_file_makes_another_edition(tmp_path, monkeypatch):
    before = edition.edition()
    for name in ("static", "templates"):
        (tmp_path / name).mkdir()
    (tmp_path / "static" / "sw.js").write_text("")
    (tmp_path / "static" / "a.css").write_text("a")
    monkeypatch.setattr(edition, "HERE", tmp_path)
    one = edition.edition.__wrapped__()
    (tmp_path / "static" / "a.css").write_text("b")
    assert len({before, one, edition.edition.__wrapped__()}) == 3


@pytest.mark.parametrize(
    ("code", "place"),
    [
        (CardCode("chair 1", "chair.between", "between.flush"), "/work?chair=chair+1&duty=chair.between&step=between.flush"),
        (CardCode("chair 1", "chair.close"), "/work?chair=chair+1&duty=chair.close"),
        (ThingCode("chair", "chair 1"), "/standing/chair:chair%201"),
        (ThingCode("machine", "../x"), "/machines/..%2Fx"),
        (ThingCode("set", "exam#3"), "/loads/pack?unit=exam%233"),
        (ThingCode("load", "L1"), "/loads/L1"),
        (ThingCode("badge", "secret"), "/sign-in"),
    ],
)
def test_a_code_leads_to_its_page_and_a_badges_secret_stays_out_of_addresses(code, place):
    assert place_of(code) == place
