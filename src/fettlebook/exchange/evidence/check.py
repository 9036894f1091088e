"""Checks an evidence bundle with nothing but Python 3.9 or later: python3 check.py [FOLDER] [--vkey LINE] [--root HEX] [--short TEXT].

1. manifest.note: SHA-256 of manifest.json, signed (C2SP signed-note, Ed25519). manifest.json: SHA-256 and length of every file.
2. checkpoint.txt: number of entries and root of the book, signed (C2SP tlog-checkpoint).
3. entries.jsonl (sealed records, one a line) and tree.jsonl (hashes that stand for the records not shown): together they make the root.
   leaf = SHA-256(00 || record), node = SHA-256(01 || left || right), split at the largest power of two below n (RFC 9162, 2.1.1).
4. earlier.jsonl: earlier checkpoints with proofs that the book of then is the beginning of this one (RFC 9162, 2.1.4.2).
5. figures.json: every number recounted from the entries that it names; report.pdf bears the SHA-256 of figures.json.
It can't show that something was never entered, nor judge whether a step was long enough: the report says that, with its entries.
Nothing is downloaded or written. Exit status: 0 all holds; 1 something does not hold, or is not signed; 2 no bundle.
"""

from __future__ import annotations

import base64
import hashlib
import json
import os
import re
import sys
from collections.abc import Iterator
from typing import Any

Point = tuple[int, int, int, int]
Key = tuple[str, bytes, bytes]
COLUMNS = ("in_time", "late", "missed", "not_provable")

# Ed25519 verification, written out from RFC 8032, sections 5.1 and 6: points as X, Y, Z, T with x = X/Z, y = Y/Z, x y = T/Z.
P = 2**255 - 19
Q = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, P - 2, P) % P


def _add(a: Point, b: Point) -> Point:
    e, f, g, h = (a[1] - a[0]) * (b[1] - b[0]), (a[1] + a[0]) * (b[1] + b[0]), 2 * a[3] * b[3] * D, 2 * a[2] * b[2]
    x, y, z, t = f - e, h - g, h + g, f + e
    return (x * y % P, z * t % P, y * z % P, x * t % P)


def _times(s: int, point: Point) -> Point:
    total = (0, 1, 1, 0)
    while s > 0:
        if s & 1:
            total = _add(total, point)
        point, s = _add(point, point), s >> 1
    return total


