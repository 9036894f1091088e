"""Signed notes and checkpoints: the published examples, refusals, and never two pasts under one name."""

import base64
import json
import os
import stat
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.book.checkpoint import Checkpoint, parse_checkpoint, read_checkpoint, refuse_fork, sign_checkpoint, take_checkpoint, text_of
from fettlebook.book.entries import Moment
from fettlebook.book.keyfile import make_key, read_key
from fettlebook.book.kinds import KeyChanged, SetRetired
from fettlebook.book.notes import Signer, VerifierKey, open_note, read_verifier_key, sign_note
from fettlebook.book.signing import book_name, change_key, keys_after, last_signed, sign_book
from fettlebook.book.stores import Store, open_book
from fettlebook.book.tree import EMPTY_ROOT, leaf_hash
from fettlebook.errors import Mendable

VECTORS = json.loads((Path(__file__).parent / "vectors/small.json").read_text("utf-8"))
NOTE = VECTORS["signed_note"]
NOW = 1_772_442_000_000


def signer_from(seed: bytes, name: str = "quayside") -> Signer:
    return Signer(name, Ed25519PrivateKey.from_private_bytes(seed))


MINE = signer_from(bytes(32))
OTHER = signer_from(bytes([1]) * 32, "other.example/log")


@pytest.mark.published(source="C2SP signed-note.md, section Verifier keys, example (commit 5ba5ee8)", sure="read")
def test_the_example_note_of_the_format_opens_with_its_key_and_only_as_it_is() -> None:
    key = read_verifier_key(NOTE["vkey"])
    assert str(key) == NOTE["vkey"]
    assert open_note(NOTE["note"], [key]) == "This is an example message.\n"
    with pytest.raises(Mendable, match="does not hold"):
        open_note(NOTE["note"].replace("example message", "Example message"), [key])


@pytest.mark.published(
    source="signed_note 0.2.0, documentation on docs.rs, example with secret key, text and signature of PeterNeumann",
    sure="read",
)
def test_a_known_secret_key_gives_the_published_signature() -> None:
    held = base64.b64decode("AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz")
    signer = signer_from(held[1:], "PeterNeumann")
    assert signer.verifier.key_id.hex() == "c74f20a3"
    text = "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n"
    line = "— PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM=\n"
    assert sign_note(text, signer) == text + "\n" + line


@pytest.mark.published(source="RFC 8032 section 7.1, tests 1-3", sure="memory")
@pytest.mark.parametrize("case", VECTORS["ed25519"]["tests"], ids=lambda c: f"test {c['test']}")
def test_signatures_are_those_of_the_standard(case: dict[str, Any]) -> None:
    signer = signer_from(bytes.fromhex(case["secret"]))
    assert signer.verifier.public.hex() == case["public"]
    assert signer.secret.sign(bytes.fromhex(case["message"])).hex() == case["signature"]


@pytest.mark.published(source="C2SP tlog-checkpoint.md, example (commit 2793893)", sure="read")
def test_the_example_checkpoint_of_the_format_is_read() -> None:
    note = (
        "example.com/behind-the-sofa\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n\n— example.com/behind-the-sofa"
        " Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe4URYN7u5/Zhcyv2q1gGzGku9nTo+zyWE+xeMcTOAYQ8=\n"
    )
    found = parse_checkpoint(text_of(note))
    assert (found.origin, found.size) == ("example.com/behind-the-sofa", 20852163)
    assert found.text() == text_of(note)


pytest_invented = pytest.mark.invented


@pytest_invented
def test_unknown_signatures_are_passed_over_and_a_known_one_is_needed() -> None:
    note = sign_note("a\n", MINE, OTHER)
    assert open_note(note, [MINE.verifier]) == open_note(note, [OTHER.verifier]) == "a\n"
    with pytest.raises(Mendable, match="by none of the keys"):
        open_note(sign_note("a\n", OTHER), [MINE.verifier])
    same_name = signer_from(bytes([2]) * 32)
    with pytest.raises(Mendable, match="by none of the keys"):
        open_note(sign_note("a\n", same_name), [MINE.verifier])


