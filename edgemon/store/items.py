"""Rows of the store as items to send upstream: their keys, their JSON."""

import base64
import json
from typing import Any

from edgemon.model.event import JournalEntry
from edgemon.model.instant import Instant, format_instant
from edgemon.model.reading import Capture
from edgemon.model.upstream import Item, Source
from edgemon.store.wire import Row, journal_document
from edgemon.units import SI_UNIT, Quantity


def reading_item(row: Row, origin: str) -> Item:
    """Make an item of a row: number, kind, owner, place, name, sim, quantity, t, value, fit."""
    number, kind, owner, place, name, sim, quantity, t, value, fit = row
    subject = f"{owner}/{place}" if kind == "point" else owner
    marks = ("/sim" if sim else "") + ("" if fit else "/unfit")
    key = f"{origin}/reading/{kind}/{subject}/{name}/{t!r}{marks}"
    about = {"machine": owner, "point": place} if kind == "point" else {"sensor": owner}
    unit = SI_UNIT[Quantity(quantity)]
    fields = {**about, "name": name, "value": value, "unit": unit, "fit": bool(fit)}
    return _item(Source.READINGS, number, key, subject, t, bool(sim), fields)


def capture_item(number: int, capture: Capture, origin: str, damaged: str = "") -> Item:
    """Make an item of a capture; samples are little-endian int16 in base64, as they came, or none and the reason why."""
    marks = ("/sim" if capture.sim else "") + ("" if capture.form is None else "/spectrum")
    key = f"{origin}/capture/{capture.sensor}/{capture.id}/{capture.taken_at!r}{marks}"
    fields = {
        "sensor": capture.sensor,
        "id": capture.id,
        "fs": capture.fs_hz,
        "u": capture.unit,
        "scale": capture.scale,
        "axes": {name: base64.b64encode(counts.astype("<i2").tobytes()).decode() for name, counts in capture.axes.items()},
        "rpm": capture.rpm,
        "spectrum": capture.form is not None,
        "missing_parts": list(capture.missing_parts),
        **({"damaged": damaged} if damaged else {}),
    }
    return _item(Source.CAPTURES, number, key, capture.sensor, capture.taken_at, capture.sim, fields)


def journal_item(source: Source, entry: JournalEntry, origin: str, sim: bool) -> Item:
    """Make an item of a journal entry. Its hash is in the key: a gateway set up anew counts from one again."""
    key = f"{origin}/{source}/{entry.seq}/{entry.hash[:16] or repr(entry.recorded_at)}"
    return _item(source, entry.seq, key, source, entry.recorded_at, sim, {"entry": journal_document(entry)})


def _item(source: Source, number: int, key: str, subject: str, t: Instant, sim: bool, fields: dict[str, Any]) -> Item:
    site, gateway = key.split("/")[:2]
    document = {"key": key, "site": site, "gateway": gateway, "what": source, "t": format_instant(t), "sim": sim, **fields}
    body = json.dumps(document, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode()
    return Item(source, number, key, subject, t, sim, body)
