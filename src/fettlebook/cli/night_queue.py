"""A group's night over several machines: the jobs wait in a PostgreSQL database, and any machine that lends itself takes them.

In the database stand paths, states and outcomes (a plan names visits by opaque references only), never the content of a
file; outcomes are taken out as they are collected. The queue itself is a library's (docs/carry-on/decisions/0004).
"""

from __future__ import annotations

import asyncio
import time
import uuid
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from fettlebook.cli.night_group import Job, Outcome
from fettlebook.cli.night_job import run_apart
from fettlebook.errors import Mendable

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable, Sequence

    from procrastinate import App

QUEUE: Final = "fettlebook-night"
TASK: Final = "fettlebook.night"
TRIES: Final = 3  # a job whose machine vanished is given to another, so often in all
HEARTBEAT_S: Final = 5.0
LOOK_S: Final = 0.5
_MAKING: Final = 0x66746E67  # advisory lock: two machines that begin at once make the tables one after the other
_TABLE: Final = """
CREATE TABLE IF NOT EXISTS fettlebook_night (
    run text NOT NULL, name text NOT NULL, outcome jsonb NOT NULL, PRIMARY KEY (run, name)
)"""


def _conninfo(url: str) -> str:
    """Return the address as the driver wants it."""
    head, _, rest = url.partition("://")
    if head not in {"postgresql", "postgresql+psycopg"} or not rest:
        raise Mendable(f"{url!r:.60} is no address of a database", where="--queue", mend="Write postgresql://role@host/database.")
    return f"postgresql://{rest}"


@asynccontextmanager
async def _opened(url: str) -> AsyncIterator[App]:
    """Open the queue, its tables made where they are missing; raises `Mendable` where the database can't be used."""
    try:
        import psycopg  # noqa: PLC0415 - only who uses the queue needs the driver
        from procrastinate import App, PsycopgConnector  # noqa: PLC0415
    except ImportError:
        mend = "Install fettlebook with its `postgres` extra."
        raise Mendable("the parts for a queue are not installed", where="--queue", mend=mend) from None

    address = _conninfo(url)
    try:
        async with await psycopg.AsyncConnection.connect(address) as connection:
            await connection.execute("SELECT pg_advisory_xact_lock(%s)", [_MAKING])
            found = await (await connection.execute("SELECT to_regclass('procrastinate_jobs')")).fetchone()
            if found is None or found[0] is None:
                from procrastinate.schema import SchemaManager  # noqa: PLC0415

                await connection.execute(SchemaManager.get_schema().encode())
            await connection.execute(_TABLE.encode())
    except psycopg.Error as error:
        said = str(error).strip().splitlines()
        mend = "Check the address, that the server runs, and that this role may make tables there."
        raise Mendable(f"the queue can't be used: {said[0] if said else error}", where="--queue", mend=mend) from None
    app = App(connector=PsycopgConnector(conninfo=address))
    _add_task(app)
    async with app.open_async():
        yield app


def _add_task(app: App) -> None:
    @app.task(name=TASK, queue=QUEUE)
    async def plan_one(run: str, job: dict[str, Any]) -> None:
        outcome = await asyncio.to_thread(run_apart, Job(**job))
        await _keep(app, run, outcome)


async def _keep(app: App, run: str, outcome: Outcome) -> None:
    import json  # noqa: PLC0415

    await app.connector.execute_query_async(
        "INSERT INTO fettlebook_night (run, name, outcome) VALUES (%(run)s, %(name)s, %(outcome)s) ON CONFLICT DO NOTHING",
        run=run,
        name=outcome.name,
        outcome=json.dumps(outcome.as_data()),
    )


# --- a machine that lends itself -------------------------------------------------------------------------------------


def lend(url: str, *, at_once: int, name: str, heartbeat_s: float = HEARTBEAT_S) -> None:
    """Plan what others put into the queue, until told to stop; what runs then is finished first."""

    async def work() -> None:
        async with _opened(url) as app:
            await app.run_worker_async(
                queues=[QUEUE],
                name=name,
                concurrency=at_once,
                fetch_job_polling_interval=2.0,
                update_heartbeat_interval=heartbeat_s,
                stalled_worker_timeout=6 * heartbeat_s,
            )

    asyncio.run(work())


# --- the machine that hands over and collects ------------------------------------------------------------------------


