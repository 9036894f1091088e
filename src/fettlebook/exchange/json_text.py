"""JSON that somebody else wrote, read with words for all that may be wrong with it."""

import json
from typing import Any

from fettlebook.errors import Mendable


def read_json(data: bytes, file: str) -> tuple[Any, str]:
    """Return what a JSON file says, and its text.

    Raises
    ------
    Mendable
        It is not UTF-8, nested far too deep, or not whole.
    """
    try:
        text = data.decode("utf-8-sig")
        return json.loads(text), text
    except UnicodeDecodeError:
        raise Mendable("the file is not UTF-8", where=file, mend="Export it again as UTF-8, as JSON asks.") from None
    except RecursionError:
        raise Mendable("parts are nested far too deep", where=file, mend="Export it again.") from None
    except json.JSONDecodeError as error:
        where = f"{file} line {error.lineno}"
        raise Mendable("the file is no whole JSON", where=where, mend="It may be cut off: export it again.") from None
