"""A browser that knocks: it keeps cookies, and its forms carry the token that the page gave."""

import html
import re
from dataclasses import dataclass

from fastapi.testclient import TestClient
from httpx import Response

LEAD, ASSISTANT = "ana", "ben"
PIN, OTHER_PIN = "271828", "314159"
SAME = {"origin": "http://127.0.0.1", "sec-fetch-site": "same-origin"}


class Clock:
    """Seconds that pass only when told."""

    def __init__(self) -> None:
        self.now = 1_800_000_000.0

    def __call__(self) -> float:
        return self.now


@dataclass
class Knocking:
    client: TestClient

    def get(self, address: str, **headers: str) -> Response:
        return self.client.get(address, headers={"sec-fetch-mode": "navigate", **headers})

    def token(self) -> str:
        for address in ("/me", "/sign-in"):
            if found := re.search(r'name="token" value="([^"]+)"', self.client.get(address, headers={"sec-fetch-mode": "cors"}).text):
                return found[1]
        return ""

    def send(self, address: str, *, accept: str = "", **fields: str) -> Response:
        """Send a form as the page would."""
        token = self.token()
        headers = {**SAME, **({"accept": accept} if accept else {})}
        return self.client.post(address, data={**({"token": token} if token else {}), **fields}, headers=headers)

    def code_for(self, name: str) -> str:
        page = self.send("/devices/code", name=name, own_pin=PIN)
        assert page.status_code == 200, page.text
        found = re.search(r'class="code"[^>]*>([^<]+)<', page.text)
        assert found
        return found[1]

    def sign_in(self, person: str = LEAD, pin: str = PIN) -> Response:
        return self.send("/sign-in", person=person, pin=pin, next="/rules")

    def text(self, address: str) -> str:
        return html.unescape(self.get(address).text)
