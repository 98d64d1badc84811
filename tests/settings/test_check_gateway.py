"""Every doubt about `gateway.toml`: one broken file each, with the line, field, sentence and hint it must give."""

from pathlib import Path

import pytest

from edgemon.settings.problem import Problem
from tests.settings.support import PLANT, found, line_of, only

URL = '[broker]\nurl = "mqtts://broker.plant:8883"\n'
HERE = '[broker]\nurl = "mqtt://127.0.0.1:1883"\n'

CASES: dict[str, tuple[str, str, str, str, str, bool]] = {
    # text, start of the line, field, what, hint, is it an error
    "scheme": ('[broker]\nurl = "http://h:1883"\n', "url", "broker.url", 'starts with "http:"', "mqtt://127.0.0.1:1883", True),
    "no scheme": ('[broker]\nurl = "127.0.0.1"\n', "url", "broker.url", "no scheme", "mqtts://", True),
    "port zero": (
        '[broker]\nurl = "mqtt://h:0"\n',
        "url",
        "broker.url",
        "port that cannot be",
        "1 to 65535, usually 1883",
        True,
    ),
    "port too high": ('[broker]\nurl = "mqtts://h:65536"\n', "url", "broker.url", "port that cannot be", "usually 8883", True),
    "port in words": ('[broker]\nurl = "mqtt://h:mqtt"\n', "url", "broker.url", "port that cannot be", "1883", True),
    "no host": ('[broker]\nurl = "mqtt://:1883"\n', "url", "broker.url", "names no host", "mqtt://", True),
    "brackets": ('[broker]\nurl = "mqtt://[::1"\n', "url", "broker.url", "not a URL", "mqtt://", True),
    "path": ('[broker]\nurl = "mqtt://127.0.0.1/x"\n', "url", "broker.url", "more in it", "mqtt://", True),
    "password in the URL": ('[broker]\nurl = "mqtt://u:pw@h"\n', "url", "broker.url", "carries a user", "password_file", True),
    "in the clear": ('[broker]\nurl = "mqtt://broker.plant"\n', "url", "broker.url", "in the clear", "mqtts://", False),
    "negative ballast": (URL + "[store]\nballast_mib = -1\n", "ballast_mib", "store.ballast_mib", "-1", "0 for none", True),
    "tiny budget": (
        URL + "[retention]\nbudget_bytes = 1000\n",
        "budget_bytes",
        "retention.budget_bytes",
        "67108864",
        "leave it out",
        True,
    ),
    "kept for no time": (
        URL + "[retention]\nreadings_days = 0\n",
        "readings_days",
        "retention.readings_days",
        "a day or more, not 0",
        "usual value",
        True,
    ),
    "hours below zero": (
        URL + "[retention]\nevent_hours = -1\n",
        "event_hours",
        "retention.event_hours",
        "not -1",
        "usually 48",
        True,
    ),
    "events kept for a shorter time": (
        URL + "[retention]\nevent_captures_days = 30\n",
        "[retention]",
        "retention.captures_days",
        "shorter time",
        "<= event_captures_days",
        False,
    ),
    "short journal": (
        URL + "[retention]\njournal_days = 7\n",
        "journal_days",
        "retention.journal_days",
        "last 30 days",
        "for ever",
        False,
    ),
    "password without user": (
        URL + 'password_file = "pw"\n',
        "password",
        "broker.password_file",
        "no username",
        "username",
        True,
    ),
    "no password file": (
        URL + 'username = "u"\npassword_file = "gone"\n',
        "password",
        "broker.password_file",
        "gone cannot be read: no such file",
        "password alone",
        True,
    ),
    "empty password file": (
        URL + 'username = "u"\npassword_file = "empty"\n',
        "password",
        "broker.password_file",
        "empty is empty",
        "alone",
        True,
    ),
    "password file for all": (
        URL + 'username = "u"\npassword_file = "open"\n',
        "password",
        "broker.password_file",
        "everybody",
        "chmod 640",
        False,
    ),
    "user without password": (URL + 'username = "u"\n', "username", "broker.username", "no password_file", "alone", False),
    "a password in the file": (URL + 'password = "x"\n', "password", "broker.password", "unknown key", "password_file", True),
    "no authority": (URL + 'ca_file = "gone.pem"\n', "ca_file", "broker.ca_file", "gone.pem cannot be read", "PEM", True),
    "authority without TLS": (HERE + 'ca_file = "pw"\n', "ca_file", "broker.ca_file", "not mqtts", "mqtts://", False),
    "certificate without key": (
        URL + 'certificate_file = "pw"\n',
        "certificate",
        "broker.certificate_file",
        "without key_file",
        "both",
        True,
    ),
    "key without certificate": (
        URL + 'key_file = "pw"\n',
        "key_file",
        "broker.key_file",
        "without certificate_file",
        "both",
        True,
    ),
    "user of the embedded broker": ('[broker]\nusername = "u"\n', "username", "broker.username", "not used", "set url", False),
    "protocol": ('[broker]\nprotocol = "3.1"\n', "protocol", "broker.protocol", '"3.1"', "5, 3.1.1", True),
    "protocol as a number": (
        "[broker]\nprotocol = 5\n",
        "protocol",
        "broker.protocol",
        "must not be 5",
        "one of: 5, 3.1.1",
        True,
    ),
    "keepalive": ("[broker]\nkeepalive_s = 0\n", "keepalive", "broker.keepalive_s", "1 to 65535, not 0", "20", True),
    "queue": ("[broker]\nqueue = 0\n", "queue", "broker.queue", "1 to 65535", "512", True),
    "expiry": (
        "[broker]\nsession_expiry_s = 4294967296\n",
        "session",
        "broker.session_expiry_s",
        "not 4294967296",
        "604800",
        True,
    ),
    "no session": ("[broker]\nsession_expiry_s = 0\n", "session", "broker.session_expiry_s", "forgets", "604800", False),
    "client id": ('[broker]\nclient_id = "a\\tb"\n', "client", "broker.client_id", "cannot be", "printable", True),
    "root with wildcard": ('[gateway]\nroot = "edgemon/#"\n', "root", "gateway.root", "cannot be the root", "edgemon/v1", True),
    "root with empty level": (
        '[gateway]\nroot = "edgemon/"\n',
        "root",
        "gateway.root",
        "cannot be the root",
        "edgemon/v1",
        True,
    ),
    "root of the broker": ('[gateway]\nroot = "$SYS"\n', "root", "gateway.root", "belong to the broker", "edgemon/v1", True),
    "simulated": ("[gateway]\nsimulated = true\n", "simulated", "gateway.simulated", "is missed", "leave it out", False),
    "simulated in text": ('[gateway]\nsimulated = "yes"\n', "simulated", "gateway.simulated", "true or false", "", True),
    "store is a directory": ('[store]\npath = "folder"\n', "path", "store.path", "folder is a directory", "a file", True),
    "store under a file": ('[store]\npath = "pw/x.sqlite"\n', "path", "store.path", "pw is not a directory", "may write", True),
    "no store": ('[store]\npath = ""\n', "path", "store.path", "empty", "a file", True),
    "long socket": (f'[access]\nsocket = "{"s" * 108}"\n', "socket", "access.socket", "AF_UNIX", "/run/edgemon", True),
    "unknown group": (
        '[access]\noperators = [\n "no-such-group-here",\n]\n',
        ' "no-such',
        "access.operators[#1]",
        "no group",
        "groupadd",
        False,
    ),
    "group as a number": (
        "[access]\nengineers = [1]\n",
        "eng",
        "access.engineers[#1]",
        "text in quotes, not 1",
        "a list of texts",
        True,
    ),
    "border at zero": ("[input]\nsamples = 0\n", "samples", "input.samples", "above zero", "leave it out", True),
    "border in text": ('[input]\nparts = "9"\n', "parts", "input.parts", "whole number", "without quotes", True),
    "message larger than MQTT": (
        "[input]\nmessage_bytes = 268435456\n",
        "message",
        "input.message_bytes",
        "to 268435455",
        "4194304",
        True,
    ),
    "negative skew": ("[input]\nfuture_skew_s = -1\n", "future", "input.future_skew_s", "not -1", "60", True),
    "unknown table": ("[acess]\n", "[acess]", "acess", "unknown key", 'did you mean "access"?', True),
}


