"""What 40 tablets feel: how long a page takes, how many entries a second go in, and how many bytes of program a page brings.

`python benchmarks/tablets.py` (about three minutes; PostgreSQL where its programs are installed). Server and tablets share the machine,
so the tablets' own work is in every figure: read the ratio to a bare page of the same kind of server, asked in the same run.
"""

import argparse
import asyncio
import gzip
import json
import os
import random
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace

from book import cluster
from machine import machine

TABLETS = 40
NOW = 1_795_600_000_000
DAY = "2026-11-25"
GOAL_KB = 100
WHO = {"person": "ana", "device": "bench"}


# --- servers, each in a process of its own ------------------------------------------------------------------------------------


def serve_bare() -> None:
    """One page that says hello, by the same server and settings as the real pages."""
    from fastapi import FastAPI
    from fastapi.responses import HTMLResponse

    app = FastAPI(openapi_url=None)

    @app.get("/")
    def _hello() -> HTMLResponse:
        return HTMLResponse("<!doctype html><title>hello</title><p>hello")

    _run(app)


def serve_entries(where: str) -> None:
    """The address that takes entries, over a new book in a file or in a PostgreSQL database."""
    from fettlebook.book.entries import Moment
    from fettlebook.book.kinds import PracticeFileVersion
    from fettlebook.book.stores import open_book, open_group_book
    from fettlebook.demo import practice_text
    from fettlebook.practice.model import Role
    from fettlebook.web.people.visit import Visit
    from fettlebook.web.people.who import VISIT, SignedIn
    from fettlebook.web.tablets.api import make_api

    store = open_group_book(where, "quayside") if "://" in where else open_book(Path(where), "quayside")
    store.note(PracticeFileVersion.of(practice_text().decode()), moment=Moment(NOW, "UTC"))
    api = make_api(SimpleNamespace(store=store, now=lambda: NOW), lambda: "UTC")  # type: ignore[arg-type]
    ana = SignedIn(WHO["person"], "Ana", Role.LEAD, WHO["device"])

    async def app(scope, receive, send) -> None:  # type: ignore[no-untyped-def]
        if scope["type"] == "http":
            scope[VISIT] = Visit(ana, ana.device, "")
        await api(scope, receive, send)

    _run(app)


def _run(app: object) -> None:
    import socket

    import uvicorn

    listening = socket.create_server(("127.0.0.1", 0))
    print(f"http://127.0.0.1:{listening.getsockname()[1]}/", flush=True)
    uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False, lifespan="off")).run(sockets=[listening])  # type: ignore[arg-type]


