"""The server's name on the local network, told to whoever asks for it (multicast DNS, RFC 6762): no list of addresses on any tablet.

Only names of the certificate that end in `.local` are told, and only at addresses of the certificate: whoever follows one gets a page
that the practice's own authority vouches for.
"""

from collections.abc import Callable, Sequence
from ipaddress import ip_address

from zeroconf import Error, InterfaceChoice, ServiceInfo, Zeroconf

KIND = "_https._tcp.local."


def announced(names: Sequence[str], addresses: Sequence[str], port: int, practice: str) -> list[ServiceInfo]:
    """Return what is told: one service for each name that ends in `.local`; none where there is no such name or no address."""
    places = [one for one in addresses if not ip_address(one).is_loopback] or list(addresses)
    plain = "".join(sign for sign in practice if sign.isprintable() and sign not in ".\\")[:40].strip() or "fettlebook"
    return [
        ServiceInfo(
            KIND, f"{plain} ({name.removesuffix('.local')}).{KIND}", parsed_addresses=places, port=port, server=f"{name}.",
            properties={"path": "/"},
        )
        for name in names
        if name.endswith(".local") and places
    ]  # fmt: skip


def announce(services: Sequence[ServiceInfo], interfaces: Sequence[str] | None = None) -> Callable[[], bool]:
    """Tell the network about these services until the returned function is called; where the network takes none, nothing is told."""
    if not services:
        return lambda: True
    try:
        speaker = Zeroconf(interfaces=list(interfaces) if interfaces else InterfaceChoice.Default)
        for one in services:
            speaker.register_service(one, allow_name_change=True)
    except (OSError, Error):  # a machine without multicast: the address still serves
        return lambda: True

    def close() -> bool:
        speaker.unregister_all_services()
        speaker.close()
        return True

    return close
