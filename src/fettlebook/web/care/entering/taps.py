"""Forms of taps: a temperature read, a rarely used tap run."""

from collections.abc import Sequence

from fettlebook.book.kinds import PRACTICE, Data, OutletRun, OutletTemperature
from fettlebook.said import said
from fettlebook.standing.look import Look
from fettlebook.web.care.entering.asks import Ask, Choices, Entering, amount, chosen, made, named
from fettlebook.web.forms import Form

WATERS: Choices = (("hot", said("hot")), ("cold", said("cold")))
RARE: Choices = (
    ("as before", said("as before")),
    ("rare", said("rarely used from now on: run by the rule")),
    ("daily", said("in daily use again")),
)
WARMEST_C, LONGEST_S = 100, 3_600


def _places(look: Look) -> list[str]:
    return sorted({fact.says.place for sort in ("warm", "tap ran") for fact in look.forward(PRACTICE, sort)})


def _place(look: Look) -> Ask:
    return Ask("place", said("Tap"), "words", hint=said("The same name each time: basin room 1."), known=_places(look))


def _ask_temperature(look: Look) -> Sequence[Ask]:
    return (
        _place(look),
        Ask("water", said("Water"), "choice", choices=WATERS),
        Ask("degc", said("Thermometer shows"), unit="degC"),
        Ask("ran", said("It had run for"), unit="s", hint=said("From opening to reading. Without it nothing is proven.")),
        Ask("mixed", said("behind a mixing valve"), "tick"),
    )


def _read_temperature(form: Form, look: Look) -> Data | None:
    fields = {
        "place": named(form, "place"), "water": chosen(form, "water", WATERS),
        "water_mc": amount(form, "degc", (0, WARMEST_C), times=1000),
        "ran_s": amount(form, "ran", (0, LONGEST_S), may_lack=True), "mixed": True if form.text("mixed") else None,
    }  # fmt: skip
    return made(form, OutletTemperature, fields)


def _ask_run(look: Look) -> Sequence[Ask]:
    return (
        _place(look),
        Ask("ran", said("It ran for"), unit="s"),
        Ask("rare", said("This tap is"), "choice", choices=RARE),
    )


def _read_run(form: Form, look: Look) -> Data | None:
    rare = chosen(form, "rare", RARE)
    fields = {
        "place": named(form, "place"), "ran_s": amount(form, "ran", (0, LONGEST_S), may_lack=True),
        "rare": {"rare": True, "daily": False}.get(rare or ""),
    }  # fmt: skip
    return made(form, OutletRun, fields)


SCALDS = said("hot water scalds. Open slowly and make no spray.")
TEMPERATURE = Entering(
    "taps", "/water/taps", said("Enter a temperature"), said("Temperature of a tap"),
    said("Open the tap, take the time, then read."), _ask_temperature, _read_temperature, SCALDS, ("place", "ran"),
)  # fmt: skip
RUN = Entering(
    "taps",
    "/water/taps",
    said("Enter a run"),
    said("A tap was run"),
    said("Hot and cold, no spray."),
    _ask_run,
    _read_run,
    SCALDS,
    ("ran",),
)
