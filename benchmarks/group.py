"""What a group costs: 500 practices with 40 tablets each on one PostgreSQL with its safe settings (fsync on), and what one practice adds.

`python benchmarks/group.py` (about four minutes; needs PostgreSQL). Two processes take the batches of 250 practices each, as a server's
door does: gate, seal, tree, commit. Database, servers and tablets share this machine. The peer in the same run: the same bytes, batches
and connections into a bare table without index of ids, tree or gate.
"""

import argparse
import hashlib
import json
import os
import random
import re
import resource
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

from book import cluster
from machine import machine

PRACTICES, TABLETS, SERVERS, HANDS = 500, 40, 2, 6
BATCH = 3  # entries that a tablet sends at once
EVERY_S = 180.0  # how often each tablet sends: 20,000 tablets make 111 batches and 333 entries a second
NOW = 1_795_600_000_000
TICK = os.sysconf("SC_CLK_TCK")


# --- one server of the two ----------------------------------------------------------------------------------------------------------


class Tablets:
    """Batches as tablets make them: ids that rise with time, a counter for each device."""

    def __init__(self, seed: int) -> None:
        from fettlebook.book.entries import Moment, new_entry
        from fettlebook.book.kinds import StepDone

        readings = {"flush_s": 30}
        data = StepDone(
            duty="chair.between", step="between.flush", chair="chair 1", outlets=("syringe",), outcome="done", readings=readings
        )
        made = new_entry(data, moment=Moment(NOW, "Europe/London"), device="tablet-3", n=1, by="ana", subjects=("chair:chair 1",))
        self.first, self.id = made.encode(), made.id.encode()
        self.chance, self.n = random.Random(seed), dict[tuple[int, int], int]()
        self.lock = threading.Lock()

    def batch(self, practice: int) -> tuple[str, list[bytes]]:
        tablet = self.chance.randrange(TABLETS) + 1
        with self.lock:
            start = self.n.get((practice, tablet), 0)
            self.n[practice, tablet] = start + BATCH
        device, made = f"tablet-{tablet}", []
        for n in range(start + 1, start + BATCH + 1):
            digest = hashlib.sha256(f"{practice} {tablet} {n}".encode()).hexdigest()
            at = f"{NOW + n * 20_000:012x}"
            new_id = f"{at[:8]}-{at[8:]}-7{digest[12:15]}-8{digest[15:18]}-{digest[18:30]}"
            one = self.first.replace(self.id, new_id.encode()).replace(b'"n":1,', b'"n":%d,' % n)
            made.append(one.replace(b"tablet-3", device.encode()).replace(b"chair 1", f"chair {n % 4 + 1}".encode()))
        return device, made


def serve_batches(url: str, first: int, count: int) -> None:
    """Take what to do from standard input, one line each (`paced SECONDS`, `flat SECONDS`, `bare SECONDS`); print what came of it."""
    from fettlebook.book.door import Door
    from fettlebook.book.entries import Moment
    from fettlebook.book.kinds import PracticeFileVersion
    from fettlebook.book.stores import open_group_book
    from fettlebook.demo import practice_text

    bare_kb = rss_kb()
    store = open_group_book(url, f"practice {first}")
    doors, text = {}, practice_text().decode()
    for number in range(first, first + count):
        doors[number] = Door(store.of(f"practice {number}"))
        mine = text.replace('id = "quayside"', f'id = "practice {number}"', 1)
        doors[number].note(PracticeFileVersion.of(mine), moment=Moment(NOW, "Europe/London"))
    tablets, cpu = Tablets(first), time.process_time()
    for number, door in doors.items():  # a server's first batch of a practice reads its practice file: once for each start
        device, batch = tablets.batch(number)
        door.append(batch, now=NOW, via=device, from_tablet=True)
    say(first_ms=1000 * (time.process_time() - cpu) / count)
    for line in sys.stdin:
        how, seconds_text = line.split()
        say(**_do(how, float(seconds_text), doors, tablets, url), rss_kb=rss_kb(), bare_kb=bare_kb)


def _do(how: str, seconds: float, doors: dict[int, Any], tablets: Tablets, url: str) -> dict[str, Any]:
    took: list[float] = []
    mine = list(doors)
    per_s = len(mine) * TABLETS / EVERY_S
    began, cpu = time.perf_counter(), time.process_time()
    turn, lock = iter(range(10**9)), threading.Lock()
    failed: list[BaseException] = []

    def work() -> None:
        put = _bare(url) if how == "bare" else None
        try:
            while True:
                with lock:
                    number = next(turn)
                    practice = tablets.chance.choice(mine)
                due = began + number / per_s if how == "paced" else time.perf_counter()
                if due > began + seconds:
                    return
                time.sleep(max(0.0, due - time.perf_counter()))
                device, batch = tablets.batch(practice)
                if put is not None:
                    put(practice, batch)
                else:
                    results = doors[practice].append(batch, now=NOW, via=device, from_tablet=True)
                    assert all(hasattr(one, "seq") for one in results), results
                took.append(time.perf_counter() - due)
        except BaseException as error:
            failed.append(error)

    hands = [threading.Thread(target=work) for _ in range(HANDS)]
    for hand in hands:
        hand.start()
    for hand in hands:
        hand.join()
    if failed:
        raise failed[0]
    return {"took": took, "wall_s": time.perf_counter() - began, "cpu_s": time.process_time() - cpu}


