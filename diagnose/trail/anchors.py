"""Anchors outside a file: detached signatures in OpenSSH's format, and time stamps after RFC 3161.

Both are made and checked by programs that people already have, `ssh-keygen -Y` and `openssl ts`; a file stays as it is, the
signature stands beside it as FILE.sig and the time stamp as FILE.tsr.
"""

from __future__ import annotations

import base64
import re
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from diagnose.casefile.writer import put
from diagnose.reading.files import read_file
from diagnose.reading.problems import BadInput, Problem, Where

MOST_BYTES = 200_000_000
MOST_PREFIXES = 400


@dataclass(frozen=True)
class Signed:
    """A good signature: by whom, with which key. `lines`: of a journal that grew since, how many lines were signed; `since`
    how many came later."""

    who: str
    key: str
    lines: int = 0
    since: int = 0


def purpose(path: Path) -> str:
    """What a signature is for: a file of this name, so that one made for another case or another purpose does not count."""
    return f"diagnose:{path.name}"


def beside(path: Path, ending: str) -> Path:
    return path.with_name(path.name + ending)


def sign(path: Path, key: Path) -> Path:
    """Signs a file with an OpenSSH key (or an agent's, where `key` is a public one). Raises BadInput, also where the
    signature of another key stands there."""
    _expect(key)
    made = _run(path, ["ssh-keygen", "-Y", "sign", "-f", str(key), "-n", purpose(path)], read(path))
    if made.returncode or not made.stdout.startswith(b"-----BEGIN SSH SIGNATURE-----"):
        raise _bad(
            path, f"it cannot be signed: {_said(made)}", "--key names a private key that ssh-keygen -t ed25519 makes"
        )
    target = beside(path, ".sig")
    if target.exists() and _key_of(read(target)) != _key_of(made.stdout):
        raise _bad(path, f"{target.name} is not by this key, and would be lost", "put it elsewhere first")
    put(target, made.stdout)
    return target


def _key_of(signature: bytes) -> bytes:
    """The public key in an OpenSSH signature (OpenSSH's PROTOCOL.sshsig: magic, version, key), b"" where it is none."""
    try:
        inside = base64.b64decode(re.sub(rb"-----[A-Z ]*-----|\s", b"", signature), validate=True)
    except ValueError:
        return b""
    end = 14 + int.from_bytes(inside[10:14], "big")
    return inside[14:end] if inside.startswith(b"SSHSIG") else b""


def check(path: Path, signers: Path) -> Signed:
    """Who signed a file, held against a list of allowed signers (ssh-keygen(1), ALLOWED SIGNERS). Raises BadInput where
    nobody on it signed the file as it is; a journal may have grown since."""
    signature = beside(path, ".sig")
    if not signature.exists():
        raise _bad(path, f"there is no signature {signature.name}", "diagnose sign FILE --key KEY")
    _expect(signature, signers)
    found = _run(path, ["ssh-keygen", "-Y", "find-principals", "-s", str(signature), "-f", str(signers)], b"")
    names = found.stdout.decode("utf-8", "replace").split("\n")[0].strip()
    if found.returncode or not names:
        raise _bad(path, "it is signed by nobody on the list of signers, or the signature is broken", f"see {signers}")
    who = names.split(",")[0]
    for data, lines, since in _prefixes(path):
        done = _run(
            path,
            ["ssh-keygen", "-Y", "verify", "-f", str(signers), "-I", who, "-n", purpose(path), "-s", str(signature)],
            data,
        )
        if done.returncode == 0:
            key = re.search(r"SHA256:\S+", done.stdout.decode("utf-8", "replace"))
            return Signed(who, key.group() if key else "", lines, since)
    raise _bad(
        path, f"it is not the file that {who} signed: it was changed or renamed since", "bring back the signed one"
    )


def _prefixes(path: Path) -> Iterator[tuple[bytes, int, int]]:
    """The file; of a journal also what it was some lines ago, last first."""
    data = read(path)
    yield data, 0, 0
    if path.suffix != ".journal":
        return
    ends = [i + 1 for i, c in enumerate(data) if c == 10]
    for since, end in enumerate(reversed(ends[:-1]), 1):
        if since > MOST_PREFIXES:
            return
        yield data[:end], len(ends) - since, since


