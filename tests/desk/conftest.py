"""What the tests of the desk share: a running desk, and a browser with its page."""

import shutil
import sys
from pathlib import Path

import pytest
from running_desk import RunningDesk

sys.path.append(str(Path(__file__).parents[1] / "measure" / "photo"))  # simulated photographs


@pytest.fixture(scope="session")
def desk(shop):
    """A desk started for the invented shop, entered."""
    running = RunningDesk(shop)
    yield running.enter()
    running.end()


@pytest.fixture(scope="session")
def browser():
    """Chromium without a window."""
    chromium = next(
        (path for name in ("chromium", "chromium-browser", "google-chrome") if (path := shutil.which(name))), None
    )
    if chromium is None:
        pytest.skip("Chromium is not installed (Debian: apt-get install chromium)")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def browsed(shop):
    """A desk for the browser alone."""
    running = RunningDesk(shop)
    yield running.enter()
    running.end()


@pytest.fixture
def console():
    """What the browser's console complained of; a test that means to be refused takes its complaint out."""
    return []


@pytest.fixture
def page(browser, browsed, console):
    """The desk's page in a fresh window of 1280 × 800; the test fails where the console says an error."""
    name, _, value = browsed.cookie.partition("=")
    context = browser.new_context(
        viewport={"width": 1280, "height": 800}, accept_downloads=True, reduced_motion="reduce"
    )
    context.add_cookies([{"name": name, "value": value, "url": browsed.origin}])
    window = context.new_page()
    window.set_default_timeout(30_000)
    window.on(
        "console",
        lambda message: (
            console.append(f"{message.text} {message.location['url']}")
            if message.type in ("error", "warning")
            else None
        ),
    )
    window.on("pageerror", lambda error: console.append(str(error)))
    window.goto(browsed.origin + "/")
    window.wait_for_selector("body[data-ready]")
    yield window
    context.close()
    assert not console
