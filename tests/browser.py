"""Pages in a real Chromium: fixtures that open a file and list all that goes wrong or leaves it, as it happens."""

import shutil

import pytest
from playwright.sync_api import sync_playwright

CHROMIUM = ("chromium", "chromium-browser", "google-chrome")
SOFTWARE = ["--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
EVIL = "<img src=x onerror=document.title='taken'>"
FRAMES = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done())))"


@pytest.fixture(scope="module")
def chromium():
    program = next(filter(None, map(shutil.which, CHROMIUM)), None)
    assert program, "these tests need Chromium: apt-get install chromium"
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=program, args=SOFTWARE)
        yield browser
        browser.close()


@pytest.fixture
def opened(chromium):
    """A function that opens a file at a width: the page, and all that went wrong or left it."""
    tabs = []

    def visit(path, width=1600, **options):
        context = chromium.new_context(viewport={"width": width, "height": 1000}, **options)
        tab, complaints = context.new_page(), []
        inside = "data:", path.as_uri()
        tabs.append(context)
        tab.on("console", lambda message: complaints.append(f"console {message.type}: {message.text}"))
        tab.on("pageerror", lambda error: complaints.append(f"error: {error}"))
        tab.on("request", lambda r: None if r.url.startswith(inside) else complaints.append(f"request: {r.url}"))
        tab.goto(path.as_uri())
        if options.get("java_script_enabled", True):
            tab.evaluate(FRAMES)
        return tab, complaints

    yield visit
    for context in tabs:
        context.close()
