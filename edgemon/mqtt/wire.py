"""The documents that are published on MQTT, and where; message contract, version 1, section `Out`."""

import json
from collections.abc import Mapping
from typing import Any

from edgemon.model.collection import CollectionView
from edgemon.model.instant import Instant, format_instant
from edgemon.model.limit import Side
from edgemon.model.outgoing import Outgoing
from edgemon.model.proof import ProofView
from edgemon.model.snapshot import AlarmView, GatewayView, MachineView, PointView

_ENCODER = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def machine_states(root: str, site: str, machine: MachineView) -> tuple[Outgoing, ...]:
    """Give the retained states of a machine and of all its points."""
    points = (_retained(_topic(root, site, machine.id, point.point), point_document(point)) for point in machine.points)
    return (_retained(_topic(root, site, machine.id), machine_document(machine)), *points)


def state_gone(root: str, site: str, machine: str, point: str = "") -> Outgoing:
    """Give what clears the retained state of a machine or point that the plant file no longer has."""
    return withdrawn(_topic(root, site, machine, point))


def withdrawn(topic: str) -> Outgoing:
    """Give what clears what a broker keeps at a topic.

    Source: MQTT 5.0 section 3.3.1.3: a retained message without payload removes the one that was kept.
    """
    return Outgoing(topic, b"", retain=True)


def _topic(root: str, site: str, machine: str, point: str = "") -> str:
    topic = f"{root}/site/{site}/machine/{machine}"
    return f"{topic}/{point}" if point else topic


def machine_document(machine: MachineView) -> dict[str, Any]:
    """Give a machine's state: its worst point's."""
    worst = machine.worst
    return {
        "t": _instant(machine.t),
        "state": machine.state,
        "quality": machine.quality,
        "reasons": list(machine.reasons),
        "alarms": [_alarm(alarm) for point in machine.points for alarm in point.alarms],
        "worst": {"point": worst.point, "level": worst.level, "ratio": round(worst.ratio, 6)} if worst else None,
        "sim": machine.sim,
    }


def point_document(point: PointView) -> dict[str, Any]:
    """Give a point's state with its levels in the unit of their limits."""
    return {
        "t": _instant(point.t),
        "state": point.state,
        "quality": point.quality,
        "reasons": list(point.reasons),
        "levels": {
            level.name: {
                "value": _number(level.value),
                "unit": level.unit,
                "state": level.state,
                "alert": level.alert,
                "alarm": level.alarm,
                **({"side": level.side.value} if level.side is Side.BELOW else {}),
            }
            for level in point.levels
        },
        "alarms": [_alarm(alarm) for alarm in point.alarms],
        "capture": point.capture,
        "sim": point.sim,
        **({"left_out": dict(point.left_out)} if point.left_out else {}),
        **({"sends": point.sends} if point.sends != "waveform" else {}),
    }


def gateway_state(root: str, gateway: GatewayView) -> Outgoing:
    """Give the gateway's retained state while it runs."""
    return _retained(
        gateway_topic(root, gateway.site),
        {
            "status": "online",
            "version": gateway.version,
            "started": format_instant(gateway.started_at),
            "queue": gateway.queue,
            "open_captures": gateway.open_captures,
            "unsent": gateway.unsent,
            "oldest_unsent": _instant(gateway.oldest_unsent),
            "messages": gateway.messages,
            "rejected": gateway.rejected,
            "store_ok": gateway.store_ok,
            "store_keeps": gateway.store_keeps,
            "store_since": _instant(gateway.store_since),
            "journal": {"seq": gateway.journal_seq, "hash": gateway.journal_hash},
            "alarms": [_alarm(alarm) for alarm in gateway.alarms],
            "proof": _proof(gateway.proof),
        },
    )


def gateway_offline(root: str, site: str, version: str) -> Outgoing:
    """Give the last will, which is also said on an orderly stop."""
    return _retained(gateway_topic(root, site), {"status": "offline", "version": version})


def gateway_topic(root: str, site: str) -> str:
    """Say where the gateway's state is."""
    return f"{root}/site/{site}/gateway"


def annunciator_state(root: str, site: str, topic: str, document: Mapping[str, Any]) -> Outgoing:
    """Give the retained state of horn and beacon, for an output of the plant's own."""
    return _retained(f"{root}/site/{site}/{topic}", document)


def journal_event(root: str, site: str, document: Mapping[str, Any]) -> Outgoing:
    """Give a journal entry, not retained."""
    return Outgoing(f"{root}/site/{site}/event", _json(document), retain=False)


def schedule(root: str, sensor: str, wanted: CollectionView) -> Outgoing:
    """Give the retained schedule of a sensor: the collection wanted, and until when where it is faster for a while."""
    fast = wanted.fast
    document: dict[str, Any] = {
        "interval_s": wanted.interval_s if fast is None else fast.interval_s,
        "fs": wanted.fs_hz,
        "samples": wanted.samples,
        "axes": list(wanted.axes),
        **({} if fast is None else {"until": format_instant(fast.until)}),
    }
    return _retained(schedule_topic(root, sensor), document)


def schedule_topic(root: str, sensor: str) -> str:
    """Say where the schedule of a sensor is."""
    return f"{root}/sensor/{sensor}/schedule"


def _proof(proof: ProofView | None) -> dict[str, Any] | None:
    if proof is None:
        return None
    return {"scope": proof.scope, "until": format_instant(proof.until), "by": proof.by, "reason": proof.reason}


def _alarm(alarm: AlarmView) -> dict[str, Any]:
    return {
        "id": alarm.id,
        "level": alarm.level,
        "severity": alarm.severity,
        "alarm_state": alarm.alarm_state,
        "since": format_instant(alarm.since),
        "priority": alarm.priority,
        **({"proof": True} if alarm.proof else {}),
    }


def _retained(topic: str, document: Mapping[str, Any]) -> Outgoing:
    return Outgoing(topic, _json(document), retain=True)


def _json(document: Mapping[str, Any]) -> bytes:
    return _ENCODER.encode(document).encode()


def _instant(instant: Instant | None) -> str | None:
    return None if instant is None else format_instant(instant)


def _number(value: float) -> float:
    """Keep seven significant digits: more than any sensor has, and short to read."""
    return float(f"{value:.7g}")
