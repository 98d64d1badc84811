"""TLS towards a broker or another server, and what a failed connection means in words."""

import socket
import ssl
from contextlib import suppress
from pathlib import Path
from typing import Protocol

from edgemon.errors import LinkRefused

_CERTIFICATE_WORDS = (
    ("hostname mismatch", "is for another host name"),
    ("ip address mismatch", "is for another address"),
    ("has expired", "has expired"),
    ("not yet valid", "is not yet valid; is this machine's clock right?"),
)


class Terms(Protocol):
    """The files that TLS to a server needs, PEM."""

    @property
    def ca_file(self) -> Path | None:
        """Who signs the server's certificate; None: whom this machine trusts."""
        ...

    @property
    def certificate_file(self) -> Path | None:
        """Our own certificate, where the server wants one."""
        ...

    @property
    def key_file(self) -> Path | None:
        """The key to it."""
        ...


class _TidySocket(ssl.SSLSocket):
    """Closes itself when the handshake fails; otherwise nobody would."""

    def do_handshake(self, block: bool = False) -> None:
        """Shake hands."""
        try:
            super().do_handshake(block)
        except BaseException:
            self.close()
            raise


class _BriefObject(ssl.SSLObject):
    """Says goodbye without waiting for the far end's, as RFC 8446 section 6.1 allows.

    The event loop would wait for half a minute: a loop that ends before that leaves the socket open.
    """

    def unwrap(self) -> None:
        """Say goodbye."""
        with suppress(ssl.SSLWantReadError):
            super().unwrap()


def make_context(terms: Terms) -> ssl.SSLContext:
    """Make the terms of TLS: 1.2 or newer, certificate and host name checked. Reads files: not for the event loop.

    Raises
    ------
    LinkRefused
        A file that cannot be read or used.
    """
    _readable(terms.ca_file, "CA file")
    _readable(terms.certificate_file, "client certificate")
    _readable(terms.key_file, "key of the client certificate")
    try:
        context = ssl.create_default_context(cafile=terms.ca_file)
    except ssl.SSLError as error:
        raise LinkRefused("no usable CA certificate in it", str(terms.ca_file), "a PEM file is wanted") from error
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.sslsocket_class = _TidySocket
    context.sslobject_class = _BriefObject
    if terms.certificate_file is not None:
        try:
            context.load_cert_chain(terms.certificate_file, terms.key_file, password=_no_password)
        except (ssl.SSLError, ValueError) as error:
            raise LinkRefused(
                "not a usable client certificate with its key",
                str(terms.certificate_file),
                "a PEM certificate and its own unencrypted PEM key are wanted",
            ) from error
    return context


def _no_password() -> str:
    raise ValueError("the key is encrypted")


def _readable(file: Path | None, what: str) -> None:
    if file is None:
        return
    try:
        with file.open("rb"):
            pass
    except OSError as error:
        raise LinkRefused(f"{what} cannot be read: {error.strerror}", str(file)) from error


def trouble_words(error: Exception, during: str = "", peer: str = "broker") -> str:
    """Say what an exception of the socket means and where to look.

    Parameters
    ----------
    error : Exception
        As connecting, reading or writing raised it.
    during : str
        What was going on, where a closed connection alone says little.
    peer : str
        What the far end is to people.
    """
    match error:
        case ssl.SSLCertVerificationError():
            return _certificate_words(error.verify_message, peer)
        case ssl.SSLError():
            return _tls_words(error, peer)
        case ConnectionRefusedError():
            return f"nothing listens there; is the {peer} running?"
        case ConnectionError():
            return f"the {peer} closed the connection" + (f" during {during}" if during else "")
        case socket.gaierror():
            return "the host name is not known"
        case TimeoutError():
            return "no answer in time"
        case UnicodeError():
            return "the host name is not a valid one"
        case OSError():
            return error.strerror or type(error).__name__
        case _:
            return f"{type(error).__name__}: {error}"


def _certificate_words(message: str, peer: str) -> str:
    plain = message.lower()
    for sign, words in _CERTIFICATE_WORDS:
        if sign in plain:
            return f"the {peer}'s certificate {words}"
    return f"the {peer}'s certificate is not signed by the CA given ({message})"


def _tls_words(error: ssl.SSLError, peer: str) -> str:
    reason = (error.reason or "").upper()
    if "CERTIFICATE_REQUIRED" in reason or "HANDSHAKE_FAILURE" in reason:
        return f"the {peer} wants a client certificate"
    if "UNKNOWN_CA" in reason or "BAD_CERTIFICATE" in reason or "CERTIFICATE_UNKNOWN" in reason:
        return f"the {peer} does not trust our client certificate"
    if "WRONG_VERSION" in reason or isinstance(error, ssl.SSLEOFError):
        return f"no TLS there; is this the {peer}'s TLS port?"
    return f"TLS failed ({error.reason or error.strerror})"
