"""A time-stamp of a checkpoint: made by an authority that lives in this test (openssl), taken and verified by files alone."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from fettlebook import cli
from fettlebook.book.checkpoint import Checkpoint, sign_checkpoint
from fettlebook.book.keyfile import make_key
from fettlebook.book.stamp import ask_for_stamp, authorities_in, read_stamp
from fettlebook.demo import practice_text
from fettlebook.errors import Mendable

CONFIG = """
[tsa]
default_tsa = here
[here]
serial = {folder}/serial
crypto_device = builtin
signer_cert = {folder}/stamper.pem
signer_key = {folder}/stamper.key
certs = {folder}/root.pem
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
tsa_name = yes
ess_cert_id_chain = no
accuracy = secs:1
"""


class Authority:
    """A root, and a certificate under it that may stamp times and nothing else."""

    def __init__(self, folder: Path, usage: str = "critical,timeStamping") -> None:
        self.folder = folder
        folder.mkdir()
        (folder / "extensions").write_text(f"basicConstraints=CA:FALSE\nkeyUsage=critical,digitalSignature\nextendedKeyUsage={usage}\n")
        (folder / "serial").write_text("01\n")
        (folder / "tsa.cnf").write_text(CONFIG.format(folder=folder))
        ca = ["-addext", "keyUsage=critical,keyCertSign", "-days", "30", "-subj", "/CN=invented root", "-out", "root.pem"]
        self.run("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", "root.key", *ca)
        own = ["-keyout", "stamper.key", "-subj", "/CN=invented stamper", "-out", "stamper.csr"]
        self.run("req", "-newkey", "rsa:2048", "-nodes", *own)
        under = ["-CA", "root.pem", "-CAkey", "root.key", "-CAcreateserial", "-days", "20", "-extfile", "extensions"]
        self.run("x509", "-req", "-in", "stamper.csr", *under, "-out", "stamper.pem")

    def run(self, *words: str) -> None:
        subprocess.run(["openssl", *words], cwd=self.folder, check=True, capture_output=True)

    def answer(self, request: bytes) -> bytes:
        (self.folder / "request.tsq").write_bytes(request)
        self.run("ts", "-reply", "-config", "tsa.cnf", "-queryfile", "request.tsq", "-out", "answer.tsr")
        return (self.folder / "answer.tsr").read_bytes()

    @property
    def root(self) -> Path:
        return self.folder / "root.pem"


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    assert shutil.which("openssl"), "these tests need the openssl program"
    return Authority(tmp_path_factory.mktemp("authority") / "one")


@pytest.fixture(scope="module")
def stranger(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    return Authority(tmp_path_factory.mktemp("authority") / "two")


@pytest.fixture(scope="module")
def note(tmp_path_factory: pytest.TempPathFactory) -> str:
    key = make_key(tmp_path_factory.mktemp("key") / "k", "fettlebook/invented")
    return sign_checkpoint(Checkpoint(key.name, 7, bytes(range(32))), key, earlier=(), prove=lambda old, new: ())


def held(answer: bytes, note: str, authority: Authority) -> str:
    return read_stamp(answer, note, authorities_in(authority.root.read_bytes(), "root.pem"), where="answer.tsr").authority


@pytest.mark.published(source="OpenSSL 3, `openssl ts -query` and `openssl ts -verify` (RFC 3161)", sure="computed")
def test_the_request_is_one_that_another_program_reads_and_its_answer_verifies_in_both(authority: Authority, note: str) -> None:
    request = ask_for_stamp(note)
    (authority.folder / "ours.tsq").write_bytes(request)
    (authority.folder / "note.txt").write_bytes(note.encode())
    text = subprocess.run(["openssl", "ts", "-query", "-in", "ours.tsq", "-text"], cwd=authority.folder, check=True, capture_output=True)
    assert b"Hash Algorithm: sha256" in text.stdout
    assert b"Certificate required: yes" in text.stdout
    (authority.folder / "kept.tsr").write_bytes(authority.answer(request))
    authority.run("ts", "-verify", "-data", "note.txt", "-in", "kept.tsr", "-CAfile", "root.pem")
    assert held((authority.folder / "kept.tsr").read_bytes(), note, authority) == "CN=invented stamper"


@pytest.mark.invented
def test_an_answer_of_another_checkpoint_authority_or_purpose_does_not_hold(
    authority: Authority, stranger: Authority, note: str, tmp_path: Path
) -> None:
    answer = authority.answer(ask_for_stamp(note))
    with pytest.raises(Mendable, match="does not hold"):
        held(answer, note.replace("\n7\n", "\n8\n"), authority)
    with pytest.raises(Mendable, match="does not hold"):
        held(answer, note, stranger)
    with pytest.raises(Mendable, match="no answer"):
        held(b"junk", note, authority)
    with pytest.raises(Mendable, match="no certificate"):
        authorities_in(b"junk", "root.pem")
    at = answer.rindex(b"invented")  # any place near the end, where the signature stands
    for place in (len(answer) // 3, at, len(answer) - 20):
        spoiled = answer[:place] + bytes([answer[place] ^ 1]) + answer[place + 1 :]
        with pytest.raises(Mendable):
            held(spoiled, note, authority)
    with pytest.raises(subprocess.CalledProcessError):
        Authority(tmp_path / "three", "serverAuth").answer(ask_for_stamp(note))  # openssl itself refuses to stamp with it


class Desk:
    """Runs commands of the book in this process, as they are typed."""

    def __init__(self, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
        self._capsys, self._monkeypatch = capsys, monkeypatch

    def __call__(self, *words: str) -> tuple[int, str, str]:
        self._monkeypatch.setattr(sys, "argv", ["fettlebook", "book", *words])
        with pytest.raises(SystemExit) as left:
            cli.main()
        said = self._capsys.readouterr()
        return int(left.value.code or 0), said.out, " ".join(said.err.split())


@pytest.mark.invented
def test_a_stamped_checkpoint_is_kept_and_finds_a_book_that_was_rewritten(
    authority: Authority, stranger: Authority, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    run = Desk(capsys, monkeypatch)
    monkeypatch.chdir(tmp_path)
    Path("practice.toml").write_bytes(practice_text())
    assert run("init", "book.sqlite", "practice.toml")[0] == 0
    Path("printed.txt").write_bytes(run("checkpoint", "book.sqlite")[1].encode())
    assert run("ask-stamp", "printed.txt", "ask.tsq")[0] == 0
    Path("answer.tsr").write_bytes(authority.answer(Path("ask.tsq").read_bytes()))
    taken = ["stamp", "book.sqlite", "printed.txt", "answer.tsr", "--authority"]
    status, _, said = run(*taken, str(stranger.root))
    assert (status, "does not hold" in said) == (2, True)
    status, out, _ = run(*taken, str(authority.root), "--json")
    assert status == 0
    assert json.loads(out)["authority"] == "CN=invented stamper"

    status, out, _ = run("verify", "book.sqlite", "--authority", str(authority.root), "--json")
    assert status == 0
    assert any("time-stamped" in one["whence"] for one in json.loads(out)["held_against"])
    status, out, _ = run("verify", "book.sqlite", "--authority", str(stranger.root), "--json")
    assert any("does not hold" in one for one in json.loads(out)["not_counted"])

    Path("other.toml").write_bytes(practice_text().replace(b"chair 1", b"chair 9"))
    assert run("init", "forged.sqlite", "other.toml", "--key", "forged.key")[0] == 0
    with_stamp = ["--checkpoint", "printed.txt", "--stamp", "answer.tsr", "--authority", str(authority.root)]
    status, out, _ = run("verify", "forged.sqlite", *with_stamp)
    assert status == 1
    assert "rewritten" in out
    status, _, said = run("stamp", "forged.sqlite", "printed.txt", "answer.tsr", "--authority", str(authority.root))
    assert (status, "does not have" in said) == (2, True)
    status, _, said = run("verify", "book.sqlite", "--stamp", "answer.tsr")
    assert (status, "without its authority" in said) == (2, True)
    status, _, said = run("verify", "book.sqlite", "--stamp", "answer.tsr", "--authority", str(authority.root))
    assert (status, "for 0 checkpoints" in said) == (2, True)
