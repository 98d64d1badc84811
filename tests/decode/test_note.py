import json

import pytest

from edgemon.decode.note import decode_note
from edgemon.errors import DecodeError
from edgemon.model.reading import SimulationNote
from edgemon.model.text import ELLIPSIS
from tests.decode.samples import BORDERS, NOW, message


def note(fields: object, *, retained: bool = False) -> SimulationNote:
    found = decode_note(message("simulation", json.dumps(fields).encode(), retained=retained), BORDERS).note
    assert found is not None
    return found


def test_a_note_says_what_is_played() -> None:
    said = note({"t": "2025-06-15T15:06:30Z", "title": "A bearing wears", "text": "Pump 2.", "machine": "hp-pump-2"})
    assert said == SimulationNote(NOW - 10, "A bearing wears", "Pump 2.", "hp-pump-2")


def test_title_alone_is_enough_and_then_it_is_about_now() -> None:
    assert note({"title": "Start"}) == SimulationNote(NOW, "Start", "")


def test_text_is_cleaned_and_cut() -> None:
    said = note({"title": "a\x1b[31m" + "b" * 100, "text": "\u202e" + "c" * 1000})
    assert said.title == ("a\ufffd[31m" + "b" * 100)[:63] + ELLIPSIS
    assert said.text == "\ufffd" + "c" * 398 + ELLIPSIS


@pytest.mark.parametrize(
    ("fields", "where"),
    [
        ({}, "title"),
        ({"title": " "}, "title"),
        ({"title": 7}, "title"),
        ({"title": "a", "text": 7}, "text"),
        ({"title": "a", "machine": "HP Pump"}, "machine"),
        ({"title": "a", "t": "noon"}, "t"),
        ({"title": "a", "t": 12}, "t"),
        ([], ""),
    ],
)
def test_what_cannot_be_used_is_refused_by_field(fields: object, where: str) -> None:
    with pytest.raises(DecodeError) as caught:
        note(fields)
    assert caught.value.where == where


def test_a_retained_note_without_time_is_not_taken_for_new() -> None:
    with pytest.raises(DecodeError, match="age"):
        note({"title": "a"}, retained=True)
    assert note({"title": "a", "t": NOW - 3600}, retained=True).taken_at == NOW - 3600
