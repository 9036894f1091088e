"""Changing single values in a practice file and nothing else: every other byte stays as its writer left it.

A changed text is only ever put in place when it reads as the practice that was meant, and when the file is still the one
that was read. What stood there is then replaced in one step, so that nobody finds half a file.
"""

import contextlib
import json
import os
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Final

from fettlebook.errors import Mendable
from fettlebook.practice.lines import KeyPath, value_spans
from fettlebook.practice.load import Loaded, read_practice, read_practice_file
from fettlebook.practice.model import MachineLog, Outlet, Practice, Strips

BOM = b"\xef\xbb\xbf"


def outlet_path(practice: Practice, chair_id: str, outlet_id: str) -> KeyPath:
    """Return the key path of an outlet.

    Raises
    ------
    Mendable
        The practice has no such chair, or the chair no such outlet; the message lists those that there are.
    """
    for number, chair in enumerate(practice.chairs):
        if chair.id == chair_id:
            for place, outlet in enumerate(chair.outlets):
                if outlet.id == outlet_id:
                    return ("chairs", number, "outlets", place)
            have = ", ".join(o.id for o in chair.outlets)
            raise Mendable(f'{chair_id} has no outlet "{outlet_id}"', where="outlet", mend=f"Choose one of: {have}.")
    have = ", ".join(c.id for c in practice.chairs)
    raise Mendable(f'the practice has no chair "{chair_id}"', where="chair", mend=f"Choose one of: {have}.")


def read_to_change(path: Path) -> tuple[Loaded, bytes]:
    """Return what a practice file holds, and its bytes as they were read.

    Raises
    ------
    Mendable
        The file can't be read, has errors (all are told), or is being changed at this moment.
    """
    loaded = read_practice_file(path)
    if loaded.practice is None:
        raise Mendable.of(loaded.errors)
    text = path.read_bytes()
    if read_practice(text, path.name).digest != loaded.digest:
        raise Mendable("the file is being changed right now", where=str(path), mend="Do it again when it is saved.")
    return loaded, text


def with_flow(practice: Practice, path: KeyPath, flow_ml_min: float, measured_on: date, within_pct: float | None = None) -> Practice:
    """Return the practice with the flow of one outlet, measured on a day within some per cent; None leaves the per cent as they are."""
    changed: dict[str, object] = {"flow_ml_min": flow_ml_min, "measured_on": measured_on, "typical": False}
    if within_pct is not None:
        changed["flow_within_pct"] = within_pct
    return _with_outlet(practice, path, changed)


def _with_outlet(practice: Practice, path: KeyPath, changed: Mapping[str, object]) -> Practice:
    _, chair_number, _, outlet_number = path
    chairs = list(practice.chairs)
    chair = chairs[int(chair_number)]
    outlets: list[Outlet] = list(chair.outlets)
    outlets[int(outlet_number)] = outlets[int(outlet_number)].model_copy(update=changed)
    chairs[int(chair_number)] = chair.model_copy(update={"outlets": tuple(outlets)})
    return practice.model_copy(update={"chairs": tuple(chairs)})


def set_flow(text: bytes, path: KeyPath, flow_ml_min: float, measured_on: date, within_pct: float | None = None) -> bytes:
    """Return the text of a practice file with the flow of one outlet, its day of measurement and its range.

    Parameters
    ----------
    text
        The file's bytes, which `read_practice` took without an error.
    path
        Key path of the outlet, from `outlet_path`.
    flow_ml_min
        Measured flow [mL/min].
    measured_on
        Day of the measurement.
    within_pct
        Range of the flow, up and down [%]; None leaves what stands there.

    Returns
    -------
    bytes
        The text; only these values differ. What was not there stands behind the flow.

    Raises
    ------
    Mendable
        The outlet's flow does not stand where it can be replaced; nothing is guessed then.
    """
    values = {"flow_ml_min": _number(flow_ml_min), "measured_on": measured_on.isoformat().encode()}
    if within_pct is not None:
        values["flow_within_pct"] = _number(within_pct)
    if (*path, "typical") in value_spans(text.removeprefix(BOM)):
        values["typical"] = b"false"
    return set_values(text, path, values, beside=("flow_ml_min",))


def with_strips(practice: Practice, path: KeyPath, strips: Strips) -> Practice:
    """Return the practice with what strips said of one outlet."""
    return _with_outlet(practice, path, {"strips": strips})


def set_strips(text: bytes, path: KeyPath, strips: Strips) -> bytes:
    """Return the text of a practice file with what strips said of one outlet; parameters and errors as for `set_flow`."""
    said = ", ".join(f"{key} = {value if isinstance(value, date) else _number(value).decode()}" for key, value in strips)
    return set_values(text, path, {"strips": f"{{ {said} }}".encode()})


def machine_path(practice: Practice, machine_id: str) -> KeyPath:
    """Return the key path of a machine; raises `Mendable` where the practice has none of that id."""
    for number, machine in enumerate(practice.machines):
        if machine.id == machine_id:
            return ("machines", number)
    have = ", ".join(m.id for m in practice.machines)
    raise Mendable(f'the practice has no machine "{machine_id}"', where="machine", mend=f"Choose one of: {have}.")


def with_log_form(practice: Practice, path: KeyPath, log: MachineLog) -> Practice:
    """Return the practice with the form of one machine's logs."""
    machines = list(practice.machines)
    machines[int(path[1])] = machines[int(path[1])].model_copy(update={"log": log})
    return practice.model_copy(update={"machines": tuple(machines)})