@pytest_invented
def test_one_bad_signature_of_a_known_key_refuses_the_whole_note() -> None:
    text, _, lines = sign_note("a\n", MINE, OTHER).partition("\n\n")
    mine, other = lines.splitlines()
    name, encoded = mine[2:].split(" ")
    held = bytearray(base64.b64decode(encoded))
    held[-1] ^= 1
    bad = f"{text}\n\n— {name} {base64.b64encode(held).decode()}\n{other}\n"
    with pytest.raises(Mendable, match="does not hold"):
        open_note(bad, [MINE.verifier, OTHER.verifier])
    assert open_note(bad, [OTHER.verifier]) == "a\n"


@pytest_invented
@settings(max_examples=80)
@given(st.text(max_size=60) | st.binary(max_size=60).map(lambda b: b.decode("latin-1")), st.integers(0, 200))
def test_whatever_comes_instead_of_a_note_ends_in_words(junk: str, at: int) -> None:
    good = sign_note(Checkpoint("quayside", 5, bytes(32)).text(), MINE)
    for text in (junk, good[:at] + junk + good[at:], good[:at]):
        try:
            found = read_checkpoint(text, [MINE.verifier])
        except Mendable:
            continue
        assert found == Checkpoint("quayside", 5, bytes(32))
        assert text_of(text) == text_of(good)


@pytest_invented
@pytest.mark.parametrize(
    "text",
    [
        "quayside\n5\n",
        "quayside\n05\n" + base64.b64encode(bytes(32)).decode() + "\n",
        "quayside\n-1\n" + base64.b64encode(bytes(32)).decode() + "\n",
        "quayside\n5\n" + base64.b64encode(bytes(31)).decode() + "\n",
        "quayside\n5\n" + base64.b64encode(bytes(32)).decode()[:-2] + "B=\n",
        "\n5\n" + base64.b64encode(bytes(32)).decode() + "\n",
        "quayside\n5\n" + base64.b64encode(bytes(32)).decode(),
    ],
)
def test_what_is_no_checkpoint_is_refused(text: str) -> None:
    with pytest.raises(Mendable):
        parse_checkpoint(text)


@pytest_invented
@pytest.mark.parametrize("line", ["quayside", NOTE["vkey"].replace("530d903a", "530d903b"), NOTE["vkey"][:-4], "a b+530d903a+AA=="])
def test_what_is_no_verifier_key_is_refused(line: str) -> None:
    with pytest.raises(Mendable):
        read_verifier_key(line)


@pytest_invented
def test_a_key_file_is_private_never_overwritten_and_comes_back(tmp_path: Path) -> None:
    path = tmp_path / "book.key"
    made = make_key(path, "quayside")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert read_key(path).verifier == made.verifier
    assert [p.name for p in tmp_path.iterdir()] == ["book.key"]
    before = path.read_bytes()
    with pytest.raises(Mendable, match="there already"):
        make_key(path, "quayside")
    assert path.read_bytes() == before
    with pytest.raises(Mendable, match="key name"):
        make_key(tmp_path / "other.key", "oak street")
    assert not (tmp_path / "other.key").exists()


