"""Making an evidence file from a book: sign, read, gather, count, choose, set, write."""

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from fettlebook.book.checkpoint import Checkpoint, parse_checkpoint, text_of
from fettlebook.book.keyfile import read_key
from fettlebook.book.kinds import CycleJudged, CycleRecorded, EntryCorrected, EntryWithdrawn, MachineTest
from fettlebook.book.notes import Signer
from fettlebook.book.received import Received, unseal
from fettlebook.book.signing import book_name, sign_book
from fettlebook.book.stores import Store
from fettlebook.errors import Mendable
from fettlebook.exchange.evidence.bundle import (
    canonical,
    new_folder,
    refuse_taken,
    write_files,
    write_how_to,
    write_records,
    write_seals,
)
from fettlebook.exchange.evidence.content import Beside, Document, content_of, opened_of
from fettlebook.exchange.evidence.figures import Figures, figures_data, figures_of, named_entries
from fettlebook.exchange.evidence.gathered import Gathered, Tell, gather
from fettlebook.exchange.evidence.judged_parts import kept_runs
from fettlebook.exchange.evidence.readme import readme
from fettlebook.exchange.evidence.sealed import Chosen, choose
from fettlebook.exchange.evidence.seals import Seals, seals_of
from fettlebook.exchange.evidence.span import Span
from fettlebook.exchange.kept_state import state_of
from fettlebook.said import said
from fettlebook.standing.basis import Basis
from fettlebook.standing.facts import happened_ms
from fettlebook.standing.standings import Standings
from fettlebook.standing.state import State

if TYPE_CHECKING:
    from fettlebook.exchange.paper.typeset import Voice

TEMPLATE: Final = Path(__file__).parent.parent / "paper" / "evidence.typ"
_QUIET: Final[Tell] = lambda stage, done, of: None  # noqa: E731
_RUNS: Final = (CycleRecorded.KIND, CycleJudged.KIND, MachineTest.KIND)
_READ: Final = (*_RUNS, EntryCorrected.KIND, EntryWithdrawn.KIND)


@dataclass(frozen=True, slots=True)
class Made:
    """What was written."""

    folder: Path
    size: int
    shown: int
    root: bytes
    figures: Figures
    found: Gathered
    seals: Seals
    report_bytes: int
    bundle_bytes: int


def make_evidence(
    store: Store, basis: Basis, span: Span, to: Path, *, key_file: Path | None, tell: Tell = _QUIET, voice: "Voice | None" = None
) -> Made:
    """Write an evidence file into a new folder, whole or not at all.

    Asked is what had happened up to the newest entry, not up to now: the same book gives the same bytes on any day.

    Parameters
    ----------
    basis
        Practice, rules and running times of today, for where the book holds none.
    key_file
        The key that signs; None, or one that can't be used: nothing is signed, and the first page says so.
    tell
        Is told how far it is; what it raises ends the work and leaves nothing.
    voice
        The language of report.pdf; None: English. All other files are for programs, README.txt is English.

    Raises
    ------
    Mendable
        The book has no entries, none of these days, or the folder can't be written.
    """
    refuse_taken(to)
    tell("reading the book", 0, 0)
    signer, checkpoint, note, why_not = _signed(store, key_file)
    standings, newest = _standings(store, basis, checkpoint.size, tell)
    found = gather(standings, span, now=newest, known_at=newest, tell=tell)
    figures = figures_of(found)
    tell("choosing entries", 0, 0)
    chosen = choose(store, span, named_entries(found, figures), checkpoint.size)
    if not chosen.kinds:
        mend = "Give days on which something was entered: `fettlebook book dump` shows them."
        raise Mendable(f"no entry of {span.words} in the book", where="--from, --to", mend=mend)
    held = seals_of(store, checkpoint, note, [signer.verifier] if signer else [], why_not_signed=why_not, unread=chosen.unread)
    with new_folder(to) as writing:
        write_records(writing, store, chosen)
        write_seals(writing, held, chosen)
        missing = write_files(writing, store, chosen.files, tell)
        head = {
            "practice": found.practice.practice.id, "origin": checkpoint.origin, "from_ms": span.since, "to_ms": span.until,
            "size": checkpoint.size, "root": checkpoint.root.hex(), "chairs": list(span.chairs), "files_missing": sorted(missing),
        }  # fmt: skip
        raw = canonical(figures_data(found, figures, head, chosen.kinds))
        writing.put("figures.json", raw)
        tell("setting the pages", 0, 0)
        from fettlebook.exchange.paper.typeset import typeset  # noqa: PLC0415 - the typesetter takes long to load

        beside = _beside(store, found, chosen, newest)
        document = Document(found, figures, held, beside, hashlib.sha256(raw).hexdigest())
        report = typeset(TEMPLATE, content_of(document, store.file), voice)
        writing.put("report.pdf", report)
        write_how_to(writing, readme(found, held, chosen))
        writing.finish(signer)
        length = sum(int(one["length_bytes"]) for one in writing.members.values())
    return Made(to, checkpoint.size, len(chosen.seqs), checkpoint.root, figures, found, held, len(report), length)


def _signed(store: Store, key_file: Path | None) -> tuple[Signer | None, Checkpoint, str, str]:
    """Sign where the book stands; where that can't be done, say why and take the head as it is."""
    head = store.head()
    if head.size == 0:
        raise Mendable("the book has no entries", where=store.practice, mend="Name the book that holds the practice's entries.")
    plain = Checkpoint(book_name(store.practice), head.size, head.root)
    if key_file is None or not key_file.exists():
        return None, plain, "", said("there is no signing key beside the book. Make one: fettlebook book checkpoint BOOK --new-key NAME.")
    try:
        signer = read_key(key_file)
    except Mendable as error:
        return None, plain, "", said("the key can't be used: {why}.", why=error.what)
    try:
        note = sign_book(store, key_file, keep=False)
    except Mendable as error:
        return signer, plain, "", said("{why}. A book that does not begin with what was signed before is never signed.", why=error.what)
    return signer, parse_checkpoint(text_of(note)), note, ""


def _standings(store: Store, basis: Basis, size: int, tell: Tell) -> tuple[Standings, int]:
    """Fold the book; where entries can't be read, all the others. Returns also when the newest was received."""
    try:
        state = state_of(store, tell=lambda seen: tell("reading the book", seen, size))
    except Mendable:
        state = _what_can_be_read(store, size)
    return Standings(state, basis), state.received


def _what_can_be_read(store: Store, size: int) -> State:
    kept: dict[str, Received] = {}
    state = State(kept.get)
    for row in store.rows(until=size):
        try:
            received = unseal(row.leaf)
        except Mendable:
            continue
        if received.seq == row.seq:
            kept[received.entry.id] = received
            state.add(received)
    return state


def _beside(store: Store, found: Gathered, chosen: Chosen, newest: int) -> Beside:
    """Read from the entries what no standing says."""
    amended, runs = list[Received](), list[Received]()
    for row in store.rows(until=chosen.size):
        if row.kind not in _READ:
            continue
        try:
            received = unseal(row.leaf)
        except Mendable:  # changed: the verification says so
            continue
        if row.kind in _RUNS:
            runs.append(received)
        elif found.span.since <= happened_ms(received) < found.span.until and all(found.chosen(s) for s in received.entry.subjects):
            amended.append(received)
    subjects = [s for s in found.look.state.subjects if s.startswith(("product:", "solution:"))]
    return Beside(tuple(amended), chosen.late, chosen.by, tuple(kept_runs(iter(runs))), opened_of(found, subjects), newest)
