"""Forms of suction and surfaces: how a hose draws, a spot checked after cleaning."""

from collections.abc import Sequence

from fettlebook.book.kinds import PRACTICE, CleaningChecked, Data, SuctionMeasured
from fettlebook.said import said
from fettlebook.standing.look import Look
from fettlebook.web.care.entering.asks import Ask, Choices, Entering, amount, chosen, made, named
from fettlebook.web.forms import Form

SEEN: Choices = (
    ("gone", said("mark gone")),
    ("there", said("mark still there")),
    ("ATP", said("ATP swab: the number below")),
)
NO_CHAIR = "of no chair"
MOST_RLU = 10_000_000


def _hoses(look: Look) -> Choices:
    return [(f"{c.id}/{hose.id}", f"{c.id}: {hose.id}") for c in look.basis.practice.chairs for hose in c.suction]


def _ask_draw(look: Look) -> Sequence[Ask]:
    return (
        Ask("hose", said("Hose"), "choice", choices=_hoses(look)),
        Ask("ml", said("Water drawn"), value="1000", unit="mL"),
        Ask("took", said("It took"), unit="s", hint=said("By the stop-watch: 6.4")),
        Ask("kpa", said("Or what the gauge shows"), unit="kPa", hint=said("Below the air's pressure. Then leave the seconds empty.")),
    )


def _read_draw(form: Form, look: Look) -> Data | None:
    chair, _, hose = (chosen(form, "hose", _hoses(look)) or "").partition("/")
    fields: dict[str, object] = {"chair": chair, "hose": hose}
    if form.text("kpa") and form.text("took"):
        form.refuse("kpa", said("seconds and gauge both"), said("Leave one of them empty: each makes an entry of its own."))
    elif form.text("kpa"):
        fields["gauge_pa"] = amount(form, "kpa", (0.001, 100), times=1000)
    else:
        fields["drawn_ml"] = amount(form, "ml", (50, 20_000))
        fields["took_ms"] = amount(form, "took", (0.1, 3_600), times=1000)
    return made(form, SuctionMeasured, fields)


def _chairs(look: Look) -> Choices:
    return [(NO_CHAIR, said("of no chair")), *((c.id, c.id) for c in look.basis.practice.chairs)]


def _ask_clean(look: Look) -> Sequence[Ask]:
    facts = list(look.forward(PRACTICE, "cleaned"))
    round_ = facts[-1].says.round if facts else None
    day = look.basis.day_of(look.at)
    return (
        Ask("place", said("Spot"), "words", hint=said("light handle, tray table"), known=sorted({f.says.place for f in facts})),
        Ask("chair", said("Chair"), "choice", choices=_chairs(look)),
        Ask("seen", said("Seen"), "choice", choices=SEEN),
        Ask("rlu", said("ATP reading"), unit="RLU", hint=said("Only for a swab.")),
        Ask("limit", said("Clean up to"), unit="RLU", hint=said("As the kit's maker says. Without it nothing can be said.")),
        Ask(
            "round",
            said("Round"),
            "words",
            value=f"{day:%Y-%m}",
            hint=said("Checks that belong together."),
            known=[round_] if round_ else [],
        ),
    )


def _read_clean(form: Form, look: Look) -> Data | None:
    seen, chair = chosen(form, "seen", SEEN), chosen(form, "chair", _chairs(look))
    fields: dict[str, object] = {
        "place": named(form, "place"), "round": named(form, "round", may_lack=True), "chair": None if chair == NO_CHAIR else chair,
    }  # fmt: skip
    if seen == "ATP":
        fields |= {
            "method": "ATP", "atp_rlu": amount(form, "rlu", (0, MOST_RLU)),
            "limit_rlu": amount(form, "limit", (1, MOST_RLU), may_lack=True),
        }  # fmt: skip
    else:
        if form.text("rlu"):
            form.refuse("rlu", said("a reading, and a mark too"), said("Choose the ATP swab, or leave the reading empty."))
        fields |= {"method": "mark", "mark_gone": seen == "gone"}
    return made(form, CleaningChecked, fields)


DRAW = Entering(
    "suction", "/water/suction", said("Enter how a hose draws"), said("How a suction hose draws"),
    said("Let the hose draw a measured amount of water and take the seconds, or read the gauge."), _ask_draw, _read_draw,
    said("gloves, eye protection, mask at hoses, filters and separator; non-foaming product only; never mix products."), ("ml",),
)  # fmt: skip
CLEAN = Entering(
    "suction", "/water/suction", said("Enter a checked spot"), said("A spot checked after cleaning"),
    said("Nobody is asked who cleaned: shares are of places, never of people."), _ask_clean, _read_clean, "", ("chair", "limit", "round"),
)  # fmt: skip
