"""Forms that were sent after the session had locked: kept until their person unlocks it, then sent by a touch, not before."""

import secrets
import threading
import time
from collections import OrderedDict
from dataclasses import dataclass
from typing import Final
from urllib.parse import parse_qsl

from starlette.requests import Request

from fettlebook.web.people import TOKEN

MOST_BYTES: Final = 16_384
MOST_KEPT: Final = 60
KEPT_S: Final = 900.0


@dataclass(frozen=True, slots=True)
class KeptForm:
    """A form as it was sent; its fields in order, without the token."""

    device: str
    person: str
    address: str
    fields: tuple[tuple[str, str], ...]
    at: float


class KeptForms:
    """The forms that wait, in memory only; the oldest make room."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, KeptForm] = OrderedDict()
        self._lock = threading.Lock()

    async def keep(self, request: Request, device: str, person: str) -> str:
        """Keep what a request sends; return its ticket, empty where it is no plain form or too large."""
        length = request.headers.get("content-length", "")
        plain = request.headers.get("content-type", "").startswith("application/x-www-form-urlencoded")
        if not plain or not length.isdigit() or int(length) > MOST_BYTES:
            return ""
        try:
            fields = parse_qsl((await request.body()).decode("ascii"), keep_blank_values=True, max_num_fields=200)
        except ValueError:
            return ""
        address = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        ticket = secrets.token_urlsafe(18)
        with self._lock:
            self._kept[ticket] = KeptForm(device, person, address, tuple(f for f in fields if f[0] != TOKEN), time.monotonic())
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
        return ticket

    def take(self, ticket: str, device: str, person: str) -> KeptForm | None:
        """Give a form back to the person and device that sent it, once; None where there is none of theirs."""
        with self._lock:
            held = self._kept.get(ticket)
            if held is None or (held.device, held.person) != (device, person):
                return None
            del self._kept[ticket]
        return held if time.monotonic() - held.at < KEPT_S else None
