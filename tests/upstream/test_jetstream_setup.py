"""Which streams can be used. Source: NATS documentation, configuration of streams."""

import sys

import pytest

from edgemon.errors import SettingsError
from edgemon.model.upstream import Server, Source, Upstream, UpstreamKind
from edgemon.upstream.jetstream import NatsTransport
from edgemon.upstream.jetstream_setup import config_of, trouble_of

GOOD = config_of("EDGEMON", 1, atomic=True)


def test_a_stream_made_here_can_be_used() -> None:
    assert trouble_of("EDGEMON", GOOD) == ""


@pytest.mark.parametrize(
    "subjects", [[">"], ["other", "EDGEMON.>"], ["*.saltmarsh.>"], ["EDGEMON.saltmarsh.*.*"], ["EDGEMON.*.*.readings.*.*"]]
)
def test_subjects_that_take_some_of_ours_will_do(subjects: list[str]) -> None:
    assert trouble_of("EDGEMON", {**GOOD, "subjects": subjects}) == ""


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"subjects": ["EDGEMON"]}, "must take EDGEMON.>"),
        ({"subjects": ["EDGEMON.*"]}, "must take EDGEMON.>"),
        ({"subjects": ["other.>"]}, "must take EDGEMON.>"),
        ({"subjects": None}, "takes no subjects"),
        ({"mirror": {"name": "there"}}, "mirror"),
        ({"sealed": True}, "sealed"),
        ({"no_ack": True}, "no_ack"),
        ({"subject_transform": {"src": ">", "dest": "x.>"}}, "renames"),
        ({"duplicate_window": 1_000_000_000}, "1 s"),
    ],
)
def test_others_are_told_apart_with_what_to_do(change: dict[str, object], word: str) -> None:
    assert word in trouble_of("EDGEMON", {**GOOD, **change})


def test_without_the_library_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "nats", None)
    upstream = Upstream("streams", UpstreamKind.NATS, tuple(Source), Server(("nats://127.0.0.1:1",)), "EDGEMON")
    with pytest.raises(SettingsError, match=r"upstream\[streams\].url: .*edgemon\[nats\]"):
        NatsTransport(upstream)
