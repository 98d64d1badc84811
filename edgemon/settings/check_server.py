"""Doubts about how a server is logged in to, broker or upstream: password, certificates. The disk is asked through `Disk`."""

from pathlib import Path
from typing import Protocol, TypeAlias

from edgemon.settings.address import Address
from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report, shown
from edgemon.settings.schema import BrokerTable, UpstreamTable

LoginTable: TypeAlias = BrokerTable | UpstreamTable


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

    def is_read_only(self, path: Path) -> bool:
        """Say whether a path, there or not, is on a file system that is read-only now."""
        ...

    def why_not_runnable(self, program: str) -> str:
        """Say why a program cannot be run; empty if it can."""
        ...

    def has_group(self, name: str) -> bool:
        """Say whether the machine knows a group of users."""
        ...


def check_login(table: LoginTable, path: KeyPath, is_used: bool, directory: Path, disk: Disk, report: Report) -> None:
    """Report doubts about user and password of a server that is (or is not) used."""
    where = (*path, "password_file")
    if table.password_file is None:
        if table.username is not None and is_used and not report.is_blamed(where):
            what = "there is no password_file for it"
            report.warning((*path, "username"), what, "a file with the password alone in it")
        return
    if table.username is None and not report.is_blamed((*path, "username")):
        report.error(where, "there is no username for it", 'username = "..."')
    file = directory / table.password_file
    why = disk.why_unreadable(file)
    if why:
        report.error(where, why, "a file with the password alone in it, readable for the user of the daemon")
    elif disk.is_open(file):
        report.warning(where, "everybody on this machine can read the password", f"chmod 640 {shown(str(file))}")


def check_tls(table: LoginTable, path: KeyPath, address: Address | None, directory: Path, disk: Disk, report: Report) -> None:
    """Report doubts about certificates, and data that goes in the clear; `address` None: it is not known."""
    secure = {"postgresql": "?sslmode=verify-full", "nats": "tls://", "tls": "tls://"}
    scheme = "mqtts://" if address is None else secure.get(address.scheme, "mqtts://")
    for key in ("ca_file", "certificate_file", "key_file"):
        name = getattr(table, key)
        if name is None:
            continue
        why = disk.why_unreadable(directory / name)
        if why:
            report.error((*path, key), why, "PEM, relative to the config directory")
        if address is not None and not address.tls:
            report.warning((*path, key), f"is not used, for url is not {scheme}", f"{scheme} for TLS")
    if (table.certificate_file is None) != (table.key_file is None):
        given, lacking = ("certificate_file", "key_file") if table.key_file is None else ("key_file", "certificate_file")
        if not report.is_blamed((*path, lacking)):
            report.error((*path, given), f"is given without {lacking}", "a client certificate needs both")
    if address is not None and not address.tls and not address.is_here:
        carried = "password and all data go" if table.password_file else "all data goes"
        report.warning((*path, "url"), f"{carried} over the network in the clear", f"{scheme} for TLS, with ca_file")
