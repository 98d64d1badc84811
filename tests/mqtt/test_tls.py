import asyncio
import errno
import socket
import ssl
import threading
from pathlib import Path

import pytest

from edgemon.errors import LinkRefused
from edgemon.model.gateway import Broker
from edgemon.tls import make_context, trouble_words
from tests.support.certificates import make_ca, make_server


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (ConnectionRefusedError(errno.ECONNREFUSED, "refused"), "is the broker running"),
        (ConnectionResetError(errno.ECONNRESET, "reset"), "closed the connection"),
        (socket.gaierror(socket.EAI_NONAME, "unknown"), "host name is not known"),
        (TimeoutError("timed out"), "no answer in time"),
        (UnicodeError("label too long"), "host name is not a valid one"),
        (OSError(errno.ENETUNREACH, "Network is unreachable"), "Network is unreachable"),
        (ValueError("odd"), "ValueError: odd"),
    ],
)
def test_exceptions_in_words(error: Exception, words: str) -> None:
    assert words in trouble_words(error)


def test_a_connection_closed_while_opening_says_during_what() -> None:
    assert trouble_words(ConnectionResetError(), "the TLS handshake").endswith("during the TLS handshake")


def test_certificates_and_names_are_checked() -> None:
    """Minimum of RFC 9325 section 3.1.1: TLS 1.2."""
    context = make_context(Broker("broker", 8883, tls=True))
    assert context.verify_mode is ssl.CERT_REQUIRED
    assert context.check_hostname
    assert context.minimum_version is ssl.TLSVersion.TLSv1_2


@pytest.mark.parametrize("field", ["ca_file", "certificate_file", "key_file"])
def test_a_file_that_is_not_there_is_named(tmp_path: Path, field: str) -> None:
    missing = tmp_path / "missing.pem"
    fields = {field: missing}
    with pytest.raises(LinkRefused, match=r"missing\.pem: .* cannot be read: No such file"):
        make_context(Broker("broker", 8883, tls=True, **fields))  # type: ignore[arg-type]


def test_a_ca_file_with_something_else_in_it_is_named(tmp_path: Path) -> None:
    file = tmp_path / "ca.pem"
    file.write_text("not a certificate")
    with pytest.raises(LinkRefused, match=r"ca\.pem: no usable CA"):
        make_context(Broker("broker", 8883, tls=True, ca_file=file))


async def test_who_closes_tells_the_far_end_and_does_not_wait_for_its_goodbye(tmp_path: Path) -> None:
    """RFC 8446 section 6.1: each party must send a close_notify; neither need wait for the other's."""
    ca = make_ca(tmp_path)
    pair = make_server(tmp_path, ca)
    terms = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    terms.load_cert_chain(pair.certificate, pair.key)
    is_seen = threading.Event()

    def listen(listener: socket.socket) -> bytes:
        near, _ = listener.accept()
        with terms.wrap_socket(near, server_side=True, suppress_ragged_eofs=False) as far:
            said = far.recv(1000)  # empty where it was told, and only there
            assert is_seen.wait(30.0)  # and says no goodbye of its own
            return said

    with socket.create_server(("127.0.0.1", 0)) as listener:
        heard = asyncio.create_task(asyncio.to_thread(listen, listener))
        context = await asyncio.to_thread(make_context, Broker("localhost", 8883, tls=True, ca_file=ca.certificate))
        port = listener.getsockname()[1]
        transport, _ = await asyncio.get_running_loop().create_connection(
            asyncio.Protocol, "127.0.0.1", port, ssl=context, server_hostname="localhost"
        )
        plain = transport.get_extra_info("socket")
        transport.close()
        for _ in range(3):
            await asyncio.sleep(0)
        is_open = plain.fileno() >= 0
        is_seen.set()
        assert (await heard, is_open) == (b"", False)
