"""The lab in a real browser: served by the program, and exported, opened by double-click."""

import pytest

from host_sim.lab.export import Export
from tests.lab.serving import CHROMIUM, PATIENCE_S, QUIET, lab_program, runtime_missing


@pytest.fixture(scope="session")
def needs_runtime():
    """Skip a test where no export can be made."""
    if runtime_missing():
        pytest.skip(runtime_missing())


@pytest.fixture(scope="session")
def exported(needs_runtime, tmp_path_factory):
    """Return the folder of an export, made as `treadle lab --export` makes it."""
    if CHROMIUM is None:
        pytest.skip("no chromium: apt-get install chromium")
    folder = tmp_path_factory.mktemp("exported") / "lab"
    assert Export(folder, None).write() is None
    return folder


@pytest.fixture(scope="module", params=["served", "exported"])
def lab(request):
    """Give the address of the lab, both ways."""
    if request.param == "exported":
        yield (request.getfixturevalue("exported") / "index.html").as_uri()
    else:
        with lab_program("--port", "0") as (_, url):
            yield url


@pytest.fixture(scope="session")
def chromium():
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if CHROMIUM is None:
        pytest.skip("no chromium: apt-get install chromium")
    with playwright.sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        yield started
        started.close()


@pytest.fixture
def opened(lab, chromium):
    """Open the lab at a size. Afterwards nothing may have complained or been asked of others."""
    contexts, complaints, strangers = [], [], []
    own = lab.split("#")[0].removesuffix("index.html")

    def is_strange(url):
        return not url.startswith((own, "data:", "blob:"))

    def block(route):
        strangers.append(route.request.url)
        route.abort()

    def open_lab(width, height, number=1):
        window = chromium.new_context(viewport={"width": width, "height": height}, accept_downloads=True)
        contexts.append(window)
        window.set_offline(lab.startswith("file:"))  # The export wants no network at all.
        window.set_default_timeout(PATIENCE_S * 1000)
        page = window.new_page()
        page.on(
            "console",
            lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None,
        )
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("websocket", lambda made: strangers.append(made.url))
        page.route(is_strange, block)
        page.goto(lab)
        page.evaluate("number => { location.hash = `#${number}`; }", number)
        return page

    yield open_lab
    for context in contexts:
        context.close()
    assert complaints == []
    assert strangers == []
