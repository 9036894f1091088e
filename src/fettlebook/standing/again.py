"""Going through it all again: washing, packing, sterilizing and releasing, with the practice's own minutes."""

from fettlebook.practice.model import MachineKind
from fettlebook.said import said
from fettlebook.standing.basis import BOOK
from fettlebook.standing.look import Look
from fettlebook.standing.model import Owed


def again(look: Look, subject: str) -> tuple[Owed, ...]:
    """Return washing, packing and sterilizing again, with the practice's own minutes."""
    practice = look.basis.practice
    r = practice.reprocessing
    attended, unattended = r.pack_minutes, r.cool_minutes
    for kind in (MachineKind.WASHER, MachineKind.STERILIZER):
        found = [m for m in practice.machines if m.kind is kind and not m.out_of_service]
        if found:
            attended += r.load_minutes + r.unload_minutes
            unattended += min(cycle.minutes for m in found for cycle in m.cycles if cycle.id == m.day_cycle)
    return (Owed(subject, "process", said("Wash, pack, sterilize and release again"), BOOK, attended * 60, unattended * 60),)
