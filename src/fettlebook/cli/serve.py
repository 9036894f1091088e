"""`fettlebook serve`: the page on this machine."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    import socket
    from collections.abc import Callable
    from datetime import datetime
    from pathlib import Path

    from uvicorn import Server

    from fettlebook.cli.serve_beside import Asked
    from fettlebook.web.tls.authority import Certificates
    from fettlebook.web.tls.served import Served

PORT = 8321


@click.command()
@click.argument("practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=str))
@click.argument("book_file", metavar="BOOK.ics", type=click.Path(path_type=str))
@click.option(
    "--data",
    metavar="BOOK",
    help="The book of entries, made where there is none; book.sqlite if left out. A group: postgresql://role@host/database.",
)
@click.option("--host", default="127.0.0.1", show_default=True, help="Its address in the house: needs a certificate and a lead's PIN.")
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="0: any that is free.")
@click.option("--trust-port", type=click.IntRange(0, 65535), help="Where a new tablet begins, with --host; the next port if left out.")
@click.option("--lock-after", type=click.FloatRange(0.05, 720), default=5.0, metavar="MIN", help="Untouched so long, a session locks; 5.")
@click.option("--arrivals", metavar="FOLDER", help="Take in what machines and the laboratory save into this folder.")
@click.option("--backups", metavar="FOLDER", help="Each day's backup goes there, verified and tried; best on another disk.")
@click.option("--backup-at", type=click.DateTime(["%H:%M"]), default="13:00", show_default=True, metavar="HH:MM", help="When it is made.")
@click.option("--date", "day", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="The day that opens first; today if left out.")
@click.option(
    "--at", type=click.DateTime(["%Y-%m-%dT%H:%M"]), metavar="DATETHH:MM", help="Set the page's clock by hand, for training; it says so."
)
def serve(
    *,
    practice_file: str,
    book_file: str,
    data: str | None,
    host: str,
    port: int,
    trust_port: int | None,
    lock_after: float,
    arrivals: str | None,
    backups: str | None,
    backup_at: datetime,
    day: datetime | None,
    at: datetime | None,
) -> None:
    """Open the page on this machine: the day, the running times, the rules, the day sheet.

    It answers on this machine alone. With --host also in the house, encrypted: that needs a certificate
    (fettlebook certificate make), and that a lead has a PIN. It runs until Ctrl-C. The files are read again when they change.

    Exit status: 0 it ran and was stopped; 2 it could not start, the message says why.
    """
    from pathlib import Path  # noqa: PLC0415 - imports wait until they are needed: --help stays quick

    from fettlebook.cli.book_open import group_address  # noqa: PLC0415
    from fettlebook.cli.listening import listen  # noqa: PLC0415
    from fettlebook.cli.serve_beside import Asked  # noqa: PLC0415
    from fettlebook.cli.serve_house import certificates_for  # noqa: PLC0415
    from fettlebook.web.guard import is_loopback  # noqa: PLC0415

    practice_path = Path(practice_file)
    if backups is not None and group_address(data):
        raise click.UsageError("A group's database is backed up by the group, with PostgreSQL's own tools: leave --backups out.")
    group = group_address(data)
    # A group's book has no file: what stands beside one (keys, people, certificates) is called after the practice file then.
    data_path = practice_path.with_suffix(".book") if group else Path(data) if data else practice_path.with_name("book.sqlite")
    house = None if is_loopback(host) else certificates_for(host, data_path, practice_path)
    listening = listen(host, port)
    with listening:
        beside = None if house is None else listen(host, trust_port if trust_port is not None else port and port + 1)
        opening = _Opening(
            listening,
            (practice_path, Path(book_file), data_path),
            day,
            at,
            lock_after * 60,
            house,
            beside,
            Asked(Path(arrivals) if arrivals else None, Path(backups) if backups else None, backup_at.time()),
            group,
        )
        _run(opening)


@dataclass(frozen=True)
class _Opening:
    """What the pages are opened with; certificates and the socket of the page of trust where other machines may reach them."""

    listening: socket.socket
    files: tuple[Path, Path, Path]
    day: datetime | None
    at: datetime | None
    idle_s: float
    certificates: Certificates | None
    trust: socket.socket | None
    asked: Asked  # what works beside the pages
    group: str | None  # the address of a group's database


def _run(opening: _Opening) -> None:
    import os  # noqa: PLC0415
    import signal  # noqa: PLC0415
    import sys  # noqa: PLC0415

    told_to_stop: list[int] = []

    def stop(signal_number: int, _frame: object) -> None:
        # An interrupt that strikes inside a library's clean-up can be swallowed there: the list remembers it.
        told_to_stop.append(signal_number)
        raise KeyboardInterrupt

    for stop_signal in (signal.SIGTERM, signal.SIGINT):
        signal.signal(stop_signal, stop)
    _log_only_ours()
    opened: list[Callable[[], bool]] = []
    try:
        server = _open(opening, opened)

        def leave(_signal_number: int, _frame: object) -> None:
            # An interrupt inside the event loop's own start would break it; and uvicorn, once it has stopped in good order,
            # raises the signal again, which must not kill.
            server.should_exit = True

        for stop_signal in (signal.SIGTERM, signal.SIGINT):
            signal.signal(stop_signal, leave)
        if not told_to_stop:
            server.run(sockets=[opening.listening])
    except BaseException:
        # Where an interrupt strikes while a module is imported, Python may wrap it in another error: the list knows better.
        if not told_to_stop:
            raise
    for stop_signal in (signal.SIGTERM, signal.SIGINT):
        signal.signal(stop_signal, signal.SIG_IGN)  # it is stopping already
    in_order = all(close() for close in opened)
    click.echo("Stopped.")
    if not in_order:
        # The solver is still searching in threads of its own and can't be told to stop; all that was noted is durable.
        sys.stdout.flush()
        os._exit(0)


def _log_only_ours() -> None:
    """Let only this program's own lines into the log: a library's warning can quote a calendar entry, and with it a name."""
    import logging  # noqa: PLC0415

    logging.captureWarnings(True)
    logging.getLogger().addHandler(logging.NullHandler())
    handler = logging.StreamHandler()
    handler.setFormatter(logging.Formatter("%(asctime)s %(message)s"))
    logging.getLogger("fettlebook").addHandler(handler)


def _open(opening: _Opening, opened: list[Callable[[], bool]]) -> Server:
    """Return the server, ready to run; what must be closed in order is put into `opened`."""
    listening, files, day, at = opening.listening, opening.files, opening.day, opening.at
    from datetime import UTC, datetime  # noqa: PLC0415
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    from fettlebook.practice.load import load_practice  # noqa: PLC0415
    from fettlebook.web.source import newest_book, read_whole  # noqa: PLC0415

    zone = ZoneInfo(load_practice(files[0]).practice.time_zone)
    read_whole(newest_book(files[1]))  # a wrong name is said at once, before the large imports

    import uvicorn  # noqa: PLC0415

    from fettlebook.cli.book_open import opener  # noqa: PLC0415
    from fettlebook.cli.serve_beside import open_beside  # noqa: PLC0415
    from fettlebook.web.app import create_app  # noqa: PLC0415
    from fettlebook.web.bench import Bench  # noqa: PLC0415
    from fettlebook.web.chain import Chain  # noqa: PLC0415
    from fettlebook.web.desk import Desk  # noqa: PLC0415
    from fettlebook.web.health.pages import health_routes  # noqa: PLC0415
    from fettlebook.web.leaving import Leaving  # noqa: PLC0415
    from fettlebook.web.people.opened import open_people  # noqa: PLC0415
    from fettlebook.web.record import Record  # noqa: PLC0415
    from fettlebook.web.training import TrainingClock  # noqa: PLC0415

    training = TrainingClock(at.replace(tzinfo=zone)) if at else None

    def clock() -> datetime:
        return (training() if training is not None else datetime.now(UTC)).astimezone(zone)

    start = day.date() if day else None
    group = opener(opening.group, files[2]) if opening.group else None
    chain = Chain(*files, clock=clock, around=start, group=group)
    desk, bench = Desk(chain, clock), Bench()
    record = Record(chain.store, desk)

    beside = open_beside(opening.asked, files[2], record, desk, appointments=files[1])

    def close() -> bool:
        bench.stop_all()  # it stops while the others are waited for
        beside.close()
        record.close()
        stopped = all([desk.close(wait_s=0.5), bench.close()])
        if stopped:
            chain.close()  # else the worker may still want to note something
        return stopped

    opened.append(close)
    people = open_people(files[2], desk, record, loopback=opening.certificates is None, idle_s=opening.idle_s)
    served = _served(opening)
    app = create_app(
        desk,
        start,
        training_clock=training or False,
        bench=bench,
        practice_file=files[0],
        record=record,
        people=people,
        served=served,
        watching=beside.watching,
        telling=beside.telling,
    )
    app.include_router(health_routes(app.state.pages, files, beside.backing_up, chain.store if opening.group else None))
    # No access log: it would only tell who looked when. A fault is logged with its number by the pages themselves.
    config = uvicorn.Config(app, log_level="warning", access_log=False, timeout_graceful_shutdown=2, server_header=False, lifespan="off")
    host, port = listening.getsockname()[:2]
    if served is None or opening.trust is None:
        click.echo(f"fettlebook is open at http://{f'[{host}]' if ':' in host else host}:{port}/ (Ctrl-C stops it)")
    else:
        from fettlebook.cli.serve_house import announce_here, open_trust_page, say_addresses  # noqa: PLC0415

        config.ssl_certfile = str(served.certificates.chain)
        opened.insert(0, open_trust_page(opening.trust, app.state.pages, served))
        opened.insert(0, announce_here(served, desk.reading.practice.practice.name))
        say_addresses(served)
    return Leaving(config, record.changed.close)


def _served(opening: _Opening) -> Served | None:
    """Return how the pages are reached from other machines, None where they are not."""
    if opening.certificates is None or opening.trust is None:
        return None
    from fettlebook.web.tls.served import Served  # noqa: PLC0415

    return Served(opening.certificates, opening.listening.getsockname()[1], opening.trust.getsockname()[1])
