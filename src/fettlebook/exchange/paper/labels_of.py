"""The labels of a load that stands in the book."""

from fettlebook.book.kinds import LoadPacked, from_ms
from fettlebook.book.stores import Store
from fettlebook.errors import Mendable
from fettlebook.exchange.paper.labels import Paper, load_labels
from fettlebook.exchange.paper.typeset import Voice
from fettlebook.standing.basis import Basis
from fettlebook.standing.unit import storage_life


def labels_of_load(store: Store, basis: Basis, load: str, paper: Paper, skip: int = 0, *, voice: Voice | None = None) -> tuple[bytes, int]:
    """Return the PDF and the number of labels.

    Raises
    ------
    Mendable
        No such load is in the book, or it is not packed for a sterilizer, or the labels are too small.
    """
    packed = store.latest(LoadPacked.KIND, f"load:{load}")
    if packed is None or not isinstance(packed.entry.data, LoadPacked):
        raise Mendable("no load of that name is in the book", where=f"load {load!r:.80}", mend="Look at the loads: each has its name.")
    life = (storage_life(basis, wrapped=True)[0], storage_life(basis, wrapped=False)[0])
    at = from_ms(packed.entry.at, str(basis.zone))
    pdf = load_labels(
        basis.practice, packed.entry.data, packed_at=at, by=packed.entry.by, life_days=life, paper=paper, skip=skip, voice=voice
    )
    return pdf, len(packed.entry.data.items)
