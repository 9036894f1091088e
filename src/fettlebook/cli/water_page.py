"""What `fettlebook water` prints: a table of chairs with what to mind, or the same for programs."""

from __future__ import annotations

import textwrap
from typing import Any

import click
from rich import box
from rich.console import Console
from rich.table import Table

from fettlebook.exchange.laboratory.judged import FEW, SHARES, ChairToday, Judged


def show(judged: Judged, *, said: bool) -> None:
    """Print the answer; `said`: the limit was given, so nothing need be said of where it comes from."""

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
        say(f"Look: {row.place}, {row.chair} on {row.sampled_on}, {row.text}: so {side} in {percent(chance)} of samples only.")
    for row, turn in judged.turns:
        way = "rose" if turn.change > 0 else "fell"
        say(
            f"Look: {turn.chair} {way} about {10 ** abs(turn.change):.0f}-fold before {row.sampled_on} ({row.place}); "
            f"{turn.times_likelier:.0f} times likelier than no change. What was changed then?"
        )
    for text in judged.read_as:
        say(f"Read as: {text}.")
    for finding in judged.findings:
        click.echo(f"{'aside' if finding.weight == 'error' else 'look '}    {finding}", err=True)
    say("A count is no proof of safety from one outlet at one time. Rules, labels and the laboratory's word come first.")


def _row(c: ChairToday, judged: Judged) -> tuple[str, ...]:
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
        f"{cfu(middle)} ({cfu(low)} to {cfu(high)})",
        percent(c.p_above_limit),
        percent(c.p_next_above_limit),
        passes if c.proven else "",
        word,
    )


def cfu(value: float) -> str:
    """Return CFU/mL with two digits."""
    if value < 1:
        return "< 1"
    digits = round(value, 1 - len(str(int(value))) + 1)
    return f"{digits:,.0f}"


def percent(share: float) -> str:
    """Return a chance as people read it."""
    return "< 1 %" if share < 0.01 else "> 99 %" if share > 0.99 else f"{100 * share:.0f} %"


def as_data(judged: Judged) -> dict[str, Any]:
    """Return the answer for programs. Where the fit isn't to be trusted, the chairs' figures are null."""

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
