"""Suction and surfaces: charts of hoses, care in order and long enough, wet times, shares of clean spots; and the command."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from small_book import PRACTICE, Book, Ground, ground

from fettlebook.book.stores import open_book
from fettlebook.cli import _fettlebook
from fettlebook.standing.look import Look
from fettlebook.standing.model import Verdict
from fettlebook.standing.suction import SuctionCare, hoses_draw, suction_care
from fettlebook.standing.surfaces import cleaning_shares, wet_times

pytestmark = pytest.mark.invented

TEXT = PRACTICE.replace(
    '[[machines]]\nid = "washer"',
    'suction = [{ id = "high", kind = "high volume", bore_mm = 11.0, length_m = 2.0 },'
    ' { id = "ejector", kind = "saliva ejector", bore_mm = 6.0, length_m = 2.0 }]\n\n[[machines]]\nid = "washer"',
    1,
).replace(
    "[in_use]\n",
    '[[products]]\nid = "care"\nname = "Suction cleaner (invented)"\nactive = "quaternary ammonium"\nshelf_open_days = 90\n'
    'uses = [{ use = "suction", strength = 2.0, strength_unit = "% w/v", contact_s = 900, temperature_c = [10.0, 30.0] }]\n\n'
    '[in_use]\nsuction = "care"\n',
)
OPEN = '2026-03-10 04:00 ana product.opened {product="care", lot="S1"}\n2026-03-10 04:00 ana product.opened {product="wipes", lot="B1"}\n'


def on() -> Ground:
    return ground(TEXT)


def seen(text: str) -> Look:
    return Book(text, on=on()).now("2026-03-20 08:00").look


def cared(
    *, hoses: str = '"high", "ejector"', amount: str = ", readings={cleaner_ml=1000}", acts: int = 900, filters: int | None = None
) -> SuctionCare:
    where = 'duty="chair.session", chair="1"'

    def at(second: int) -> str:
        return f"2026-03-11 12:{second // 60:02}:{second % 60:02} ana"

    named = f", suction=[{hoses}]" if hoses else ""
    text = (
        OPEN
        + f"""
    {at(0)} step.done {{{where}, step="session.suction", outcome="done", product="care", lot="S1"{named}{amount}}}
    {at(10)} step.started {{{where}, step="session.suction_contact"}}
    {at(10 + acts)} step.done {{{where}, step="session.suction_contact", outcome="done"}}
    {at(10 + acts + 60 if filters is None else filters)} step.done {{{where}, step="session.filters", outcome="done"}}
    """
    )
    look = seen(text)
    (one,) = suction_care(look, look.basis.chairs["1"])
    return one


def test_care_through_both_hoses_long_enough_and_in_order_is_fit() -> None:
    one = cared()
    assert (one.verdict, one.reasons) == (Verdict.FIT, ())
    assert (one.planned_s, one.dwell_s, one.amount_ml) == (900, 900, 1000)


@pytest.mark.parametrize(
    ("but", "verdict", "why"),
    [
        ({"acts": 899}, Verdict.UNFIT, "must run 15:00"),
        ({"filters": 500}, Verdict.UNFIT, "before the contact was over"),
        ({"hoses": '"high"'}, Verdict.UNPROVEN, "not in the book for ejector"),
        ({"hoses": ""}, Verdict.UNPROVEN, "names no hoses"),
        ({"amount": ""}, Verdict.UNPROVEN, "how much is not in the book"),
        ({"amount": ", readings={cleaner_ml=0}"}, Verdict.UNFIT, "0 mL"),
    ],
    ids=str,
)
def test_care_that_is_not_as_asked_says_why(but: dict[str, object], verdict: Verdict, why: str) -> None:
    one = cared(**but)  # type: ignore[arg-type]
    assert one.verdict is verdict
    assert any(why in part.why for part in one.reasons)


def drawn(values: list[int], hose: str = "high") -> str:
    rows = (
        f'2026-03-{n + 1:02} 07:00 ana suction.measured {{chair="1", hose="{hose}", drawn_ml=1000, took_ms={ms}}}'
        for n, ms in enumerate(values)
    )
    return "\n".join(rows) + "\n"


STEADY = [6000, 6200, 5900, 6100, 6000, 6200, 5800, 6100, 6000, 6100]


def test_a_hose_that_draws_as_it_did_is_steady_and_a_slow_one_is_not() -> None:
    for text, says in ((drawn(STEADY), "steady"), (drawn([*STEADY, 9000]), "beyond its limits")):
        look = seen(text)
        high, ejector = hoses_draw(look, look.basis.chairs["1"])
        assert (high.hose, high.unit, high.says) == ("high", "s/L", says)
        assert high.readings[0] == 6.0
        assert (ejector.steady, ejector.says) == (None, "0 readings, a chart needs 5")


def test_a_slow_loss_shows_as_drift_before_any_reading_is_beyond() -> None:
    look = seen(drawn([*STEADY, 6300, 6300, 6350, 6350, 6350]))
    assert hoses_draw(look, look.basis.chairs["1"])[0].says == "drifting"


def test_litres_and_gauge_never_share_a_chart_and_a_stuck_gauge_proves_nothing() -> None:
    gauge = "".join(f'2026-03-{n:02} 08:00 ana suction.measured {{chair="1", hose="high", gauge_pa=12000}}\n' for n in range(1, 8))
    look = seen(drawn(STEADY) + gauge)
    litres, stuck, _ = hoses_draw(look, look.basis.chairs["1"])
    assert (litres.unit, len(litres.readings), stuck.unit, len(stuck.readings)) == ("s/L", 10, "Pa", 7)
    assert stuck.steady is None
    assert "12000" in stuck.says


@pytest.mark.parametrize(("ran", "verdict"), [(120, Verdict.FIT), (119, Verdict.UNFIT)])
def test_surfaces_wet_against_the_label(ran: int, verdict: Verdict) -> None:
    where = 'duty="chair.close", step="close.wet", chair="1"'
    minutes, seconds = divmod(ran, 60)
    look = seen(
        OPEN
        + f"""
    2026-03-11 17:00:00 ana step.started {{{where}}}
    2026-03-11 17:{minutes:02}:{seconds:02} ana step.done {{{where}, outcome="done"}}
    """
    )
    (one,) = wet_times(look, look.basis.chairs["1"])
    assert (one.planned_s, one.ran_s, one.verdict) == (120, ran, verdict)
    assert one.origin.source


def spots(gone: int, of: int, name: str = "2026-03", who: str = "ana") -> str:
    return "".join(
        f'2026-03-11 18:{n:02} {who} cleaning.checked {{place="light handle", round="{name}", method="mark", '
        f"mark_gone={str(n < gone).lower()}}}\n"
        for n in range(of)
    )


@pytest.mark.published(source="Wilson score interval of 8 of 10 at 95 %: 0.490 to 0.943 (worked in textbooks of the method)", sure="memory")
def test_marks_gone_are_a_share_with_wilsons_interval() -> None:
    one, every = cleaning_shares(seen(spots(8, 10)))
    assert (one.place, one.method, one.round, one.clean, one.of) == ("light handle", "mark", "2026-03", 8, 10)
    assert [one.low, one.high] == pytest.approx([0.490, 0.943], abs=5e-4)
    assert (every.round, every.clean) == (None, 8)


def test_rounds_places_and_ways_stand_apart_and_people_do_not_show() -> None:
    swabs = '2026-03-12 18:00 ben cleaning.checked {place="tray", method="ATP", atp_rlu=40, limit_rlu=50}\n'
    bare = '2026-03-12 18:01 ben cleaning.checked {place="tray", method="ATP", atp_rlu=40}\n'
    found = cleaning_shares(seen(spots(5, 5, "r1") + spots(1, 5, "r2", "ben") + swabs + bare))
    assert [(s.place, s.round, s.clean, s.of, s.untold) for s in found] == [
        ("light handle", "r1", 5, 5, 0), ("light handle", "r2", 1, 5, 0), ("light handle", None, 6, 10, 0), ("tray", None, 1, 1, 1),
    ]  # fmt: skip
    assert cleaning_shares(seen(spots(5, 5, who="ana"))) == cleaning_shares(seen(spots(5, 5, who="ben")))
    only_bare = cleaning_shares(seen(bare))[0]
    assert (only_bare.of, only_bare.low, only_bare.untold) == (0, None, 1)


SEPARATOR = '2026-03-09 05:00 ana part.changed {part="separator", chair="1", done="changed", good_days=5}\n'


def test_the_command_prints_and_gives_json(tmp_path: Path) -> None:
    path = tmp_path / "practice.toml"
    path.write_text(TEXT, encoding="utf-8")
    with open_book(path.with_name("book.sqlite"), "small") as store:
        for one in Book(OPEN + drawn(STEADY) + spots(8, 10) + SEPARATOR, on=on()).received():
            store.append([one.entry], now=one.received, via=one.via)
    words = ["checks", "--practice", str(path), "--at", "2026-03-20T08:00"]
    done = CliRunner().invoke(_fettlebook, words)
    assert done.exit_code == 1, done.output  # no care and no wet time in the book
    assert "light handle (mark), 2026-03: 8 of 10 clean, 49% to 94%" in done.output
    assert "high: 6.1 s/L, steady" in done.output
    assert "suction care: nothing in the book" in done.output
    assert "UNPROVEN separator, 1: changed" in done.output
    assert "ana" not in done.output
    assert all(len(line) <= 80 for line in done.output.splitlines())
    told = json.loads(CliRunner().invoke(_fettlebook, [*words, "1", "--json"]).output)
    assert told["cleaning"][0]["clean"] == 8
    assert [(p["part"], p["verdict"]) for p in told["parts"]] == [("separator", "unproven")]
    assert told["chairs"][0]["hoses"][0]["chart"]["centre"] == pytest.approx(6.04)
    assert CliRunner().invoke(_fettlebook, [*words, "9"]).exit_code != 0
