"""Signatures are made and checked with OpenSSH, time stamps with a server of OpenSSL's; both find a changed file."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest

from diagnose.trail import anchors
from tests.support.commands import diagnose


@pytest.fixture(scope="module")
def keys(tmp_path_factory) -> dict[str, Path]:
    """Anna's key, a stranger's, and the list of signers with Anna alone."""
    folder = tmp_path_factory.mktemp("keys")
    for name in ("anna", "stranger"):
        subprocess.run(
            ["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-C", name, "-f", str(folder / name)], check=True
        )
    signers = folder / "signers"
    signers.write_text(f"anna@example.invalid {(folder / 'anna.pub').read_text('utf-8')}", "utf-8")
    return {"anna": folder / "anna", "stranger": folder / "stranger", "signers": signers}


def test_a_signature_names_the_signer_and_a_changed_file_is_told(tmp_path, keys):
    file = tmp_path / "t.json"
    file.write_text("{}\n", "utf-8")
    assert diagnose("sign", str(file), "--key", str(keys["anna"])).returncode == 0
    check = ("sign", str(file), "--check", "--signers", str(keys["signers"]))
    good = diagnose(*check)
    assert good.returncode == 0 and "signed by anna@example.invalid, key SHA256:" in good.stdout
    by_hand = ["ssh-keygen", "-Y", "verify", "-f", str(keys["signers"]), "-I", "anna@example.invalid", "-n", "diagnose:t.json", "-s",
               f"{file}.sig"]  # fmt: skip
    assert subprocess.run(by_hand, input=b"{}\n", check=False, capture_output=True).returncode == 0
    for ending in ("", ".sig"):
        (tmp_path / f"u.json{ending}").write_bytes(Path(f"{file}{ending}").read_bytes())
    renamed = diagnose("sign", str(tmp_path / "u.json"), *check[2:])
    assert renamed.returncode == 1 and "changed or renamed" in renamed.stdout
    file.write_text("{ }\n", "utf-8")
    bad = diagnose(*check)
    assert bad.returncode == 1 and "not the file that anna@example.invalid signed" in bad.stdout
    other = ("sign", str(file), "--key", str(keys["stranger"]))
    refused = diagnose(*other)
    assert refused.returncode == 2 and "t.json.sig is not by this key" in refused.stderr
    assert diagnose("sign", str(file), "--key", str(keys["anna"])).returncode == 0, "the same key signs anew"
    Path(f"{file}.sig").unlink()
    assert diagnose(*other).returncode == 0
    assert "by nobody on the list" in diagnose(*check).stdout
    Path(f"{file}.sig").unlink()
    assert "no signature t.json.sig" in diagnose(*check).stdout


def test_a_name_on_the_list_of_signers_shows_no_sign_that_hides(tmp_path, monkeypatch):
    monkeypatch.setattr(anchors, "check", lambda *_: anchors.Signed("K\u202eim", "SHA256:x", 0, 0))
    told = diagnose("sign", str(tmp_path / "t.json"), "--check", "--signers", str(tmp_path / "signers"))
    assert "signed by K im, key SHA256:x" in " ".join(told.stdout.split())


def test_a_signature_is_not_written_through_a_link(tmp_path, keys):
    file, kept = tmp_path / "t.json", tmp_path / "kept"
    file.write_text("{}\n", "utf-8")
    Path(f"{file}.sig").symlink_to(kept)
    assert diagnose("sign", str(file), "--key", str(keys["anna"])).returncode == 0
    assert not kept.exists() and Path(f"{file}.sig").is_file()


@pytest.mark.parametrize(
    "words",
    [("sign", "--key"), ("sign", "--check", "--signers"), ("stamp", "--reply"), ("stamp", "--check", "--authority")],
)
@pytest.mark.parametrize("make", [os.mkfifo, lambda path: path.symlink_to("/dev/zero"), Path.mkdir])
def test_a_key_or_list_that_is_no_ordinary_file_is_not_waited_for(tmp_path, words, make):
    file = tmp_path / "t.json"
    for ending in ("", ".sig", ".tsr"):
        Path(f"{file}{ending}").write_text("{}\n", "utf-8")
    make(tmp_path / "odd")
    told = diagnose(words[0], str(file), *words[1:], str(tmp_path / "odd"))
    assert told.returncode in (1, 2) and re.search("no ordinary file|irectory", told.stdout + told.stderr)


def test_a_server_that_speaks_no_http_and_an_address_that_is_none_are_told(tmp_path):
    file = tmp_path / "t.json"
    file.write_text("{}\n", "utf-8")
    with socket.create_server(("127.0.0.1", 0)) as listening:
        answering = threading.Thread(target=lambda: listening.accept()[0].sendall(b"220 mail.example.invalid\r\n"))
        answering.start()
        for server in (f"http://127.0.0.1:{listening.getsockname()[1]}/", "http://a b/", "http://["):
            told = diagnose("stamp", str(file), "--server", server)
            assert told.returncode == 2 and "gives no time stamp" in told.stderr
        answering.join()


def test_a_signed_journal_may_grow_but_not_shrink_or_change(tmp_path, keys):
    file = tmp_path / "c.yaml.journal"
    file.write_text("one\ntwo\n", "utf-8")
    assert diagnose("sign", str(file), "--key", str(keys["anna"])).returncode == 0
    check = ("sign", str(file), "--check", "--signers", str(keys["signers"]))
    file.write_text("one\ntwo\nthree\n", "utf-8")
    assert "up to line 2; 1 lines since" in diagnose(*check).stdout
    for other in ("one\n", "one\ntoo\nthree\n"):
        file.write_text(other, "utf-8")
        assert diagnose(*check).returncode == 1


def test_what_cannot_be_signed_or_asked_is_told_with_the_way_out(tmp_path, keys):
    file = tmp_path / "t.json"
    assert "cannot be read" in diagnose("sign", str(file), "--key", str(keys["anna"])).stderr
    file.write_text("{}\n", "utf-8")
    assert "takes --key KEY" in diagnose("sign", str(file)).stderr
    assert "cannot be signed" in diagnose("sign", str(file), "--key", str(tmp_path / "none")).stderr
    assert "http://" in diagnose("stamp", str(file), "--server", "file:///etc/passwd").stderr
    assert "name one of" in diagnose("stamp", str(file)).stderr


# ---- time stamps -----------------------------------------------------------------------------------------------------

CONFIG = """\
[req]
distinguished_name = name
[name]
[stamping]
extendedKeyUsage = critical, timeStamping
[tsa]
default_tsa = here
[here]
serial = {folder}/serial
signer_cert = {folder}/cert.pem
certs = {folder}/cert.pem
signer_key = {folder}/key.pem
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
accuracy = secs:1
"""


@pytest.fixture(scope="module")
def authority(tmp_path_factory) -> Path:
    """A folder with all that a time stamp authority needs."""
    folder = tmp_path_factory.mktemp("authority")
    (folder / "ts.cnf").write_text(CONFIG.format(folder=folder), "utf-8")
    (folder / "serial").write_text("01\n", "utf-8")
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", "key.pem", "-out", "cert.pem", "-subj",
         "/CN=invented authority", "-days", "2", "-config", "ts.cnf", "-extensions", "stamping"],
        cwd=folder, check=True, capture_output=True,
    )  # fmt: skip
    return folder


def granted(authority: Path, query: bytes) -> bytes:
    (authority / "query.tsq").write_bytes(query)
    made = ["openssl", "ts", "-reply", "-config", "ts.cnf", "-section", "here", "-queryfile", "query.tsq"]
    return subprocess.run(made, cwd=authority, check=True, capture_output=True).stdout


def test_a_time_stamp_is_fetched_from_a_server_and_holds_only_for_the_file_as_it_was(tmp_path, authority):
    class Answer(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            assert self.headers["Content-Type"] == "application/timestamp-query"
            reply = granted(authority, self.rfile.read(int(self.headers["Content-Length"])))
            self.send_response(200)
            self.end_headers()
            self.wfile.write(reply)

        def log_message(self, *_: object) -> None:
            return

    server = HTTPServer(("127.0.0.1", 0), Answer)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    file = tmp_path / "t.json"
    file.write_text("{}\n", "utf-8")
    try:
        done = diagnose("stamp", str(file), "--server", f"http://127.0.0.1:{server.server_port}/")
    finally:
        server.shutdown()
    assert done.returncode == 0, done.stderr
    check = ("stamp", str(file), "--check", "--authority", str(authority / "cert.pem"))
    good = diagnose(*check)
    assert good.returncode == 0 and "stamped" in good.stdout and "GMT" in good.stdout
    file.write_text("{ }\n", "utf-8")
    bad = diagnose(*check)
    assert bad.returncode == 1 and "does not hold for the file as it is" in bad.stdout


def test_a_request_can_be_carried_to_a_server_and_a_reply_for_another_file_is_refused(tmp_path, authority):
    for name, text in (("a.json", "{}\n"), ("b.json", "[]\n")):
        (tmp_path / name).write_text(text, "utf-8")
    a, b = tmp_path / "a.json", tmp_path / "b.json"
    assert diagnose("stamp", str(a), "--query", str(tmp_path / "a.tsq")).returncode == 0
    (tmp_path / "reply").write_bytes(granted(authority, (tmp_path / "a.tsq").read_bytes()))
    assert diagnose("stamp", str(b), "--reply", str(tmp_path / "reply")).returncode == 2
    assert diagnose("stamp", str(a), "--reply", str(tmp_path / "reply")).returncode == 0
    assert diagnose("stamp", str(a), "--check", "--authority", str(authority / "cert.pem")).returncode == 0
