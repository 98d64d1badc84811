"""`[[upstream]]`: what it becomes, and every doubt about one, each with its line, field, sentence and hint."""

from pathlib import Path

import pytest

from edgemon.model.upstream import Source, UpstreamKind
from tests.settings.support import PLANT, found, line_of, loaded, only

NAMED = '[gateway]\nid = "gateway-1"\n'
BASE = "postgresql://db.plant/plant?sslmode=verify-full"
HERE = '[[upstream]]\nname = "historian"\nurl = "postgresql://127.0.0.1/plant"\n'

CASES: dict[str, tuple[str, str, str, str, str, bool]] = {
    # text, start of the line, field, what, hint, is it an error
    "no id": (HERE, "", "gateway.id", "part of every key", "gateway-1", True),
    "wrong id": ('[gateway]\nid = "Gateway 1"\n', "id", "gateway.id", "no identifier", "a-z", True),
    "no name": (NAMED + "[[upstream]]\nurl = 'nats://127.0.0.1'\n", "[[up", "upstream[#1].name", "missing", "historian", True),
    "twice": (NAMED + HERE + HERE, 'name = "historian"', "upstream[historian].name", "twice", "line 3", True),
    "scheme": (NAMED + HERE.replace("postgresql:", "http:"), "url", "upstream[historian].url", '"http:"', "tls://", True),
    "no database": (NAMED + HERE.replace("/plant", ""), "url", "upstream[historian].url", "names no database", "5432", True),
    "sslmode": (
        NAMED + HERE.replace('plant"', 'plant?sslmode=some"'),
        "url",
        "upstream[historian].url",
        "cannot be",
        "verify",
        True,
    ),
    "secret": (
        NAMED + HERE.replace("//", "//u:pw@"),
        "url",
        "upstream[historian].url",
        "carries a user",
        "password_file",
        True,
    ),
    "in the clear": (
        NAMED + HERE.replace("127.0.0.1", "db.plant"),
        "url",
        "upstream[historian].url",
        "in the clear",
        "verify-full",
        False,
    ),
    "no url": (NAMED + '[[upstream]]\nname = "a"\n', "[[up", "upstream[a].url", "missing", "postgresql://", True),
    "two kinds": (
        NAMED + '[[upstream]]\nname = "a"\nurl = ["nats://127.0.0.1", "mqtt://127.0.0.1"]\n',
        "url",
        "upstream[a].url",
        "different kinds",
        "one cluster",
        True,
    ),
    "two brokers": (
        NAMED + '[[upstream]]\nname = "a"\nurl = ["mqtt://127.0.0.1", "mqtt://127.0.0.2"]\n',
        "url",
        "upstream[a].url",
        "a broker has one address",
        "one [[upstream]]",
        True,
    ),
    "two databases": (
        NAMED + '[[upstream]]\nname = "a"\nurl = ["postgresql://127.0.0.1/plant", "postgresql://127.0.0.2/other"]\n',
        "url",
        "upstream[a].url",
        "different databases: other, plant",
        "the servers of one database",
        True,
    ),
    "one server twice": (
        NAMED + '[[upstream]]\nname = "a"\nurl = ["postgresql://127.0.0.1/plant", "postgresql://127.0.0.1:5432/plant"]\n',
        "url",
        "upstream[a].url",
        "is there twice",
        "once",
        True,
    ),
    "overlap": (NAMED + HERE + "overlap_s = -1.0\n", "overlap", "upstream[historian].overlap_s", "0 to 86400", "60", True),
    "overlap of a broker": (
        NAMED + '[[upstream]]\nname = "a"\nurl = "mqtt://127.0.0.1"\noverlap_s = 5\n',
        "overlap",
        "upstream[a].overlap_s",
        "only a database",
        "leave it out",
        True,
    ),
    "a pooler before a broker": (
        NAMED + '[[upstream]]\nname = "a"\nurl = "mqtt://127.0.0.1"\npooled = true\n',
        "pooled",
        "upstream[a].pooled",
        "only before a database",
        "leave it out",
        True,
    ),
    "newest first and an overlap": (
        NAMED
        + HERE.replace('"postgresql://127.0.0.1/plant"', '["postgresql://127.0.0.1/plant", "postgresql://127.0.0.2/plant"]')
        + "newest_first = true\n",
        "newest",
        "upstream[historian].newest_first",
        "nothing can be held back",
        "synchronous_standby_names",
        True,
    ),
    "nothing": (NAMED + HERE + "what = []\n", "what", "upstream[historian].what", "is empty", "readings", True),
    "twice the same": (
        NAMED + HERE + 'what = ["journal", "journal"]\n',
        "what",
        "upstream[historian].what",
        "twice",
        "once",
        True,
    ),
    "unknown source": (NAMED + HERE + 'what = ["all"]\n', "what", "upstream[historian].what[#1]", "all", "readings", True),
    "schema": (NAMED + HERE + 'into = "Plant; DROP"\n', "into", "upstream[historian].into", "a schema", "edgemon", True),
    "topic": (
        NAMED + '[[upstream]]\nname = "a"\nurl = "mqtt://127.0.0.1"\ninto = "a/#"\n',
        "into",
        "upstream[a].into",
        "levels of a topic",
        "edgemon/v1",
        True,
    ),
    "stream": (
        NAMED + '[[upstream]]\nname = "a"\nurl = "nats://127.0.0.1"\ninto = "a.b"\n',
        "into",
        "upstream[a].into",
        "a stream",
        "EDGEMON",
        True,
    ),
    "rate": (NAMED + HERE + "per_second = 0.0\n", "per", "upstream[historian].per_second", "above zero", "1000", True),
    "batch": (NAMED + HERE + "batch = 0\n", "batch", "upstream[historian].batch", "1 to 10000", "200", True),
    "half a pair": (
        NAMED + HERE.replace("127.0.0.1/plant", "db/p?sslmode=require") + 'key_file = "key"\n',
        "key_file",
        "upstream[historian].key_file",
        "without certificate_file",
        "both",
        True,
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_a_doubt_is_said_where_it_is(tmp_path: Path, case: str) -> None:
    text, start, field, what, hint, is_error = CASES[case]
    (tmp_path / "key").write_text("pem")
    (tmp_path / "key").chmod(0o600)
    problem = only(found(tmp_path, PLANT, text))
    assert (problem.field, problem.is_error) == (field, is_error)
    assert what in problem.what
    assert hint in problem.hint
    if start:
        line = text.splitlines()[problem.line - 1]
        assert line.startswith(start), (problem.line, line)
        assert problem.line >= line_of(text, start)


def test_upstreams_of_every_kind(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("s3cret\n")
    (tmp_path / "secret").chmod(0o600)
    text = (
        NAMED
        + f"""
[[upstream]]
name = "historian"
url = "{BASE}"
username = "edgemon"
password_file = "secret"
what = ["readings", "captures"]
newest_first = true

[[upstream]]
name = "streams"
url = ["tls://a.plant:4222", "tls://b.plant:4222"]

[[upstream]]
name = "company"
url = "mqtts://broker.company"
into = "plants/saltmarsh"
"""
    )
    gateway = loaded(tmp_path, PLANT, text)[1]
    historian, streams, company = gateway.upstreams
    assert (gateway.id, historian.kind, historian.into) == ("gateway-1", UpstreamKind.POSTGRESQL, "edgemon")
    assert (historian.server.urls, historian.server.tls, historian.server.username) == ((BASE,), True, "edgemon")
    assert historian.server.password == "s3cret"
    assert "s3cret" not in repr(gateway)
    assert (historian.what, historian.newest_first) == ((Source.READINGS, Source.CAPTURES), True)
    assert (streams.kind, len(streams.server.urls), streams.into, streams.server.tls) == (UpstreamKind.NATS, 2, "EDGEMON", True)
    assert (streams.what, streams.newest_first) == ((Source.READINGS, Source.JOURNAL), False)
    assert (company.kind, company.into, company.server.tls) == (UpstreamKind.MQTT, "plants/saltmarsh", True)
