"""What may ride together, what a kept log counts for, handpieces, early release, packs put aside alike."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_book import PRACTICE, READY, Book, ground
from test_instruments_standing import ALL, RELEASED, STERILE, WASHED, of, why

from fettlebook.standing.handpiece import cycles_since_service
from fettlebook.standing.model import Standing, Verdict
from fettlebook.standing.ride import ride_faults, ride_verdict

pytestmark = pytest.mark.invented
LOG = 'log={digest="' + "a" * 64 + '", length_bytes=9, media="text/csv"}'
KINDS_OF_CYCLE = PRACTICE.replace(
    'cycles = [{ id = "wrapped", minutes = 40, type = "B" }]',
    'cycles = [{ id = "wrapped", minutes = 40, type = "B" }, { id = "bare", minutes = 20, type = "N" },\n'
    '  { id = "own", minutes = 30, type = "S" }]',
).replace(
    "[reprocessing]\n",
    """[[sets]]
id = "turbine"
name = "Turbine"
kind = "handpiece"
owned = 2
lubricate_minutes = 1
most_cycles = 2

[[sets]]
id = "mirror"
name = "Mirrors"
owned = 9
cycle_types = ["N", "B"]

[reprocessing]
apart = [["exam", "mirror"]]
""",
)
RICH = ground(KINDS_OF_CYCLE)
US = ground(PRACTICE.replace('rulebooks = ["general", "uk"]', 'rulebooks = ["general", "us"]'))


def rich(text: str, subject: str, at: str = "2026-03-09 08:30") -> Standing:
    return Book(text, RICH).at(at).standing(subject)


def steam(cycle: str, *items: tuple[str, bool, str | None]) -> tuple[Verdict, str]:
    machine = next(m for m in RICH.practice.machines if m.id == "steam")
    faults = ride_faults(RICH.practice, machine, cycle, items)
    return ride_verdict(faults), "; ".join(words for _, words in faults)


@pytest.mark.published(source="EN 13060, types of cycles, wording of 2014 as a trainer quotes it (steam.md 4)", sure="secondary")
@pytest.mark.parametrize(
    ("cycle", "item", "verdict"),
    [
        ("wrapped", ("exam#1", True, "hollow"), Verdict.FIT),
        ("wrapped", ("exam#1", False, "porous"), Verdict.FIT),
        ("bare", ("exam#1", False, "solid"), Verdict.FIT),
        ("bare", ("exam#1", True, "solid"), Verdict.UNFIT),
        ("bare", ("exam#1", False, "hollow"), Verdict.UNFIT),
        ("bare", ("exam#1", False, "porous"), Verdict.UNFIT),
        ("bare", ("exam#1", False, None), Verdict.UNPROVEN),
        ("bare", ("turbine#1", False, None), Verdict.UNFIT),  # a handpiece is hollow, whoever forgot to say so
        ("bare", ("turbine#1", False, "solid"), Verdict.UNFIT),
        ("bare", ("mirror#1", False, None), Verdict.FIT),  # its IFU allows N
        ("own", ("exam#1", False, "solid"), Verdict.UNPROVEN),  # S: its maker says
        ("own", ("mirror#1", False, "solid"), Verdict.UNFIT),  # its IFU names B and N
        ("what", ("exam#1", True, None), Verdict.UNPROVEN),
    ],
)
def test_what_may_ride_in_which_type_of_cycle(cycle: str, item: tuple[str, bool, str | None], verdict: Verdict) -> None:
    assert steam(cycle, item)[0] is verdict


def test_what_must_lie_apart_and_what_is_too_full() -> None:
    verdict, told = steam("wrapped", ("exam#1", True, None), ("mirror#1", True, None))
    assert (verdict, told) == (Verdict.UNFIT, "exam and mirror may not share a load, by their IFU")
    assert steam("wrapped", *((f"mirror#{n}", True, None) for n in range(1, 8)))[0] is Verdict.UNPROVEN


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["exam#1", "turbine#1", "mirror#1"]), st.booleans(), st.sampled_from(["solid", "porous", "hollow", None])
        ),
        max_size=6,
    ),
    st.tuples(st.sampled_from(["exam#2", "turbine#2", "mirror#2"]), st.booleans(), st.sampled_from(["solid", "porous", "hollow", None])),
    st.sampled_from(["wrapped", "bare", "own"]),
)
def test_one_more_thing_never_makes_a_load_better(items: list[tuple], more: tuple, cycle: str) -> None:
    rank = {Verdict.FIT: 0, Verdict.UNPROVEN: 1, Verdict.UNFIT: 2}
    assert rank[steam(cycle, *items, more)[0]] >= rank[steam(cycle, *items)[0]]


def test_a_wrapped_load_in_an_n_cycle_is_unfit_though_its_curve_is_good_and_it_was_released() -> None:
    text = READY + WASHED + STERILE.replace('cycle="wrapped"', 'cycle="bare"') + RELEASED
    standing = rich(text, "unit:exam#1")
    assert standing.verdict is Verdict.UNFIT
    assert "N is for unwrapped solid things only" in why(standing)
    assert rich(ALL, "unit:exam#1").verdict is Verdict.FIT


def test_where_a_log_is_kept_the_machines_word_never_suffices() -> None:
    logged = STERILE.replace('said="passed"}', f'said="passed", {LOG}}} = ran')
    text = READY + WASHED + logged + RELEASED
    assert of(text, "load:s1").verdict is Verdict.UNPROVEN
    assert "its log is kept and was not judged" in why(of(text, "load:s1"))
    judged = '2026-03-09 07:46 ana cycle.judged <ran> {machine="steam", load="s1", verdict="%s", reasons=[], judged_with="x"}\n'
    assert of(text + judged % "fit", "load:s1").verdict is Verdict.FIT
    assert of(text + judged % "unproven", "load:s1").verdict is Verdict.UNPROVEN
    assert of(text + judged % "unfit", "load:s1").verdict is Verdict.UNFIT
    failed = text.replace('said="passed", log', 'said="failed", log')
    assert of(failed + judged % "fit", "load:s1").verdict is Verdict.UNFIT, "a good curve doesn't undo what the machine saw"


@pytest.mark.published(
    source="CDC page Sterilization Monitoring; MMWR 2003;52(RR-17), VI.F: each load, time, temperature and pressure read and recorded",
    sure="read",
)
def test_in_the_united_states_the_machines_word_alone_leaves_a_load_unproven() -> None:
    def cycle(more: str) -> Verdict:
        book = Book(READY.split("2026-03-09 05:05")[0] + WASHED + STERILE.replace('said="passed"', f'said="passed"{more}') + RELEASED, US)
        return next(c.verdict for c in book.at("2026-03-09 08:30").standing("load:s1").conditions if c.what == "cycle was good")

    assert cycle("") is Verdict.UNPROVEN
    assert cycle(", readings={hold_s=215, lowest_mc=134500}") is Verdict.FIT


TURBINE = (
    """
