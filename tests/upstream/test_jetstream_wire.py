"""Subjects, ids, parts and answers. Sources: NATS documentation (subjects, JetStream headers), nats-server `errors.json`."""

import base64
import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgemon.errors import LinkDown
from edgemon.model.upstream import Item, Source
from edgemon.upstream import jetstream_wire as wire
from edgemon.upstream.jetstream_wire import Fate, Last, Message


def item(key: str = "saltmarsh/gw-1/reading/point/pump/de/velocity/1", about: str = "pump/de", body: bytes = b"{}") -> Item:
    return Item(Source.READINGS, 1, key, about, 1.7e9, False, body)


def test_a_subject_says_site_gateway_source_and_what_it_is_about() -> None:
    assert wire.subject_of("EDGEMON", item()) == "EDGEMON.saltmarsh.gw-1.readings.pump.de"
    journal = Item(Source.JOURNAL, 1, "saltmarsh/gw-1/journal/1/abc", "journal", 0.0, False, b"")
    assert wire.subject_of("EDGEMON", journal) == "EDGEMON.saltmarsh.gw-1.journal"
    assert wire.subject_of("EDGEMON", replace(journal, late=True)) == "EDGEMON.saltmarsh.gw-1.journal.%late"
    assert wire.token("%late") != wire.LATE  # nobody is called so


@settings(deadline=None)
@given(st.text(), st.text())
def test_any_text_is_one_token_without_wildcards_and_no_two_are_the_same(one: str, other: str) -> None:
    try:
        tokens = wire.token(one), wire.token(other)
    except UnicodeEncodeError:  # half of a surrogate pair: not text
        return
    assert all(re.fullmatch(r"[A-Za-z0-9_%-]+", token) for token in tokens)
    assert (tokens[0] == tokens[1]) == (one == other)


@settings(deadline=None)
@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_an_id_is_printable_ascii(key: str) -> None:
    assert re.fullmatch(r"[!-~]*", wire.id_of(key))


def test_an_id_is_the_key_where_that_is_plain() -> None:
    assert wire.id_of("saltmarsh/gw-1/reading/1700000000.5/sim") == "saltmarsh/gw-1/reading/1700000000.5/sim"
    assert wire.id_of("a b%c\r\nNats-Rollup: all") == "a%20b%25c%0D%0ANats-Rollup:%20all"


@settings(deadline=None)
@given(st.binary(max_size=20_000), st.integers(2_100, 9_000))
def test_pieces_fit_and_put_together_are_the_body(body: bytes, largest: int) -> None:
    messages = wire.messages_of("EDGEMON", item(body=body), largest)
    assert b"".join(one.payload for one in messages) == body
    assert len({one.id for one in messages}) == len(messages)
    for one in wire.in_runs(messages):
        headers = one.headers("EDGEMON", 2**63) | {wire.BATCH: "0" * 32, wire.BATCH_NUMBER: "1000", wire.BATCH_END: "1"}
        size = len(b"NATS/1.0\r\n\r\n") + sum(len(f"{name}: {value}\r\n") for name, value in headers.items())
        assert size + len(one.payload) <= largest


def test_what_can_never_be_sent_is_told() -> None:
    assert wire.messages_of("EDGEMON", item(about="x" * 3000), 1 << 20) == ()
    with pytest.raises(LinkDown, match="max_msg_size"):
        wire.messages_of("EDGEMON", item(body=bytes(5000)), 1000)


def test_of_what_waits_is_sent_what_comes_after_the_last_there() -> None:
    waiting = wire.in_runs([Message("s", f"k{n}", b"", item()) for n in range(4)])
    assert [one.id for one in wire.unsent(waiting, Last(9, "k1", waiting[1].run))] == ["k2", "k3"]
    assert [one.id for one in wire.unsent(waiting[1:], Last(9, "k2", waiting[2].run))] == ["k3"]
    assert wire.unsent(waiting, Last(9, "older", "?")) == waiting
    assert wire.unsent(waiting, Last(0)) == waiting
    assert wire.unsent(waiting, Last(9, "k3", waiting[3].run)) == ()


def test_a_last_one_sent_by_somebody_else_says_nothing_of_those_before_it() -> None:
    waiting = wire.in_runs([Message("s", f"k{n}", b"", item()) for n in range(4)])
    (other,) = wire.in_runs([Message("s", "k2", b"", item())])
    assert [one.id for one in wire.unsent(waiting, Last(9, "k2", other.run))] == ["k0", "k1", "k3"]


def test_the_last_message_of_a_subject_is_read() -> None:
    headers = base64.b64encode(b"NATS/1.0\r\nNats-Msg-Id: k7\r\nEdgemon-Run: 0f\r\n\r\n").decode()
    assert wire.last_of({"message": {"subject": "s", "seq": 12, "hdrs": headers}}) == Last(12, "k7", "0f")
    assert wire.last_of({"message": {"subject": "s", "seq": 12}}) == Last(12)
    assert wire.last_of({"error": {"code": 404, "err_code": 10037, "description": "no message found"}}) == Last(0)
    assert isinstance(wire.last_of({"error": {"code": 503, "err_code": 10008, "description": "unavailable"}}), str)
    assert isinstance(wire.last_of({"message": {"seq": 1, "hdrs": "no base64"}}), str)


@pytest.mark.parametrize(
    ("document", "fate"),
    [
        ({"stream": "EDGEMON", "seq": 3}, Fate.TAKEN),
        ({"stream": "EDGEMON", "seq": 3, "duplicate": True}, Fate.REPEATED),
        ({"error": {"code": 400, "err_code": 10071, "description": "wrong last sequence: 6"}, "seq": 0}, Fate.OVERTAKEN),
        ({"error": {"code": 400, "err_code": 10054, "description": "message size exceeds maximum allowed"}}, Fate.UNKNOWN),
        ({"error": {"code": 503, "err_code": 10077, "description": "maximum bytes exceeded"}}, Fate.UNKNOWN),
        ({"error": {"code": 503, "err_code": 10023, "description": "insufficient resources"}}, Fate.UNKNOWN),
        ({"error": "no object"}, Fate.UNKNOWN),
        ({}, Fate.UNKNOWN),
        ({"seq": "3"}, Fate.UNKNOWN),
    ],
)
def test_no_error_of_a_stream_says_never(document: dict[str, object], fate: Fate) -> None:
    assert wire.verdict(document).fate is fate


def test_a_servers_words_cannot_steer_a_terminal() -> None:
    assert "\x1b" not in wire.error_words({"error": {"err_code": 1, "description": "\x1b[2J"}})
