"""The practice's own authority: what it can vouch for, what becomes of a bad folder, and when it warns."""

import ssl
import subprocess
import threading
from datetime import timedelta
from http.client import HTTPSConnection
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import made_up_day
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from fastapi.testclient import TestClient
from knocking import ASSISTANT, LEAD, OTHER_PIN, PIN, Knocking

from fettlebook.errors import Mendable
from fettlebook.web.app import create_app
from fettlebook.web.desk import Desk
from fettlebook.web.people.people import People
from fettlebook.web.tls.authority import SERVER_DAYS, Certificates, in_pairs, make_authority, now_utc, read, renew
from fettlebook.web.tls.served import Served, ends_soon, refuse_ended

NOW = now_utc()


@pytest.fixture
def made(tmp_path: Path) -> Certificates:
    return make_authority(tmp_path / "tls", "Invented practice", ["practice.local"], ["192.168.7.20"], NOW)


def test_openssl_trusts_the_server_by_the_authority_and_by_nothing_else(made: Certificates, tmp_path: Path) -> None:
    authority = str(made.folder / "authority.pem")
    checked = ["openssl", "verify", "-x509_strict", "-purpose", "sslserver", "-CAfile", authority]
    for name in ("-verify_hostname practice.local", "-verify_ip 192.168.7.20", "-verify_hostname localhost"):
        assert subprocess.run([*checked, *name.split(), str(made.chain)], capture_output=True, check=False).returncode == 0, name
    assert subprocess.run([*checked, "-verify_hostname", "other.local", str(made.chain)], capture_output=True, check=False).returncode
    other = make_authority(tmp_path / "other", "Another", ["practice.local"], ["192.168.7.20"], NOW)
    assert subprocess.run([*checked, str(other.chain)], capture_output=True, check=False).returncode


@pytest.mark.parametrize("names", [[x509.DNSName("bank.example")], [x509.DNSName("practice.local.evil.example")]])
def test_a_stolen_authority_can_not_vouch_for_another_site(names: list[x509.GeneralName], made: Certificates) -> None:
    key = serialization.load_pem_private_key((made.folder / "authority.key").read_bytes(), None)
    assert isinstance(key, ec.EllipticCurvePrivateKey)
    authority = x509.load_pem_x509_certificate((made.folder / "authority.pem").read_bytes())
    forged = (
        x509.CertificateBuilder().subject_name(x509.Name([])).issuer_name(authority.subject).public_key(key.public_key())
        .serial_number(7).not_valid_before(NOW - timedelta(hours=1)).not_valid_after(NOW + timedelta(days=9))
        .add_extension(x509.SubjectAlternativeName(names), critical=True).sign(key, hashes.SHA256())
    )  # fmt: skip
    path = made.folder / "forged.pem"
    path.write_bytes(forged.public_bytes(serialization.Encoding.PEM))
    done = subprocess.run(
        ["openssl", "verify", "-CAfile", str(made.folder / "authority.pem"), str(path)], capture_output=True, text=True, check=False
    )
    assert done.returncode
    assert "permitted subtree violation" in done.stderr + done.stdout


def test_python_opens_the_server_by_name_and_refuses_it_without_the_authority(made: Certificates) -> None:
    class Answer(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(204)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Answer)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(made.chain)
    server.socket = context.wrap_socket(server.socket, server_side=True)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        trusting = ssl.create_default_context(cafile=str(made.folder / "authority.pem"))
        ask = HTTPSConnection("127.0.0.1", server.server_port, context=trusting, timeout=30)
        ask.request("GET", "/")
        assert ask.getresponse().status == 204
        with pytest.raises(ssl.SSLCertVerificationError):
            HTTPSConnection("127.0.0.1", server.server_port, context=ssl.create_default_context(), timeout=30).request("GET", "/")
    finally:
        server.shutdown()
        server.server_close()


@pytest.mark.published(source="CA/Browser Forum Baseline Requirements 6.3.2: at most 398 days", sure="secondary")
def test_the_server_s_certificate_lasts_less_than_398_days(made: Certificates) -> None:
    server = x509.load_pem_x509_certificate(made.chain.read_bytes()[made.chain.read_bytes().index(b"-----BEGIN CERT") :])
    assert server.not_valid_after_utc - server.not_valid_before_utc == timedelta(days=SERVER_DAYS) < timedelta(days=398)


