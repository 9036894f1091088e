"""A time-stamp of a checkpoint by an outside authority: that the book stood so by then, which nobody here can make up afterwards.

Sources
-------
[R] RFC 3161, Time-Stamp Protocol: 2.4.1 the request, 2.4.2 the answer; only a hash goes to the authority. secondary
[L] `rfc3161-client`: makes the request and verifies answer, signature and chain of certificates. secondary

A request is a file, and so is the answer: they travel by whatever program the practice trusts with its line to the world, or on a stick.
What is stamped is the signed note of the checkpoint, byte for byte.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from cryptography import x509
from cryptography.x509.oid import ExtendedKeyUsageOID
from rfc3161_client import HashAlgorithm, TimestampRequestBuilder, VerificationError, VerifierBuilder, decode_timestamp_response

from fettlebook.book.checkpoint import parse_checkpoint, text_of
from fettlebook.book.kinds import CheckpointStamped, HeldFile, to_ms
from fettlebook.book.kinds.keeping import root_text
from fettlebook.book.stamp_spelling import in_order
from fettlebook.errors import Mendable

REQUEST_MEDIA: Final = "application/timestamp-query"
ANSWER_MEDIA: Final = "application/timestamp-reply"
ANSWER_MOST_BYTES: Final = 200_000


@dataclass(frozen=True, slots=True)
class Stamp:
    """What a verified answer says: the checkpoint was there at this moment, by the clock of this authority."""

    at: datetime
    authority: str


def ask_for_stamp(note: str) -> bytes:
    """Return the request for a time-stamp of a checkpoint's signed note [R 2.4.1]; raises `Mendable` where it is none."""
    parse_checkpoint(text_of(note))
    request = TimestampRequestBuilder().data(note.encode()).hash_algorithm(HashAlgorithm.SHA256).cert_request(cert_request=True)
    return bytes(request.build().as_bytes())


def authorities_in(pem: bytes, where: str) -> list[x509.Certificate]:
    """Return the certificates of authorities that are trusted; raises `Mendable` where there is none."""
    try:
        return x509.load_pem_x509_certificates(pem)
    except ValueError:
        mend = "Give the authority's root certificate as it publishes it (PEM: it begins with -----BEGIN CERTIFICATE-----)."
        raise Mendable("no certificate", where=where, mend=mend) from None


def read_stamp(answer: bytes, note: str, roots: Sequence[x509.Certificate], *, where: str) -> Stamp:
    """Return what an authority's answer says of a checkpoint, verified: granted, signed, by a certificate under one of these, of this note.

    Parameters
    ----------
    roots
        Root certificates of the authorities that are trusted; they come from outside, never from the answer or the book.

    Raises
    ------
    Mendable
        The answer can't be read, is refused by the authority, is of another checkpoint, or its signature or certificates don't hold.
    """
    again = "Ask for a time-stamp of this checkpoint again, and compare the certificate with what the authority publishes."
    if len(answer) > ANSWER_MOST_BYTES:
        raise Mendable(f"{len(answer):,} bytes", where=where, mend="Give the authority's answer as it came (a few thousand bytes).")
    try:
        read = decode_timestamp_response(in_order(answer))
    except ValueError:
        raise Mendable("no answer of a time-stamp authority", where=where, mend="Give its answer as it came (.tsr).") from None
    builder = VerifierBuilder()
    for root in dict.fromkeys(roots):
        builder = builder.add_root_certificate(root)
    try:
        builder.build().verify_message(read, note.encode())
        at, authority = read.tst_info.gen_time, read.tst_info.name
    except (VerificationError, ValueError) as error:
        raise Mendable(f"the time-stamp does not hold ({error})", where=where, mend=again) from None
    name = authority.value.rfc4514_string() if isinstance(authority, x509.DirectoryName) else _signer(answer, roots)
    return Stamp(at, name[:500])


def _signer(answer: bytes, roots: Sequence[x509.Certificate]) -> str:
    """Return the name of the certificate in the answer that may stamp times; else that of the root."""
    for der in decode_timestamp_response(in_order(answer)).signed_data.certificates:
        certificate = x509.load_der_x509_certificate(der)
        try:
            usage = certificate.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
        except x509.ExtensionNotFound:
            continue
        if ExtendedKeyUsageOID.TIME_STAMPING in usage:
            return certificate.subject.rfc4514_string()
    return roots[0].subject.rfc4514_string()


def stamped(note: str, stamp: Stamp, *, kept_note: HeldFile, kept_answer: HeldFile) -> CheckpointStamped:
    """Return what the book says of a time-stamp, as an entry; note and answer are kept files."""
    held = parse_checkpoint(text_of(note))
    return CheckpointStamped(
        size=held.size, root=root_text(held.root), stamped_ms=to_ms(stamp.at), authority=stamp.authority, files=(kept_note, kept_answer)
    )
