"""What goes into the bottle of a water sample against the product that may be left in the line, as far as the rulebook says."""

from collections.abc import Mapping
from typing import Final

from fettlebook.rules.model import Requirement, Rulebook

# word in the name of the active substance -> row of the rulebook
_ROWS: Final[Mapping[str, str]] = {
    "peroxide": "all.sample.neutraliser_peroxide",
    "chlor": "all.sample.neutraliser_chlorine",
    "brom": "all.sample.neutraliser_chlorine",
}
# several actives at once, or close names that behave otherwise: no row stands for them
_NOT: Final = ("peracetic", "peroxyacetic", "silver", "chlorhexidine", "bromide", "ammonium", "dioxide", " and ", "+", ",")


# row of the rulebook -> what its topic and note name; a bottle's label has one of these words in it
_STOPPED_BY: Final[Mapping[str, tuple[str, ...]]] = {
    "all.sample.neutraliser_peroxide": ("catalase", "thiosulf", "thiosulph"),
    "all.sample.neutraliser_chlorine": ("thiosulf", "thiosulph"),
}


def stops(named: str, row: Requirement) -> bool:
    """Tell whether a neutraliser, as a bottle names it, is one that the rulebook's row names."""
    return any(word in named.casefold() for word in _STOPPED_BY[row.id])


def neutraliser(active: str, rulebook: Rulebook) -> Requirement | None:
    """Return the rulebook's row on the neutraliser for an active substance, or None: then the laboratory must say."""
    name = active.casefold()
    if any(word in name for word in _NOT):
        return None
    wanted = next((row for word, row in _ROWS.items() if word in name), None)
    return next((r for r in rulebook.requirements if r.id == wanted), None)
