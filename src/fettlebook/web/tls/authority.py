"""The practice's own authority and the certificate of its server.

Tablets trust the authority once; the server's certificate can then be renewed without touching them. Whoever stole the authority's
key could sign only for this practice's own names and addresses: the name constraints, which browsers enforce, say so.

Sources
-------
[P] RFC 5280 section 4.2.1.10 (name constraints: a kind of name without any constraint is free, so both kinds get one) and 4.2.1.9. memory
[D] CA/Browser Forum Baseline Requirements 6.3.2: a server's certificate lasts at most 398 days. Browsers hold only public authorities to
    it; staying below costs nothing. secondary
"""

import contextlib
import os
import re
import secrets
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from fettlebook.errors import Mendable

AUTHORITY_YEARS: Final = 10
SERVER_DAYS: Final = 397  # [D]
WARN_DAYS: Final = 30
BACKDATED: Final = timedelta(hours=1)  # a tablet's clock may be behind
_NAME: Final = re.compile(r"(?=.{1,253}\Z)[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*")
_OWN: Final = ("localhost",)
Address = IPv4Address | IPv6Address
Network = IPv4Network | IPv6Network


@dataclass(frozen=True, slots=True)
class Certificates:
    """An authority and the server's certificate, as they stand in a folder. Digests are SHA-256 of the whole certificate, hexadecimal."""

    folder: Path
    names: tuple[str, ...]
    addresses: tuple[str, ...]
    until: datetime
    authority_until: datetime
    fingerprint: str
    authority_fingerprint: str
    authority_der: bytes

    @property
    def chain(self) -> Path:
        """The server's private key, its certificate, then the authority's: one file, so that they always belong together."""
        return self.folder / "server.pem"

    @property
    def hosts(self) -> frozenset[str]:
        """Every name and address that the server may be called by."""
        return frozenset((*self.names, *self.addresses))

    def days_left(self, now: datetime) -> int:
        """Return how many whole days the server's certificate lasts; negative once it ended."""
        return (self.until - now) // timedelta(days=1)


def folder_beside(data: Path) -> Path:
    """Return where the certificates of a book's server stand: `book.sqlite.tls`."""
    return data.with_name(f"{data.name}.tls")


def make_authority(folder: Path, practice: str, names: Sequence[str], addresses: Sequence[str], now: datetime) -> Certificates:
    """Make the authority and the server's first certificate; raises `Mendable` where there is one, or a name can't be one."""
    if (folder / "authority.pem").exists():
        mend = "Renew the server's certificate: fettlebook certificate renew. Or move the folder away: tablets must then trust a new one."
        raise Mendable("there is an authority already", where=str(folder), mend=mend)
    named, placed = checked(names, addresses)
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([
        x509.NameAttribute(NameOID.COMMON_NAME, f"{practice[:40]}, own authority {secrets.token_hex(2)}"),
        x509.NameAttribute(NameOID.ORGANIZATION_NAME, practice[:64]),
    ])  # fmt: skip
    permitted: list[x509.GeneralName] = [x509.DNSName(name) for name in named]
    permitted += [x509.IPAddress(network) for network in dict.fromkeys(map(_around, placed))]
    made = (
        x509.CertificateBuilder()
        .subject_name(subject).issuer_name(subject).public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - BACKDATED).not_valid_after(now + timedelta(days=365 * AUTHORITY_YEARS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)  # [P]
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    _write(folder / "authority.key", _key_pem(key))
    _write(folder / "authority.pem", made.public_bytes(serialization.Encoding.PEM))
    return _sign_server(folder, made, key, named, placed, now)


def renew(folder: Path, names: Sequence[str], addresses: Sequence[str], now: datetime) -> Certificates:
    """Make a new certificate of the server, from the same authority; without names and addresses for the same ones.

    Raises
    ------
    Mendable
        There is no authority, it can't be read or has ended, or does not reach to a name or address.
    """
    held = read(folder)
    named, placed = checked(names or held.names, addresses or held.addresses)
    authority = x509.load_pem_x509_certificate(_read(folder / "authority.pem"))
    try:
        key = serialization.load_pem_private_key(_read(folder / "authority.key"), None)
    except ValueError:
        key = None
    if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != authority.public_key():
        raise Mendable("this is not the authority's key", where=str(folder / "authority.key"), mend="Put it back from the backup.")
    if now >= authority.not_valid_after_utc:
        mend = "Move the folder away and make a new one: fettlebook certificate make. Every tablet must then trust it."
        raise Mendable("the authority itself has ended", where=str(folder), mend=mend)
    reach = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    beyond = [one for one in named if not any(isinstance(r, x509.DNSName) and _under(one, r.value) for r in reach)]
    beyond += [
        str(one)
        for one in placed
        if not any(
            isinstance(r, x509.IPAddress) and isinstance(r.value, IPv4Network | IPv6Network) and _inside(one, r.value) for r in reach
        )
    ]
    if beyond:
        mend = "Give the server an address in the same network, or move the folder away and make a new authority for it."
        raise Mendable(f"the authority does not reach to {', '.join(beyond)}", where=str(folder), mend=mend)
    return _sign_server(folder, authority, key, named, placed, now)


def read(folder: Path) -> Certificates:
    """Return what stands in a folder; raises `Mendable` where there is nothing, or it does not belong together."""
    authority_file, server_file = folder / "authority.pem", folder / "server.pem"
    if not authority_file.exists():
        raise Mendable("there is no certificate yet", where=str(folder), mend="Make one: fettlebook certificate make PRACTICE.toml")
    try:
        authority = x509.load_pem_x509_certificate(_read(authority_file))
        server = x509.load_pem_x509_certificates(_read(server_file))[0]
        server.verify_directly_issued_by(authority)
        names = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        key = serialization.load_pem_private_key(_read(server_file), None)
        if key.public_key() != server.public_key():
            raise ValueError("the key is another certificate's")
    except (ValueError, TypeError, InvalidSignature, x509.ExtensionNotFound, IndexError) as error:
        mend = "Put the folder back from the backup, or move it away and make a new one: every tablet must then trust it."
        raise Mendable(f"the certificates do not belong together: {str(error)[:120]}", where=str(folder), mend=mend) from None
    return Certificates(
        folder, tuple(names.get_values_for_type(x509.DNSName)), tuple(str(one) for one in names.get_values_for_type(x509.IPAddress)),
        server.not_valid_after_utc, authority.not_valid_after_utc, server.fingerprint(hashes.SHA256()).hex(),
        authority.fingerprint(hashes.SHA256()).hex(), authority.public_bytes(serialization.Encoding.DER),
    )  # fmt: skip


def in_pairs(digest: str) -> str:
    """Return a digest as devices show it: pairs of signs with colons."""
    return ":".join(digest[i : i + 2] for i in range(0, len(digest), 2)).upper()


def checked(names: Iterable[str], addresses: Iterable[str]) -> tuple[tuple[str, ...], tuple[Address, ...]]:
    """Return names and addresses as a certificate holds them, this machine's own included; raises `Mendable` with all that are none."""
    faults: list[Mendable] = []
    named: list[str] = []
    for typed in names:
        name = typed.strip().rstrip(".").lower()
        if not _NAME.fullmatch(name):
            faults.append(
                Mendable(f"{typed[:60]!r} is no name of a machine", where="--name", mend="As in practice.local: letters, digits, dashes.")
            )
        named.append(name)
    placed: list[Address] = []
    for typed in addresses:
        try:
            one = ip_address(typed.strip().partition("%")[0])
        except ValueError:
            faults.append(Mendable(f"{typed[:60]!r} is no address", where="--address", mend="As in 192.168.1.20."))
            continue
        if one.is_unspecified or one.is_multicast:
            faults.append(Mendable(f"{one} is no machine's own address", where="--address", mend="Give the one that tablets reach."))
        placed.append(one)
    if faults:
        raise Mendable.of([finding for fault in faults for finding in fault.findings])
    own = (ip_address("127.0.0.1"), ip_address("::1"))
    return tuple(dict.fromkeys((*named, *_OWN))), tuple(dict.fromkeys((*placed, *own)))


def _sign_server(  # noqa: PLR0917 - what a certificate is made of
    folder: Path,
    authority: x509.Certificate,
    key: ec.EllipticCurvePrivateKey,
    names: Sequence[str],
    addresses: Sequence[Address],
    now: datetime,
) -> Certificates:
    own = ec.generate_private_key(ec.SECP256R1())
    begin = now - BACKDATED
    made = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0][:64])])).issuer_name(authority.subject)
        .public_key(own.public_key()).serial_number(x509.random_serial_number())
        .not_valid_before(max(begin, authority.not_valid_before_utc))
        .not_valid_after(min(begin + timedelta(days=SERVER_DAYS), authority.not_valid_after_utc))
        .add_extension(x509.SubjectAlternativeName([*map(x509.DNSName, names), *map(x509.IPAddress, addresses)]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(own.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(authority.public_key()), critical=False)  # type: ignore[arg-type]
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    pem = made.public_bytes(serialization.Encoding.PEM) + authority.public_bytes(serialization.Encoding.PEM)
    _write(folder / "server.pem", _key_pem(own) + pem)
    return read(folder)


def _usage(*, signs: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs, key_cert_sign=signs, crl_sign=signs, content_commitment=False, key_encipherment=False,
        data_encipherment=False, key_agreement=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _around(address: Address) -> Network:
    """Return the part of the house's network around an address: the server may get another one there, and the authority still holds."""
    whole = 24 if address.version == 4 else 64
    wide = address.is_private and not address.is_loopback
    return ip_network((address, whole if wide else address.max_prefixlen), strict=False)


def _inside(address: Address, network: Network) -> bool:
    return address.version == network.version and address in network


def _under(name: str, reach: str) -> bool:
    return name == reach or name.endswith(f".{reach}")


def _key_pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        mend = "Give this program's user the right to read there, or put it back from the backup."
        raise Mendable(f"the file can't be read: {error.strerror}", where=str(path), mend=mend) from None


def _write(path: Path, content: bytes) -> None:
    """Put a file in its place, whole or not at all, readable by its owner only."""
    draft = path.with_name(f".{path.name}.{secrets.token_hex(6)}")
    try:
        with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        draft.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)
        mend = "Give this program's user the right to write there, and make room."
        raise Mendable(f"the file can't be written: {error.strerror}", where=str(path), mend=mend) from None


def now_utc() -> datetime:
    """Return the present moment."""
    return datetime.now(UTC)
