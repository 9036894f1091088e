"""The script that an inspector runs: its cryptography against published values, and that it finds whatever was changed."""

import base64
import json
import random
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.book.keyfile import read_key
from fettlebook.book.tree import consistency_proof, leaf_hash, peaks_of, range_hash
from fettlebook.exchange.evidence import check
from fettlebook.exchange.evidence.bundle import Writing, canonical
from fettlebook.exchange.evidence.make import Made
from fettlebook.exchange.evidence.sealed import Chosen, cover, root_of

VECTORS = Path(__file__).parents[2] / "book" / "vectors"
SMALL = json.loads((VECTORS / "small.json").read_text())
SCRIPT = Path(check.__file__)


def faults(folder: Path) -> list[str]:
    found = check.Check(str(folder), [])
    found.all()
    return found.faults


@pytest.mark.published(source="RFC 8032 section 7.1, tests 1 to 3", sure="memory")
@pytest.mark.parametrize("case", SMALL["ed25519"]["tests"])
def test_the_signatures_of_the_rfc_hold_and_no_changed_bit_does(case: dict[str, str]) -> None:
    public, text, signature = (bytes.fromhex(case[name]) for name in ("public", "message", "signature"))
    assert check.ed25519_holds(public, text, signature)
    for bit in range(0, 512, 37):
        changed = bytearray(signature)
        changed[bit // 8] ^= 1 << bit % 8
        assert not check.ed25519_holds(public, text, bytes(changed))
    assert not check.ed25519_holds(public, text + b"x", signature)


@pytest.mark.published(source="RFC 8032 section 5.1.7: S in range 0 <= S < L, else the signature is invalid", sure="memory")
def test_a_signature_with_a_second_spelling_of_s_is_refused() -> None:
    case = SMALL["ed25519"]["tests"][1]
    signature = bytes.fromhex(case["signature"])
    s = int.from_bytes(signature[32:], "little") + check.Q
    assert not check.ed25519_holds(bytes.fromhex(case["public"]), bytes.fromhex(case["message"]), signature[:32] + s.to_bytes(32, "little"))


@given(st.binary(min_size=32, max_size=32), st.binary(max_size=200))
@settings(max_examples=15)
def test_it_agrees_with_a_general_library(seed: bytes, text: bytes) -> None:
    key = Ed25519PrivateKey.from_private_bytes(seed)
    assert check.ed25519_holds(key.public_key().public_bytes_raw(), text, key.sign(text))


@pytest.mark.published(source="C2SP signed-note.md, section Verifier keys, example", sure="read")
def test_the_note_of_the_open_format_opens() -> None:
    example = SMALL["signed_note"]
    text, signers = check.open_note(example["note"], [check.read_key(example["vkey"])])
    assert text == "This is an example message.\n"
    assert signers == ["example.com/foo+530d903a"]


@pytest.mark.published(source="github.com/transparency-dev/merkle testdata, consistency cases (Apache 2.0)", sure="read")
def test_growth_is_proved_as_the_reference_cases_say() -> None:
    cases = [c for c in json.loads((VECTORS / "merkle-proofs.json").read_text())["consistency"] if c["size1"] and c["size2"]]
    assert len(cases) > 50
    for case in cases:
        raw = [base64.b64decode(case[name]) for name in ("root1", "root2")]
        proof = [base64.b64decode(one) for one in case["proof"] or []]
        if any(len(one) != 32 for one in (*raw, *proof)):
            continue
        assert check.begins_with(case["size1"], case["size2"], raw[0], raw[1], proof) == (not case["wantErr"]), case


@given(st.integers(1, 70), st.randoms(use_true_random=False))
def test_any_choice_of_entries_and_the_hashes_of_the_others_make_the_root(size: int, chance: random.Random) -> None:
    leaves = [leaf_hash(str(n).encode()) for n in range(size)]
    taken = sorted(chance.sample(range(1, size + 1), chance.randint(0, size)))
    chosen = Chosen(tuple(taken), size, b"".join(leaves), {}, (), {}, ())
    gaps = list(cover(chosen))
    hidden = {(first - 1, last): held for first, last, held in gaps}
    shown = {seq - 1: leaves[seq - 1] for seq in taken}
    assert check.root_of(0, size, shown, hidden) == peaks_of(leaves).root() == root_of(chosen)
    assert sum(last - first + 1 for first, last, _ in gaps) + len(taken) == size
    old = chance.randint(1, size)
    proof = consistency_proof(old, size, lambda level, n: range_hash(n << level, (n + 1) << level, lambda lv, k: _whole(leaves, lv, k)))
    assert check.begins_with(old, size, peaks_of(leaves[:old]).root(), peaks_of(leaves).root(), list(proof))


def _whole(leaves: list[bytes], level: int, number: int) -> bytes:
    return peaks_of(leaves[number << level : (number + 1) << level]).root()


@pytest.mark.invented
def test_a_whole_bundle_holds_and_the_script_runs_without_this_program(made: Made) -> None:
    ran = subprocess.run([sys.executable, "-I", "-S", made.folder / "check.py"], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert ran.stdout.endswith("ALL HOLDS\n")
    assert made.root.hex() in ran.stdout
    assert len(SCRIPT.read_text().splitlines()) < 300
    assert (made.folder / "check.py").read_bytes() == SCRIPT.read_bytes()


@pytest.mark.invented
def test_every_flipped_byte_of_every_file_is_found(made: Made, copy: Callable[[], Path]) -> None:
    folder, chance = copy(), random.Random(7)
    assert faults(folder) == []
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        whole = path.read_bytes()
        for _ in range(25 if path.name in ("vkey.txt", "manifest.note", "checkpoint.txt") else 5):
            if not whole:
                path.write_bytes(b"x")
            else:
                at = chance.randrange(len(whole))
                path.write_bytes(whole[:at] + bytes([whole[at] ^ 1 << chance.randrange(8)]) + whole[at + 1 :])
            assert faults(folder), f"{path.name}: a flipped byte was not found"
        path.write_bytes(whole)
    assert faults(folder) == []


def _signed_again(folder: Path, key: Path) -> None:
    """Do what the owner of the key could do: write the manifest anew and sign it."""
    writing = Writing(folder)
    for path in sorted(p for p in folder.rglob("*") if p.is_file() and not p.name.startswith("manifest")):
        content = path.read_bytes()
        path.unlink()
        writing.put(path.relative_to(folder).as_posix(), content)
    writing.finish(read_key(key))


@pytest.mark.invented
@pytest.mark.parametrize("what", ["changed", "left out", "swapped", "put in twice", "last left out"])
def test_entries_can_not_be_changed_even_by_the_owner_of_the_key(ground: object, copy: Callable[[], Path], what: str) -> None:
    folder = copy()
    lines = (folder / "entries.jsonl").read_bytes().splitlines(keepends=True)
    at = len(lines) // 2
    spoiled = {
        "changed": [*lines[:at], lines[at].replace(b'"by":"', b'"by":"x', 1), *lines[at + 1 :]],
        "left out": [*lines[:at], *lines[at + 1 :]],
        "swapped": [*lines[:at], lines[at + 1], lines[at], *lines[at + 2 :]],
        "put in twice": [*lines[:at], lines[at], *lines[at:]],
        "last left out": lines[:-1],
    }[what]
    (folder / "entries.jsonl").write_bytes(b"".join(spoiled))
    _signed_again(folder, ground.key)  # type: ignore[attr-defined]
    assert any("entr" in fault for fault in faults(folder))


@pytest.mark.invented
def test_a_number_that_does_not_follow_from_its_entries_is_found_though_it_is_signed(ground: object, copy: Callable[[], Path]) -> None:
    def spoil(change: Callable[[dict], None]) -> list[str]:
        folder = copy()
        said = json.loads((folder / "figures.json").read_bytes())
        before = (folder / "figures.json").read_bytes()
        change(said)
        after = canonical(said)
        pdf = (folder / "report.pdf").read_bytes()
        import hashlib

        (folder / "figures.json").write_bytes(after)
        (folder / "report.pdf").write_bytes(
            pdf.replace(hashlib.sha256(before).hexdigest().encode(), hashlib.sha256(after).hexdigest().encode())
        )
        _signed_again(folder, ground.key)  # type: ignore[attr-defined]
        return faults(folder)

    def fewer_failed(said: dict) -> None:
        next(f for f in said["figures"] if f["id"] == "cycles.failed")["value"] -= 1

    def one_more_in_time(said: dict) -> None:
        row = next(r for r in said["compliance"] if r["owed"] > 5)
        row["in_time"] += 1
        row["owed"] += 1

    def twice(said: dict) -> None:
        row = next(r for r in said["compliance"] if r["owed"] > 5)
        row["occasions"].append(next(o for o in row["occasions"] if o["came"] == "in_time"))
        row["in_time"] += 1
        row["owed"] += 1
        next(f for f in said["figures"] if f["id"] == "duties")["value"] += 1
        next(f for f in said["figures"] if f["id"] == "duties.in_time")["value"] += 1

    def made_up(said: dict) -> None:
        next(f for f in said["figures"] if f["id"] == "visits")["entries"][0] = "01900000-0000-7000-8000-000000000000"

    def kinds(said: dict) -> None:
        said["kinds"]["visit.started"] += 1

    assert spoil(lambda said: None) == []
    for change, word in (
        (fewer_failed, "cycles.failed"),
        (one_more_in_time, "compliance"),
        (twice, "twice"),
        (made_up, "visits"),
        (kinds, "kinds"),
    ):
        found = spoil(change)
        assert found, change.__name__
        assert any(word in fault or "kind" in fault for fault in found), found


@pytest.mark.invented
def test_what_is_no_bundle_is_said_without_a_traceback(tmp_path: Path, made: Made) -> None:
    (tmp_path / "manifest.json").write_text("[]")
    for words, status in (([tmp_path], 1), ([tmp_path / "not there"], 2), ([made.folder, "--vkey", "x+y"], 2)):
        ran = subprocess.run([sys.executable, SCRIPT, *words], capture_output=True, text=True, check=False)
        assert (ran.returncode, ran.stderr) == (status, "")


@pytest.mark.invented
def test_another_key_or_root_than_on_paper_does_not_hold(made: Made, tmp_path: Path) -> None:
    from fettlebook.book.keyfile import make_key

    other = str(make_key(tmp_path / "other.key", "quayside").verifier)
    mine = (made.folder / "vkey.txt").read_text().strip()
    for words, status in ((["--vkey", other], 1), (["--vkey", mine], 0), (["--root", made.root.hex()], 0), (["--root", "00" * 32], 1)):
        ran = subprocess.run([sys.executable, SCRIPT, made.folder, *words], capture_output=True, text=True, check=False)
        assert ran.returncode == status, ran.stdout


@pytest.mark.invented
def test_after_a_change_of_key_what_the_old_one_signed_still_holds(ground: object, tmp_path: Path) -> None:
    import shutil
    from dataclasses import replace

    from fettlebook.book.entries import Moment
    from fettlebook.book.keyfile import make_key
    from fettlebook.book.signing import change_key

    folder = tmp_path / "changed"
    shutil.copytree(ground.folder, folder)  # type: ignore[attr-defined]
    moved = replace(ground, folder=folder)  # type: ignore[type-var]
    old = read_key(moved.key)
    (folder / "book.sqlite.key").unlink()
    (folder / "book.sqlite.key.signed").unlink(missing_ok=True)
    new = make_key(folder / "book.sqlite.key", "quayside-2")
    with moved.store(write=True) as store:
        change_key(store, old, new, moment=Moment(1_800_000_000_000, "Europe/London"), by="program")
    made = moved.make(tmp_path / "out")
    assert [key.short for key in made.seals.keys] == [new.verifier.short, old.verifier.short]
    assert made.seals.held_against == 1
    assert faults(made.folder) == []
    ran = subprocess.run([sys.executable, SCRIPT, made.folder, "--vkey", str(new.verifier)], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout
