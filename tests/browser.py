"""Pages in a real Chromium: fixtures that open a file and tell of all that went wrong or left it."""

import shutil

import pytest
from playwright.sync_api import sync_playwright

CHROMIUM = ("chromium", "chromium-browser", "google-chrome")
SOFTWARE = ["--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
EVIL = "<img src=x onerror=document.title='taken'>"
FRAMES = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done())))"


@pytest.fixture(scope="module")
def chromium():
    found = next(filter(None, map(shutil.which, CHROMIUM)), None)
    assert found, "these tests need Chromium: apt-get install chromium"
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=found, args=SOFTWARE)
        yield browser
        browser.close()


@pytest.fixture
def opened(chromium):
    """A function that opens a file at a width: the page, and all that went wrong or left it."""
    tabs = []

    def visit(path, width=1600, **options):
        context = chromium.new_context(viewport={"width": width, "height": 1000}, **options)
        tab, said = context.new_page(), []
        tabs.append(context)
        tab.on("console", lambda message: said.append(f"console {message.type}: {message.text}"))
        tab.on("pageerror", lambda error: said.append(f"error: {error}"))
        tab.on("request", lambda request: said.append(f"request: {request.url}"))
        tab.goto(path.as_uri())
        tab.evaluate(FRAMES)
        return tab, [one for one in said if not one.startswith(("request: data:", f"request: {path.as_uri()}"))]

    yield visit
    for context in tabs:
        context.close()
