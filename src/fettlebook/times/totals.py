"""Minutes of each duty on each chair, with somebody there and running alone, and what it takes of water, product and trips."""

from collections.abc import Iterable

from fettlebook.times.model import DutyTotal, RunningTime


def duty_totals(times: Iterable[RunningTime]) -> tuple[DutyTotal, ...]:
    """Return attended and unattended seconds, volumes and bottle fills of each duty on each chair, in the order of `times`.

    A step without a time is named in `missing`; the sums are then lower bounds and must be shown as such.
    """
    steps: dict[tuple[str, str], list[RunningTime]] = {}
    for time in times:
        steps.setdefault((time.chair, time.duty_id), []).append(time)
    return tuple(
        DutyTotal(
            chair=chair,
            duty_id=duty,
            duty_name=parts[0].duty_name,
            when=parts[0].when,
            attended_s=sum(t.seconds or 0 for t in parts if t.attended),
            unattended_s=sum(t.seconds or 0 for t in parts if not t.attended),
            missing=tuple(t.step_id for t in parts if t.seconds is None),
            water_ml=sum(t.water_ml for t in parts),
            product_ml=sum(t.product_ml for t in parts),
            waste_ml=sum(t.waste_ml for t in parts),
            bottle_fills=sum(t.bottle_fills for t in parts),
        )
        for (chair, duty), parts in steps.items()
    )
