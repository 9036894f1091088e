"""The certificates in an authority's answer, put in the order that DER asks for: the reader refuses any other, and many send another.

Sources
-------
[D] ITU-T X.690 11.6: the parts of a SET OF stand in ascending order of their bytes. memory
[S] RFC 5652 section 5.1: SignedData is version, digest algorithms, content, [0] certificates, and more. The signature covers the signed
    attributes alone (5.4), so their order is free. memory
"""

from typing import Final

_SEQUENCE: Final = 0x30
_TAGGED: Final = 0xA0  # [0]
_PATH: Final = ((_SEQUENCE, 1), (_SEQUENCE, 1), (_TAGGED, 0), (_SEQUENCE, 3))  # answer, its token, the token's content, signed data [S]


def in_order(answer: bytes) -> bytes:
    """Return the answer with its certificates in order [D]; as it was where it isn't built as [S] says, for the reader to refuse."""
    try:
        return _rebuilt(answer, 0)
    except (IndexError, ValueError):
        return answer


def _rebuilt(der: bytes, depth: int) -> bytes:
    """Return one element with the certificates somewhere in it put in order."""
    tag, body, rest = _element(der)
    if depth == len(_PATH):
        if tag != _TAGGED:
            raise ValueError("no certificates")
        return _written(tag, b"".join(sorted(_parts(body)))) + rest
    wanted, place = _PATH[depth]
    parts = _parts(body)
    if tag != wanted:
        raise ValueError("another form")
    parts[place] = _rebuilt(parts[place], depth + 1)
    return _written(tag, b"".join(parts)) + rest


def _parts(body: bytes) -> list[bytes]:
    found = []
    while body:
        _, _, rest = _element(body)
        found.append(body[: len(body) - len(rest)])
        body = rest
    return found


def _element(der: bytes) -> tuple[int, bytes, bytes]:
    """Return tag and body of the first element, and what stands after it."""
    length, begin = der[1], 2
    if length > 0x80:
        begin = 2 + (length & 0x7F)
        length = int.from_bytes(der[2:begin], "big")
    elif length == 0x80:
        raise ValueError("no length")
    if begin + length > len(der):
        raise ValueError("cut")
    return der[0], der[begin : begin + length], der[begin + length :]


def _written(tag: int, body: bytes) -> bytes:
    if len(body) < 0x80:
        return bytes((tag, len(body))) + body
    length = len(body).to_bytes((len(body).bit_length() + 7) // 8, "big")
    return bytes((tag, 0x80 | len(length))) + length + body
