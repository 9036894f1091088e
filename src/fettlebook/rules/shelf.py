"""The packs that come with fettlebook, and the order in which they are laid: what a pack builds on always lies beneath it."""

from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

from fettlebook.errors import Finding, Mendable
from fettlebook.rules.pack import Pack, read_pack


@cache
def pack_names() -> tuple[str, ...]:
    """Return the names of the packs that come with fettlebook, in alphabetical order."""
    return tuple(sorted(entry.name.removesuffix(".toml") for entry in _folder().iterdir() if entry.name.endswith(".toml")))


@cache
def bundled_pack(name: str) -> Pack:
    """Return a pack that comes with fettlebook.

    Raises
    ------
    Mendable
        The pack doesn't exist (nearest name suggested), or its file was damaged.
    """
    if name not in pack_names():
        raise Mendable.of([unknown_pack(name, "rulebooks")])
    read = read_pack(_folder().joinpath(f"{name}.toml").read_bytes(), f"pack {name}.toml")
    if read.pack is None:
        raise Mendable.of(read.findings)
    return read.pack


def pack_text(name: str) -> str:
    """Return the text of a pack that comes with fettlebook; raises as `bundled_pack` does."""
    bundled_pack(name)
    return _folder().joinpath(f"{name}.toml").read_text("utf-8")


def unknown_pack(name: str, where: str) -> Finding:
    """Return the finding for a name that no pack has, with the nearest one."""
    near = get_close_matches(name.lower(), pack_names(), n=1, cutoff=0.5)
    hint = f'Did you mean "{near[0]}"? ' if near else ""
    return Finding(f'no pack is called "{name}"', where, f"{hint}There are: {', '.join(pack_names())}.")


def order_layers(wanted: tuple[str, ...]) -> tuple[str, ...]:
    """Return the packs to lay, lowest first: as listed, each with what it builds on beneath it, none twice.

    Laying more beneath is always safe: a layer can only tighten.
    """
    order: list[str] = []

    def lay(name: str) -> None:
        for base in bundled_pack(name).pack.builds_on:
            lay(base)
        if name not in order:
            order.append(name)

    for name in wanted:
        lay(name)
    return tuple(order)


def _folder() -> Traversable:
    return files("fettlebook.rules").joinpath("packs")
