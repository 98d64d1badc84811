"""The broker's URL, taken apart."""

from dataclasses import dataclass
from ipaddress import ip_address
from urllib.parse import urlsplit

PORT_OF_SCHEME = {"mqtt": 1883, "mqtts": 8883}
"""Source: IANA service names `mqtt` and `secure-mqtt`."""


@dataclass(frozen=True, slots=True)
class Address:
    """Where a broker is."""

    host: str
    port: int
    tls: bool

    @property
    def is_here(self) -> bool:
        """Say whether the address stays on this machine."""
        try:
            return ip_address(self.host).is_loopback
        except ValueError:
            return self.host == "localhost"


class AddressError(ValueError):
    """What is wrong with a URL, and what would be right."""

    def __init__(self, what: str, hint: str) -> None:
        super().__init__(what)
        self.what = what
        self.hint = hint


def read_address(url: str) -> Address:
    """Take a URL like `mqtts://broker.plant:8883` apart; without a port, the scheme's own is taken.

    Raises
    ------
    AddressError
        Wrong scheme, no host, impossible port, or more in it than scheme, host and port.
    """
    example = "for example mqtt://127.0.0.1:1883, or mqtts://broker.plant:8883 for TLS"
    try:
        parts = urlsplit(url)
        host = parts.hostname or ""
    except ValueError:
        raise AddressError("is not a URL", example) from None
    if parts.scheme not in PORT_OF_SCHEME or "://" not in url:
        raise AddressError(f'starts with "{parts.scheme}:"' if parts.scheme else "has no scheme", example)
    if "@" in parts.netloc:
        raise AddressError("carries a user or password", "use username and password_file instead")
    if not host or any(char.isspace() for char in host):
        raise AddressError("names no host", example)
    if parts.path not in {"", "/"} or parts.query or parts.fragment:
        raise AddressError("has more in it than scheme, host and port", example)
    return Address(host=host, port=_port(url, parts.scheme), tls=parts.scheme == "mqtts")


def _port(url: str, scheme: str) -> int:
    try:
        port = urlsplit(url).port
    except ValueError:
        port = 0
    if port == 0:
        raise AddressError("has a port that cannot be", f"1 to 65535, usually {PORT_OF_SCHEME[scheme]}")
    return PORT_OF_SCHEME[scheme] if port is None else port
