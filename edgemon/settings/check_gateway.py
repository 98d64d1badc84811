"""Doubts about `gateway.toml`: broker, files, store, socket, borders. The disk is asked through `Disk`."""

from pathlib import Path
from typing import Protocol

from edgemon.settings.address import Address, AddressError, read_address
from edgemon.settings.check_alarms import check_outputs
from edgemon.settings.problem import Report, shown
from edgemon.settings.schema import BrokerTable, GatewayFile

LONGEST_SOCKET_PATH = 107
"""Bytes. Source: Linux unix(7): sun_path holds 108 with the closing zero."""
LARGEST_MESSAGE = 268_435_455
"""Bytes. Source: MQTT 5.0 section 1.5.5, largest remaining length."""


class Disk(Protocol):
    """What must be known of the machine the settings are for."""

    def why_unreadable(self, path: Path) -> str:
        """Say why a file cannot be read; empty if it can."""
        ...

    def is_open(self, path: Path) -> bool:
        """Say whether everybody on the machine may read a file."""
        ...

    def why_not_creatable(self, path: Path) -> str:
        """Say why a file cannot be made at a path; empty if it can."""
        ...

    def why_not_runnable(self, program: str) -> str:
        """Say why a program cannot be run; empty if it can."""
        ...

    def has_group(self, name: str) -> bool:
        """Say whether the machine knows a group of users."""
        ...


def check_gateway(file: GatewayFile, directory: Path, disk: Disk, report: Report) -> None:
    """Report everything in a gateway file that an engineer would doubt."""
    _root(file.gateway.root, report)
    if file.gateway.simulated:
        what = "no sensor of the plant is missed when it is silent: for rehearsals only"
        report.warning(("gateway", "simulated"), what, "false, or leave it out, where machines are watched")
    address = _url(file.broker.url, report)
    _login(file.broker, directory, disk, report)
    _tls(file.broker, address, directory, disk, report)
    _session(file.broker, report)
    _places(file, directory, disk, report)
    _groups(file, disk, report)
    if file.health.port is not None:
        _within(report, "health", "port", file.health.port, 1, 65_535, "a free port of this machine, for example 9464")
    _borders(file, report)
    check_outputs(file.annunciator, directory, disk.why_not_runnable, report)


def _root(root: str, report: Report) -> None:
    hint = 'levels of a topic with / between them, for example root = "edgemon/v1"'
    if not root or any(not level for level in root.split("/")) or any(mark in root for mark in "+#\0"):
        report.error(("gateway", "root"), f'"{shown(root)}" cannot be the root of topics', hint)
    elif root.startswith("$"):
        report.error(("gateway", "root"), "topics that begin with $ belong to the broker", hint)


def _url(url: str | None, report: Report) -> Address | None:
    if url is None:
        return None
    try:
        return read_address(url)
    except AddressError as error:
        report.error(("broker", "url"), error.what, error.hint)
        return None


def _login(broker: BrokerTable, directory: Path, disk: Disk, report: Report) -> None:
    where = ("broker", "password_file")
    if broker.url is None:
        _unused(broker, report)
    if broker.password_file is None:
        if broker.username is not None and broker.url is not None and not report.is_blamed(where):
            report.warning(("broker", "username"), "there is no password_file for it", "a file with the password alone in it")
        return
    if broker.username is None and not report.is_blamed(("broker", "username")):
        report.error(where, "there is no username for it", 'username = "..."')
    path = directory / broker.password_file
    why = disk.why_unreadable(path)
    if why:
        report.error(where, why, "a file with the password alone in it, readable for the user of the daemon")
    elif disk.is_open(path):
        report.warning(where, "everybody on this machine can read the password", f"chmod 640 {shown(str(path))}")


def _unused(broker: BrokerTable, report: Report) -> None:
    if report.is_blamed(("broker", "url")):
        return
    for key in ("username", "password_file", "ca_file", "certificate_file", "key_file"):
        if getattr(broker, key) is not None:
            report.warning(("broker", key), "is not used by the embedded broker", "set url, or remove it")


