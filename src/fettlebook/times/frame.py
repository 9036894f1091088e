"""Everything that one step on one chair is timed from, and how its result is put together."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from fettlebook.practice.model import Chair, Practice, SupplyKind
from fettlebook.rules.model import Computed, Duty, Origin, Rulebook, Step
from fettlebook.said import joined, listed, said, term
from fettlebook.science.circuits import Method
from fettlebook.times.label import Gap, Label
from fettlebook.times.longest import longest
from fettlebook.times.model import Candidate, GroupTime, OutletTime, RunningTime, SetBy
from fettlebook.times.sure import Aims, Lines
from fettlebook.times.words import clock, measure_words, millilitres

STERILE = said("Water for surgery is sterile water by a sterile path. A flushed or treated line is not sterile.")
CHEMICAL = said("Air the room; never mix products; keep the safety data sheet at hand.")


@dataclass(frozen=True, slots=True)
class GroupNeed:
    """One group of outlets: what each needs, and what each candidate asks of the group [s]."""

    outlets: tuple[OutletTime, ...]
    asks: dict[SetBy, float]


@dataclass(frozen=True, slots=True)
class Frame:
    """One step of a duty on one chair, in a practice under a rulebook."""

    practice: Practice
    rulebook: Rulebook
    chair: Chair
    duty: Duty
    step: Step
    method: Method
    aims: Aims  # of the whole practice: one reckoning of a line serves flush, fill and rinse
    lines: Lines  # of the whole practice: many are reckoned at once

    def asks(self, who: str, seconds: float, origin: Origin) -> str:
        """Say what a candidate asks, with its source and how sure that is."""
        sure = said("unchecked") if not origin.checked else "" if origin.sure == "practice" else term(origin.sure)
        reason = said(' The practice\'s reason: "{reason}".', reason=origin.reason) if origin.reason else ""
        return said(
            "{what}: {why}",
            what=who,
            why=joined("", (f"{clock(seconds)} (", joined("; ", filter(None, (origin.source, sure))), ").", reason)),
        )

    def missing(self, gap: Gap, candidates: tuple[Candidate, ...] = (), *, label: Label | None = None) -> RunningTime:
        """Return the step without a time, with the reason; what is known at least is kept."""
        at_least = said(" Known so far: at least {candidates}.", candidates=clock(max(c.seconds for c in candidates))) if candidates else ""
        return self._time(None, None, candidates, missing=joined("", (gap.said, at_least)), label=label)

    def single(
        self, candidates: tuple[Candidate, ...], derivation: tuple[str, ...], *, notes: tuple[str, ...] = (), label: Label | None = None
    ) -> RunningTime:
        """Return the step with one time for the whole chair."""
        found = longest([{c.set_by: c.seconds for c in candidates}])
        return self._time(
            found.seconds,
            found.set_by,
            candidates,
            margin_s=found.margin_s,
            runner_up=found.runner_up,
            derivation=derivation,
            notes=notes,
            label=label,
        )

    def grouped(
        self,
        groups: tuple[GroupNeed, ...],
        candidates: tuple[Candidate, ...],
        derivation: tuple[str, ...],
        *,
        label: Label | None = None,
        fills: bool = False,
        line_cautions: tuple[str, ...] = (),
        line_notes: tuple[str, ...] = (),
    ) -> RunningTime:
        """Return the step with the time of each group of outlets, one after the other."""
        found = longest([g.asks for g in groups])
        timed = tuple(
            GroupTime(n, tuple(o.outlet for o in g.outlets), seconds, set_by)
            for n, (g, (seconds, set_by)) in enumerate(zip(groups, found.groups, strict=True), start=1)
        )
        volume_ml = sum(o.flow_ml_min / 60 * t.seconds for g, t in zip(groups, timed, strict=True) for o in g.outlets)
        outlets = tuple(o for g in groups for o in g.outlets)
        unmeasured = tuple(o.outlet for o in outlets if not o.measured)
        notes: tuple[str, ...] = (said("flow not measured: {unmeasured}", unmeasured=listed(unmeasured)),) if unmeasured else ()
        notes += line_notes
        if self.step.computes is Computed.FLUSH and all(set(g.asks) == {"line"} for g in groups):
            notes += (said("no rule in force names a time for this flush: fettlebook's own aim alone sets it"),)
        if len(timed) > 1:
            derivation += (said("The {timed} groups one after the other: {seconds}.", timed=len(timed), seconds=clock(found.seconds)),)
        derivation += (
            said(
                "{fills}: {volume_ml}, all of it down the drain.",
                fills=said("Mixed solution") if fills else said("Water"),
                volume_ml=millilitres(volume_ml),
            ),
        )
        fillings = self._bottle_fills(volume_ml)
        if fillings > 1:
            times = "once" if fillings == 2 else said("{fillings} times", fillings=fillings - 1)
            told = said(
                "bottle of {bottle_ml}: refill {times} on the way", bottle_ml=millilitres(self.chair.supply.bottle_ml or 0), times=times
            )
            notes += (told,)
            derivation += (f"{told[0].upper()}{told[1:]}.",)
        slowest = max(outlets, key=lambda o: o.seconds)
        return self._time(
            found.seconds,
            found.set_by,
            candidates,
            margin_s=found.margin_s,
            runner_up=found.runner_up,
            outlets=outlets,
            groups=timed,
            derivation=derivation,
            notes=notes,
            water_ml=0.0 if fills else volume_ml,
            product_ml=volume_ml if fills else 0.0,
            waste_ml=volume_ml,
            bottle_fills=fillings,
            nominal_s=sum(max(o.nominal_s for o in g.outlets) for g in groups),
            p95_s=sum(g.asks["line"] for g in groups),
            measure_first=measure_words(slowest.measure_first, slowest.outlet),
            label=label,
            line_cautions=line_cautions,
        )

    def _bottle_fills(self, volume_ml: float) -> int:
        supply = self.chair.supply
        if supply.kind is not SupplyKind.BOTTLE or supply.bottle_ml is None:
            return 0
        return math.ceil(volume_ml / supply.bottle_ml - 1e-9)

    def _time(
        self,
        seconds: int | None,
        set_by: SetBy | None,
        candidates: tuple[Candidate, ...],
        *,
        margin_s: int | None = None,
        runner_up: SetBy | None = None,
        outlets: tuple[OutletTime, ...] = (),
        groups: tuple[GroupTime, ...] = (),
        derivation: tuple[str, ...] = (),
        notes: tuple[str, ...] = (),
        missing: str = "",
        water_ml: float = 0.0,
        product_ml: float = 0.0,
        waste_ml: float = 0.0,
        bottle_fills: int = 0,
        nominal_s: float | None = None,
        p95_s: float | None = None,
        measure_first: str = "",
        label: Label | None = None,
        line_cautions: tuple[str, ...] = (),
    ) -> RunningTime:
        step = self.step
        if step.length != "measured" and any(m.step == step.id for m in self.practice.measured):
            derivation += (
                said(
                    "The measured minutes of this step are not used: its length is {length}, and a stop-watch never shortens it.",
                    length=step.length,
                ),
            )
        return RunningTime(
            chair=self.chair.id,
            duty_id=self.duty.id,
            when=self.duty.when,
            step_id=step.id,
            name=step.name,
            attended=step.attended,
            seconds=seconds,
            set_by=set_by,
            candidates=candidates,
            outlets=outlets,
            derivation=derivation,
            cautions=tuple(dict.fromkeys((*self._cautions(label), *line_cautions))),
            missing=missing,
            water_ml=water_ml,
            product_ml=product_ml,
            waste_ml=waste_ml,
            bottle_fills=bottle_fills,
            nominal_s=nominal_s,
            p95_s=p95_s,
            measure_first=measure_first,
            duty_name=self.duty.name,
            groups=groups,
            margin_s=margin_s,
            runner_up=runner_up,
            notes=notes,
            out_of_service=self.chair.out_of_service,
        )

    def _cautions(self, label: Label | None) -> Iterable[str]:
        step = self.step
        if step.caution:
            yield step.caution
        if step.handpieces != "either":
            yield said("Handpieces off.") if step.handpieces == "off" else said("Handpieces on.")
        if step.computes in {Computed.FLUSH, Computed.RINSE} and "sterile" not in step.caution.lower():
            yield STERILE
        if label is not None:
            yield from _label_cautions(label, known=step.caution.lower())
            yield from self._amalgam_cautions(label)
        if step.computes is Computed.CONTACT:
            yield said("Broken off by a power or water cut: begin again with the fill.")

    def _amalgam_cautions(self, label: Label) -> Iterable[str]:
        """A rule on the pH of what reaches an amalgam separator is a conflict to show, not one to settle."""
        ph = label.product.ph
        if not self.chair.amalgam or self.step.computes is Computed.SURFACE_WET:
            return
        for limit in self.rulebook.limits:
            if (
                limit.unit == "pH"
                and len(limit.value) == 2
                and ph is not None
                and not (limit.value[0] <= ph[0] and ph[1] <= limit.value[1])
            ):
                low, high = limit.value
                yield (
                    said(
                        "Amalgam is worked on at this chair: {source} asks for pH {low:g} to {high:g} in what reaches the drain; "
                        '"{name}" has pH {ph:g} to {ph2:g}. Settle it with the maker before use.',
                        source=limit.origin.source,
                        low=low,
                        high=high,
                        name=label.product.name,
                        ph=ph[0],
                        ph2=ph[1],
                    )
                )


def _label_cautions(label: Label, *, known: str) -> Iterable[str]:
    product = label.product
    if product.wear:
        yield said("Wear {wear}.", wear=listed(product.wear))
    if product.hazards:
        yield said("{product}: {hazards}.", product=product.name, hazards="; ".join(product.hazards))
    if "never mix" not in known:
        yield CHEMICAL
