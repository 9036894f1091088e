"""The book as FHIR R4: taken by the specification's models, read back with the same numbers, and nothing of a patient."""

import json
from importlib.resources import files
from typing import Any

import pytest
from fhir.resources.R4B.bundle import Bundle
from share_book import written

from fettlebook.exchange.share.fhir import bundle_of, checked
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice

pytestmark = pytest.mark.invented


@pytest.fixture(scope="module")
def demo() -> Practice:
    found = read_practice(files("fettlebook.demo").joinpath("practice.toml").read_bytes(), "practice.toml").practice
    assert found is not None
    return found


@pytest.fixture(scope="module")
def resources(demo: Practice, tmp_path_factory: pytest.TempPathFactory) -> list[Any]:
    bundle = checked(bundle_of(written(tmp_path_factory.mktemp("book")), demo))
    read = Bundle.model_validate_json(json.dumps(bundle))  # our own output, read back
    assert [e["fullUrl"] for e in bundle["entry"]] == [f"urn:uuid:{e['resource']['id']}" for e in bundle["entry"]]
    return [entry.resource for entry in read.entry]


def of(resources: list[Any], kind: str) -> list[Any]:
    return [one for one in resources if one.get_resource_type() == kind]


def test_every_chair_and_machine_is_a_device(resources: list[Any], demo: Practice) -> None:
    assert [one.deviceName[0].name for one in of(resources, "Device")] == [one.id for one in (*demo.chairs, *demo.machines)]


def test_a_result_keeps_value_unit_place_and_what_became_of_it(resources: list[Any]) -> None:
    mended, gone, hot = of(resources, "Observation")
    assert (mended.status, float(mended.valueQuantity.value), mended.valueQuantity.unit) == ("corrected", 23.0, "CFU/mL")
    assert (mended.bodySite.text, mended.method.text, mended.valueQuantity.comparator) == ("turbine", "R2A, 22 degC, 7 d", None)
    assert (gone.status, gone.valueQuantity.comparator) == ("entered-in-error", "<")
    assert (float(hot.valueQuantity.value), hot.valueQuantity.code) == (58.5, "Cel")
    chair = next(one for one in of(resources, "Device") if one.deviceName[0].name == "chair 1")
    assert mended.subject.reference == f"urn:uuid:{chair.id}"


def test_a_cycle_says_machine_load_and_both_verdicts(resources: list[Any]) -> None:
    (cycle,) = of(resources, "Procedure")
    (load,) = of(resources, "Group")
    assert (cycle.status, cycle.outcome.text) == ("completed", "fit; the machine said: passed")
    assert [note.text for note in cycle.note] == ["hold 210 s of 180 s"]
    assert cycle.subject.identifier.value == load.identifier[0].value == "L1"
    assert (cycle.performedPeriod.end - cycle.performedPeriod.start).total_seconds() == 2700
    assert [one.valueCodeableConcept.text for one in load.characteristic] == ["exam#1", "exam#2"]


def test_each_of_these_entries_has_its_provenance(resources: list[Any]) -> None:
    told = {one.target[0].reference: one for one in of(resources, "Provenance")}
    wanted = {f"urn:uuid:{one.id}" for kind in ("Observation", "Procedure", "Group") for one in of(resources, kind)}
    assert set(told) == wanted
    assert {one.agent[0].who.identifier.value for one in told.values()} == {"ana", "ben"}


def test_references_point_into_the_bundle_and_no_patient_is_named(resources: list[Any]) -> None:
    text = "".join(one.model_dump_json() for one in resources)
    ids = {str(one.id) for one in resources}
    for target in [part.partition('"')[0] for part in text.split('"reference":"urn:uuid:')[1:]]:
        assert target in ids
    assert '"Patient' not in text
