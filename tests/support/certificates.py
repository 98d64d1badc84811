"""Certificates made when a test asks for them, with the `openssl` command, in a folder of the test's own."""

import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import pytest

DAYS = "2"


@dataclass(frozen=True)
class Pair:
    """A certificate and its key, PEM files."""

    certificate: Path
    key: Path


def make_ca(folder: Path, name: str = "ca") -> Pair:
    """Make a certificate authority that nobody else trusts."""
    pair = _pair(folder, name)
    extensions = ["-addext", "basicConstraints=critical,CA:TRUE", "-addext", "keyUsage=critical,keyCertSign,cRLSign"]
    _openssl("req", "-x509", *_new_key(pair), "-out", pair.certificate, "-days", DAYS, "-subj", f"/CN={name}", *extensions)
    return pair


def make_server(folder: Path, ca: Pair, name: str = "server", hosts: str = "IP:127.0.0.1,DNS:localhost") -> Pair:
    """Make a server certificate for loopback."""
    return _signed(folder, ca, name, f"subjectAltName={hosts}\nextendedKeyUsage=serverAuth\n")


def make_client(folder: Path, ca: Pair, name: str = "client") -> Pair:
    """Make a client certificate."""
    return _signed(folder, ca, name, "extendedKeyUsage=clientAuth\n")


def _signed(folder: Path, ca: Pair, name: str, extensions: str) -> Pair:
    pair = _pair(folder, name)
    request, extension_file = folder / f"{name}.csr", folder / f"{name}.ext"
    extension_file.write_text(extensions)
    _openssl("req", "-new", *_new_key(pair), "-out", request, "-subj", f"/CN={name}")
    signing: list[str | Path] = ["-CA", ca.certificate, "-CAkey", ca.key, "-CAcreateserial", "-days", DAYS]
    _openssl("x509", "-req", "-in", request, "-out", pair.certificate, *signing, "-extfile", extension_file)
    return pair


def _pair(folder: Path, name: str) -> Pair:
    folder.mkdir(parents=True, exist_ok=True)
    return Pair(folder / f"{name}.pem", folder / f"{name}.key")


def _new_key(pair: Pair) -> list[str | Path]:
    return ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-keyout", pair.key]


def _openssl(*arguments: str | Path) -> None:
    command = shutil.which("openssl")
    if command is None:
        pytest.skip("no openssl here; install the Debian package `openssl`")
    done = subprocess.run([command, *map(str, arguments)], capture_output=True, text=True, timeout=20)
    assert done.returncode == 0, done.stderr
