"""The page on the machine's own network: over TLS with the certificate it made, by a key that a camera reads, for nobody else."""

from __future__ import annotations

import hashlib
import http.client
import io
import re
import socket
import ssl
from base64 import b64encode

import pytest
import zxingcpp
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from PIL import Image
from playwright.sync_api import Error

from diagnose.page.run import own_address
from tests.page.browsing import Opened, Served, browser_options
from tests.page.test_in_a_browser import entries

pytestmark = pytest.mark.slow


@pytest.fixture
def lan(dual):
    served = Served(dual, "--lan")
    yield served
    served.stop()


def certificate_of(served):
    return x509.load_pem_x509_certificate(ssl.get_server_certificate((own_address(), served.port)).encode())


def browser_that_trusts(chromium, certificate):
    """A browser in which somebody has accepted this one certificate and no other."""
    key = certificate.public_key().public_bytes(
        serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    pin = b64encode(hashlib.sha256(key).digest()).decode()
    options = [*browser_options(), f"--ignore-certificate-errors-spki-list={pin}"]
    kind = chromium.browser_type
    return kind.launch(executable_path=chromium_path(), args=options)


def chromium_path():
    from diagnose.views.report.printing import find_browser

    return find_browser()


def read_back(drawn: str) -> str:
    """What a camera reads in half blocks, shown light on dark as a terminal does."""
    rows = []
    for line in drawn.splitlines():
        halves = [{" ": (0, 0), "▄": (0, 1), "▀": (1, 0), "█": (1, 1)}[sign] for sign in line]
        rows += [[255 * upper for upper, _ in halves], [255 * lower for _, lower in halves]]
    image = Image.new("L", (len(rows[0]), len(rows)))
    image.putdata([bit for row in rows for bit in row])
    return zxingcpp.read_barcodes(image.resize((image.width * 8, image.height * 8), Image.Resampling.NEAREST))[0].text


def test_a_tablet_comes_in_by_the_drawn_key_and_another_by_the_one_it_shows(lan, chromium, dual):
    lan.link()
    drawn = "\n".join(line for line in lan.told.splitlines() if line and set(line) <= set(" ▄▀█"))
    url, home = read_back(drawn), f"https://{own_address()}:{lan.port}"
    assert url in lan.told and url.startswith(f"{home}/enter#")
    certificate = certificate_of(lan)
    print_ = certificate.fingerprint(hashes.SHA256()).hex(":").upper()
    assert print_ in lan.told and re.search(r"whether it trusts this certificate", lan.told)
    browser = browser_that_trusts(chromium, certificate)
    lan.link = lambda: url
    one = Opened(browser, lan)
    one.page.get_by_role("heading", name="dual").wait_for()
    cookie = one.context.cookies()[0]
    assert (cookie["name"], cookie["secure"], cookie["httpOnly"], cookie["sameSite"]) == ("__Host-page", True, True, "Strict")  # fmt: skip
    one.tap("Menu, Kim")
    one.tap("Let another tablet in")
    shown = Image.open(io.BytesIO(one.page.locator("svg.code").screenshot()))
    second = zxingcpp.read_barcodes(shown)[0].text
    assert second.startswith(f"{home}/enter#") and second != url
    lan.link = lambda: second
    two = Opened(browser, lan, width=390, height=844, name="Sam")
    two.go("#/part/1")
    two.tap("burnt: not there")
    two.page.locator("[data-key^='correct ']").first.wait_for(state="attached")
    two.settle()
    assert [e["absent"] for e in entries(dual) if "absent" in e] == ["burnt"]
    for used in (url, second):
        page = browser.new_context().new_page()
        page.goto(used)
        page.get_by_text("this key was used, is too old or was never given out").wait_for()
    assert one.complaints == two.complaints == [] and one.outside() == two.outside() == []
    browser.close()


def test_others_on_the_network_get_nothing(lan, chromium):
    lan.link()
    stranger = chromium.new_context().new_page()
    with pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
        stranger.goto(f"https://{own_address()}:{lan.port}/")
    browser = browser_that_trusts(chromium, certificate_of(lan))
    page = browser.new_context().new_page()
    for path in ("", "api/cases", "api/cases/dual", "report/dual", "photos/dual/x.jpg"):
        assert page.goto(f"https://{own_address()}:{lan.port}/{path}").status == 401
        assert "radial" not in page.content() and "dual" not in page.content()
    browser.close()
    plain = http.client.HTTPConnection(own_address(), lan.port, timeout=5)
    with pytest.raises((OSError, http.client.HTTPException)):
        plain.request("GET", "/")
        plain.getresponse()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", lan.port), 5).close()


def test_without_lan_no_other_address_of_this_machine_answers(dual):
    served = Served(dual)
    served.link()
    socket.create_connection(("127.0.0.1", served.port), 5).close()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection((own_address(), served.port), 5).close()
    served.stop()