def _bare(url: str) -> Any:
    """Return what inserts the bytes of a batch into a bare table, over a connection of its own."""
    import psycopg

    connection = psycopg.connect(url.replace("+psycopg", ""))

    def put(practice: int, batch: list[bytes]) -> None:
        names = [f"practice {practice}"] * len(batch)
        connection.execute("INSERT INTO bare (practice, leaf) SELECT * FROM unnest(%b::text[], %b::bytea[])", (names, batch), prepare=True)
        connection.commit()

    return put


def say(**what: Any) -> None:
    """Print one line of JSON."""
    print(json.dumps(what), flush=True)


def rss_kb() -> int:
    """Return this process's memory in use [kB]."""
    return int(re.search(r"VmRSS:\s+(\d+)", Path("/proc/self/status").read_text())[1])  # type: ignore[index]


# --- the database's processes -------------------------------------------------------------------------------------------------------


def of_database(url: str) -> tuple[float, float]:
    """Return processor time [s] and memory (proportional share) [MB] of all processes of the database at this address."""
    port = re.search(r":(\d+)/", url)[1]  # type: ignore[index]
    found = [p for p in Path("/proc").iterdir() if p.name.isdigit() and _is_database(p, port)]
    head = found[0].name
    cpu, memory_kb = 0.0, 0
    for place in Path("/proc").iterdir():
        try:
            if not place.name.isdigit():
                continue
            fields = (place / "stat").read_text().rpartition(")")[2].split()
            if place.name != head and fields[1] != head:
                continue
            ended = (int(fields[13]) + int(fields[14])) if place.name == head else 0
            cpu += (int(fields[11]) + int(fields[12]) + ended) / TICK
            memory_kb += int(re.search(r"Pss:\s+(\d+)", (place / "smaps_rollup").read_text())[1])  # type: ignore[index]
        except (OSError, TypeError):
            continue
    return cpu, memory_kb / 1000


def _is_database(place: Path, port: str) -> bool:
    try:
        return f"-p\0{port}\0".encode() in (place / "cmdline").read_bytes() and b"postgres" in (place / "cmdline").read_bytes()
    except OSError:
        return False


# --- the run ------------------------------------------------------------------------------------------------------------------------


def ask(servers: list[subprocess.Popen[str]], line: str) -> list[dict[str, Any]]:
    for server in servers:
        assert server.stdin
        server.stdin.write(f"{line}\n")
        server.stdin.flush()
    return [json.loads(server.stdout.readline()) for server in servers if server.stdout]


def told(name: str, answers: list[dict[str, Any]], database_s: float) -> tuple[float, float, float]:
    """Print one line; return entries a second, and processor time of servers and of the database for a batch [ms]."""
    took = sorted(1000 * one for answer in answers for one in answer["took"])
    cuts = statistics.quantiles(took, n=100)
    rate = len(took) * BATCH / max(answer["wall_s"] for answer in answers)
    own, theirs = 1000 * sum(a["cpu_s"] for a in answers) / len(took), 1000 * database_s / len(took)
    print(
        f"  {name:<22}{rate:7.0f} entries/s   p50 {cuts[49]:7.1f} ms   p99 {cuts[98]:7.1f} ms   {len(took):6d} batches"
        f"   processor a batch: servers {own:5.2f} ms, database {theirs:5.2f} ms",
        flush=True,
    )
    return rate, own, theirs


