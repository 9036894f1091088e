"""What machines publish, at a real broker: a file in the folder before the broker hears that it came; nothing lost, nothing twice."""

import os
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from paho.mqtt import client as mqtt
from paho.mqtt import enums

from fettlebook.cli.arrivals_broker import listen
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
MOSQUITTO = shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin:/usr/bin")


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[int]:
    assert MOSQUITTO, "mosquitto is not installed: ./check installs it"
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = one.getsockname()[1]
    settings = tmp_path / "broker.conf"
    root = "user root\n" if os.getuid() == 0 else ""  # else it would step down to a user that can't read the test's folder
    settings.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n{root}")
    running = subprocess.Popen([MOSQUITTO, "-c", str(settings)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        _until(lambda: _open(port))
        yield port
    finally:
        running.terminate()
        running.wait(10)


def _open(port: int) -> bool:
    with socket.socket() as one:
        return one.connect_ex(("127.0.0.1", port)) == 0


def _until(true: Callable[[], bool]) -> None:
    for _ in range(1500):
        if true():
            return
        time.sleep(0.02)
    raise AssertionError("it never came")


@contextmanager
def listening(port: int, folder: Path) -> Iterator[list[str]]:
    said: list[str] = []
    stop = threading.Event()
    work = threading.Thread(
        target=listen,
        args=(f"mqtt://127.0.0.1:{port}", "quayside", folder),
        kwargs={"clock": lambda: 1_795_600_000_000, "told": said.append, "stop": stop.is_set},
    )
    work.start()
    try:
        yield said
    finally:
        stop.set()
        work.join(20)
        assert not work.is_alive()


def publish(port: int, topic: str, *payloads: bytes) -> None:
    client = mqtt.Client(enums.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.connect("127.0.0.1", port)
    client.loop_start()
    for payload in payloads:
        client.publish(topic, payload, qos=1).wait_for_publish(20)
    client.disconnect()
    client.loop_stop()


def test_what_is_published_is_a_file_once_also_what_came_meanwhile(broker: int, tmp_path: Path) -> None:
    folder = tmp_path / "in"
    topic = "fettlebook/quayside/arrivals/sterilizer 1/run.csv"
    with listening(broker, folder) as said:
        _until(lambda: any("waiting for" in line for line in said))
        publish(broker, topic, b"first", b"first", b"second")
        _until(lambda: sum("bytes" in line for line in said) == 3)
    assert sorted(one.read_bytes() for one in (folder / "sterilizer 1").iterdir()) == [b"first", b"second"]
    publish(broker, topic, b"while away")  # the broker keeps it for the session
    with listening(broker, folder) as said:
        _until(lambda: any("bytes" in line for line in said))
    assert b"while away" in {one.read_bytes() for one in (folder / "sterilizer 1").iterdir()}


def test_what_can_t_be_kept_is_not_acknowledged_and_comes_again(broker: int, tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.write_text("a file where the folder should be")
    with listening(broker, folder) as said:
        _until(lambda: any("waiting for" in line for line in said))
        publish(broker, "fettlebook/quayside/arrivals/washer 1/run.csv", b"kept in the end")
        _until(lambda: any("can't be kept" in line for line in said))
        folder.unlink()
        _until(lambda: any("bytes" in line for line in said))
    assert [one.read_bytes() for one in (folder / "washer 1").iterdir()] == [b"kept in the end"]


def test_a_name_that_is_no_address_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Mendable, match="no address of a broker"):
        listen("http://here", "quayside", tmp_path, clock=lambda: 0, told=print, stop=lambda: True)
