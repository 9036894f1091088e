"""Cycle logs as machines and loggers write them: each form read, each oddity named, nothing guessed in silence."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.exchange.logs import LogForm, ReadLog, read_log
from fettlebook.science.steam import saturation_pressure_kpa

pytestmark = pytest.mark.invented

AT = [0, 1, 2, 60, 120, 300, 301, 302, 303, 304, 400]
HOT = [60.0, 60, 60, 80, 110, 134.5, 134.6, 134.6, 134.6, 134.5, 100.0]
KPA = [101.0, 101, 101, 50, 150, *(float(saturation_pressure_kpa(c)) for c in HOT[5:10]), 101.0]


def text(head: str, sep: str = ",", decimal: str = ".", *, f=lambda c: c, p=lambda k: k, t=lambda s: s) -> bytes:
    lines = [head]
    for s, c, k in zip(AT, HOT, KPA, strict=True):
        cells = [v if isinstance(v, str) else f"{v:.6g}" for v in (t(s), f(c), p(k))]
        lines.append(sep.join(c.replace(".", decimal) for c in cells))
    return ("\n".join(lines) + "\n").encode()


def errors(read: ReadLog) -> list[str]:
    return [f.what for f in read.log.findings if f.weight == "error"]


def same(read: ReadLog) -> None:
    assert errors(read) == []
    assert read.log.time_s == pytest.approx(np.array(AT, float), abs=1e-3)
    assert read.log.temperatures_c["chamber"] == pytest.approx(np.array(HOT), abs=2e-3)
    assert read.log.pressure_kpa == pytest.approx(np.array(KPA), rel=2e-4)


@pytest.mark.parametrize(
    "log",
    [
        text("time_s,chamber_c,pressure_kpa"),
        text("Time [s];Chamber temperature [°C];Chamber pressure [kPa abs]", ";", ","),
        text("time\tchamber (degC)\tpressure (bar absolute)", "\t", p=lambda k: k / 100),
        text("time_s,chamber_f,pressure_psia", f=lambda c: c * 1.8 + 32, p=lambda k: k / 6.894757),
        text("t;T [°C];p [mbar]", ";", p=lambda k: k * 10),
        text("elapsed min,chamber K,pressure hPa abs", f=lambda c: c + 273.15, p=lambda k: k * 10, t=lambda s: s / 60),
        text("time,chamber,pressure", t=lambda s: f"{9 + s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}"),
        text("time,chamber,pressure", t=lambda s: f"2026-11-02T09:{s // 60 % 60:02d}:{s % 60:02d}"),
        text("time;chamber;pressure", ";", t=lambda s: f"02.11.2026 09:{s // 60 % 60:02d}:{s % 60:02d}"),
        text("Date;Time;Chamber;Pressure", ";", t=lambda s: f"02.11.2026;09:{s // 60 % 60:02d}:{s % 60:02d}"),
        b"\xef\xbb\xbf" + text("time_s,chamber_c,pressure_kpa"),
        text("time_s,chamber_c,pressure_kpa").decode().encode("utf-16"),
        text("time_s;chamber \u00b0C;pressure kPa", ";").decode().encode("cp1252"),
        b"Machine 3\nCycle 1234\n\n" + text("time_s,chamber_c,pressure_kpa"),
        text("time;chamber;pressure\ns;\u00b0C;kPa", ";"),
        text("time_s,chamber_c,pressure_kpa").replace(b"\n", b"\r\n"),
        text("time_s,chamber_c,pressure_kpa").replace(b"60,80,50", b'"60","80","50"'),
        text("time_s,temperature_c,chamber_pressure_kpa"),
        text("time_s,T1 (C),pressure_kpa"),
        text("time_s,chamber_c,pressure_kpa", f=lambda c: f'"{c:.2f}"'.replace(".", ","), p=lambda k: f'"{k:.3f}"'.replace(".", ",")),
    ],
    ids=range(20),
)
def test_a_form_is_read(log: bytes):
    same(read_log(log, "a.csv"))


def test_a_gauge_needs_the_airs_pressure_and_says_so():
    log = text("time_s,chamber_c,pressure_bar_g", p=lambda k: (k - 95.0) / 100)
    assert any("not told" in what for what in errors(read_log(log, "a.csv")))
    assert read_log(log, "a.csv").log.pressure_kpa is None
    same(read_log(log, "a.csv", ambient_kpa=95.0))
    undeclared = text("time_s,chamber_c,pressure_kpa", p=lambda k: k - 101.0)
    assert "not told" in errors(read_log(undeclared, "a.csv"))[0]
    assert any("kPa gauge, by its size" in f.what for f in read_log(undeclared, "a.csv", ambient_kpa=101.0).log.findings)


def test_what_a_person_says_comes_before_the_heading():
    log = text("a,b,c", f=lambda c: c * 1.8 + 32, p=lambda k: k / 100, t=lambda s: s / 60)
    form = LogForm({"time": "a", "chamber": "2", "pressure": "C"}, {"time": "min", "chamber": "F", "pressure": "bar"}, "absolute")
    same(read_log(log, "a.csv", form))
    bare = text("time_s,chamber_c,pressure_kpa").split(b"\n", 1)[1]
    same(read_log(bare, "a.csv", LogForm({"time": "1", "chamber": "2", "pressure": "3"})))


@pytest.mark.parametrize(
    ("log", "says"),
    [
        (b"", "the file is empty"),
        (b"\n \n", "the file is empty"),
        (b"\x00\x01\x02\x00", "this is no text"),
        (b"time_s,chamber_c,pressure_kpa\n", "a heading but no reading"),
        (b"words only\nand more words\n", "a heading but no reading"),
        (text("time_s,chamber_c,pressure_kpa", ",", ","), "commas both between columns and in numbers"),
        (text("time_s,chamber_c,pressure_kpa", ",", ",", f=lambda c: c + 0.5, p=lambda k: k + 0.5), "commas both between columns"),
        (text("time_s;chamber_c;pressure_kpa", ";").replace(b"134.5", b"134,5"), "decimal commas"),
        (text("chamber_c,drain_c,pressure_kpa"), "no column is the time"),
        (text("time_s,foo,pressure_kpa"), "no column is a temperature"),
        (text("time_s,chamber_c,chamber temp"), "both look like the chamber"),
        (text("time_s,chamber,pressure_kpa", f=lambda c: c * 1.8 + 32), "no degrees Celsius"),
        (text("time_s,chamber_c,pressure", p=lambda k: k * 3.3), "unit is not said, and could be: mbar gauge, mmHg gauge"),
        (text("time_s,chamber_c,pressure_kpa") + text("time_s,chamber_c,pressure_kpa"), "words stand among the readings"),
        (text("temps,heat,force\ntime_s,chamber_c,pressure_kpa"), "two headings"),
        (text("time,chamber_c,pressure_kpa", t=lambda s: f"{s // 60}:{s % 60:02d}"), "hours and minutes, or minutes and seconds"),
        (text("time,chamber_c,pressure_kpa", t=lambda s: f"{s} o'clock"), "no time can be read"),
    ],
)  # fmt: skip
def test_what_can_t_be_told_is_named(log: bytes, says: str):
    assert any(says in what for what in errors(read_log(log, "a.csv"))), errors(read_log(log, "a.csv"))


def test_text_in_numbers_is_named_with_its_line_and_an_empty_cell_is_a_missing_reading():
    read = read_log(text("time_s,chamber_c,pressure_kpa").replace(b"134.6,", b"ERR,", 1), "a.csv")
    assert np.isnan(read.log.temperatures_c["chamber"][6])
    found = next(f for f in read.log.findings if "no number" in f.what)
    assert (found.where, found.weight) == ("a.csv line 8", "error")
    assert '"ERR"' in found.what
    for open_cell in (b"", b"---", b"NaN"):
        missing = read_log(text("time_s,chamber_c,pressure_kpa").replace(b"134.6,", open_cell + b",", 1), "a.csv")
        assert np.isnan(missing.log.temperatures_c["chamber"][6])
        assert errors(missing) == []
    unused = text("time_s,chamber_c,pressure_kpa,phase", p=lambda k: f"{k:.6g},heating")
    assert errors(read_log(unused, "a.csv")) == []
    short = read_log(text("time_s,chamber_c,pressure_kpa").replace(b"300,134.5,", b"300,"), "a.csv")
    assert any("too many or too few cells" in f.what for f in short.log.findings)


def test_words_after_the_last_reading_are_left_aside():
    read = read_log(text("time_s,chamber_c,pressure_kpa") + b"\nCYCLE COMPLETE\nResult: OK,,\n", "a.csv")
    assert errors(read) == []
    assert any("after the last reading (2 lines)" in f.what for f in read.log.findings)


def test_midnight_is_passed_and_the_colon_can_be_told():
    log = text(
        "time,chamber_c,pressure_kpa",
        t=lambda s: f"{(86_390 + s) % 86_400 // 3600:02d}:{(86_390 + s) // 60 % 60:02d}:{(86_390 + s) % 60:02d}",
    )
    read = read_log(log, "a.csv")
    assert read.log.time_s == pytest.approx(np.array(AT, float), abs=1e-3)
    assert any("midnight" in f.what for f in read.log.findings)
    colon = text("time,chamber_c,pressure_kpa", t=lambda s: f"{s // 60}:{s % 60:02d}")
    same(read_log(colon, "a.csv", LogForm(time="m:s")))


def test_set_values_and_walls_are_never_taken_for_the_chamber():
    read = read_log(b"time_s,chamber set_c,jacket_c,drain_c,pressure_kpa\n" + b"0,134,140,60,101\n1,134,140,60,101\n", "a.csv")
    assert set(read.log.temperatures_c) == {"drain"}
    assert read.left_aside == ("chamber set_c", "jacket_c")


@pytest.mark.parametrize(
    ("form", "ambient", "where"),
    [
        (LogForm({"chamber": "nothing"}), None, "a.csv, --column"),
        (LogForm(units={"pressure": "atm"}), None, "--unit"),
        (LogForm(units={"chamber": "kPa"}), None, "--unit"),
        (LogForm(), 30.0, "--ambient-kpa"),
    ],
)
def test_an_impossible_form_is_refused(form: LogForm, ambient: float | None, where: str):
    with pytest.raises(Mendable) as caught:
        read_log(text("time_s,chamber_c,pressure_kpa"), "a.csv", form, ambient_kpa=ambient)
    assert caught.value.where == where


@settings(max_examples=150)
@given(st.one_of(st.binary(max_size=300), st.text("0123456789.,;:-\n\t time_schamber_cpressure_kpaERR\"'", max_size=300).map(str.encode)))
def test_no_bytes_at_all_make_it_fall_over(log: bytes):
    assert isinstance(read_log(log, "a.csv"), ReadLog)
