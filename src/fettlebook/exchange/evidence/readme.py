"""README.txt of a bundle: what it is, how to check it, what each file holds, what it can't show."""

from fettlebook import __version__
from fettlebook.exchange.evidence.gathered import Gathered
from fettlebook.exchange.evidence.sealed import Chosen
from fettlebook.exchange.evidence.seals import Seals


def readme(found: Gathered, held: Seals, chosen: Chosen) -> str:
    """Return the text, lines at most 100 long."""
    practice = found.practice.practice
    invented = "\nEVERYTHING IN IT IS INVENTED: no such practice exists.\n" if practice.invented else ""
    alarms = "".join(f"\nATTENTION: {one}\n" for one in held.alarms)
    keys = "\n".join(f"  {key.short}" for key in held.keys) or "  none"
    return f"""Evidence of {practice.name}, {found.span.words}
{invented}{alarms}
Begin with report.pdf. Its first page says what is in order and what is not.

To check it: python3 check.py
(any Python from 3.9 on, on your own computer; nothing is downloaded or written). It verifies the signatures,
every entry, file and proof, and recounts the numbers of the report. Whoever doubts the script takes it from
another copy of fettlebook, or writes it anew: all of it is in check.py's first lines.

Then compare one thing with paper: the key below, and the root or its short form, with a day sheet or a
checkpoint that the practice gave away earlier. A bundle checks against itself only as long as nobody
rewrote the whole book and signed it with another key.
keys:
{keys}
entries: {held.checkpoint.size}   short form: {held.checkpoint.short()}
root: {held.checkpoint.root.hex()}

report.pdf       the document
entries.jsonl    {len(chosen.seqs)} sealed records, one JSON text a line, the very bytes that were hashed
tree.jsonl       hashes that stand for the {chosen.size - len(chosen.seqs)} records not shown (other days, other chairs)
checkpoint.txt   number of entries and root, signed (C2SP tlog-checkpoint, signed-note, Ed25519)
earlier.jsonl    {len(held.earlier)} earlier checkpoints, each with the proof that the book of then is the beginning of this one
vkey.txt         the public keys
figures.json     every number of the first page and of the table of duties, with the ids of the entries it counts
files/           kept files (machines' logs, reports), named by their SHA-256
manifest.json    SHA-256 and length of all these; manifest.note: its SHA-256, signed

Hashes: leaf = SHA-256(00 || record), node = SHA-256(01 || left || right), a tree of n leaves splits at the
largest power of two below n (RFC 9162, section 2.1.1). Times are milliseconds since 1970-01-01 UTC.

What it can't show: that something was never entered. Each device numbers its entries (device, n), so one
that was made and held back leaves a gap; the report lists the gaps. Remarks of people are sealed and stay so.
No patient is named anywhere: visits are opaque references.

Made by fettlebook {__version__}. Decision support for trained staff; instructions for use and local rules come first.
"""
