"""Files that machines publish at a broker (MQTT 5): each becomes a file of the folder before the broker hears that it came.

Topic: `fettlebook/PRACTICE/arrivals/SOURCE/NAME`, payload: the file. Quality of service 1 and a session that the broker keeps: what is
published while this program is away comes when it is back. A message that comes twice is one file: it is named by its digest.

Source: MQTT 5.0 (OASIS), 4.3 quality of service, 3.1.2.11.2 session expiry [memory]; a real broker confirms it in the tests.
"""

import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final
from urllib.parse import unquote, urlsplit

import click

from fettlebook.errors import Mendable
from fettlebook.exchange.arrivals.spool import spool

SESSION_S: Final = 7 * 86_400  # how long the broker keeps what comes meanwhile
ROOT: Final = "fettlebook"
PORTS: Final = {"mqtt": 1883, "mqtts": 8883}


def listen(
    address: str, practice: str, folder: Path, *, clock: Callable[[], int], told: Callable[[str], None], stop: Callable[[], bool]
) -> None:
    """Take what is published for a practice until `stop` says so; a lost connection is made again.

    Parameters
    ----------
    address
        `mqtt://host:port` or `mqtts://host:port`, with `user:password@` where the broker asks.
    practice
        The practice's id.
    folder
        The folder of arrivals.
    clock
        The receiver's clock [ms].
    told
        Called with one line for what happened.

    Raises
    ------
    Mendable
        The address can't be read, MQTT is not installed, or the broker refuses for good.
    """
    try:
        from paho.mqtt import client as mqtt  # noqa: PLC0415 - an optional part
        from paho.mqtt import enums  # noqa: PLC0415
        from paho.mqtt.packettypes import PacketTypes  # noqa: PLC0415
        from paho.mqtt.properties import Properties  # noqa: PLC0415
    except ImportError:
        raise Mendable("MQTT is not installed here", where="--broker", mend="Install the extra 'mqtt'.") from None
    parts = urlsplit(address)
    if parts.scheme not in PORTS or not parts.hostname:
        raise Mendable("no address of a broker", where="--broker", mend="Write mqtt://host:1883 or mqtts://host:8883.")
    client = mqtt.Client(enums.CallbackAPIVersion.VERSION2, client_id=f"fettlebook-{practice}", protocol=mqtt.MQTTv5)
    if parts.username:
        client.username_pw_set(unquote(parts.username), unquote(parts.password or ""))
    if parts.scheme == "mqtts":
        client.tls_set()
    topic = f"{ROOT}/{practice}/arrivals/+/+"

    def connected(_client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            told(f"the broker refuses: {reason}")
            return
        client.subscribe(topic, qos=1)
        told(f"connected; waiting for {topic}")

    def came(_client: Any, _data: Any, message: Any) -> None:
        *_, source, name = message.topic.split("/")
        # Raises where it can't be kept: then the broker hears nothing, and sends it again.
        path = spool(folder, unquote(source), unquote(name), message.payload, clock())
        told(f"{source}: {path.name}, {len(message.payload):,} bytes")

    client.on_connect, client.on_message = connected, came
    client.suppress_exceptions = False
    lasting = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    lasting.SessionExpiryInterval = SESSION_S
    wait_s = 1.0
    while not stop():
        try:
            client.connect(parts.hostname, parts.port or PORTS[parts.scheme], clean_start=False, properties=lasting)
            wait_s = 1.0
            while not stop() and client.loop(timeout=0.5) == mqtt.MQTT_ERR_SUCCESS:
                pass
        except (OSError, Mendable) as error:
            told(f"{error.what if isinstance(error, Mendable) else error}; again in {wait_s:.0f} s")
        until = time.monotonic() + wait_s
        while not stop() and time.monotonic() < until:
            time.sleep(0.1)
        wait_s = min(60.0, 2 * wait_s)
    client.disconnect()


def listen_here(address: str, practice: str, folder: Path) -> None:
    """Listen until Ctrl-C, and say what comes."""
    stopped: list[int] = []
    for one in (signal.SIGTERM, signal.SIGINT):
        signal.signal(one, lambda number, _frame: stopped.append(number))
    listen(address, practice, folder, clock=lambda: time.time_ns() // 1_000_000, told=click.echo, stop=lambda: bool(stopped))
    click.echo("Stopped.")
