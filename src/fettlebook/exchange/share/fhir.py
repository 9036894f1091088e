"""The book as a FHIR R4 Bundle: chairs and machines, water results, cycles with their loads, and who entered what when.

| in the book | as |
| --- | --- |
| chair, machine | Device |
| load | Group of type device, with one member for each set or handpiece type in it |
| `sample.result`, `outlet.temperature` | Observation on the Device, or on the Location of a tap |
| `cycle.recorded` with its `cycle.judged` | Procedure: when, on which machine (`usedReference`), which load (`subject`), outcome |
| each of these entries | Provenance: the book's own digest of the record, who, when it happened and when it was received |

A withdrawn entry stays, as `entered-in-error`. No patient is in the book, so none is here; visits are left out. Staff are named by the
id of the practice file, as an identifier, never by a name.

Source: HL7 FHIR R4 (4.0.1): Device, Group, Location, Observation, Procedure, Provenance, Bundle [memory: their pages were not at hand; the
R4B models of fhir.resources check each resource].
"""

from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Any, Final
from uuid import UUID, uuid5

from fettlebook.book.kinds import CycleJudged, CycleRecorded, LoadPacked, OutletTemperature, SampleResult, from_ms
from fettlebook.book.received import Received
from fettlebook.book.tree import leaf_hash
from fettlebook.exchange.share.said_now import SaidNow, said_now
from fettlebook.practice.model import Practice

SPACE: Final = UUID("5a5b0c52-6f5c-5b43-9a33-2f0f9be8a1c7")  # ours, drawn once: subjects of a practice get the same id in each bundle
PERSON: Final = "urn:fettlebook:person"
ENTRY: Final = "urn:fettlebook:entry"
UCUM: Final = {"CFU/mL": "{CFU}/mL", "CFU/L": "{CFU}/L", "mg/L": "mg/L", "degC": "Cel"}  # where UCUM has a code [memory]


def bundle_of(entries: Iterable[Received], practice: Practice) -> dict[str, Any]:
    """Return the Bundle (type collection) of a book, as plain data in the order of receipt.

    Parameters
    ----------
    entries
        All received entries of the book, in order.
    practice
        Names, kinds and the time zone.
    """
    maker = _Maker(practice)
    resources = [*maker.devices()]
    for said in maker.grouped(said_now(entries)):
        resources.extend(maker.resources(said))
    return {
        "resourceType": "Bundle",
        "type": "collection",
        "entry": [{"fullUrl": f"urn:uuid:{one['id']}", "resource": one} for one in (*resources, *maker.places.values())],
    }


def checked(bundle: dict[str, Any]) -> dict[str, Any]:
    """Return the Bundle as the specification's models write it; raises pydantic's ValidationError where it isn't as FHIR R4 has it."""
    from fhir.resources.R4B.bundle import Bundle  # noqa: PLC0415 - an optional part, 0.25 s

    made: dict[str, Any] = Bundle.model_validate(bundle).model_dump(mode="json", exclude_none=True)
    return made