# ---- time stamps -----------------------------------------------------------------------------------------------------


def query(path: Path) -> bytes:
    """The request for a time stamp of a file (RFC 3161, sha256, with the certificate asked for). Raises BadInput."""
    read(path)
    done = _run(path, ["openssl", "ts", "-query", "-data", str(path), "-sha256", "-cert"], b"")
    if done.returncode:
        raise _bad(path, f"no request can be made: {_said(done)}", "")
    return done.stdout


def ask(server: str, request: bytes, seconds: float = 30.0) -> bytes:
    """What a time stamp server answers over HTTP (RFC 3161, 3.4). Raises OSError or ValueError."""
    from http.client import HTTPException
    from urllib.request import Request, urlopen

    if not server.startswith(("http://", "https://")):
        raise ValueError("a time stamp server is named by http:// or https://")
    asked = Request(server, request, {"Content-Type": "application/timestamp-query"})
    try:
        with urlopen(asked, timeout=seconds) as answer:
            return bytes(answer.read(1_000_000))
    except HTTPException as error:
        raise ValueError(f"it does not answer as a web server does: {error!r}") from error


def attach(path: Path, reply: bytes) -> Path:
    """Puts a time stamp beside its file. Raises BadInput where the reply grants none for this file."""
    told = _text(path, reply)
    digest = re.sub(r"[^0-9a-f]", "", "".join(re.findall(r"^ +[0-9a-f]{4} - ((?:[0-9a-f]{2}[ -]){1,16})", told, re.M)))
    ours = _run(path, ["openssl", "dgst", "-sha256", "-r", str(path)], b"").stdout.decode().split(" ")[0]
    if "Status: Granted" not in told or not digest.startswith(ours):
        raise _bad(path, "the server granted no time stamp of this file", "ask again, or ask whoever keeps the server")
    target = beside(path, ".tsr")
    put(target, reply)
    return target


def stamped(path: Path, authority: Path) -> str:
    """The time that a stamp vouches for, held against the certificates of its authority. Raises BadInput."""
    stamp = beside(path, ".tsr")
    if not stamp.exists():
        raise _bad(path, f"there is no time stamp {stamp.name}", "diagnose stamp FILE --server URL")
    _expect(stamp, authority)
    done = _run(
        path, ["openssl", "ts", "-verify", "-data", str(path), "-in", str(stamp), "-CAfile", str(authority)], b""
    )
    if done.returncode:
        raise _bad(
            path, f"the time stamp does not hold for the file as it is: {_said(done)}", "bring back the stamped one"
        )
    time = re.search(r"^Time stamp: (.*)$", _text(path, stamp.read_bytes()), re.M)
    return time.group(1) if time else ""


def _text(path: Path, reply: bytes) -> str:
    with tempfile.NamedTemporaryFile(suffix=".tsr") as file:
        file.write(reply)
        file.flush()
        return _run(path, ["openssl", "ts", "-reply", "-in", file.name, "-text"], b"").stdout.decode("utf-8", "replace")


def _run(path: Path, words: list[str], data: bytes) -> subprocess.CompletedProcess[bytes]:
    try:
        return subprocess.run(words, input=data, capture_output=True, check=False)
    except OSError as error:
        raise _bad(path, f"{words[0]} cannot be run: {error.strerror}", "install OpenSSH and OpenSSL") from error


def _expect(*paths: Path) -> None:
    """Raises BadInput for what the programs would wait for or never come to the end of."""
    for path in paths:
        if path.exists() and not path.is_file():
            raise _bad(path, "this is no ordinary file", "check the path")


def read(path: Path) -> bytes:
    try:
        return read_file(path, MOST_BYTES)
    except OSError as error:
        raise _bad(path, f"it cannot be read: {error.strerror}", "check the path") from error


def _said(done: subprocess.CompletedProcess[bytes]) -> str:
    lines = (done.stderr or done.stdout).decode("utf-8", "replace").strip().splitlines()
    return lines[-1] if lines else "no reason is told"


def _bad(path: Path, says: str, way_out: str) -> BadInput:
    return BadInput([Problem(Where(str(path), 0, 0), "anchor", says, way_out)])