def _tls(broker: BrokerTable, address: Address | None, directory: Path, disk: Disk, report: Report) -> None:
    files = {"ca_file": broker.ca_file, "certificate_file": broker.certificate_file, "key_file": broker.key_file}
    for key, name in files.items():
        if name is None:
            continue
        why = disk.why_unreadable(directory / name)
        if why:
            report.error(("broker", key), why, "PEM, relative to the config directory")
        if address is not None and not address.tls:
            report.warning(("broker", key), "is not used, for url is not mqtts://", "mqtts:// for TLS")
    if (broker.certificate_file is None) != (broker.key_file is None):
        given, lacking = ("certificate_file", "key_file") if broker.key_file is None else ("key_file", "certificate_file")
        if not report.is_blamed(("broker", lacking)):
            report.error(("broker", given), f"is given without {lacking}", "a client certificate needs both")
    if address is not None and not address.tls and not address.is_here:
        carried = "password and all data go" if broker.password_file else "all data goes"
        report.warning(("broker", "url"), f"{carried} over the network in the clear", "mqtts:// for TLS, with ca_file")


def _session(broker: BrokerTable, report: Report) -> None:
    _within(report, "broker", "keepalive_s", broker.keepalive_s, 1, 65_535, "seconds, usually 20")
    _within(report, "broker", "session_expiry_s", broker.session_expiry_s, 0, 0xFFFF_FFFF, "seconds, usually 604800 (a week)")
    _within(report, "broker", "queue", broker.queue, 1, 65_535, "messages, usually 512")
    if broker.session_expiry_s == 0:
        what = "the broker forgets what came while the gateway was away"
        report.warning(("broker", "session_expiry_s"), what, "longer than any outage, usually 604800 (a week)")
    if broker.client_id and (not broker.client_id.isprintable() or len(broker.client_id.encode()) > 65_535):
        report.error(("broker", "client_id"), "cannot be a client id", "printable characters; best letters, digits and -")


def _within(report: Report, table: str, key: str, value: float, low: float, high: float, hint: str) -> None:
    if not low <= value <= high:
        report.error((table, key), f"must be {low:g} to {high:.10g}, not {value:.10g}", hint)


def _places(file: GatewayFile, directory: Path, disk: Disk, report: Report) -> None:
    store, socket = directory / file.store.path, directory / file.access.socket
    hint = "a file in a directory that the daemon may write; relative to the config directory"
    for path, where, text in ((store, ("store", "path"), file.store.path), (socket, ("access", "socket"), file.access.socket)):
        why = disk.why_not_creatable(path) if text and "\0" not in text else "is empty or no path"
        if why:
            report.error(where, why, hint)
    length = len(str(socket).encode("utf-8", "surrogateescape"))
    if length > LONGEST_SOCKET_PATH:
        what = f"the path of the socket has {length} bytes, more than the {LONGEST_SOCKET_PATH} that AF_UNIX takes"
        report.error(("access", "socket"), what, 'a shorter one, for example socket = "/run/edgemon/edgemon.sock"')


def _groups(file: GatewayFile, disk: Disk, report: Report) -> None:
    for key in ("operators", "engineers"):
        for number, name in enumerate(getattr(file.access, key)):
            if not disk.has_group(name):
                what = f'this machine has no group "{shown(name)}"'
                report.warning(("access", key, number), what, f"groupadd {shown(name)}, or the name of a group that is there")


def _borders(file: GatewayFile, report: Report) -> None:
    for key, value in file.input.model_dump().items():
        if key == "message_bytes":
            _within(report, "input", key, value, 1024, LARGEST_MESSAGE, "bytes, usually 4194304")
        elif key == "future_skew_s":
            _within(report, "input", key, value, 0, float("inf"), "seconds, usually 60")
        elif value <= 0:
            report.error(("input", key), f"must be above zero, not {value:g}", "leave it out for the usual value")
