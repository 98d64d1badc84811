"""Every payload file under tests/data/payloads/<format>/, against the `.expected` file beside it.

The expected values were worked out by hand from the standards named in each file's `why`, not taken from the decoder.
"""

import json
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import pytest

from edgemon.decode.decoded import Decoded
from edgemon.decode.registry import FORMAT_OF_TOPIC, FORMATS, decode
from edgemon.errors import DecodeError
from edgemon.model.reading import Reading
from tests.decode.samples import BORDERS, NOW, ROOT, SENSOR, message

PAYLOADS = Path(__file__).parents[1] / "data" / "payloads"
CASES = sorted(PAYLOADS.glob("*/*.expected"))
TOPIC_OF_FORMAT = {name: kind.value for kind, name in FORMAT_OF_TOPIC.items()}


def payload_of(expected: Path) -> bytes:
    text = expected.with_suffix(".json")
    return text.read_bytes() if text.exists() else bytes.fromhex(expected.with_suffix(".hex").read_text())


def run(expected: Path, wanted: dict[str, Any]) -> Decoded:
    sensor = replace(SENSOR, clock=wanted.get("clock", True))
    if "sensitivity" in wanted:
        sensor = replace(sensor, sensitivity_v_per_si=wanted["sensitivity"])
    borders = replace(BORDERS, **wanted.get("borders", {}))
    sent = message(TOPIC_OF_FORMAT[expected.parent.name], payload_of(expected), retained=wanted.get("retained", False))
    return decode(sent, ROOT, {sensor.id: sensor}, borders)


def plain(reading: Reading) -> dict[str, Any]:
    assert reading.sensor == SENSOR.id
    assert reading.received_at == NOW
    return {
        "name": reading.name,
        "axis": reading.axis,
        "taken_at": reading.taken_at,
        "value": pytest.approx(reading.value, rel=1e-12),
        "quantity": reading.quantity.value,
        "sim": reading.sim,
    }


@pytest.mark.parametrize("case", CASES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_payload(case: Path) -> None:
    wanted = json.loads(case.read_text())
    if "error" in wanted:
        with pytest.raises(DecodeError) as caught:
            run(case, wanted)
        assert caught.value.cause == wanted["error"], str(caught.value)
        assert caught.value.where == wanted["where"], str(caught.value)
        assert caught.value.what
        return
    decoded = run(case, wanted)
    if "readings" in wanted:
        assert wanted["readings"] == [plain(reading) for reading in decoded.readings]
        assert decoded.skipped == tuple(wanted.get("skipped", ()))
        assert decoded.part is None
        return
    part, fields = decoded.part, wanted["part"]
    assert part is not None
    assert part.received_at == NOW
    assert {axis: samples.tolist() for axis, samples in part.axes.items()} == fields.pop("axes")
    form = fields.pop("form", None)
    assert (None if part.form is None else asdict(part.form)) == form
    assert part.si_per_count == pytest.approx(fields.pop("si_per_count"), rel=1e-12)
    assert {name: getattr(part, name) for name in fields} == fields


def test_every_format_has_payloads_and_every_payload_an_expectation() -> None:
    assert {case.parent.name for case in CASES} == set(FORMATS)
    for name in FORMATS:
        outcomes = {"error" in json.loads(case.read_text()) for case in CASES if case.parent.name == name}
        assert outcomes == {True, False}, f"{name} needs valid and broken payloads"
    payloads = {path.with_suffix(".expected") for pattern in ("*/*.json", "*/*.hex") for path in PAYLOADS.glob(pattern)}
    assert payloads == set(CASES)
