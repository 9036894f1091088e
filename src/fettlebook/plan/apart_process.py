"""The process that searches for `apart`: reads one day from its input, sends plans as they come, then the answer.

Its input stays open while the search is wanted: once it is closed, the search is called off, so that nobody searches on
for a reader who is gone.
"""

import time

_BEGAN = time.perf_counter()  # loading the solver counts: the reader waits for it too

import json  # noqa: E402
import sys  # noqa: E402
import threading  # noqa: E402
from dataclasses import asdict  # noqa: E402
from typing import Any  # noqa: E402

from fettlebook.errors import Mendable  # noqa: E402
from fettlebook.plan.apart import as_message  # noqa: E402
from fettlebook.plan.instance import Plan, read_instance, to_json  # noqa: E402
from fettlebook.plan.solve import Progress, solve  # noqa: E402


def main() -> None:
    """Search as asked on standard input; messages go to standard output, one a line."""
    out = sys.stdout
    wanted = json.loads(sys.stdin.readline())
    off = threading.Event()

    def wait_for_the_end() -> None:
        sys.stdin.read()
        off.set()

    threading.Thread(target=wait_for_the_end, daemon=True).start()

    def send(message: dict[str, Any]) -> None:
        out.write(json.dumps(message) + "\n")
        out.flush()

    def told(progress: Progress) -> None:
        send({"progress": asdict(progress)})

    def kept(plan: Plan, progress: Progress) -> None:
        send({"progress": asdict(progress), "plan": json.loads(to_json(plan))})

    asked = wanted["asked"]
    try:
        solved = solve(
            read_instance(json.dumps(wanted["day"])),
            limit_s=max(0.01, asked["limit_s"] - (time.perf_counter() - _BEGAN)),
            seed=asked["seed"],
            workers=asked["workers"],
            deterministic=asked["deterministic"],
            told=told,
            kept=kept,
            stop=off.is_set,
        )
        send(as_message(solved))
    except Mendable as no:
        send({"refused": {"what": no.what, "where": no.where, "mend": no.mend}})


if __name__ == "__main__":
    main()