def test_a_renewed_certificate_is_of_the_same_authority_and_may_move_within_its_network(made: Certificates) -> None:
    again = renew(made.folder, [], ["192.168.7.33"], NOW)
    assert again.authority_fingerprint == made.authority_fingerprint
    assert again.fingerprint != made.fingerprint
    assert "192.168.7.33" in again.hosts
    assert "practice.local" in again.hosts
    before = made.chain.read_bytes()
    for names, addresses in ((["elsewhere.example"], []), ([], ["10.0.0.9"]), (["a b"], []), ([], ["0.0.0.0"]), ([], ["192.168.7.256"])):
        with pytest.raises(Mendable):
            renew(made.folder, names, addresses, NOW)
    assert made.chain.read_bytes() == before


def test_nothing_is_made_over_an_authority_that_tablets_trust(made: Certificates) -> None:
    with pytest.raises(Mendable, match="there is an authority already"):
        make_authority(made.folder, "Again", ["practice.local"], [], NOW)
    assert read(made.folder).authority_fingerprint == made.authority_fingerprint


def test_keys_are_their_owner_s_alone(made: Certificates) -> None:
    for name in ("authority.key", "server.pem"):
        assert (made.folder / name).stat().st_mode & 0o777 == 0o600
    assert made.folder.stat().st_mode & 0o777 == 0o700


@pytest.mark.parametrize("spoil", ["server.pem", "authority.pem"])
def test_a_spoilt_folder_is_said_and_left_as_it_is(spoil: str, made: Certificates, tmp_path: Path) -> None:
    other = make_authority(tmp_path / "other", "Another", ["practice.local"], [], NOW)
    for content in (b"", b"no certificate", (other.folder / spoil).read_bytes(), made.chain.read_bytes()[:300]):
        (made.folder / spoil).write_bytes(content)
        with pytest.raises(Mendable):
            read(made.folder)
        assert (made.folder / spoil).read_bytes() == content


def test_it_warns_thirty_days_ahead_and_is_refused_once_it_ended(made: Certificates) -> None:
    assert ends_soon(made, made.until - timedelta(days=30, seconds=1)) is None
    soon = ends_soon(made, made.until - timedelta(days=29))
    assert soon
    assert soon.weight == "warning"
    refuse_ended(made, made.until - timedelta(days=1))
    with pytest.raises(Mendable, match="ended on"):
        refuse_ended(made, made.until + timedelta(seconds=1))


def test_the_addresses_that_people_type_leave_this_machine_s_own_out(made: Certificates) -> None:
    served = Served(made, 8321, 8322)
    assert served.addresses == ("https://practice.local:8321", "https://192.168.7.20:8321")
    assert served.trust_addresses == ("http://practice.local:8322", "http://192.168.7.20:8322")
    assert served.fingerprint == in_pairs(made.authority_fingerprint)
    assert served.fingerprint.count(":") == 31


def test_the_lead_is_warned_on_every_page_and_in_their_language_and_nobody_else_is(made: Certificates, desk: Desk, people: People) -> None:
    app = create_app(desk, made_up_day.DAY, people=people)
    moments = [made.until - timedelta(days=40)]
    app.state.pages.know(certificate_soon=lambda: ends_soon(made, moments[0]))
    lead, other = (Knocking(TestClient(app, base_url="http://127.0.0.1", follow_redirects=False)) for _ in range(2))
    lead.send("/sign-in", person=LEAD)
    lead.send(f"/people/{LEAD}/pin", pin=PIN, again=PIN)
    lead.send(f"/people/{ASSISTANT}/pin", pin=OTHER_PIN, again=OTHER_PIN, own_pin=PIN)
    assert other.send("/enrol", code=lead.code_for("tablet of room 1")).status_code == 303
    assert other.sign_in(ASSISTANT, OTHER_PIN).status_code == 303
    warning = "The certificate of this server ends"
    assert warning not in lead.text("/rules")
    for days, words in ((1, "ends on"), (-1, "ended on")):
        moments[0] = made.until - timedelta(days=days)
        page = lead.text("/rules")
        assert warning in page
        assert f"{words} {made.until:%Y-%m-%d %H:%M} UTC" in page
        assert "fettlebook certificate renew" in page
        assert warning not in other.text("/rules")
    lead.send("/language", language="de")
    page = lead.text("/rules")
    assert warning not in page
    assert "Zertifikat" in page
    assert " ended on " not in page