def look(tmp_path: Path, text: str) -> tuple[Problem, ...]:
    """Check a gateway file in a directory with some files in it."""
    (tmp_path / "folder").mkdir()
    for name, mode, content in (("pw", 0o600, "secret\n"), ("open", 0o644, "secret\n"), ("empty", 0o600, "")):
        (tmp_path / name).write_text(content)
        (tmp_path / name).chmod(mode)
    return found(tmp_path, PLANT, text)


@pytest.mark.parametrize("name", CASES)
def test_each_mistake_is_told_once_with_line_field_and_hint(name: str, tmp_path: Path) -> None:
    text, at, field, what, hint, is_error = CASES[name]
    problem = only(look(tmp_path, text))
    assert problem.file == str(tmp_path / "gateway.toml")
    assert problem.line == line_of(text, f"\n{at}") + 1 if f"\n{at}" in text else 1
    assert problem.field == field
    assert what in problem.what
    assert hint in problem.hint
    assert problem.is_error is is_error


@pytest.mark.parametrize(
    "text",
    [
        "",
        HERE,
        '[broker]\nurl = "mqtt://localhost"\n',
        '[broker]\nurl = "mqtt://[::1]:1883/"\n',
        URL + 'username = "u"\npassword_file = "pw"\nca_file = "pw"\ncertificate_file = "pw"\nkey_file = "pw"\n',
        "[input]\nfuture_skew_s = 0\npart_wait_s = 0.5\n",
    ],
)
def test_what_is_right_is_not_doubted(text: str, tmp_path: Path) -> None:
    assert look(tmp_path, text) == ()


def test_a_socket_path_of_107_bytes_is_the_longest(tmp_path: Path) -> None:
    # Linux unix(7): sun_path has 108 bytes, one of them for the closing zero
    for length, expected in ((107, 0), (108, 1)):
        name = "s" * (length - len(str(tmp_path.resolve())) - 1)
        assert len(found(tmp_path, PLANT, f'[access]\nsocket = "{name}"\n')) == expected


def test_all_problems_of_both_files_come_in_one_go(tmp_path: Path) -> None:
    problems = found(tmp_path, PLANT.replace("2975", "0"), '[broker]\nurl = "x"\nqueue = 0\n[store]\npaht = "a"\n')
    assert [(Path(problem.file).name, problem.line) for problem in problems] == [
        ("plant.toml", 7),
        ("gateway.toml", 2),
        ("gateway.toml", 3),
        ("gateway.toml", 5),
    ]
