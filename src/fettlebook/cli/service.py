"""`fettlebook service`: what lets the pages start with the machine."""

from __future__ import annotations

import click

from fettlebook.cli.options import DATA


@click.command()
@click.argument("practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=str))
@click.argument("book_file", metavar="BOOK.ics", type=click.Path(path_type=str))
@DATA
@click.option("--host", metavar="ADDRESS", help="As for serve: its address in the house.")
@click.option("--port", type=click.IntRange(1, 65535), default=8321, show_default=True, help="As for serve.")
@click.option("--backups", metavar="FOLDER", help="As for serve: where each day's backup goes.")
@click.option("--arrivals", metavar="FOLDER", help="As for serve: what machines save into it is taken in.")
@click.option("--user", metavar="NAME", help="The user of this machine who runs it; the present one if left out.")
@click.option("-o", "--output", metavar="FILE", help="Write it there; left out: print it.")
def service(
    *,
    practice_file: str,
    book_file: str,
    data: str | None,
    host: str | None,
    port: int,
    backups: str | None,
    arrivals: str | None,
    user: str | None,
    output: str | None,
) -> None:
    """Print the unit with which systemd starts the pages at boot, starts them again after a fault, and stops them cleanly.

    Where there is no systemd, any starter that runs the line behind ExecStart= will do.

    Exit status: 0 done; 2 nothing could be done.
    """
    import getpass  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    import sys  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.cli.whole_file import write_whole  # noqa: PLC0415
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.practice.load import load_practice  # noqa: PLC0415

    practice = Path(practice_file).resolve()
    name = load_practice(practice).practice.name
    book, appointments = Path(data).resolve() if data else practice.with_name("book.sqlite"), Path(book_file).resolve()
    if not appointments.exists():
        raise Mendable("there is no such file or folder", where=book_file, mend="Export the appointment book first, or name its folder.")
    words = [sys.executable, "-m", "fettlebook", "serve", str(practice), str(appointments), "--data", str(book), "--port", str(port)]
    words += ["--host", host] if host else []
    folders = []
    for option, folder in (("--backups", backups), ("--arrivals", arrivals)):
        if folder:
            folders.append(str(Path(folder).resolve()))
            words += [option, folders[-1]]
    unit = unit_text(name, words, user or getpass.getuser(), sorted({str(practice.parent), str(book.parent), *folders}))
    if output:
        write_whole(Path(output), unit)
        click.echo(f"{output}. Then: sudo cp {output} /etc/systemd/system/fettlebook.service && sudo systemctl enable --now fettlebook")
    else:
        click.echo(unit, nl=False)


def unit_text(name: str, words: list[str], user: str, writes: list[str]) -> str:
    """Return the unit's text: after the network, restarted after a fault, stopped by SIGTERM, and writing nowhere but where it must."""
    plain = " ".join("".join(one if one.isprintable() else " " for one in name).split()).replace("\\", "").replace("%", "%%")[:80]
    return f"""[Unit]
Description=fettlebook, {plain}
After=network-online.target time-sync.target
Wants=network-online.target

[Service]
ExecStart={" ".join(map(quoted, words))}
User={user}
Restart=on-failure
RestartSec=5
TimeoutStopSec=30
KillSignal=SIGTERM
UMask=0077
NoNewPrivileges=yes
PrivateTmp=yes
ProtectSystem=strict
ProtectHome=read-only
ReadWritePaths={" ".join(map(quoted, writes))}
StandardOutput=journal
StandardError=journal

[Install]
WantedBy=multi-user.target
"""


def quoted(word: str) -> str:
    """Return a word of a command as systemd reads it (systemd.service(5), command lines; systemd.syntax(7), quoting)."""
    safe = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$")
    return f'"{safe}"' if any(sign in word for sign in " \t\"'\\;") or not word else safe
