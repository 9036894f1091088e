"""`fettlebook water`: what a laboratory's counts say of each chair's water today."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from datetime import date, datetime

    from fettlebook.exchange.laboratory.judged import ChairToday, Judged

LIMIT = 500.0


@click.command()
@click.argument("file", metavar="COUNTS.csv", type=click.Path(path_type=str))
@click.option("--today", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="The day that is asked about; left out, today.")
@click.option(
    "--limit",
    "limit_cfu_ml",
    type=click.FloatRange(0, min_open=True),
    metavar="CFU/mL",
    help="The limit in force; left out, 500 (CDC 2003). Yours may be lower.",
)
@click.option(
    "--risk",
    type=click.FloatRange(0, 1, min_open=True, max_open=True),
    default=0.10,
    show_default=True,
    help="Act at this chance of being over.",
)
@click.option("--chair", "chairs", multiple=True, metavar="NAME", help="A chair that must be answered for, sampled or not; repeat.")
@click.option("--treated", multiple=True, metavar="CHAIR=DATE", help="An intensive treatment that the table doesn't tell; repeat.")
@click.option(
    "--column", "columns", multiple=True, metavar="FIELD=HEADING", help="Which column is which: chair, sampled_on, result, volume_ml ..."
)
@click.option("--per-ml", "unit_ml", type=click.FloatRange(0, min_open=True), metavar="ML", help="Counts are per so many mL: 1, 100, 1000.")
@click.option(
    "--volume-ml",
    type=click.FloatRange(0, min_open=True),
    metavar="ML",
    help="Undiluted sample on the plates, where the table has no column.",
)
@click.option("--too-many", "too_many_at", type=click.IntRange(1), metavar="COLONIES", help="The laboratory stops counting here (TNTC).")
@click.option("--nd-is-none", is_flag=True, help="This laboratory's 'n.d.' means none detected, not 'not done'.")
@click.option("--decimal", type=click.Choice(["comma", "point"]), help="The decimal sign, where the table doesn't show it.")
@click.option("--dates", type=click.Choice(["day-first", "month-first"]), help="How dates with slashes are written.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON and nothing else.")
@click.pass_context
def water(
    context: click.Context, /, *, file: str, today: datetime | None, limit_cfu_ml: float | None, as_json: bool, **options: Any
) -> None:
    """Where does each chair's water stand, how sure is that, and when will it pass the limit?

    COUNTS.csv: one result a line, with chair, sampled_on, colonies and volume_ml (or a laboratory's own columns), and
    days_since_intensive where known. All chairs are judged together, with counting error, results below and above what
    could be counted, and the rise after an intensive treatment. One sample says little, and the range shows how little.

    Exit status: 0 every chair is below the risk; 1 one is not, has no sample, or lines were set aside; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from datetime import datetime as clock  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.exchange.laboratory import SheetWays, read_sheet  # noqa: PLC0415
    from fettlebook.exchange.laboratory.judged import judge_sheet  # noqa: PLC0415

    day = today.date() if today else clock.now().astimezone().date()
    try:
        data = Path(file).read_bytes()
    except OSError as error:
        raise Mendable(f"it can't be read ({error.strerror})", where=file, mend="Name the laboratory's table, saved as CSV.") from None
    ways = SheetWays(
        columns=dict(_pair(text, "--column") for text in options["columns"]),
        decimal=options["decimal"],
        unit_ml=options["unit_ml"],
        volume_ml=options["volume_ml"],
        too_many_at=options["too_many_at"],
        nd_is="none seen" if options["nd_is_none"] else None,
        dates={"day-first": "day first", "month-first": "month first", None: None}[options["dates"]],
    )
    judged = judge_sheet(
        read_sheet(data, file, ways, day),
        file=file,
        today=day,
        limit_cfu_ml=limit_cfu_ml or LIMIT,
        risk=options["risk"],
        treated=_treated(options["treated"], day),
        chairs=options["chairs"],
    )
    if as_json:
        click.echo(json.dumps(as_data(judged), indent=2, ensure_ascii=False))
    else:
        _show(judged, said=limit_cfu_ml is not None)
    quiet = all(judged.verdict(c) == "fit" for c in judged.chairs)
    context.exit(0 if quiet and not any(f.weight == "error" for f in judged.findings) else 1)


def _pair(text: str, option: str) -> tuple[str, str]:
    from fettlebook.errors import Mendable  # noqa: PLC0415

    name, sign, value = text.partition("=")
    if not (sign and name.strip() and value.strip()):
        raise Mendable(f"{text!r}", where=option, mend=f"Write it as {option} NAME=VALUE.")
    return name.strip(), value.strip()


def _treated(texts: tuple[str, ...], today: date) -> dict[str, list[date]]:
    from datetime import date as calendar  # noqa: PLC0415

    from fettlebook.errors import Mendable  # noqa: PLC0415

    found: dict[str, list[date]] = {}
    for text in texts:
        chair, value = _pair(text, "--treated")
        try:
            day = calendar.fromisoformat(value)
        except ValueError:
            raise Mendable(f"{value!r} is no day", where="--treated", mend="Write it as --treated 'chair 1=2026-11-25'.") from None
        if day > today:
            raise Mendable(f"a treatment on {day}, after {today}", where="--treated", mend="Give treatments that were done.")
        found.setdefault(chair, []).append(day)
    return found


def _show(judged: Judged, *, said: bool) -> None:
    import textwrap  # noqa: PLC0415

    from rich import box  # noqa: PLC0415
    from rich.console import Console  # noqa: PLC0415
    from rich.table import Table  # noqa: PLC0415

    def say(text: str) -> None:
        click.echo(textwrap.fill(text, 80, break_on_hyphens=False))

    limit = f"{judged.limit_cfu_ml:g}"
    over = [c.chair for c in judged.chairs if judged.verdict(c) == "unfit"]
    none = [c.chair for c in judged.chairs if not c.proven]
    risk = f"{100 * judged.risk:g} %"
    if not judged.trusted:
        points = f"{judged.effective_points:.0f} effective points, 50 are needed"
        say(f"The results fit no common picture ({points}): don't use the figures below.")
    missing = f" Without a sample, so unproven: {', '.join(none)}." if none else ""
    say(
        f"{judged.today}. Over {limit} CFU/mL with a chance of {risk} or more, or by the last result: {', '.join(over) or 'none'}.{missing}"
    )
    say("n: samples. Level: geometric mean today, nine times in ten within the range; few: under three, so it leans on other chairs.")
    say(f"> {limit}: chance that the level is over; next: that the next sample is; {risk} on: when the first reaches {risk}, untreated.")
    if not said:
        say(f"Limit {limit}: CDC 2003, for the United States. Yours may be lower: give it with --limit.")
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    for head in ("chair", "n", "level, CFU/mL", f"> {limit}", "next", f"{risk} on", "look"):
        table.add_column(head, justify="left" if head in {"chair", "look"} else "right", overflow="fold", no_wrap=head.endswith("% on"))
    for c in judged.chairs:
        table.add_row(*_row(c, judged))
    click.echo()
    Console(width=80, highlight=False, markup=False).print(table)
    ranked = sorted((c for c in judged.chairs if c.value_of_one_sample > 1e-4), key=lambda c: -c.value_of_one_sample)
    if ranked:
        say(f"Sample next, most worth first: {', '.join(c.chair for c in ranked[:5])}.")
    for row, odd in judged.odd:
        side = "low" if odd.p_as_low < odd.p_as_high else "high"
        chance = min(odd.p_as_low, odd.p_as_high)
        say(f"Look: line {row.line}, {row.chair} on {row.sampled_on}, {row.text}: so {side} in {_percent(chance)} of samples only.")
    for row, turn in judged.turns:
        way = "rose" if turn.change > 0 else "fell"
        say(
            f"Look: {turn.chair} {way} about {10 ** abs(turn.change):.0f}-fold before {row.sampled_on} (line {row.line}); "
            f"{turn.times_likelier:.0f} times likelier than no change. What was changed then?"
        )
    for text in judged.read_as:
        say(f"Read as: {text}.")
    for finding in judged.findings:
        click.echo(f"{'aside' if finding.weight == 'error' else 'look '}    {finding}", err=True)
    say("A count is no proof of safety from one outlet at one time. Rules, labels and the laboratory's word come first.")


def _row(c: ChairToday, judged: Judged) -> tuple[str, ...]:
    from fettlebook.exchange.laboratory.judged import FEW  # noqa: PLC0415

    low, middle, high = (c.cfu_per_ml(share) for share in (0.05, 0.5, 0.95))
    passes = "now" if c.passes_on == judged.today else str(c.passes_on) if c.passes_on else "-" if c.days is not None else "?"
    if not c.proven:
        word = "unproven"
    elif judged.verdict(c) == "unfit":
        word = "act" if c.p_above_limit >= judged.risk else "last over"
    else:
        word = "few" if c.samples < FEW else ""
    return (
        c.chair,
        str(c.samples),
        f"{_cfu(middle)} ({_cfu(low)} to {_cfu(high)})",
        _percent(c.p_above_limit),
        _percent(c.p_next_above_limit),
        passes if c.proven else "",
        word,
    )


def _cfu(value: float) -> str:
    if value < 1:
        return "< 1"
    digits = round(value, 1 - len(str(int(value))) + 1)
    return f"{digits:,.0f}"


def _percent(share: float) -> str:
    return "< 1 %" if share < 0.01 else "> 99 %" if share > 0.99 else f"{100 * share:.0f} %"


def as_data(judged: Judged) -> dict[str, Any]:
    """Return the answer for programs. Where the fit isn't to be trusted, the chairs' figures are null."""
    from fettlebook.exchange.laboratory.judged import SHARES  # noqa: PLC0415

    def number(value: float) -> float | None:
        return value if judged.trusted else None

    return {
        "today": str(judged.today),
        "limit_cfu_per_ml": judged.limit_cfu_ml,
        "risk": judged.risk,
        "effective_points": judged.effective_points,
        "trusted": judged.trusted,
        "priors_version": judged.priors.version,
        "chairs": [
            {
                "chair": c.chair,
                "verdict": judged.verdict(c),
                "samples": c.samples,
                "days_since_intensive": c.days,
                "quantiles_log10_cfu_per_ml": {f"{s:g}": number(q) for s, q in zip(SHARES, c.log10_quantiles, strict=True)},
                "quantiles_cfu_per_ml": {f"{s:g}": number(10.0**q) for s, q in zip(SHARES, c.log10_quantiles, strict=True)},
                "p_above_limit": number(c.p_above_limit),
                "p_next_sample_above_limit": number(c.p_next_above_limit),
                "passes_risk_on": str(c.passes_on) if c.passes_on and judged.trusted else None,
                "value_of_one_sample": number(c.value_of_one_sample),
            }
            for c in judged.chairs
        ],
        "odd_results": [
            {"line": row.line, "chair": row.chair, "sampled_on": str(row.sampled_on), "p_as_low": o.p_as_low, "p_as_high": o.p_as_high}
            for row, o in judged.odd
        ],
        "turns_of_level": [
            {
                "line": row.line,
                "chair": t.chair,
                "before": str(row.sampled_on),
                "change_log10": t.change,
                "times_likelier": t.times_likelier,
            }
            for row, t in judged.turns
        ],
        "read_as": list(judged.read_as),
        "findings": [{"what": f.what, "where": f.where, "mend": f.mend, "weight": f.weight} for f in judged.findings],
    }
