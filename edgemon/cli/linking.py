"""How a command reaches a broker of its own accord: options, the settings they mean, and a link that is up."""

import argparse
import uuid
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

from edgemon.clock import SystemClock
from edgemon.errors import LinkDown, SettingsError
from edgemon.model.gateway import Broker
from edgemon.model.secret import Secret
from edgemon.mqtt.paho_client import PahoLink
from edgemon.settings.address import AddressError, read_address
from edgemon.settings.load import load_all

DEFAULT_URL = "mqtt://127.0.0.1:1883"
DEFAULT_ROOT = "edgemon/v1"
PATIENCE_S = 30.0
"""How long a command waits for its broker."""
_LOOK_S = 0.05


def add_broker(parser: argparse.ArgumentParser) -> None:
    """Let the user say which broker is meant and how to be let in."""
    parser.add_argument("--broker", metavar="URL", help=f"mqtt://HOST:PORT, or mqtts:// for TLS (default {DEFAULT_URL})")
    parser.add_argument("--root", type=topic_root, help=f"first levels of every topic (default {DEFAULT_ROOT})")
    parser.add_argument("--username", help="name to log in with")
    parser.add_argument("--password-file", type=Path, metavar="FILE", help="file that holds the password and nothing else")
    parser.add_argument("--ca-file", type=Path, metavar="FILE", help="authority that signed the broker's certificate, PEM")
    parser.add_argument("--certificate-file", type=Path, metavar="FILE", help="own certificate, PEM")
    parser.add_argument("--key-file", type=Path, metavar="FILE", help="key of the own certificate, PEM")


def topic_root(text: str) -> str:
    """Read a topic root: levels without wildcards."""
    if any(char in text for char in "+#\0") or not all(text.split("/")) or text.startswith("$"):
        raise argparse.ArgumentTypeError(f"a topic root looks like edgemon/v1, not {text!r}")
    return text


def broker_of(options: argparse.Namespace) -> tuple[Broker, str]:
    """Give the broker that the options mean, and the topic root.

    Raises
    ------
    SettingsError
        Options that cannot be, or do not fit together; it names the option.
    """
    url = options.broker or DEFAULT_URL
    try:
        address = read_address(url)
    except AddressError as error:
        raise SettingsError(f"the address {error.what}", "--broker", error.hint) from error
    files = (options.ca_file, options.certificate_file, options.key_file)
    if any(files) and not address.tls:
        raise SettingsError("certificates are of use only with mqtts://", "--broker", url)
    if (options.certificate_file is None) != (options.key_file is None):
        raise SettingsError("a client certificate needs both --certificate-file and --key-file")
    if options.password_file is not None and options.username is None:
        raise SettingsError("there is no --username for it", "--password-file")
    broker = Broker(
        address.host,
        address.port,
        username=options.username,
        password=None if options.password_file is None else _password(options.password_file),
        tls=address.tls,
        ca_file=options.ca_file,
        certificate_file=options.certificate_file,
        key_file=options.key_file,
    )
    return broker, options.root or DEFAULT_ROOT


def broker_of_config(directory: Path) -> tuple[Broker, str]:
    """Give the broker and the topic root of a config directory.

    Raises
    ------
    SettingsError
        It cannot be read, or its gateway runs a broker of its own, whose port is not known.
    """
    _, gateway = load_all(directory)
    if gateway.broker.is_embedded:
        hint = "set url in [broker], or give --broker URL"
        raise SettingsError("the gateway's own broker has no address that others know", str(directory / "gateway.toml"), hint)
    return gateway.broker, gateway.root


def _password(path: Path) -> Secret:
    try:
        return Secret(path.read_text("utf-8").rstrip("\r\n"))
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else "not UTF-8 text"
        raise SettingsError(f"cannot be read: {why}", str(path), "a file with the password alone in it") from error


def guest(broker: Broker, name: str) -> Broker:
    """Give the same broker under a client id nobody else has, and without a queue that outlives us."""
    return replace(broker, client_id=f"edgemon-{name}-{uuid.uuid4().hex[:8]}", session_expiry_s=0)


@asynccontextmanager
async def linked(broker: Broker, subscriptions: Sequence[str], patience_s: float = PATIENCE_S) -> AsyncIterator[PahoLink]:
    """Give a link that is up, and stop it in order.

    Raises
    ------
    LinkDown
        It does not come up in time.
    """
    link = PahoLink(broker, SystemClock(), subscriptions)
    await link.start()
    try:
        await until_up(link, patience_s)
        yield link
    finally:
        await link.stop()


async def until_up(link: PahoLink, patience_s: float = PATIENCE_S) -> None:
    """Wait until the link is up. Raises `LinkDown` if it does not come up in time."""
    clock = SystemClock()
    deadline = clock.elapsed() + patience_s
    while not link.status.up:
        if clock.elapsed() >= deadline:
            raise LinkDown(link.status.detail, "", f"given up after {patience_s:g} s")
        await clock.sleep(_LOOK_S)
