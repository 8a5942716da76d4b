from __future__ import annotations

import pytest

from diagnose.casefile.recorder import Recorder
from diagnose.casefile.walk import usual_document
from tests.page.browsing import browser_options
from tests.page.support import Tablet, page_on


@pytest.fixture
def dual(tmp_path, whole_base):
    """A dual seal with its usual parts and nothing on record."""
    knowledge, path = whole_base.knowledge, tmp_path / "dual.yaml"
    document = usual_document(
        "dual", "dual pressurised", knowledge.arrangements.usual["dual pressurised"], "before washing"
    )
    with Recorder(path, knowledge, "Kim") as recorder:
        recorder.start(document)
    return path


@pytest.fixture
def served(dual, whole_base):
    """The page of the folder in which the dual seal lies."""
    page = page_on(dual.parent, whole_base.knowledge)
    yield page
    page.close()


@pytest.fixture
def tablet(served):
    return Tablet(served)


@pytest.fixture(scope="session")
def chromium():
    import shutil

    from playwright.sync_api import sync_playwright

    from diagnose.views.report.printing import BROWSERS

    found = next((at for name in BROWSERS if (at := shutil.which(name))), None)
    if found is None:
        pytest.fail(f"the browser tests need one of {', '.join(BROWSERS)}: apt-get install chromium", pytrace=False)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=browser_options())
        yield browser
        browser.close()


@pytest.fixture
def opened(chromium, dual):
    """Opens the page of the dual seal on one tablet or several."""
    from tests.page.browsing import Opened, Served

    served = Served(dual)
    tablets = []

    def opening(**how):
        tablets.append(Opened(chromium, served, **how))
        return tablets[-1]

    opening.served = served
    yield opening
    for tablet in tablets:
        tablet.context.close()
    served.stop()
