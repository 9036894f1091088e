"""People at the pages: who signs in where, what each role may do, and which devices were let in.

Comes in: requests, and the practice file's people. Goes out: `SignedIn` for the routes, and entries that say who came and went.
It never puts a PIN, a badge or a device's secret into the book or an export.
"""

from typing import Final

TOKEN: Final = "token"  # noqa: S105 - the name of the field that carries a device's token