2026-03-09 06:20 ana load.packed {load="w1", machine="washer", items=[{unit="turbine#1"}]}
2026-03-09 07:00 ana cycle.recorded {machine="washer", cycle="wash", load="w1", said="passed"}
2026-03-09 07:01 ana load.packed {load="s1", machine="steam", items=[{unit="turbine#1", pack="P1", oiled=true}]}
2026-03-09 07:45 ana cycle.recorded {machine="steam", cycle="wrapped", load="s1", said="passed"}
"""
    + RELEASED
)


def test_a_handpiece_is_fit_only_where_it_was_oiled() -> None:
    assert rich(READY + TURBINE, "unit:turbine#1").verdict is Verdict.FIT, why(rich(READY + TURBINE, "unit:turbine#1"))
    dry = rich(READY + TURBINE.replace(", oiled=true", ""), "unit:turbine#1")
    assert (dry.verdict, "oiled before it was packed" in why(dry)) == (Verdict.UNPROVEN, True)


def test_a_handpiece_past_the_cycles_of_its_ifu_is_unfit_until_it_was_serviced() -> None:
    before = "".join(
        TURBINE.replace("2026-03-09", f"2026-03-0{day}").replace('"w1"', f'"w{day}"').replace('"s1"', f'"s{day}"') for day in (3, 4)
    )
    third = rich(READY + before + TURBINE, "unit:turbine#1")
    assert (third.verdict, "3 of 2 cycles" in why(third)) == (Verdict.UNFIT, True)
    served = '2026-03-05 12:00 ana repair.done {units=["turbine#1"], what="bearings replaced"}\n'
    book = Book(READY + before + served + TURBINE, RICH).at("2026-03-09 08:30")
    assert cycles_since_service(book.look, "turbine#1")[0] == 1
    assert book.standing("unit:turbine#1").verdict is Verdict.FIT


IMPLANT = STERILE.replace('pack="P1"}', 'pack="P1", implant=true}')
EARLY = RELEASED.replace("load.released {", "load.released_early {").replace(
    'meaning="released"', 'meaning="released before its spore result", reason="broken jaw, no other set"'
)
RESULT = '2026-03-10 07:00 ana machine.test {machine="steam", test="spore test", load="s1", outcome="%s", control="%s", ran_ms=%d}\n'


@pytest.mark.published(
    source="CDC, MMWR 2003;52(RR-17), VI.F: a spore test in every load with an implant, known before use", sure="secondary"
)
def test_an_early_release_is_its_own_kind_and_stays_unproven_until_the_spore_result() -> None:
    from small_book import moment

    def load(more: str, at: str = "2026-03-10 08:00") -> dict[str, tuple[Verdict, str]]:
        found = Book(READY.split("2026-03-09 05:05")[0] + WASHED + IMPLANT + more, US).at(at).standing("load:s1").conditions
        return {c.what: (c.verdict, c.why) for c in found}

    waits = load(EARLY)
    assert waits["its own spore test"] == (Verdict.UNPROVEN, "its result is not in the book")
    assert waits["released by a person who may"][1].startswith("EARLY RELEASE by ana")
    ran = moment("2026-03-09 07:45")
    assert load(EARLY + RESULT % ("passed", "as it should", ran))["its own spore test"][0] is Verdict.FIT
    assert load(EARLY + RESULT % ("passed", "none", ran))["its own spore test"][0] is Verdict.UNPROVEN
    assert load(EARLY + RESULT % ("failed", "as it should", ran))["its own spore test"][0] is Verdict.UNFIT
    assert "its own spore test" not in {c.what for c in of(READY + WASHED + IMPLANT + RELEASED, "load:s1").conditions}, "no rule here asks"


@pytest.mark.practice_fact
def test_three_packs_alike_put_aside_hold_up_the_rest_until_somebody_decides_on_the_load_anew() -> None:
    wet = '2026-03-09 08:0{n} ana load.rejected {{load="s1", meaning="rejected", reason="wet", found="wet", packs=["Q{n}"]}}\n'
    two, three = "".join(wet.format(n=n) for n in (1, 2)), "".join(wet.format(n=n) for n in (1, 2, 3))
    assert of(ALL + two, "unit:exam#1").verdict is Verdict.FIT
    assert "3 packs put aside: wet" in why(of(ALL + three, "unit:exam#1"))
    assert of(ALL + three + RELEASED.replace("07:50", "08:10"), "unit:exam#1").verdict is Verdict.FIT
