"""The whole dialogue, part after part."""

from fettlebook.exchange.setup.asking import Choice, Open, Question, Walk
from fettlebook.exchange.setup.draft import Draft
from fettlebook.exchange.setup.script_book import ask_book
from fettlebook.exchange.setup.script_chairs import ask_chairs
from fettlebook.exchange.setup.script_instruments import ask_instruments
from fettlebook.exchange.setup.script_practice import ask_practice
from fettlebook.exchange.setup.script_products import ask_products
from fettlebook.exchange.setup.script_staff import ask_staff
from fettlebook.exchange.setup.script_visits import ask_visits
from fettlebook.said import said


def run(walk: Walk) -> Draft:
    """Return what the answers come to; raises `Open` with the first question that waits for an answer."""
    draft = Draft()
    ask_practice(walk, draft)
    ask_products(walk, draft)
    ask_chairs(walk, draft)
    ask_instruments(walk, draft)
    ask_visits(walk, draft)
    ask_staff(walk, draft)
    ask_book(walk, draft)
    walk.part = said("The end")
    if walk.there:
        draft.finish = walk.ask(
            "end.finish",
            said("A practice file stands in this folder already. What shall become of it?"),
            said("Nothing is overwritten without your word. Replaced, the old file is kept beside the new one under another name."),
            str,
            offered="beside",
            choices=(
                Choice("beside", said("leave it; write the new one as practice-new.toml")),
                Choice("replace", said("replace it; keep the old one as practice-old.toml")),
            ),
        )
    else:
        draft.finish = walk.ask(
            "end.finish",
            said("All is answered. Write the practice file?"),
            said("It is written into the folder as practice.toml, with cards to print. Go back if something was wrong."),
            str,
            offered="write",
            choices=(Choice("write", said("yes, write it")),),
        )
    return draft


def waiting(walk: Walk) -> Open | Draft:
    """Return the question that waits, or the whole draft where none does."""
    try:
        return run(walk)
    except Open as found:
        return found


def before(walk: Walk) -> Question | None:
    """Return the question before the one that waits."""
    return walk.asked[-2] if len(walk.asked) > 1 else None