def one_practice(owner: str, plain: str, lived_days: int) -> tuple[float, float, float]:
    """Print what one practice's own server and night cost; return memory [MB], idle share of a core, night [s]."""
    import httpx

    from fettlebook.book.stores import admit, open_book, open_group_book

    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        command = [sys.executable, "-m", "fettlebook"]
        subprocess.run([*command, "demo", scratch, "--lived", str(lived_days)], check=True, capture_output=True)
        admit(owner, role="plain", practice="quayside")
        with open_book(folder / "book.sqlite", "quayside", write=False) as old, open_group_book(plain, "quayside") as new:
            head = old.head()
            new.take_sealed((bytes(row.leaf) for row in old.rows()), size=head.size, root=head.root)
        files = [str(folder / "practice.toml"), str(folder / "book.ics")]
        server = subprocess.Popen([*command, "serve", *files, "--data", plain, "--port", "0"], stdout=subprocess.PIPE, text=True)
        try:
            assert server.stdout
            address = re.search(r"http://[\d.:]+", server.stdout.readline())[0]  # type: ignore[index]
            with httpx.Client(base_url=address, timeout=60, headers={"Origin": address}) as client:
                client.post("/sign-in", data={"person": "ana", "next": "/standing"})
                while client.get("/standing").status_code != 200:
                    time.sleep(0.5)
            stat = Path(f"/proc/{server.pid}/stat")
            cpu = [int(x) for x in stat.read_text().rpartition(")")[2].split()[11:13]]
            time.sleep(20)
            idle = (sum(int(x) for x in stat.read_text().rpartition(")")[2].split()[11:13]) - sum(cpu)) / TICK / 20
            memory = int(re.search(r"VmRSS:\s+(\d+)", Path(f"/proc/{server.pid}/status").read_text())[1]) / 1000  # type: ignore[index]
        finally:
            server.terminate()
            server.wait(20)
        group = folder / "group.toml"
        group.write_text(f'[[practices]]\nname = "q"\npractice = "practice.toml"\nappointments = "book.ics"\nbook = "{plain}"\n')
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        look = [*command, "group", str(group), "-r", str(folder / "r"), "--look"]
        subprocess.run(look, check=False, capture_output=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        look_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        subprocess.run([*command, "night", str(group), "-o", str(folder / "r"), "--limit", "5"], check=False, capture_output=True)
        last = resource.getrusage(resource.RUSAGE_CHILDREN)
        night_s = last.ru_utime + last.ru_stime - after.ru_utime - after.ru_stime
    print(f"one practice, its book of {head.size:,} entries in the same database ({lived_days} invented days)")
    print(f"  its own server: {memory:.0f} MB, {100 * idle:.1f} % of one core while nobody asks", flush=True)
    print(f"  a look at its standing at night {look_s:.1f} s of processor, a plan with --limit 5 {night_s:.1f} s", flush=True)
    return memory, idle, look_s + night_s


def main(seconds: float, lived_days: int) -> None:
    """Run all of it."""
    import psycopg

    from fettlebook.book.stores import admit, prepare_group_book

    print(machine("psycopg", "sqlalchemy"))
    with cluster() as owner:
        if owner is None:
            raise SystemExit("PostgreSQL is not installed here")
        with psycopg.connect(owner.replace("+psycopg", ""), autocommit=True) as ruler:
            ruler.execute("CREATE ROLE plain LOGIN")
            ruler.execute("CREATE TABLE bare (practice text NOT NULL, seq bigserial PRIMARY KEY, leaf bytea NOT NULL)")
            ruler.execute("GRANT INSERT ON bare TO plain; GRANT USAGE ON SEQUENCE bare_seq_seq TO plain")
            prepare_group_book(owner)
            admit(owner, role="plain", practice="practice 0")
            ruler.execute(
                "INSERT INTO access (role, practice) SELECT 'plain', 'practice ' || n FROM generate_series(1, %s) AS n", [PRACTICES]
            )
            print(f"PostgreSQL {ruler.info.server_version // 10000}, fsync {ruler.execute('SHOW fsync').fetchone()[0]}")  # type: ignore[index]
        plain = owner.replace("owner@", "plain@")
        each = PRACTICES // SERVERS
        command = [sys.executable, __file__, "--server", plain]
        servers = [
            subprocess.Popen([*command, str(k * each), str(each)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
            for k in range(SERVERS)
        ]
        try:
            firsts = [json.loads(server.stdout.readline())["first_ms"] for server in servers if server.stdout]
            print(f"{PRACTICES} practices, {PRACTICES * TABLETS:,} tablets, each sends {BATCH} entries every {EVERY_S:g} s", flush=True)
            print(f"  the first batch of a practice after a start: {statistics.mean(firsts):.0f} ms of processor", flush=True)
            runs = {}
            for name, line in (("at the stated rate", "paced"), ("as fast as it goes", "flat"), ("bare table, the same", "bare")):
                before = of_database(owner)[0]
                answers = ask(servers, f"{line} {seconds if line == 'paced' else seconds / 2}")
                runs[line] = told(name, answers, of_database(owner)[0] - before)
            print(f"  ratio to the bare table: {runs['flat'][0] / runs['bare'][0]:.2f}")
            for answer in answers:
                own = (answer["rss_kb"] - answer["bare_kb"]) / each
                print(f"  a server of {each} practices: {answer['rss_kb'] / 1000:.0f} MB ({own:.0f} kB a practice beside the bare program)")
            print(f"  the database's processes: {of_database(owner)[1]:.0f} MB")
        finally:
            for server in servers:
                server.kill()
                server.wait()
        one_practice(owner, plain, lived_days)
        batches = 40 * 8 * 3600 / EVERY_S
        cpu_s = batches * (runs["paced"][1] + runs["paced"][2]) / 1000
        print(f"a practice's day at the stated rate ({batches:,.0f} batches in 8 h): {cpu_s:.0f} s of processor for what comes in")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--server"]:
        serve_batches(sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
    else:
        parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
        parser.add_argument("--seconds", type=float, default=60.0)
        parser.add_argument("--lived", type=int, default=14)
        given = parser.parse_args()
        main(given.seconds, given.lived)