class _Maker:
    def __init__(self, practice: Practice) -> None:
        self.practice, self.zone = practice, practice.practice.time_zone
        self.places: dict[str, dict[str, Any]] = {}
        self.judged: dict[str, SaidNow] = {}

    def grouped(self, said: Iterable[SaidNow]) -> list[SaidNow]:
        """Return the entries, with the newest judgement of each cycle set aside for it."""
        kept = []
        for one in said:
            if isinstance(one.entry.entry.data, CycleJudged):
                if one.holds != "withdrawn":
                    self.judged[one.entry.entry.refers_to or ""] = one
            else:
                kept.append(one)
        return kept

    def id(self, *of: str) -> str:
        return str(uuid5(SPACE, "/".join((self.practice.practice.id, *of))))

    def reference(self, *of: str) -> dict[str, str]:
        return {"reference": f"urn:uuid:{self.id(*of)}"}

    def devices(self) -> Iterator[dict[str, Any]]:
        for chair in self.practice.chairs:
            yield self._device("chair", chair.id, "dental unit", chair.out_of_service)
        for machine in self.practice.machines:
            yield self._device("machine", machine.id, str(machine.kind), machine.out_of_service)

    def _device(self, what: str, name: str, kind: str, out_of_service: bool) -> dict[str, Any]:
        return {
            "resourceType": "Device",
            "id": self.id(what, name),
            "status": "inactive" if out_of_service else "active",
            "deviceName": [{"name": name, "type": "user-friendly-name"}],
            "type": {"text": kind},
        }

    def resources(self, said: SaidNow) -> Iterator[dict[str, Any]]:
        data = said.entry.entry.data
        if isinstance(data, LoadPacked):
            yield self._group(said, data)
        elif isinstance(data, CycleRecorded):
            yield self._cycle(said, data)
        elif isinstance(data, SampleResult):
            yield self._result(said, data)
        elif isinstance(data, OutletTemperature):
            yield self._temperature(said, data)
        else:
            return
        yield self._provenance(said)

    def _group(self, said: SaidNow, data: LoadPacked) -> dict[str, Any]:
        return {
            "resourceType": "Group",
            "id": said.entry.entry.id,
            "identifier": [{"system": "urn:fettlebook:load", "value": data.load}],
            "active": said.holds != "withdrawn",
            "type": "device",
            "actual": True,
            "name": f"Load {data.load}",
            "quantity": len(data.items),
            "characteristic": [
                {"code": {"text": "in the load"}, "valueCodeableConcept": {"text": item.unit}, "exclude": False} for item in data.items
            ],
        }

    def _cycle(self, said: SaidNow, data: CycleRecorded) -> dict[str, Any]:
        judged = self.judged.get(said.entry.entry.id)
        notes = list(judged.entry.entry.data.reasons) if judged and isinstance(judged.entry.entry.data, CycleJudged) else []
        verdict = (
            judged.entry.entry.data.verdict if judged and isinstance(judged.entry.entry.data, CycleJudged) else "not judged from its log"
        )
        status = {"passed": "completed", "failed": "stopped", "aborted": "stopped", "nothing": "unknown"}[data.said]
        period = {name: self._local(ms) for name, ms in (("start", data.began_ms), ("end", data.ended_ms)) if ms is not None}
        subject = {"identifier": {"system": "urn:fettlebook:load", "value": data.load or f"without a load, {said.entry.entry.id}"}}
        resource: dict[str, Any] = {
            "resourceType": "Procedure",
            "id": said.entry.entry.id,
            "status": "entered-in-error" if said.holds == "withdrawn" else status,
            "code": {"text": f"Cycle {data.cycle}"},
            "subject": {"type": "Group", **subject},
            "usedReference": [self.reference("machine", data.machine)],
            "outcome": {"text": f"{verdict}; the machine said: {data.said}"},
        }
        if period:
            resource["performedPeriod"] = period
        if notes:
            resource["note"] = [{"text": reason} for reason in notes]
        if data.number is not None:
            resource["identifier"] = [{"system": "urn:fettlebook:cycle-number", "value": str(data.number)}]
        return resource

    def _result(self, said: SaidNow, data: SampleResult) -> dict[str, Any]:
        quantity: dict[str, Any] = {"value": Decimal(data.value).scaleb(-(data.decimals or 0)), "unit": data.value_unit}
        if data.value_unit in UCUM:
            quantity |= {"system": "http://unitsofmeasure.org", "code": UCUM[data.value_unit]}
        if data.mark:
            quantity["comparator"] = "<" if data.mark == "below" else ">"
        where = ("machine", data.machine) if data.machine else ("chair", data.chair) if data.chair else None
        resource = self._observation(said, data.quantity, where, data.taken_ms if data.taken_ms is not None else said.entry.entry.at)
        resource["valueQuantity"] = quantity
        resource["identifier"] = [{"system": "urn:fettlebook:sample", "value": data.sample}]
        if data.outlets:
            resource["bodySite"] = {"text": ", ".join(data.outlets)}
        if data.method:
            resource["method"] = {"text": data.method}
        if data.not_valid:
            resource["dataAbsentReason"] = {"text": "the laboratory says that it proves nothing"}
            del resource["valueQuantity"]
        return resource

    def _temperature(self, said: SaidNow, data: OutletTemperature) -> dict[str, Any]:
        place = self.id("tap", data.place)
        self.places[place] = {"resourceType": "Location", "id": place, "name": data.place, "mode": "instance"}
        resource = self._observation(said, f"{data.water} water temperature", ("tap", data.place), said.entry.entry.at)
        resource["valueQuantity"] = {
            "value": Decimal(data.water_mc).scaleb(-3), "unit": "degC", "system": "http://unitsofmeasure.org", "code": "Cel",
        }  # fmt: skip
        return resource

    def _observation(self, said: SaidNow, code: str, where: tuple[str, str] | None, at_ms: int) -> dict[str, Any]:
        status = {"as entered": "final", "corrected": "corrected", "withdrawn": "entered-in-error"}[said.holds]
        resource: dict[str, Any] = {
            "resourceType": "Observation",
            "id": said.entry.entry.id,
            "status": status,
            "code": {"text": code},
            "effectiveDateTime": self._local(at_ms),
            "issued": self._local(said.entry.received),
        }
        if where:
            resource["subject"] = self.reference(*where)
        return resource

    def _provenance(self, said: SaidNow) -> dict[str, Any]:
        entry = said.entry.entry
        return {
            "resourceType": "Provenance",
            "id": self.id("provenance", entry.id),
            "target": [{"reference": f"urn:uuid:{entry.id}"}],
            "occurredDateTime": self._local(entry.at),
            "recorded": self._local(said.entry.received),
            "agent": [{"who": {"identifier": {"system": PERSON, "value": entry.by}}}],
            "entity": [
                {"role": "source", "what": {"identifier": {"system": ENTRY, "value": f"{entry.id} {leaf_hash(said.entry.leaf).hex()}"}}}
            ],
        }

    def _local(self, ms: int) -> str:
        return from_ms(ms, self.zone).isoformat(timespec="milliseconds")
