"""One way to say that a reference leads nowhere."""

from collections.abc import Collection

from fettlebook.practice.lines import KeyPath
from fettlebook.practice.place import Fault
from fettlebook.practice.wording import nearest, seen


def unknown(path: KeyPath, kind: str, name: str, known: Collection[str]) -> Fault:
    """Return the fault of naming a thing that is not in the file, with the nearest name that is."""
    what = f"there is no {kind} {seen(name)}"
    if meant := nearest(name, sorted(known)):
        return Fault(path, what, f'Is it "{meant}"?')
    return Fault(path, what, f"Known: {', '.join(sorted(known))}." if known else f"Add a {kind} of this id.")
