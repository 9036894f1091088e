"""What a group shares, put into a practice file as text: the practice file alone then says all that holds, line by line.

The shared files stand whole between two comment lines at the end of the practice file, with a digest, so that a newer edition replaces the
older one and nothing else. Values of the group's rulebook are `own_rules` with `shared = true`: the practice's own lie on top of them.
"""

import hashlib
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from fettlebook.errors import Finding, Mendable

BEGIN: Final = "# --- shared by the group, do not edit here: "
END: Final = "# --- end of what the group shares ---"
LISTS: Final = ("own_rules", "products", "measured")  # what can be the same in every practice


@dataclass(frozen=True, slots=True)
class Shared:
    """One shared file: its name, and its text."""

    name: str
    text: str


def taken_over(practice_text: str, shared: Sequence[Shared], *, where: str) -> str:
    """Return the practice file's text with what the group shares, in place of an older edition of it.

    Parameters
    ----------
    practice_text
        As it stands; its own part is not touched.
    shared
        The group's files, in order; none: an older edition is taken out.
    where
        The practice file's name, for messages.

    Raises
    ------
    Mendable
        A shared file holds what can't be shared, or the marks in the practice file were damaged.
    """
    own = _own_part(practice_text, where)
    if not shared:
        return own
    for one in shared:
        _refuse(one)
    body = "\n".join(one.text.strip() for one in shared)
    digest = hashlib.sha256(body.encode()).hexdigest()[:16]
    return f"{own.rstrip()}\n\n{BEGIN}{', '.join(one.name for one in shared)}, {digest} ---\n{body}\n{END}\n"


def _own_part(text: str, where: str) -> str:
    begins, ends = text.count(f"\n{BEGIN}"), text.count(f"\n{END}")
    if begins == ends == 0:
        return text
    head, _, rest = text.partition(f"\n{BEGIN}")
    tail = rest.partition(f"\n{END}")[2].lstrip("\n")
    if begins != 1 or ends != 1 or f"\n{END}" not in rest:
        what = "the marks around what the group shares are not one pair"
        raise Mendable(what, where=where, mend="Take out both comment lines and what stands between them, then take over again.")
    return f"{head.rstrip()}\n" + (f"\n{tail}" if tail else "")


def _refuse(one: Shared) -> None:
    try:
        data: dict[str, Any] = tomllib.loads(one.text)
    except tomllib.TOMLDecodeError as error:
        raise Mendable(f"is no TOML: {error}", where=one.name, mend="Mend that place; nothing was taken over.") from None
    found = [
        Finding(f"{key!r} can't be shared", one.name, f"Only lists can: {', '.join(f'[[{name}]]' for name in LISTS)}.")
        for key, value in data.items()
        if key not in LISTS or not isinstance(value, list)
    ]
    for number, rule in enumerate(data.get("own_rules", ())):
        if not isinstance(rule, dict) or rule.get("shared") is not True:
            found.append(
                Finding("a rule of the group that does not say so", f"{one.name} own_rules[{number}]", "Write shared = true beside it.")
            )
    if one.text.count(BEGIN) or one.text.count(END):
        found.append(Finding("holds the marks of a practice file", one.name, "Take the comment lines out."))
    if found:
        raise Mendable.of(found)