@dataclass(slots=True)
class _Waiting:
    """What was handed over and has not come back: name -> number of the job."""

    ids: dict[str, int] = field(default_factory=dict)


def plan_over_machines(
    url: str, jobs: Sequence[Job], *, wait_s: float, told: Callable[[Outcome], None], heartbeat_s: float = HEARTBEAT_S
) -> tuple[Outcome, ...]:
    """Return the outcome of each job, worked out by whoever lends itself; `told` is called as each is there.

    Parameters
    ----------
    url
        Address of the database.
    jobs
        What to hand over.
    wait_s
        After so long what no machine has taken is taken back; what runs is still waited for.
    told
        Called with each outcome.
    heartbeat_s
        How often a machine that works says so; one that is silent for six times as long has vanished.
    """
    found: dict[str, Outcome] = {}

    def keep(outcome: Outcome) -> None:
        if outcome.name not in found:
            found[outcome.name] = outcome
            told(outcome)

    async def run() -> None:
        async with _opened(url) as app:
            await _hand_over(app, jobs, wait_s, keep, heartbeat_s)

    asyncio.run(run())
    return tuple(found[job.name] for job in jobs)


async def _hand_over(app: App, jobs: Sequence[Job], wait_s: float, keep: Callable[[Outcome], None], heartbeat_s: float) -> None:
    run, waiting = uuid.uuid4().hex, _Waiting()
    try:
        for job in jobs:
            waiting.ids[job.name] = await app.configure_task(TASK, queue=QUEUE).defer_async(run=run, job=job.as_data())
        until = time.monotonic() + wait_s
        while waiting.ids:
            await _collect(app, run, waiting, keep)
            await _give_to_another(app, run, waiting, keep, heartbeat_s)
            if waiting.ids and time.monotonic() > until:
                await _take_back(app, waiting, keep, f"no machine took it within {wait_s / 60:g} min")
            await asyncio.sleep(LOOK_S if waiting.ids else 0)
    finally:
        await _take_back(app, waiting, lambda _: None, "")
        await app.connector.execute_query_async("DELETE FROM fettlebook_night WHERE run = %(run)s", run=run)


async def _collect(app: App, run: str, waiting: _Waiting, keep: Callable[[Outcome], None]) -> None:
    rows = await app.connector.execute_query_all_async("DELETE FROM fettlebook_night WHERE run = %(run)s RETURNING outcome", run=run)
    for row in rows:
        outcome = Outcome.of(row["outcome"])
        waiting.ids.pop(outcome.name, None)
        keep(outcome)


async def _give_to_another(app: App, run: str, waiting: _Waiting, keep: Callable[[Outcome], None], heartbeat_s: float) -> None:
    """Put back what a machine had that vanished; one that ended without an outcome, or was put back too often, is lost."""
    manager = app.job_manager
    stalled = {j.id: j for j in await manager.get_stalled_jobs(queue=QUEUE, seconds_since_heartbeat=6 * heartbeat_s)}
    states = await _states(app, waiting)
    for name, number in list(waiting.ids.items()):
        job = stalled.get(number)
        ended = states.get(number) not in {"todo", "doing"}
        if job is not None and job.attempts + 1 < TRIES:
            await manager.retry_job(job)
        elif job is not None or (ended and not await _is_there(app, run, name)):
            del waiting.ids[name]
            keep(Outcome(name, "lost", "the machine that planned it stopped in the middle"))


async def _states(app: App, waiting: _Waiting) -> dict[int, str]:
    numbers = list(waiting.ids.values())
    rows = await app.connector.execute_query_all_async(
        "SELECT id, status::text AS status FROM procrastinate_jobs WHERE id = ANY(%(numbers)s)", numbers=numbers
    )
    return {row["id"]: row["status"] for row in rows}


async def _is_there(app: App, run: str, name: str) -> bool:
    """Whether an outcome came between looking for outcomes and looking at states."""
    rows = await app.connector.execute_query_all_async(
        "SELECT 1 AS one FROM fettlebook_night WHERE run = %(run)s AND name = %(name)s", run=run, name=name
    )
    return bool(rows)


async def _take_back(app: App, waiting: _Waiting, keep: Callable[[Outcome], None], why: str) -> None:
    """Take back what no machine has begun."""
    for name, number in list(waiting.ids.items()):
        if await app.job_manager.cancel_job_by_id_async(number, abort=False):
            del waiting.ids[name]
            keep(Outcome(name, "not taken", why))
