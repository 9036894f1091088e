"""Word of a changed verdict, signed, for another program of the practice: what changed, from what, to what, why, until when.

Each message has an id that stays when it is sent again, so that its receiver can pass over what it has; it comes at least once. Its
signature is that of the open form "Standard Webhooks" 1.0: HMAC-SHA-256 over id, time and body, base64, version `v1` [memory: its page was
not at hand; the worked test holds our reading]. A message names subjects of the practice and rules, never a patient and no remark.
"""

import base64
import hashlib
import hmac
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from fettlebook.standing.model import Standing
from fettlebook.standing.standings import View

REASONS: Final = 5
TYPE: Final = "verdict.changed"


@dataclass(frozen=True, slots=True)
class Changed:
    """One change: the subject's verdict before (empty: not told before) and now."""

    subject: str
    before: str
    now: Standing


@dataclass(frozen=True, slots=True)
class Message:
    """What is sent: the id and the body's bytes."""

    id: str
    body: bytes


def verdicts_of(view: View, kinds: Iterable[str]) -> dict[str, Standing]:
    """Return the standings of all subjects of these kinds, by subject."""
    wanted = tuple(kinds)
    return {subject: view.standing(subject) for subject in view.subjects() if subject.partition(":")[0] in wanted}


def changes(before: Mapping[str, str], now: Mapping[str, Standing]) -> list[Changed]:
    """Return what changed. What was not known before is told only where it isn't fit: a first look is no change."""
    found = []
    for subject, standing in now.items():
        was = before.get(subject, "")
        if was != standing.verdict.value and (was or standing.verdict.value != "fit"):
            found.append(Changed(subject, was, standing))
    return found


def message_of(practice: str, invented: bool, changed: Changed) -> Message:
    """Return the message of a change; the same change gives the same id and bytes."""
    standing = changed.now
    said: dict[str, Any] = {
        "type": TYPE,
        "practice": practice,
        "invented": invented,
        "subject": changed.subject,
        "before": changed.before or None,
        "verdict": standing.verdict.value,
        "at_ms": standing.at_ms,
        "valid_until_ms": standing.valid_until_ms,
        "reasons": [
            {"what": str(one.what), "verdict": one.verdict.value, "why": str(one.why), "evidence": list(one.evidence)}
            for one in standing.failing[:REASONS]
        ],
    }
    body = json.dumps(said, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode()
    return Message(f"msg_{hashlib.sha256(body).hexdigest()[:32]}", body)


def signed(message: Message, secret: bytes, sent_s: int) -> dict[str, str]:
    """Return the headers of a message.

    Parameters
    ----------
    secret
        The receiver's own, 24 to 64 bytes.
    sent_s
        When it is sent [s since 1970 UTC]; a receiver refuses what is too old.
    """
    made = hmac.digest(secret, f"{message.id}.{sent_s}.".encode() + message.body, "sha256")
    return {
        "webhook-id": message.id,
        "webhook-timestamp": str(sent_s),
        "webhook-signature": f"v1,{base64.b64encode(made).decode()}",
        "content-type": "application/json",
    }


def secret_of(key: bytes, receiver: str) -> bytes:
    """Return the secret of one receiver, made from the practice's key: nothing more has to be kept, and each has its own."""
    return hmac.digest(key, b"word|" + receiver.encode(), "sha256")


def secret_words(secret: bytes) -> str:
    """Return a secret as its receiver is given it."""
    return f"whsec_{base64.b64encode(secret).decode()}"
