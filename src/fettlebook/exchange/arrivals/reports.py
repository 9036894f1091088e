"""A laboratory's report as it comes: CSV, JSON, or FHIR R4 Observations. All become the one table that the laboratory's reader takes.

JSON is a list of objects, or an object with such a list under "results"; its keys are the table's headings. Of FHIR, a Bundle or a list
of Observations: chair from `subject`, day from `effectiveDateTime`, count from `valueQuantity` with its comparator and unit, the plated
volume from a component, the report's number from `identifier`.

Source: HL7 FHIR R4 (4.0.1), Observation [memory]; its R4B models check each resource.
"""

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.json_text import read_json
from fettlebook.exchange.laboratory.notation import Decimal_

FINAL: Final = ("final", "amended", "corrected")
PER_ML: Final = {
    "cfu/ml": 1.0, "kbe/ml": 1.0, "ufc/ml": 1.0, "[cfu]/ml": 1.0, "cfu/100ml": 100.0, "cfu/l": 1000.0, "[cfu]/l": 1000.0,
}  # fmt: skip
HEADS: Final = ("chair", "sample date", "result (CFU/mL)", "volume_ml", "report")
MOST_BYTES: Final = 20_000_000


@dataclass(frozen=True, slots=True)
class Report:
    """A report as a CSV table. `decimal` is known where we wrote the table ourselves; `findings` tell what was set aside on the way."""

    table: bytes
    decimal: Decimal_ | None = None
    findings: tuple[Finding, ...] = ()


def as_table(data: bytes, file: str) -> Report:
    """Return a report as a table. A CSV is returned as it came.

    Raises
    ------
    Mendable
        It is JSON, but neither a list of results nor FHIR Observations; or it is no text at all.
    """
    if data[:4] in (b"PK\x03\x04", b"\x1f\x8b\x08\x00", b"%PDF"):
        raise Mendable("a packed archive or a PDF", where=file, mend="Ask the laboratory for CSV, JSON or FHIR; unpack it first.")
    head = data.removeprefix(b"\xef\xbb\xbf").lstrip()[:1]
    if head not in (b"{", b"["):
        return Report(data)
    if len(data) > MOST_BYTES:
        raise Mendable(f"{len(data):,} bytes", where=file, mend=f"Give a report of at most {MOST_BYTES:,} bytes.")
    said, _ = read_json(data, file)
    rows = said.get("results") if isinstance(said, dict) and "resourceType" not in said else said
    if isinstance(rows, list) and rows and all(isinstance(row, dict) and "resourceType" not in row for row in rows):
        return Report(_csv(rows, dict.fromkeys(str(key) for row in rows for key in row)), "point")
    resources = list(_resources(said))
    if not resources:
        mend = "Give a list of results with the headings of the table, or FHIR Observations in a Bundle (docs/assistant/water.md)."
        raise Mendable("this JSON holds no results", where=file, mend=mend)
    findings: list[Finding] = []
    rows = [row for number, one in enumerate(resources, 1) if (row := _row(one, f"{file}, Observation {number}", findings)) is not None]
    if not rows and findings:
        raise Mendable.of(findings)
    return Report(_csv(rows, HEADS), "point", tuple(findings))


def _csv(rows: Iterable[dict[str, Any]], heads: Iterable[str]) -> bytes:
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=list(heads), delimiter=";", lineterminator="\n", extrasaction="ignore")
    writer.writeheader()
    writer.writerows({key: "" if value is None else str(value).replace("\n", " ") for key, value in row.items()} for row in rows)
    return out.getvalue().encode()


def _resources(said: Any) -> Iterator[dict[str, Any]]:
    if isinstance(said, list):
        for one in said:
            yield from _resources(one)
    elif isinstance(said, dict) and said.get("resourceType") == "Observation":
        yield said
    elif isinstance(said, dict) and said.get("resourceType") == "Bundle" and isinstance(said.get("entry"), list):
        for entry in said["entry"]:
            if isinstance(entry, dict):
                yield from _resources(entry.get("resource"))


def _row(resource: dict[str, Any], where: str, findings: list[Finding]) -> dict[str, Any] | None:
    from fhir.resources.R4B.observation import Observation  # noqa: PLC0415 - an optional part, 0.25 s
    from pydantic import ValidationError  # noqa: PLC0415

    try:
        made = Observation.model_validate(resource)
    except ValidationError as error:
        first = error.errors(include_input=False, include_url=False, include_context=False)[0]
        field = ".".join(map(str, first["loc"])) or "resource"
        findings.append(Finding(f"the field {field} is not as FHIR R4 has it", where, "Ask the laboratory to mend its export."))
        return None
    chair = _chair(resource)
    quantity = resource.get("valueQuantity") or {}
    for wrong, what, mend in (
        (made.status not in FINAL, f"its status is {made.status}, not final", "Wait for the final report."),
        (not chair, "no chair is named in subject", "The subject's identifier or display must be the chair's id."),
        (not resource.get("effectiveDateTime"), "the day of sampling (effectiveDateTime) is missing", "Ask the laboratory for it."),
        ("value" not in quantity, "there is no count (valueQuantity)", "A result without a number says nothing; ask the laboratory."),
        (not _per(quantity), f"the unit {str(quantity.get('unit', ''))[:20]!r} is not CFU per mL, 100 mL or L", "Ask the laboratory."),
    ):
        if wrong:
            findings.append(Finding(what, where, mend))
            return None
    sign = {"<": "<", "<=": "<=", ">": ">", ">=": ">="}.get(quantity.get("comparator", ""), "")
    return {
        "chair": chair,
        "sample date": str(resource["effectiveDateTime"])[:10],
        "result (CFU/mL)": f"{sign}{float(quantity['value']) / _per(quantity):.10g}",
        "volume_ml": _volume(resource),
        "report": next((str(one.get("value", "")) for one in resource.get("identifier", []) if isinstance(one, dict)), ""),
    }


def _chair(resource: dict[str, Any]) -> str:
    subject = resource.get("subject") or {}
    return str((subject.get("identifier") or {}).get("value") or subject.get("display") or "").strip()


def _per(quantity: dict[str, Any]) -> float:
    """Return how many mL the count's unit is per; 0 where it is no count per volume."""
    plain = str(quantity.get("code") or quantity.get("unit") or "").casefold().replace("{", "").replace("}", "").replace(" ", "")
    return PER_ML.get(plain, 0.0)


def _volume(resource: dict[str, Any]) -> str:
    """Return the plated volume [mL] from a component that is a volume in mL or uL; empty where none is given."""
    for one in resource.get("component") or []:
        quantity = one.get("valueQuantity") or {}
        unit = str(quantity.get("code") or quantity.get("unit") or "").casefold()
        if unit in ("ml", "ul", "µl"):
            return f"{float(quantity['value']) / (1 if unit == 'ml' else 1000):.10g}"
    return ""
