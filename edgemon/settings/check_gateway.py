"""Doubts about `gateway.toml`: broker, files, store, socket, borders. The disk is asked through `Disk`."""

from pathlib import Path

from edgemon.settings.address import Address, AddressError, read_address
from edgemon.settings.check_alarms import check_outputs
from edgemon.settings.check_server import Disk, check_login, check_tls
from edgemon.settings.check_upstream import check_upstreams
from edgemon.settings.problem import Report, shown
from edgemon.settings.retention import check_retention
from edgemon.settings.schema import BrokerTable, GatewayFile

LONGEST_SOCKET_PATH = 107
"""Bytes. Source: Linux unix(7): sun_path holds 108 with the closing zero."""
LARGEST_MESSAGE = 268_435_455
"""Bytes. Source: MQTT 5.0 section 1.5.5, largest remaining length."""


def check_gateway(file: GatewayFile, directory: Path, disk: Disk, report: Report) -> None:
    """Report everything in a gateway file that an engineer would doubt."""
    _root(file.gateway.root, report)
    if file.gateway.simulated:
        what = "no sensor of the plant is missed when it is silent: for rehearsals only"
        report.warning(("gateway", "simulated"), what, "false, or leave it out, where machines are watched")
    address = _url(file.broker.url, report)
    if file.broker.url is None:
        _unused(file.broker, report)
    check_login(file.broker, ("broker",), file.broker.url is not None, directory, disk, report)
    check_tls(file.broker, ("broker",), address, directory, disk, report)
    _session(file.broker, report)
    _places(file, directory, disk, report)
    _groups(file, disk, report)
    if file.health.port is not None:
        _within(report, "health", "port", file.health.port, 1, 65_535, "a free port of this machine, for example 9464")
    _within(report, "store", "ballast_mib", file.store.ballast_mib, 0, 4096, "MiB, usually 8; 0 for none")
    _borders(file, report)
    check_retention(file.retention, report)
    check_outputs(file.annunciator, directory, disk.why_not_runnable, report)
    check_upstreams(file, directory, disk, report)


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


def _unused(broker: BrokerTable, report: Report) -> None:
    if report.is_blamed(("broker", "url")):
        return
    for key in ("username", "password_file", "ca_file", "certificate_file", "key_file"):
        if getattr(broker, key) is not None:
            report.warning(("broker", key), "is not used by the embedded broker", "set url, or remove it")


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
        elif disk.is_read_only(path):
            what = f"{path} is on a file system that is read-only now"
            report.warning(where, what, "nothing can be made there until it is writable")
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