@contextmanager
def started(*command: str) -> Iterator[tuple[int, int]]:
    """Start a server and give its port and process."""
    process = subprocess.Popen([sys.executable, *command], stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout
        for line in process.stdout:
            if found := re.search(r"127\.0\.0\.1:(\d+)", line):
                yield int(found[1]), process.pid
                return
        raise SystemExit("a server did not start")
    finally:
        process.kill()
        process.wait()


def cpu_s(pid: int) -> float:
    """Return the processor time that a process has used so far [s]: other work on the machine is not in it."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


# --- tablets ------------------------------------------------------------------------------------------------------------------


class Tablet:
    """One keep-alive connection that asks as a browser does."""

    def __init__(self, port: int, cookie: str = "") -> None:
        self.port, self.cookie = port, cookie
        self._pipe: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None

    async def ask(self, path: str, body: bytes | None = None, media: str = "application/json") -> tuple[int, dict[str, list[str]], bytes]:
        """Ask once; return status, headers and body. A connection that the server closed while idle is opened anew."""
        try:
            return await self._ask(path, body, media)
        except (asyncio.IncompleteReadError, ConnectionError):
            self._pipe = None
            return await self._ask(path, body, media)

    async def _ask(self, path: str, body: bytes | None, media: str) -> tuple[int, dict[str, list[str]], bytes]:
        if self._pipe is None:
            self._pipe = await asyncio.open_connection("127.0.0.1", self.port)
        reader, writer = self._pipe
        head = f"{'GET' if body is None else 'POST'} {path} HTTP/1.1\r\nHost: 127.0.0.1:{self.port}\r\nAccept-Encoding: gzip\r\n"
        head += f"Cookie: {self.cookie}\r\n" if self.cookie else ""
        if body is not None:
            head += f"Origin: http://127.0.0.1:{self.port}\r\nContent-Type: {media}\r\nContent-Length: {len(body)}\r\n"
        writer.write(head.encode() + b"\r\n" + (body or b""))
        lines = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").split("\r\n")
        headers: dict[str, list[str]] = {}
        for line in lines[1:]:
            name, _, value = line.partition(": ")
            headers.setdefault(name.lower(), []).append(value)
        length = int(headers.get("content-length", ["0"])[0])
        return int(lines[0].split()[1]), headers, await reader.readexactly(length)

    async def sign_in(self) -> None:
        """Choose a name, and keep the cookies."""
        form = f"person={WHO['person']}&next=/held".encode()
        status, headers, _ = await self.ask("/sign-in", form, "application/x-www-form-urlencoded")
        assert status == 303, status
        self.cookie = "; ".join(one.partition(";")[0] for one in headers["set-cookie"])


async def each(tablets: list[Tablet], does: Callable[[Tablet], Awaitable[None]]) -> float:
    """Let all tablets do something at once; return how long it took [s]."""
    began = time.perf_counter()
    await asyncio.gather(*(does(tablet) for tablet in tablets))
    return time.perf_counter() - began


async def paced(tablets: list[Tablet], path: str, every_s: float, for_s: float) -> list[float]:
    """Let each tablet open a page now and then, not in step; return how long each answer took [ms]."""
    took: list[float] = []
    chance = random.Random(1)

    async def use(tablet: Tablet, first_s: float) -> None:
        await asyncio.sleep(first_s)
        until = time.perf_counter() + for_s
        while (began := time.perf_counter()) < until:
            status, _, _ = await tablet.ask(path)
            assert status == 200, (path, status)
            took.append((time.perf_counter() - began) * 1000)
            await asyncio.sleep(max(0.0, every_s - (time.perf_counter() - began)))

    await asyncio.gather(*(use(tablet, chance.random() * every_s) for tablet in tablets))
    return took


async def told(name: str, tablets: list[Tablet], path: str, pace: tuple[float, float], pid: int, *, bare_ms: float = 0.0) -> float:
    """Open a page from all tablets, print how long it took, and return the server's processor time for one [ms]."""
    before = cpu_s(pid)
    took = await paced(tablets, path, *pace)
    each_ms = 1000 * (cpu_s(pid) - before) / len(took)
    cuts = statistics.quantiles(took, n=100)
    ratio = f", {each_ms / bare_ms:.0f} x the bare page" if bare_ms else ""
    waits = f"p50 {cuts[49]:7.1f} ms   p99 {cuts[98]:7.1f} ms"
    print(f"  {name:<18} {len(took):5d} asked   {waits}   server's processor {each_ms:6.1f} ms each{ratio}", flush=True)
    return each_ms


async def pages(server: tuple[int, int], bare_server: tuple[int, int], every_s: float, for_s: float) -> None:
    (port, pid), (bare_port, bare_pid) = server, bare_server
    tablets, bare = [Tablet(port) for _ in range(TABLETS)], [Tablet(bare_port) for _ in range(TABLETS)]
    for tablet in tablets:
        await tablet.sign_in()
    first = tablets[0]
    for _ in range(600):  # the day is being planned
        if (await first.ask("/work"))[0] == 200:
            break
        await asyncio.sleep(0.5)
    print(f"{TABLETS} tablets, each opens a page every {every_s:g} s for {for_s:g} s")
    pace = (every_s, for_s)
    bare_ms = await told("bare hello page", bare, "/", pace, bare_pid)
    asked = (("My work", "/work"), ("its data, anew", "/work.json"), ("the day", f"/day/{DAY}"), ("May I use it?", "/standing"))
    for name, path in asked:
        await told(name, tablets, path, pace, pid, bare_ms=bare_ms)
    print("bytes of program, gzipped, that a page brings the first time (kept in the tablet then)")
    for name, path in (("My work", "/work"), ("the day", f"/day/{DAY}"), ("May I use it?", "/standing"), ("sign in", "/sign-in")):
        scripts, styles = await program(first, path)
        share = (scripts + styles) / 1000 / GOAL_KB
        print(f"  {name:<34} JS {scripts / 1000:5.1f} kB   CSS {styles / 1000:5.1f} kB   {share:.2f} of the {GOAL_KB} kB that may be")


async def boards(server: tuple[int, int], entries: int = 10) -> None:
    """Let all tablets look at the wall board, enter something, and print how long until each shows it."""
    port, pid = server
    writer = Tablet(port)
    await writer.sign_in()
    for _ in range(600):  # the day is being planned
        if (await writer.ask("/work"))[0] == 200:
            break
        await asyncio.sleep(0.5)
    _, _, me = await writer.ask("/me")
    found = re.search(r'name="token" value="([^"]+)"', me.decode())
    assert found
    arrived: list[asyncio.Queue[float]] = [asyncio.Queue() for _ in range(TABLETS)]
    looking = [asyncio.create_task(look(port, queue)) for queue in arrived]
    for queue in arrived:
        await queue.get()  # the board as it is
    delays, writes, before = list[float](), list[float](), cpu_s(pid)
    for number in range(entries):
        act = "return" if number % 2 else "stop"
        body = f"token={found[1]}&subject=machine:bath%201&act={act}&reason=number+{number}".encode()
        for queue in arrived:  # what came by itself, such as a new plan, is no answer to this entry
            while not queue.empty():
                queue.get_nowait()
        began = time.perf_counter()
        status, _, _ = await writer.ask("/lead/service", body, "application/x-www-form-urlencoded")
        assert status == 303, status
        writes.append(1000 * (time.perf_counter() - began))
        delays += [1000 * (await asyncio.wait_for(queue.get(), 30) - began) for queue in arrived]
        await asyncio.sleep(2.5)
    each_ms = 1000 * (cpu_s(pid) - before) / entries
    for task in looking:
        task.cancel()
    cuts = statistics.quantiles(delays, n=100)
    ratio = statistics.median(delays) / statistics.median(writes)
    print(f"{TABLETS} tablets look at the wall board; {entries} entries, from sending one until a tablet has the new board")
    print(f"  p50 {cuts[49]:.0f} ms   p99 {cuts[98]:.0f} ms   {ratio:.1f} x the durable answer   {each_ms:.0f} ms of processor an entry")


async def look(port: int, arrived: "asyncio.Queue[float]") -> None:
    """Read one stream of the board, and tell when each board came."""
    reader, out = await asyncio.open_connection("127.0.0.1", port, limit=1_000_000)
    out.write(f"GET /board/stream HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
    while line := await reader.readline():
        if line.startswith(b"event: board"):
            await arrived.put(time.perf_counter())


async def program(tablet: Tablet, path: str) -> tuple[int, int]:
    """Return the gzipped bytes of scripts and styles that a page loads, imports of modules included."""
    _, _, html = await tablet.ask(path)
    todo, sizes = set(re.findall(r'(?:src|href)="(/[^"]+\.(?:js|css))"', html.decode())), dict[str, int]()
    while todo:
        one = todo.pop()
        _, _, text = await tablet.ask(one)
        sizes[one] = len(gzip.compress(text))
        todo |= set(re.findall(r'(?:from|import) "(/[^"]+[.]js)"', text.decode())) - sizes.keys()
    return tuple(sum(size for name, size in sizes.items() if name.endswith(end)) for end in (".js", ".css"))  # type: ignore[return-value]


def batches(count: int, of: int) -> list[list[bytes]]:
    """Return for each tablet so many batches as its queue sends them."""
    from fettlebook.book.entries import Moment, Mono, new_entry
    from fettlebook.book.kinds import StepDone

    data = StepDone(duty="chair.between", step="between.flush", chair="chair 1", outlets=("turbine",), outcome="done")
    out = []
    for tablet in range(TABLETS):
        own = []
        for start in range(0, count * of, of):
            moments = [(n, Moment(NOW, "UTC", Mono(session="s", ms=n))) for n in range(start + 1, start + of + 1)]
            made = [new_entry(data, moment=moment, device=f"t{tablet}", n=n, by=WHO["person"]) for n, moment in moments]
            sent = [{"entry": json.loads(entry.encode())} for entry in made]
            own.append(json.dumps({"device": f"t{tablet}", "now": NOW, "highest_n": start + of, "entries": sent}).encode())
        out.append(own)
    return out


async def entries(server: tuple[int, int], bare_server: tuple[int, int], where: str) -> None:
    (port, pid), (bare_port, _) = server, bare_server
    bare = [Tablet(bare_port) for _ in range(TABLETS)]

    async def hello(tablet: Tablet) -> None:
        for _ in range(50):
            await tablet.ask("/")

    hellos = TABLETS * 50 / await each(bare, hello)
    for of, count in ((1, 25), (10, 10), (50, 4)):
        sending, tablets = batches(count, of), [Tablet(port) for _ in range(TABLETS)]
        began, before = time.perf_counter(), cpu_s(pid)
        answers = await asyncio.gather(*(send(tablet, own) for tablet, own in zip(tablets, sending, strict=True)))
        lasted = time.perf_counter() - began
        cuts = statistics.quantiles([ms for one in answers for ms in one], n=100)
        rate, posts = TABLETS * count * of / lasted, TABLETS * count / lasted
        print(
            f"  {where:<11} {of:3d} a request: {rate:7.0f} entries/s   p50 {cuts[49]:6.0f} ms   p99 {cuts[98]:6.0f} ms"
            f"   {posts / hellos:.2f} of the bare page's {hellos:.0f} requests/s"
            f"   server's processor {1000 * (cpu_s(pid) - before) / (TABLETS * count * of):.2f} ms an entry",
            flush=True,
        )


async def send(tablet: Tablet, own: list[bytes]) -> list[float]:
    """Send batch after batch; return how long each answer took [ms]."""
    took = []
    for body in own:
        began = time.perf_counter()
        status, _, answer = await tablet.ask("/entries", body)
        took.append((time.perf_counter() - began) * 1000)
        assert status == 200
        assert all(one["outcome"] == "kept" for one in json.loads(answer)["results"]), answer[:300]
    return took


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--serve", nargs="+", help="used by itself: run one of the servers")
    asked.add_argument("--every", type=float, default=2.0)
    asked.add_argument("--lasts", type=float, default=20.0)
    asked.add_argument("--board", action="store_true", help="only how soon the wall board shows an entry")
    given = asked.parse_args()
    if given.serve:
        return serve_bare() if given.serve[0] == "bare" else serve_entries(given.serve[1])
    print(machine("fastapi", "uvicorn", "sqlalchemy", "psycopg"))
    with tempfile.TemporaryDirectory() as folder, started(__file__, "--serve", "bare") as bare:
        subprocess.run([sys.executable, "-m", "fettlebook", "demo", folder, "--lived", "42"], check=True, stdout=subprocess.DEVNULL)
        files = [f"{folder}/practice.toml", f"{folder}/book.ics", "--data", f"{folder}/book.sqlite"]
        with started("-m", "fettlebook", "serve", *files, "--at", f"{DAY}T10:42", "--port", "0") as port:
            asyncio.run(boards(port))
            if given.board:
                return None
            asyncio.run(pages(port, bare, given.every, given.lasts))
        print(f"{TABLETS} tablets send entries as fast as they are answered, each durable before the answer")
        with started(__file__, "--serve", "entries", f"{folder}/bench.sqlite") as port:
            asyncio.run(entries(port, bare, "SQLite"))
        with cluster() as owner:
            if owner is None:
                print("  PostgreSQL is not installed here")
                return None
            plain = group_book(owner)
            with started(__file__, "--serve", "entries", plain) as port:
                asyncio.run(entries(port, bare, "PostgreSQL"))
    return None


def group_book(owner: str) -> str:
    """Make a group's book, and return the address for one who may only write entries."""
    import psycopg

    from fettlebook.book.stores import admit, prepare_group_book

    with psycopg.connect(owner.replace("+psycopg", ""), autocommit=True) as ruler:
        ruler.execute("CREATE ROLE plain LOGIN")
    prepare_group_book(owner)
    admit(owner, role="plain", practice="quayside")
    return owner.replace("owner@", "plain@")


if __name__ == "__main__":
    main()
