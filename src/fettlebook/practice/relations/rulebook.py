"""Which rulebooks are in force, and what the practice itself has set. The rulebooks' own content is judged where they are read."""

from collections.abc import Iterable, Iterator

from fettlebook.practice.lines import KeyPath
from fettlebook.practice.parts import Parts
from fettlebook.practice.place import Fault


def check_rulebook(parts: Parts) -> Iterator[Fault]:
    """Yield what is wrong with the list of rulebooks, own rules and measured steps."""
    if parts.head is not None:
        books = parts.head.rulebooks
        if books[0] != "general":
            yield Fault(
                ("practice", "rulebooks"),
                f'the list begins with "{books[0]}"',
                'Begin with "general": every other rulebook is laid over it.',
            )
        for number, book in enumerate(books):
            if book in books[:number]:
                yield Fault(("practice", "rulebooks", number), f'"{book}" stands twice', "Name each rulebook once.")
    for shared in (False, True):  # a value of the practice's own may lie on one that its group shares
        yield from _twice((("own_rules", number, "id"), rule.id) for number, rule in parts.own_rules if rule.shared is shared)
    yield from _twice((("measured", number, "step"), step.step) for number, step in parts.measured)


def _twice(named: Iterable[tuple[KeyPath, str]]) -> Iterator[Fault]:
    known: set[str] = set()
    for path, key in named:
        if key in known:
            yield Fault(path, f'"{key}" stands twice', "Keep the one that holds.")
        known.add(key)
