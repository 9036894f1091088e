"""How the server is reached in the house: its certificate, its addresses, and when the certificate ends."""

from dataclasses import dataclass
from datetime import datetime
from ipaddress import ip_address
from typing import Final

from fettlebook.errors import Finding, Mendable
from fettlebook.said import said, said_date
from fettlebook.web.tls.authority import WARN_DAYS, Certificates, in_pairs

RENEW: Final = said("Renew it on this machine: fettlebook certificate renew, then start anew. No tablet needs to be touched.")


@dataclass(frozen=True, slots=True)
class Served:
    """A server with TLS: its certificates, its port, and the port of the plain page that offers the authority's certificate."""

    certificates: Certificates
    port: int
    trust_port: int

    @property
    def called(self) -> str:
        """The name or address that people type: the first name of the certificate, else its first address."""
        named = [name for name in self.certificates.names if name != "localhost"]
        return named[0] if named else _in_address(self.certificates.addresses[0])

    @property
    def addresses(self) -> tuple[str, ...]:
        """Every address of the pages, names first; this machine's own left out."""
        named = [name for name in self.certificates.names if name != "localhost"]
        placed = [_in_address(one) for one in self.certificates.addresses if not ip_address(one).is_loopback]
        return tuple(f"https://{one}:{self.port}" for one in (*named, *placed))

    @property
    def trust_addresses(self) -> tuple[str, ...]:
        """Every address of the plain page of trust."""
        return tuple(f"{one.replace('https:', 'http:').rpartition(':')[0]}:{self.trust_port}" for one in self.addresses)

    @property
    def fingerprint(self) -> str:
        """The authority's fingerprint as devices show it."""
        return in_pairs(self.certificates.authority_fingerprint)


def ends_soon(certificates: Certificates, now: datetime) -> Finding | None:
    """Return a warning from 30 days before the server's certificate ends; None before."""
    left = certificates.days_left(now)
    if left >= WARN_DAYS:
        return None
    until = said_date(certificates.until)
    ended = said("the certificate of this server ended on {until} UTC", until=until)
    what = ended if left < 0 else said("the certificate of this server ends on {until} UTC", until=until)
    return Finding(what, str(certificates.folder), RENEW, "error" if left < 0 else "warning")


def refuse_ended(certificates: Certificates, now: datetime) -> None:
    """Raise `Mendable` where the server's certificate has ended: no tablet would open the pages."""
    found = ends_soon(certificates, now)
    if found is not None and certificates.days_left(now) < 0:
        raise Mendable.of([found])


def _in_address(one: str) -> str:
    return f"[{one}]" if ":" in one else one
