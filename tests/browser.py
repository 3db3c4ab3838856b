"""Pages in a real browser: Debian's Chromium driven by Playwright, with screenshots and axe's rules of accessibility.

``SWINGMATCH_SHOTS`` names a folder for the screenshots; without it they go with the test's own files.
``SWINGMATCH_AXE`` names the file ``axe.min.js`` of the npm package axe-core; without it the ``node_modules`` beside or
above the repository are looked through.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
from pathlib import Path

import pytest

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
SIZES = {"wide": (1280, 800), "phone": (390, 844)}
THEMES = ("light", "dark")
#: WCAG 2.2, levels A and AA, in axe's words.
RULES = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")
_FLAGS = (
    "--disable-background-networking", "--disable-component-update", "--disable-gpu", "--enable-unsafe-swiftshader",
    "--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream",
)  # fmt: skip


def missing():
    """Why no page can be opened on this machine, or None."""
    if importlib.util.find_spec("playwright") is None:
        return "Playwright is not installed"
    if CHROMIUM is None:
        return "no Chromium on this machine"
    return None


# Of a module, not of the session: while Playwright runs, nothing else in the process can start an event loop.
@pytest.fixture(scope="module")
def chromium():
    """The browser, without a window and without its own calls to the network; its microphone is a made-up tone."""
    if why := missing():
        pytest.skip(why)
    from playwright.sync_api import sync_playwright

    flags = [*_FLAGS, *(["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else [])]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=flags)
        yield browser
        browser.close()


def new_page(browser, size="wide", theme="light", **options):
    """A page in a context of its own (no cookies, nothing kept), so wide and in that theme. The phone is a phone."""
    width, height = SIZES[size]
    if size == "phone":
        options = {"is_mobile": True, "has_touch": True, "device_scale_factor": 2, **options}
    context = browser.new_context(
        viewport={"width": width, "height": height}, color_scheme=theme, reduced_motion="reduce", **options
    )
    return context.new_page()


@pytest.fixture
def open_page(chromium):
    """``open_page(url, size="wide", theme="light", **options)``: a fresh page there; options are the context's."""
    pages = []

    def opened(url=None, size="wide", theme="light", **options):
        pages.append(new_page(chromium, size, theme, **options))
        if url is not None:
            pages[-1].goto(url)
        return pages[-1]

    yield opened
    for page in pages:
        page.context.close()


@pytest.fixture
def contexts(open_page):
    """``for name, page in contexts(url)``: the page at both widths in both themes, one after the other."""

    def all_of_them(url=None, **options):
        for size in SIZES:
            for theme in THEMES:
                page = open_page(url, size, theme, **options)
                yield f"{size}-{theme}", page
                page.context.close()

    return all_of_them


@pytest.fixture
def shot(tmp_path):
    """``shot(page, name)``: a picture of the whole page, kept in the folder of screenshots; gives its path."""
    folder = Path(os.environ.get("SWINGMATCH_SHOTS") or tmp_path / "shots")
    folder.mkdir(parents=True, exist_ok=True)

    def taken(page, name):
        path = folder / f"{name}.png"
        page.screenshot(path=path, full_page=True)
        return path

    return taken


def axe_file():
    """The file ``axe.min.js``, or None."""
    named = os.environ.get("SWINGMATCH_AXE")
    beside = [up / "node_modules" / "axe-core" / "axe.min.js" for up in Path(__file__).resolve().parents[2:]]
    return next((path for path in ([Path(named)] if named else beside) if path.is_file()), None)


@pytest.fixture(scope="session")
def axe():
    """``axe(page)``: the broken rules of WCAG 2.2 A and AA as sentences, one an element; an empty list is good."""
    file = axe_file()
    if file is None:
        pytest.skip("axe-core is not there: `npm pack axe-core`, and SWINGMATCH_AXE names its axe.min.js")
    source = file.read_text(encoding="utf-8")

    def broken(page, within=None):
        # Evaluated from outside, which a strict content policy does not forbid.
        page.evaluate(source)
        found = page.evaluate(
            "([within, tags]) => axe.run(within || document, {runOnly: {type: 'tag', values: tags}})",
            [within, list(RULES)],
        )
        # Where nothing passes either, the rules did not run.
        assert found["passes"], "axe looked at nothing"
        return [
            f"{rule['id']} ({rule['impact']}): {rule['help']}: {node['html'][:160]} | {node['failureSummary']}"
            for rule in found["violations"]
            for node in rule["nodes"]
        ]

    return broken