@pytest_invented
def test_a_key_that_is_lost_open_to_others_or_damaged_says_what_to_do(tmp_path: Path) -> None:
    path = tmp_path / "book.key"
    with pytest.raises(Mendable) as caught:
        read_key(path)
    assert "stay valid" in caught.value.mend
    make_key(path, "quayside")
    os.chmod(path, 0o644)
    with pytest.raises(Mendable, match="others may read"):
        read_key(path)
    os.chmod(path, 0o600)
    text = path.read_text("utf-8")
    for bad in (text[: len(text) // 2], text.replace("MC4CAQ", "MC4CAR"), text.replace("public half", "half"), ""):
        path.write_text(bad, "utf-8")
        with pytest.raises(Mendable):
            read_key(path)
    assert "MC4C" not in repr(Signer("a", Ed25519PrivateKey.generate()))


@pytest.fixture
def store(tmp_path: Path) -> Any:
    with open_book(tmp_path / "book.sqlite", "quayside") as store:
        yield store


def grow(store: Store, count: int, start: int = 0) -> None:
    for n in range(count):
        store.note(SetRetired(unit=f"exam#{start + n + 1}", reason="worn"), moment=Moment(NOW + start + n, "UTC"))


@pytest_invented
def test_a_tablet_takes_a_newer_checkpoint_only_of_a_book_that_begins_with_its_own(store: Store, tmp_path: Path) -> None:
    key = tmp_path / "book.key"
    keys = [make_key(key, "quayside").verifier]
    held, sizes = None, [0]
    for count in (0, 1, 6, 0, 300):
        grow(store, count, sizes[-1])
        note = sign_book(store, key)
        size = store.head().size
        proof = store.prove_growth(sizes[-1], size) if 0 < sizes[-1] < size else ()
        assert take_checkpoint(held, note, proof, keys) == Checkpoint("quayside", size, store.head().root)
        held = note
        sizes.append(size)
    assert len(store.checkpoints()) == len(set(sizes))
    with open_book(tmp_path / "other.sqlite", "quayside") as forged:  # the same length, the same key, another past
        grow(forged, 400)
        bad = forged.checkpoint(read_key(key))
        for proof in ((), forged.prove_growth(sizes[-1], 400), store.prove_growth(7)):
            with pytest.raises(Mendable, match="does not begin with"):
                take_checkpoint(held, bad, proof, keys)


@pytest_invented
def test_the_signer_never_signs_another_past_not_even_where_the_book_lost_its_notes(store: Store, tmp_path: Path) -> None:
    key = tmp_path / "book.key"
    make_key(key, "quayside")
    grow(store, 9)
    good = sign_book(store, key)
    assert last_signed(key) == good
    for name, size in (("rewritten", 12), ("put back", 5), ("same size", 9)):
        with open_book(tmp_path / f"{name}.sqlite", "quayside") as other:
            grow(other, size, start=1 if name != "put back" else 0)
            with pytest.raises(Mendable):
                sign_book(other, key)
            assert other.checkpoints() == []
    assert last_signed(key) == good
    grow(store, 1, 9)
    assert parse_checkpoint(text_of(sign_book(store, key))).size == 10


@pytest_invented
def test_checkpoints_of_two_books_are_not_compared() -> None:
    one = Checkpoint("quayside", 1, leaf_hash(b"a"))
    with pytest.raises(Mendable, match="enrolled with the right practice"):
        refuse_fork(one, replace(one, origin="mill%20lane"), ())
    with pytest.raises(Mendable, match="had 1"):
        refuse_fork(one, Checkpoint("quayside", 0, EMPTY_ROOT), ())
    with pytest.raises(Mendable, match="the key of"):
        sign_checkpoint(Checkpoint("mill%20lane", 0, EMPTY_ROOT), MINE, earlier=(), prove=lambda *_: ())


@pytest_invented
def test_a_books_name_has_no_spaces_and_tells_practices_apart() -> None:
    assert book_name("oak street") == "oak%20street"
    assert len({book_name(p) for p in ("oak street", "oak_street", "oak%20street", "oak+street")}) == 4
    VerifierKey(book_name("oak + street"), bytes(32))


@pytest_invented
def test_the_short_form_for_the_eye_changes_with_any_entry(store: Store) -> None:
    grow(store, 1)
    first = Checkpoint("q", 1, store.head().root).short()
    assert first.startswith("1 ")
    assert first != Checkpoint("q", 1, bytes(32)).short()


@pytest_invented
def test_who_trusts_the_old_key_comes_to_trust_the_one_that_it_names_and_no_other(store: Store) -> None:
    old, new, thief = (signer_from(bytes([n]) * 32, name) for n, name in ((3, "quayside"), (4, "quayside/2"), (5, "quayside/3")))
    change_key(store, old, new, moment=Moment(NOW, "UTC"), by="lead")
    forged = KeyChanged(
        old=str(new.verifier), new=str(thief.verifier), note=sign_note(f"key changed\n{new.verifier}\n{thief.verifier}\n", thief)
    )
    store.note(forged, moment=Moment(NOW, "UTC"))
    other_text = KeyChanged(old=str(old.verifier), new=str(thief.verifier), note=sign_note("something else\n", old))
    store.note(other_text, moment=Moment(NOW, "UTC"))
    changes = list(store.read(kinds=[KeyChanged.KIND]))
    assert keys_after(changes, [old.verifier]) == [old.verifier, new.verifier]
    assert keys_after(changes, [thief.verifier]) == [thief.verifier]
    assert keys_after(changes, []) == []
