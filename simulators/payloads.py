"""Encoders of the message contract, version 1; written from the contract, not from the gateway's decoder."""

import base64
import json
from collections.abc import Mapping
from dataclasses import dataclass

import cbor2
import numpy as np
from numpy.typing import NDArray

SENML_CBOR = {"bn": -2, "bt": -3, "n": 0, "u": 1, "v": 2, "vs": 3, "vb": 4, "t": 6}
"""Labels of SenML fields in CBOR. Source: RFC 8428, table 4 (section 6)."""


@dataclass(frozen=True, slots=True, eq=False)
class Waveform:
    """One capture as a sensor has it in memory."""

    id: str
    t: float
    fs_hz: float
    unit: str
    scale: float
    axes: Mapping[str, NDArray[np.int16]]
    """Samples of each axis, shape (n,), the same n for all."""
    rpm: float | None = None
    temperature_c: float | None = None
    battery_pct: float | None = None
    rssi_dbm: float | None = None
    sim: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """One amplitude spectrum as a sensor has it in memory: unsigned 16-bit numbers, r.m.s., Hann window."""

    id: str
    t: float
    line_hz: float
    unit: str
    scale: float
    averages: int
    axes: Mapping[str, NDArray[np.uint16]]
    """Lines of each axis from 0 Hz on, shape (n,), the same n for all."""
    rpm: float | None = None
    temperature_c: float | None = None
    battery_pct: float | None = None
    rssi_dbm: float | None = None
    sim: bool = True


@dataclass(frozen=True, slots=True)
class Record:
    """One SenML record: a number."""

    name: str
    value: float
    unit: str


def encode_capture(wave: Waveform, parts: int = 1, as_json: bool = False) -> list[bytes]:
    """Encode a capture as the payloads of one message or of several parts.

    Parameters
    ----------
    wave : Waveform
        The capture.
    parts : int
        How many parts to send it in; 1 sends it whole, without the field `part`.
    as_json : bool
        JSON with base64 samples instead of CBOR with byte strings.

    Returns
    -------
    list of bytes
        One payload a part, in order; samples of an axis concatenate in this order.

    Raises
    ------
    ValueError
        Fewer samples than parts, or parts below 1.
    """
    head: dict[str, object] = {"id": wave.id, "t": wave.t, "fs": wave.fs_hz, "u": wave.unit, "scale": wave.scale}
    return _in_parts(head | _condition(wave), wave.axes, "<i2", parts, as_json)


def encode_spectrum(lines: Lines, parts: int = 1, as_json: bool = False) -> list[bytes]:
    """Encode a spectrum as the payloads of one message or of several parts; as `encode_capture` otherwise."""
    head: dict[str, object] = {"id": lines.id, "t": lines.t, "u": lines.unit, "detector": "rms", "df": lines.line_hz}
    head |= {"window": "hann", "enbw": 1.5, "averages": lines.averages, "scale": lines.scale}
    return _in_parts(head | _condition(lines), lines.axes, "<u2", parts, as_json)


def _in_parts(
    head: dict[str, object],
    axes: Mapping[str, NDArray[np.int16]] | Mapping[str, NDArray[np.uint16]],
    dtype: str,
    parts: int,
    as_json: bool,
) -> list[bytes]:
    length = min(numbers.size for numbers in axes.values())
    if parts < 1 or parts > length:
        raise ValueError(f"{length} samples cannot be sent in {parts} parts")
    edges = [length * k // parts for k in range(parts + 1)]
    payloads = []
    for k in range(parts):
        fields = dict(head)
        cut = {axis: numbers[edges[k] : edges[k + 1]].astype(dtype).tobytes() for axis, numbers in axes.items()}
        if parts > 1:
            fields["part"] = [k + 1, parts]
        if as_json:
            fields["axes"] = {axis: base64.b64encode(numbers).decode("ascii") for axis, numbers in cut.items()}
            payloads.append(json.dumps(fields).encode())
        else:
            fields["axes"] = cut
            payloads.append(cbor2.dumps(fields))
    return payloads


def _condition(one: Waveform | Lines) -> dict[str, object]:
    """Fields about the sensor itself, the same in every part; what it does not know is left out."""
    known = {"rpm": one.rpm, "temp": one.temperature_c, "battery": one.battery_pct, "rssi": one.rssi_dbm}
    fields: dict[str, object] = {name: value for name, value in known.items() if value is not None}
    return fields | ({"sim": True} if one.sim else {})


def encode_readings(t: float, records: list[Record], as_json: bool = True, sim: bool = True) -> bytes:
    """Encode readings of one time as a SenML pack (RFC 8428); a boolean record `sim` marks them as simulated."""
    pack: list[dict[str, object]] = [{"n": record.name, "u": record.unit, "v": record.value} for record in records]
    if sim:
        pack.append({"n": "sim", "vb": True})
    pack[0] = {"bt": t, **pack[0]}
    if as_json:
        return json.dumps(pack).encode()
    return cbor2.dumps([{SENML_CBOR[name]: value for name, value in record.items()} for record in pack])


def encode_note(t: float, title: str, text: str, machine: str = "") -> bytes:
    """Encode a simulation note: what is being played, for the people who watch."""
    return json.dumps({"t": t, "title": title, "text": text, "machine": machine}, ensure_ascii=False).encode()
