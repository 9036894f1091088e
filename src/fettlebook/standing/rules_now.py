"""The rules that hold for a practice from now on, as an entry of its book. Apart from the verdicts, so that writing one stays quick."""

from fettlebook.book.kinds import RulebookLayer, RulebookVersion
from fettlebook.practice.model import Practice
from fettlebook.rules.shelf import order_layers, pack_text


def rulebook_version(practice: Practice) -> RulebookVersion:
    """Return the entry's data: the packs that the practice file names, undermost first, whole."""
    names = order_layers(practice.practice.rulebooks)
    return RulebookVersion(layers=tuple(RulebookLayer.of(name, pack_text(name)) for name in names))
