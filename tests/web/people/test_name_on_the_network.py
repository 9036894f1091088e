"""The name on the local network: asked for and answered over real sockets of this machine."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from zeroconf import Zeroconf

from fettlebook.web.tls.name import KIND, announce, announced

pytestmark = pytest.mark.invented


def test_only_local_names_are_told_and_only_at_the_certificate_s_addresses() -> None:
    found = announced(["praxis.local", "localhost", "host.lan"], ["127.0.0.1", "192.168.1.10"], 8321, "Quay.side")
    assert [(one.server, one.port, one.parsed_addresses()) for one in found] == [("praxis.local.", 8321, ["192.168.1.10"])]
    assert announced(["localhost"], ["192.168.1.10"], 8321, "x") == []


def test_whoever_asks_for_the_service_gets_name_and_port() -> None:
    with ThreadPoolExecutor(1) as beside:  # a thread without an event loop of somebody else's, as where the server starts
        assert beside.submit(_asked).result(60) == ("fettlebook-test.local.", 8321, ["127.0.0.1"])


def _asked() -> tuple[str | None, int | None, list[str]]:
    (service,) = announced(["fettlebook-test.local"], ["127.0.0.1"], 8321, "Quayside")
    close = announce([service], ["127.0.0.1"])
    asking = Zeroconf(interfaces=["127.0.0.1"])
    try:
        told = asking.get_service_info(KIND, service.name, timeout=10_000)
        return (told.server, told.port, told.parsed_addresses()) if told is not None else (None, None, [])
    finally:
        asking.close()
        assert close()