def _point(raw: bytes) -> Point | None:
    """Return the point that 32 bytes stand for; None where they stand for none (RFC 8032, 5.1.3)."""
    y = int.from_bytes(raw, "little")
    sign, y = y >> 255, y & ((1 << 255) - 1)
    x2 = (y * y - 1) * pow(D * y * y + 1, P - 2, P) % P
    x = pow(x2, (P + 3) // 8, P)
    if (x * x - x2) % P:
        x = x * pow(2, (P - 1) // 4, P) % P
    if y >= P or (x * x - x2) % P or (x == 0 and sign):
        return None
    x = P - x if (x & 1) != sign else x
    return (x, y, 1, x * y % P)


BASE = _point((4 * pow(5, P - 2, P) % P).to_bytes(32, "little"))


def ed25519_holds(public: bytes, text: bytes, signature: bytes) -> bool:
    """Tell whether a signature (64 bytes) of a text by a public key (32 bytes) holds."""
    if len(public) != 32 or len(signature) != 64:
        return False
    key, r, s = _point(public), _point(signature[:32]), int.from_bytes(signature[32:], "little")
    if key is None or r is None or BASE is None or s >= Q:
        return False
    h = int.from_bytes(hashlib.sha512(signature[:32] + public + text).digest(), "little") % Q
    a, b = _times(s, BASE), _add(r, _times(h, key))
    return (a[0] * b[2] - b[0] * a[2]) % P == 0 and (a[1] * b[2] - b[1] * a[2]) % P == 0


def read_key(line: str) -> Key:
    """Return (name, id, public key) of a key line: name+id+base64(01 || key), id = SHA-256(name || 0A 01 || key)[:4]."""
    name, key_id, encoded = line.split("+", 2)
    raw = base64.b64decode(encoded, validate=True)
    made = hashlib.sha256(name.encode() + b"\n" + raw).digest()[:4]
    if len(raw) != 33 or raw[0] != 1 or made.hex() != key_id or base64.b64encode(raw).decode() != encoded:
        raise ValueError("no key: " + line[:60])
    return name, made, raw[1:]


def open_note(note: str, keys: list[Key]) -> tuple[str, list[str]]:
    """Return the text above the signatures, and which of `keys` signed it; ValueError where a signature of one does not hold."""
    text, gap, below = note.rpartition("\n\n")
    text, signers = text + "\n", []
    if not gap or not below.endswith("\n"):
        raise ValueError("no signed note")
    for line in below[:-1].split("\n"):
        found = re.fullmatch("\u2014 ([^ +]+) ([A-Za-z0-9+/]+=*)", line)
        raw = base64.b64decode(found.group(2), validate=True) if found else b""
        if found is None or base64.b64encode(raw).decode() != found.group(2):
            raise ValueError("no line of a signature")
        for name, key_id, public in keys:
            if (name, key_id) == (found.group(1), raw[:4]):
                if not ed25519_holds(public, text.encode(), raw[4:]):
                    raise ValueError("the signature of " + name + " does not hold")
                signers.append(name + "+" + key_id.hex())
    return text, signers


def node(left: bytes, right: bytes) -> bytes:  # noqa: D103 - said above
    return hashlib.sha256(b"\x01" + left + right).digest()


def root_of(begin: int, end: int, leaves: dict[int, bytes], hidden: dict[tuple[int, int], bytes]) -> bytes:
    """Return the hash over leaves begin..end-1 (from 0): of the records shown, and of hashes that stand for those that aren't."""
    if (begin, end) in hidden:
        return hidden[begin, end]
    if end - begin == 1:
        return leaves[begin]
    middle = begin + (1 << ((end - begin - 1).bit_length() - 1))
    return node(root_of(begin, middle, leaves, hidden), root_of(middle, end, leaves, hidden))


def begins_with(old_size: int, new_size: int, old_root: bytes, new_root: bytes, proof: list[bytes]) -> bool:
    """Tell whether the book of `new_size` begins with that of `old_size` (RFC 9162, 2.1.4.2)."""
    if old_size == new_size:
        return not proof and old_root == new_root
    hashes = [old_root, *proof] if old_size & (old_size - 1) == 0 else proof
    number, last = old_size - 1, new_size - 1
    if not 1 <= old_size < new_size or not hashes:
        return False
    while number & 1:
        number, last = number >> 1, last >> 1
    old = new = hashes[0]
    for beside in hashes[1:]:
        if last == 0:
            return False
        if number & 1 or number == last:
            old, new = node(beside, old), node(beside, new)
            while not number & 1 and number:
                number, last = number >> 1, last >> 1
        else:
            new = node(new, beside)
        number, last = number >> 1, last >> 1
    return last == 0 and old == old_root and new == new_root


def digests_in(value: Any) -> Iterator[str]:
    """Yield the SHA-256 of each file that a record names."""
    if isinstance(value, dict) and {"digest", "length_bytes", "media"} <= value.keys():
        yield value["digest"]
    for one in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from digests_in(one)


class Check:
    """One bundle; `faults` says what does not hold, `notes` what is to be known."""

    def __init__(self, folder: str, keys: list[Key]) -> None:
        self.folder, self.keys, self.size, self.root, self.origin, self.short = folder, keys, -1, b"", "", "?"
        self.faults, self.notes = list[str](), list[str]()

    def _read(self, name: str) -> bytes:
        with open(os.path.join(self.folder, *name.split("/")), "rb") as file:
            return file.read()

    def _lines(self, name: str) -> Iterator[bytes]:
        with open(os.path.join(self.folder, name), "rb") as file:
            yield from (line[:-1] if line.endswith(b"\n") else line + b" (cut)" for line in file)

    def _need(self, holds: Any, fault: str) -> None:
        if not holds:
            self.faults.append(fault)

    def all(self) -> None:
        """Check everything; whatever stops a part is a fault, never a traceback."""
        for work in (self._key_lines, self._manifest, self._checkpoint, self._entries, self._earlier, self._figures):
            try:
                work()
            except (ValueError, KeyError, TypeError, IndexError, AttributeError, OSError, RecursionError) as error:
                self.faults.append(work.__name__[1:] + ": " + type(error).__name__ + " " + str(error)[:200])

    def _key_lines(self) -> None:
        self.listed = [read_key(line) for line in self._read("vkey.txt").decode().split("\n")[:-1]]
        self._need(not self.keys or any(key in self.keys for key in self.listed), "the key given with --vkey is not in vkey.txt")
        self.keys = self.keys or self.listed

    def _manifest(self) -> None:
        raw = self._read("manifest.json")
        files = json.loads(raw)["files"]
        there = [os.path.join(at, name) for at, _, some in os.walk(self.folder) for name in some]
        names = {os.path.relpath(path, self.folder).replace(os.sep, "/") for path in there}
        for name in sorted(names ^ {*files, "manifest.json", "manifest.note"}):
            self.faults.append(name + (": not in the manifest" if name in names else ": missing"))
        for name in sorted(names & set(files)):
            content, said = self._read(name), files[name]
            same = (hashlib.sha256(content).hexdigest(), len(content)) == (said["sha256"], said["length_bytes"])
            self._need(same, name + ": changed or cut, not what the manifest says")
        again = json.dumps({"files": files}, sort_keys=True, separators=(",", ":")).encode()
        self._need(again == raw, "manifest.json is written otherwise than it must be")
        text, signers = open_note(self._read("manifest.note").decode(), self.keys)
        self._need(text.split("\n")[1:] == [hashlib.sha256(raw).hexdigest(), ""], "manifest.note is of another manifest.json")
        self._need(signers, "manifest.note: signed by none of the keys")

    def _checkpoint(self) -> None:
        text, signers = open_note(self._read("checkpoint.txt").decode(), self.keys)
        self.origin, size, root, _ = text.split("\n")
        self.size, self.root = int(size), base64.b64decode(root, validate=True)
        self.short = size + " " + "-".join(base64.b32encode(self.root[:10]).decode()[i : i + 4] for i in range(0, 16, 4))
        self._need(signers, "checkpoint.txt: signed by none of the keys")

    def _entries(self) -> None:
        self.kind_of, self.kinds, self.numbers = dict[str, str](), dict[str, int](), set[tuple[str, int]]()
        named, leaves, said, last = set[str](), dict[int, bytes](), json.loads(self._read("figures.json")), 0
        for raw in self._lines("entries.jsonl"):
            record = json.loads(raw)
            entry, seq = record["entry"], record["seq"]
            self._need(seq > last, "entry " + str(seq) + ": moved, or there twice")
            last, leaves[seq - 1] = seq, hashlib.sha256(b"\x00" + raw).digest()
            self.kind_of[entry["id"]] = entry["kind"]
            self.numbers.add((entry["device"], entry["n"]))
            named.update(digests_in(entry["data"]))
            if said["from_ms"] <= min(entry["at"] + record["offset"], record["received"]) < said["to_ms"]:
                self.kinds[entry["kind"]] = self.kinds.get(entry["kind"], 0) + 1
        gaps = [json.loads(raw) for raw in self._lines("tree.jsonl")]
        hidden = {(gap["first"] - 1, gap["last"]): bytes.fromhex(gap["hash"]) for gap in gaps}
        count = len(leaves) + sum(end - begin for begin, end in hidden)
        self._need(count == self.size, "entries are missing or too many: " + str(count) + " of " + str(self.size))
        made = root_of(0, self.size, leaves, hidden) if self.size else hashlib.sha256(b"").digest()
        self._need(made == self.root, "the entries don't make the root of the checkpoint: one was changed, put in, left out or moved")
        kept = {name[6:] for name in json.loads(self._read("manifest.json"))["files"] if name.startswith("files/")}
        self._need(kept == named - set(said["files_missing"]), "the files are not those that the entries name")
        for digest in sorted(kept):
            self._need(hashlib.sha256(self._read("files/" + digest)).hexdigest() == digest, "files/" + digest + ": changed")
        self.notes.append(str(len(leaves)) + " of " + str(self.size) + " entries are shown, the others stand as hashes")

    def _earlier(self) -> None:
        for raw in self._lines("earlier.jsonl"):
            held = json.loads(raw)
            text, signers = open_note(held["note"], self.listed)
            _, size, root, _ = text.split("\n")
            old_root, proof = base64.b64decode(root, validate=True), [bytes.fromhex(one) for one in held["proof"]]
            same = begins_with(int(size), self.size, old_root, self.root, proof)
            self._need(same, "the book does not begin with the checkpoint at entry " + size)
            self._need(signers, "the checkpoint at entry " + size + " is signed by none of the keys")

    def _figures(self) -> None:
        raw = self._read("figures.json")
        said, here = json.loads(raw), self.kind_of.__contains__
        self._need((said["origin"], said["size"], said["root"]) == (self.origin, self.size, self.root.hex()), "figures.json: another book")
        self._need(said["kinds"] == self.kinds, "the counts by kind are not those of the entries")
        self._need(hashlib.sha256(raw).hexdigest().encode() in self._read("report.pdf"), "report.pdf was made from another figures.json")
        sums, seen = dict.fromkeys(("owed", *COLUMNS), 0), set()
        for row in said["compliance"]:
            where = "compliance, " + row["duty"] + ", " + row["subject"] + ": "
            counts = {column: sum(one["came"] == column for one in row["occasions"]) for column in COLUMNS}
            counts["owed"] = len(row["occasions"])
            self._need(all(row[column] == n for column, n in counts.items()), where + "not so many")
            sums = {column: sums[column] + counts[column] for column in sums}
            for one in row["occasions"]:
                key = (row["duty"], row["subject"], row["when"], one["owed_ms"], one["because"])
                self._need(key not in seen and one["came"] in COLUMNS, where + "an occasion counted twice, or of no column")
                seen.add(key)
                self._need(all(map(here, (one["because"], *one["evidence"]))), where + "it rests on an entry that is not here")
        figures = {one["id"]: one for one in said["figures"]}
        for one in figures.values():
            name, entries, of = "figure " + one["id"] + ": ", one.get("entries", []), figures.get(one.get("of", ""))
            self._need(one["value"] == (sums[one["sums"]] if "sums" in one else len(entries)), name + "not so many")
            self._need(all(map(here, entries)), name + "it counts an entry that is not here")
            whole = of is None or (one["value"] <= of["value"] and set(entries) <= set(of.get("entries", [])))
            self._need(whole, name + "it counts what the whole does not")
        for one in said["missing"]:
            came = any(device == one["device"] and one["first"] <= n <= one["last"] for device, n in self.numbers)
            self._need(not came, "an entry of " + one["device"] + " that is said to be missing is here")
        for one in said["verdicts"]:
            self._need(all(map(here, one["evidence"])), one["subject"] + ": its verdict rests on an entry that is not here")


def main(words: list[str]) -> int:
    """Check a folder, say what was found, and return the exit status."""
    given = {word: words[i + 1] for i, word in enumerate(words[:-1]) if word.startswith("--")}
    rest = [word for i, word in enumerate(words) if not word.startswith("--") and (i == 0 or not words[i - 1].startswith("--"))]
    folder = rest[0] if rest else os.path.dirname(os.path.abspath(__file__))
    try:
        check = Check(folder, [read_key(given["--vkey"])] if "--vkey" in given else [])
    except ValueError:
        print("--vkey is no key line: copy it whole, from the first day sheet or from the practice")
        return 2
    if not os.path.isfile(os.path.join(folder, "manifest.json")):
        print("no bundle in " + folder + ": name the folder that holds manifest.json")
        return 2
    check.all()
    root = check.root.hex()
    check._need(given.get("--root", root) == root and given.get("--short", check.short) == check.short, "another root than the one given")
    print("\n".join([*("DOES NOT HOLD  " + fault for fault in check.faults[:40]), *check.notes, "root " + root, "short " + check.short]))
    print("keys: " + ", ".join(name + "+" + key_id.hex() for name, key_id, _ in check.keys) + " (compare with one printed earlier)")
    print("ALL HOLDS" if not check.faults else str(len(check.faults)) + " THINGS DO NOT HOLD")
    return 1 if check.faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
