"""Who someone is and what they may do: on the local socket a person is their operating-system account."""

import grp
import os
import pwd
import socket
import struct
from dataclasses import dataclass

from edgemon.model.command import Person, Role
from edgemon.model.gateway import Access

_UCRED = struct.Struct("3i")
_RANK = {Role.VIEWER: 0, Role.OPERATOR: 1, Role.ENGINEER: 2}


@dataclass(frozen=True, slots=True)
class Peer:
    """Credentials of the process at the other end of a Unix socket, as the kernel gives them."""

    pid: int
    uid: int
    gid: int


def peer_of(connection: socket.socket) -> Peer:
    """Ask the kernel who connected. Source: unix(7), SO_PEERCRED: credentials at the time of connect(2)."""
    return Peer(*_UCRED.unpack(connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _UCRED.size)))


def person_of(peer: Peer, access: Access) -> Person:
    """Map an account to a person: root and the daemon's own account are engineers, groups give the other roles."""
    try:
        account = pwd.getpwuid(peer.uid)
        name, groups = account.pw_name, _groups(account.pw_name, {peer.gid, account.pw_gid})
    except KeyError:
        name, groups = f"uid {peer.uid}", _groups("", {peer.gid})
    if peer.uid in (0, os.geteuid()) or groups & set(access.engineers):
        role = Role.ENGINEER
    elif groups & set(access.operators):
        role = Role.OPERATOR
    else:
        role = Role.VIEWER
    return Person(name, role, f"local, process {peer.pid}")


def person_here() -> Person:
    """Say who runs this very process, for an act that needs no daemon; behind `sudo` the account that called it.

    What such an act may do, the rights of the files decide.
    """
    account = _name_of(os.getuid())
    caller = os.environ.get("SUDO_UID", "")
    name = _name_of(int(caller)) if caller.isdecimal() else account
    as_whom = "" if name == account else f" as {account}"
    return Person(name, Role.ENGINEER, f"local, process {os.getpid()}{as_whom}")


def _name_of(uid: int) -> str:
    try:
        return pwd.getpwuid(uid).pw_name
    except (KeyError, OverflowError):
        return f"uid {uid}"


def may(person: Person, role: Role) -> bool:
    """Say whether a person may do what a role may."""
    return _RANK[person.role] >= _RANK[role]


def _groups(user: str, gids: set[int]) -> set[str]:
    return {group.gr_name for group in grp.getgrall() if group.gr_gid in gids or user in group.gr_mem}
