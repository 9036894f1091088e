"""What the night kept of a group, read again: one file a practice for the plan, one for the standing. A file that can't be read is told."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from fettlebook.exchange.group.rows import Night, Row, rows_of
from fettlebook.exchange.group.summary import Summary
from fettlebook.said import said

STANDINGS: Final = "standings"


def read_rows(names: Sequence[str], results: Path, *, now_ms: int, backed_up_by_group: frozenset[str] = frozenset()) -> list[Row]:
    """Return the group's rows from the folder of results, the practice that needs help first on top.

    Parameters
    ----------
    names
        The practices of the group file.
    results
        The folder that `fettlebook night` was given.
    now_ms
        The moment of looking [ms since 1970 UTC].
    backed_up_by_group
        Practices whose book is in the group's database.
    """
    summaries: dict[str, Summary] = {}
    why: dict[str, str] = {}
    nights: dict[str, Night] = {}
    for name in names:
        found = _read(results / STANDINGS / f"{name}.json")
        try:
            if found is None:
                pass
            elif found.get("standing") is not None:
                summaries[name] = Summary.of(found["standing"])
            else:
                why[name] = str(found["line"])
        except (TypeError, KeyError, ValueError):
            why[name] = said("what was kept of it can't be read; let the night run again")
        planned = _read(results / f"{name}.json")
        if planned is not None:
            nights[name] = _night(planned)
    return rows_of(names, summaries, why, nights, now_ms=now_ms, backed_up_by_group=backed_up_by_group)


def _read(path: Path) -> dict[str, Any] | None:
    """Return what stands in a file; None where there is none, an empty one where it can't be read."""
    try:
        found = json.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _night(found: dict[str, Any]) -> Night:
    plan = found.get("plan") if isinstance(found.get("plan"), dict) else None
    late = plan.get("weighted_minutes_late") if plan else None
    visits = plan.get("visits") if plan else None
    left_out = sum(isinstance(v, dict) and v.get("start") is None for v in visits) if isinstance(visits, list) else 0
    return Night(
        str(found.get("state", "lost")),
        str(found.get("line") or said("what was kept of it can't be read; let the night run again")),
        late if isinstance(late, int) else None,
        left_out,
    )
