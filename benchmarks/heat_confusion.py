"""Does the judge of cycles ever call a faulty cycle fit? A table by kind of fault, over invented logs that obey physics.

    python benchmarks/heat_confusion.py [CYCLES] [FIRST_SEED]

Each log goes the whole way: CSV text, reader, judge by the bundled criteria. No threshold of the judge was set on these seeds or by
their maker. Exit status 1 if a faulty cycle was judged fit, or more than 1 % of the good ones weren't.
"""

import sys
import time
from collections import Counter, defaultdict

from fettlebook.demo.heat import FAULTS, as_csv, make_log
from fettlebook.exchange.logs import read_log
from fettlebook.rules.cycle_criteria import criteria_of, find_criteria
from fettlebook.science.cycles.judge import judge_cycle
from machine import machine

CRITERIA = {"134": "steam-134-b", "121": "steam-121-b"}
WORDS = ("fit", "unproven", "unfit", "refused")


def main(cycles: int, first: int) -> int:
    """Print the table; return the exit status."""
    from fettlebook.errors import Mendable

    print(machine("numpy", "scipy"))
    criteria = {program: criteria_of(find_criteria(name)) for program, name in CRITERIA.items()}
    table: dict[str, Counter[str]] = defaultdict(Counter)
    why: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    spent = 0.0
    names = list(FAULTS)
    for n in range(cycles):
        # a third of the cycles are good ones, so that the share of false alarms is told well
        fault = names[n // 3 % 4] if n % 3 == 0 else names[4 + (n - n // 3) % (len(names) - 4)]
        log = make_log(fault, first + n, "121" if n % 7 == 6 else "134")
        text = as_csv(log).encode()
        start = time.process_time()
        try:
            judged = judge_cycle(read_log(text, "log.csv").log, criteria[log.program])
            verdict, reasons = str(judged.verdict), judged.reasons
        except Mendable as error:
            verdict, reasons = "refused", (error.what,)
        spent += time.process_time() - start
        table[fault][verdict] += 1
        for reason in reasons[:1]:
            why[fault, verdict][reason.split(":")[0]] += 1
    print(f"{cycles} cycles, seeds {first} to {first + cycles - 1}, {1e3 * spent / cycles:.1f} ms a cycle to read and judge\n")
    print(f"{'made with':<32}" + "".join(f"{word:>10}" for word in WORDS) + "   first reason, most often")
    for fault in names:
        row = table[fault]
        top = next(iter(sorted(((c, r) for v in WORDS if v != "fit" for r, c in why[fault, v].items()), reverse=True)), (0, ""))[1]
        print(f"{fault:<32}" + "".join(f"{row[word] or '':>10}" for word in WORDS) + f"   {top[:60]}")
    missed = {fault: table[fault]["fit"] for fault in names if not FAULTS[fault].may_pass and table[fault]["fit"]}
    good = [table[fault] for fault in names if fault.startswith("good")]
    total = sum(sum(row.values()) for row in good)
    alarms = total - sum(row["fit"] for row in good)
    print(f"\nfaulty and judged fit: {sum(missed.values())} {missed or ''}")
    print(f"good and not judged fit: {alarms} of {total} ({100 * alarms / total:.2f} %)")
    return 1 if missed or alarms > 0.01 * total else 0


if __name__ == "__main__":
    numbers = [int(text) for text in sys.argv[1:]]
    sys.exit(main(*[*numbers, *(2000, 1_000_000)[len(numbers) :]]))
