"""A mix as a person reads it in a terminal."""

from fettlebook.cli.flow_page import wrapped
from fettlebook.times.mix_order import Order, amounts, cautions, good_for, strength_words, volume_words


def page(made: Order) -> str:
    """Return the order as text of 80 columns."""
    head = made.practice.practice
    rows = [
        f"{head.name}{' (invented)' if head.invented else ''}",
        f"{made.product.name}, for {made.use.use}: {volume_words(made.mix.batch_ml)} of {strength_words(made.use)}",
        "",
        *amounts(made),
        "",
        *good_for(made),
        "",
        "Mind:",
        *(f"  {caution}" for caution in cautions(made)),
    ]
    return "\n".join(wrapped(rows))