def set_log_form(text: bytes, path: KeyPath, log: MachineLog) -> bytes:
    """Return the text of a practice file with the form of one machine's logs, behind its day's cycle; errors as for `set_flow`."""
    said = ", ".join(f"{key} = {_inline(value)}" for key, value in log if value is not None and value != {})
    return set_values(text, path, {"log": f"{{ {said} }}".encode()}, beside=("day_cycle",))


def _inline(value: object) -> str:
    """Return a value as TOML writes it on one line: its basic strings are those of JSON."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(str(key), ensure_ascii=False)} = {_inline(one)}" for key, one in value.items()) + " }"
    return json.dumps(value, ensure_ascii=False)


_FLOW: Final = ("flow_ml_min", "measured_on", "flow_within_pct")


def set_values(text: bytes, path: KeyPath, values: Mapping[str, bytes], *, beside: Sequence[str] = _FLOW) -> bytes:
    """Put values into a table: in their old place, or new behind the last of those that they stand beside (its first must be there).

    Parameters
    ----------
    values
        By key, each as TOML writes it.

    Raises
    ------
    Mendable
        The place was not found; nothing is guessed then.
    """
    mark = BOM if text.startswith(BOM) else b""
    body = text.removeprefix(BOM)
    places = value_spans(body)
    flow_at = places.get((*path, beside[0]))
    headed = [key for key in values if (*path, key) not in places and any(p[: len(path) + 1] == (*path, key) for p in places)]
    if flow_at is None or headed:
        what = headed[0] if headed else beside[0]
        raise Mendable(f"the place of {what} was not found", where="practice file", mend="Write the values in by hand.")
    flow_at = max(places[*path, key] for key in beside if (*path, key) in places)
    changes = [(places[*path, key], value) for key, value in values.items() if (*path, key) in places]
    new = [key.encode() + b" = " + value for key, value in values.items() if (*path, key) not in places]
    if new and path in places:  # { id = ..., flow_ml_min = ... } on one line
        changes.append(((flow_at[1], flow_at[1]), b"".join(b", " + entry for entry in new)))
    elif new:  # [[chairs.outlets]]: lines of their own, as deep as the flow's
        start = body.rfind(b"\n", 0, flow_at[0]) + 1
        end = body.find(b"\n", flow_at[1])
        end = len(body) if end < 0 else end
        indent = body[start : start + len(body[start:end]) - len(body[start:end].lstrip(b" \t"))]
        newline = b"\r\n" if body[:end].endswith(b"\r") else b"\n"
        line_end = end - 1 if newline == b"\r\n" else end
        changes.append(((line_end, line_end), b"".join(newline + indent + entry for entry in new)))
    for (first, after), value in sorted(changes, reverse=True):
        body = body[:first] + value + body[after:]
    return mark + body


def _number(value: float) -> bytes:
    return (f"{value:g}" if value % 1 else f"{value:.1f}").encode()


def replace_practice_file(path: Path, loaded: Loaded, before: bytes, after: bytes, meant: Practice) -> None:
    """Put a changed text in the place of the practice file, or leave the file as it is.

    Parameters
    ----------
    path
        The file. A link is followed: what it leads to is replaced.
    loaded
        What was read from `before`.
    before
        The bytes that were read.
    after
        The bytes that shall stand there.
    meant
        The practice that `after` must read as; a text that reads as anything else is refused.

    Raises
    ------
    Mendable
        `after` has errors or reads as another practice, the file was changed in the meantime, or it can't be written.
    """
    again = read_practice(after, loaded.file)
    if again.practice is None:
        raise Mendable.of(again.errors)
    if again.practice != meant:
        raise Mendable(
            "the changed file would not read as was meant", where=loaded.file, mend="Write the values in by hand; nothing was changed."
        )
    target = path.resolve()
    draft = ""
    try:
        with _held(target):
            if not os.access(target, os.W_OK):
                raise Mendable("the file is read-only", where=str(path), mend="Allow writing to it, or write the values in by hand.")
            if target.read_bytes() != before:
                raise Mendable(
                    "the file was changed by someone else in the meantime", where=str(path), mend="Do it again; nothing was written."
                )
            handle, draft = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
            with os.fdopen(handle, "wb") as out:
                out.write(after)
                out.flush()
                os.fsync(out.fileno())
            _like(draft, target)
            os.replace(draft, target)
            draft = ""
            _keep_folder(target.parent)
    except OSError as error:
        raise Mendable(
            f"can't be written: {error.strerror}; nothing was changed", where=str(path), mend="Give this user the right to write there."
        ) from None
    finally:
        if draft:
            with contextlib.suppress(OSError):
                os.unlink(draft)


def _like(draft: str, target: Path) -> None:
    """Give the draft the rights of the file, and its owner where this user may."""
    stat = target.stat()
    if hasattr(os, "chown"):
        with contextlib.suppress(OSError):
            os.chown(draft, stat.st_uid, stat.st_gid)
    os.chmod(draft, stat.st_mode & 0o7777)


def _keep_folder(folder: Path) -> None:
    """Have the new name survive a power cut too, where the system can do that."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextlib.contextmanager
def _held(target: Path) -> Iterator[None]:
    """Keep a second writer of this program out while the file is compared and replaced; where locks exist."""
    with target.open("rb") as stream:
        try:
            import fcntl  # noqa: PLC0415 - not on every system

            fcntl.flock(stream, fcntl.LOCK_EX)
        except ImportError:
            pass
        yield
