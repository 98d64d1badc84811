"""Writes the plant and gateway file with which a gateway can receive a folder of recordings."""

import json
from pathlib import Path

from simulators.errors import SimulatorError
from simulators.publish import Broker
from simulators.recordings import Recording

SENSITIVITY_MV_PER_G = 1000.0
"""For channels in volts whose sensitivity nobody published; their levels are relative only."""

STALE_AFTER_S = 86_400
"""A record is played once; it must not turn stale before anybody has looked."""

INTERVAL_S = STALE_AFTER_S // 3
"""Said to be the sensors' interval: silence is no silence before three of them."""


def plant_toml(recordings: list[Recording], severity_class: str = "") -> str:
    """Write the plant: one machine a record, one point a channel.

    Parameters
    ----------
    recordings : list of Recording
        What is to be received.
    severity_class : str
        Class whose limits the machines get; empty for none: a bench is no machine in service. Records whose size cannot be
        trusted get none in any case.
    """
    lines = [
        "# One machine for each recording, one point for each channel.",
        "# Benches are not machines in service: limits, where there are any, are for trying out only.",
        "[site]",
        'id = "recordings"',
        'name = "Open recordings"',
        "",
        "[[area]]",
        'id = "bench"',
        'name = "Test benches"',
    ]
    for record in recordings:
        lines += _machine(record, severity_class)
    for record in recordings:
        lines += ["", "[[sensor]]", f"id = {_text(record.sensor)}", f"interval_s = {INTERVAL_S}"]
        if any(unit.name == "mV" for unit in record.units):
            lines.append(f"sensitivity_mv_per_g = {SENSITIVITY_MV_PER_G}   # not published: levels are relative only")
    return "\n".join(lines) + "\n"


def gateway_toml(broker: Broker, root: str) -> str:
    """Write the gateway file."""
    scheme = "mqtts" if broker.tls else "mqtt"
    host = f"[{broker.host}]" if ":" in broker.host else broker.host
    simulated = "simulated = true   # replayed captures carry the mark; no real data is due"
    lines = [
        "[gateway]",
        f"root = {_text(root)}",
        simulated,
        "",
        "[broker]",
        f"url = {_text(f'{scheme}://{host}:{broker.port}')}",
    ]
    if broker.username is not None:
        lines.append(f"username = {_text(broker.username)}")
    return "\n".join([*lines, "", "[store]", 'path = "state/edgemon.sqlite"']) + "\n"


def write_files(target: Path, plant: str, gateway: str, force: bool) -> list[Path]:
    """Write `plant.toml` and `gateway.toml` into a folder; files that are there are kept unless `force`."""
    texts = {target / "plant.toml": plant, target / "gateway.toml": gateway}
    there = [path for path in texts if path.exists()]
    if there and not force:
        raise SimulatorError("is there already; --force to write over it", str(there[0]))
    try:
        target.mkdir(parents=True, exist_ok=True)
        for path, text in texts.items():
            path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise SimulatorError(f"cannot be written: {error}", str(target), exit_code=1) from error
    return list(texts)


def _machine(record: Recording, severity_class: str) -> list[str]:
    """Write one machine."""
    trusted = all(unit.calibrated for unit in record.units)
    sizes = "" if trusted else ", levels relative only"
    lines = [
        "",
        "[[machine]]",
        f"id = {_text(record.id)}",
        f"name = {_text(record.id[:22])}",
        'area = "bench"',
        f"kind = {_text('recording' + sizes)}",
        'criticality = "general"',
    ]
    if severity_class and trusted:
        lines.append(f"severity_class = {_text(severity_class)}")
    if record.rpm is not None:
        lines.append(f"rpm = {record.rpm:g}")
    for axis, place, bearing in zip(record.axes, record.channels, record.bearings, strict=True):
        lines += [
            "",
            "  [[machine.point]]",
            f"  id = {_text(axis)}",
            f"  name = {_text(place.partition(',')[0][:40])}",
            f"  sensor = {_text(record.sensor)}",
            f"  axis = {_text(axis)}",
            f"  stale_after_s = {STALE_AFTER_S}",
        ]
        if bearing is not None:
            fields = ", ".join(f"{name} = {value}" for name, value in bearing.items())
            lines.append(f"  bearing = {{ {fields} }}")
    return lines


def _text(value: str) -> str:
    """Write a TOML basic string; JSON's escapes are among TOML's."""
    return json.dumps(value, ensure_ascii=False)
