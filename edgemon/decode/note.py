"""A message of the topic `simulation`: what is being played, for the people who watch."""

from typing import Final

from edgemon.decode.container import load_json
from edgemon.decode.decoded import Decoded
from edgemon.decode.fields import as_instant, as_text, settle
from edgemon.errors import OutOfRange, Truncated, UnknownFormat
from edgemon.model.gateway import InputBorders
from edgemon.model.ids import is_identifier
from edgemon.model.message import Message
from edgemon.model.reading import SimulationNote
from edgemon.model.text import clean

LONGEST_TITLE: Final = 64
LONGEST_TEXT: Final = 400
_MOST_ITEMS: Final = 1024


def decode_note(message: Message, borders: InputBorders) -> Decoded:
    """Decode a simulation note: a JSON object with `title`, and `t`, `text`, `machine` where wanted.

    Raises
    ------
    DecodeError
        One of its kinds; it names the field.
    """
    if not message.payload.strip():
        raise Truncated("empty message")
    raw = load_json(message.payload, _MOST_ITEMS)
    if not isinstance(raw, dict):
        raise UnknownFormat("a simulation note is a JSON object")
    sent = None if raw.get("t") is None else as_instant(raw["t"], "t")
    title = clean(as_text(raw.get("title"), "title"), LONGEST_TITLE)
    if not title.strip():
        raise OutOfRange("is empty", "title")
    machine = "" if raw.get("machine") is None else as_text(raw["machine"], "machine")
    if machine and not is_identifier(machine):
        raise OutOfRange(f"{clean(machine)!r} is not an identifier", "machine")
    text = clean(as_text(raw.get("text", ""), "text"), LONGEST_TEXT)
    return Decoded(note=SimulationNote(settle(sent, message, borders.future_skew_s, "t"), title, text, machine))
