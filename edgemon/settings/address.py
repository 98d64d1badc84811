"""URLs of brokers and of servers upstream, taken apart."""

from collections.abc import Mapping
from dataclasses import dataclass
from ipaddress import ip_address
from urllib.parse import parse_qsl, urlsplit

PORT_OF_SCHEME = {"mqtt": 1883, "mqtts": 8883}
"""Source: IANA service names `mqtt` and `secure-mqtt`."""
PORT_UPSTREAM = {**PORT_OF_SCHEME, "postgresql": 5432, "nats": 4222, "tls": 4222}
"""Source: besides, IANA service name `postgresql`, and what the NATS documentation calls the client port."""
DATABASE = "postgresql"
_TLS = ("mqtts", "tls")
_CHECKED = ("verify-full", "verify-ca", "require")
_MQTT = "for example mqtt://127.0.0.1:1883, or mqtts://broker.plant:8883 for TLS"
_UPSTREAM = "mqtts://broker.company:8883, postgresql://database.plant/plant?sslmode=verify-full or tls://streams.plant:4222"


@dataclass(frozen=True, slots=True)
class Address:
    """Where a broker is."""

    host: str
    port: int
    tls: bool
    scheme: str = "mqtt"

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


def read_address(url: str, ports: Mapping[str, int] = PORT_OF_SCHEME) -> Address:
    """Take a URL like `mqtts://broker.plant:8883` apart; without a port, the scheme's own is taken.

    Parameters
    ----------
    url : str
        As a settings file has it.
    ports : mapping
        Schemes that are meant here, each with its port. A database has its name behind the host, and `?sslmode=` of libpq.

    Raises
    ------
    AddressError
        Wrong scheme, no host, impossible port, or more in it than belongs there.
    """
    example = _MQTT if ports is PORT_OF_SCHEME else _UPSTREAM
    try:
        parts = urlsplit(url)
        host = parts.hostname or ""
    except ValueError:
        raise AddressError("is not a URL", example) from None
    if parts.scheme not in ports or "://" not in url:
        raise AddressError(f'starts with "{parts.scheme}:"' if parts.scheme else "has no scheme", example)
    if "@" in parts.netloc:
        raise AddressError("carries a user or password", "use username and password_file instead")
    if not host or any(char.isspace() for char in host):
        raise AddressError("names no host", example)
    port = _port(url, ports[parts.scheme])
    if parts.scheme == DATABASE:
        return Address(host, port, _database_tls(parts.path, parts.query, parts.fragment), parts.scheme)
    if parts.path not in {"", "/"} or parts.query or parts.fragment:
        raise AddressError("has more in it than scheme, host and port", example)
    return Address(host, port, parts.scheme in _TLS, parts.scheme)


def _database_tls(path: str, query: str, fragment: str) -> bool:
    """Say whether a database is spoken to through TLS. Source: PostgreSQL, libpq connection parameter `sslmode`."""
    if not path.strip("/") or "/" in path.strip("/"):
        raise AddressError("names no database", "postgresql://host:5432/database")
    options = parse_qsl(query, keep_blank_values=True)
    if fragment or any(name != "sslmode" for name, _ in options) or len(options) > 1:
        raise AddressError(
            "has more in it than host, port, database and sslmode", "postgresql://host:5432/database?sslmode=verify-full"
        )
    if options and options[0][1] not in (*_CHECKED, "disable"):
        raise AddressError(f'sslmode cannot be "{options[0][1]}"', "verify-full, or disable on this machine")
    return bool(options) and options[0][1] != "disable"


def _port(url: str, usual: int) -> int:
    try:
        port = urlsplit(url).port
    except ValueError:
        port = 0
    if port == 0:
        raise AddressError("has a port that cannot be", f"1 to 65535, usually {usual}")
    return usual if port is None else port
