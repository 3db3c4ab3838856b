"""The page in a real browser: offline, without errors, and it moves."""

import base64
import datetime
import json
import re
import shutil
from dataclasses import replace

import numpy as np
import pytest

from swingmatch.errors import ClipError
from swingmatch.report.page import EMBED_BYTES, page_html, write_page
from swingmatch.report.scene import scene_payload, step_times, swing_data

EVIL = "Bo <script>document.title='owned'</script> & \"Sons\""
DAY = datetime.date(2024, 5, 17)
CHROME = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")


@pytest.fixture(scope="module")
def page_path(tmp_path_factory, make_scene, measure_scene, film_path):
    scene = make_scene(player=EVIL, hand="left", azimuth=-110.0, swings=2)
    review = replace(
        scene.review,
        model_name="V <b>3</b>",
        notes=("Footage <img src=x onerror=alert(1)> note.",),
        measures=measure_scene(scene).measures,
    )
    path = tmp_path_factory.mktemp("page") / "review.html"
    write_page(review, path, film_path, clip_frames=scene.frames, date=DAY)
    return path


@pytest.fixture(scope="module")
def browser(page_path):
    if CHROME is None or DRIVER is None:
        pytest.skip("no Chromium with its driver on this machine")
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service
    from selenium.webdriver.support.ui import WebDriverWait

    options = webdriver.ChromeOptions()
    options.binary_location = CHROME
    for flag in (
        "--headless", "--no-sandbox", "--disable-gpu", "--enable-unsafe-swiftshader", "--no-first-run",
        "--disable-background-networking", "--disable-component-update", "--disable-sync", "--window-size=1280,900",
    ):  # fmt: skip
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    try:
        driver.get(page_path.as_uri())
        ready = "return document.getElementById('scene').dataset.ready === 'yes'"
        WebDriverWait(driver, 30).until(lambda d: d.execute_script(ready))
        yield driver
    finally:
        driver.quit()


def test_no_errors_and_nothing_fetched(browser, page_path):
    errors = [e for e in browser.get_log("browser") if e["level"] == "SEVERE"]
    assert errors == []
    asked = set()
    for entry in browser.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            asked.add(message["params"]["request"]["url"])
    assert page_path.as_uri() in asked  # the log does see requests
    assert {url.split(":")[0] for url in asked} <= {"file", "data", "blob"}
    assert {u for u in asked if u.startswith("file")} == {page_path.as_uri()}


def test_user_text_is_shown_as_text(browser):
    assert browser.title == f"{EVIL}: forehand review"
    assert browser.find_element("tag name", "h1").text == EVIL
    assert browser.execute_script("return document.querySelectorAll('main img[src=x], main b').length") == 0
    assert "<img src=x" in browser.find_element("css selector", "#sure + ul").text


def test_slider_moves_both_figures(browser):
    read = (
        "const g = document.getElementById('scene').data; const of = (n) => g.find((t) => t.name === n);"
        "const joints = g[g.length - 1];"
        "return {player: g[4].x.slice(), model: g[2].x.slice(), colour: joints.marker.color.slice(),"
        " text: joints.text.slice(), when: document.getElementById('when').innerText}"
    )
    move = (
        "const s = document.getElementById('step'); s.value = arguments[0];"
        "s.dispatchEvent(new Event('input', {bubbles: true}))"
    )
    seen = []
    for step in (5, 30):
        browser.execute_script(move, step)
        seen.append(browser.execute_script(read))
    assert seen[0]["player"] != seen[1]["player"]
    assert seen[0]["model"] != seen[1]["model"]
    assert seen[0]["colour"] != seen[1]["colour"]
    assert seen[0]["when"] != seen[1]["when"]
    assert "ms before contact" in seen[0]["when"]
    knee = next(t for t in seen[0]["text"] if t.startswith("<b>Left knee</b>"))
    assert re.search(r"Difference from the model \d+°", knee)
    assert "&lt;script&gt;" in knee  # Plotly is given the escaped name


def test_contact_button_and_swing_choice(browser):
    browser.find_element("id", "contact").click()
    assert "At contact" in browser.find_element("id", "when").text
    before = browser.execute_script("return document.getElementById('scene').data[4].x.slice()")
    browser.execute_script(
        "const s = document.getElementById('swing'); s.value = '0'; s.dispatchEvent(new Event('change'))"
    )
    after = browser.execute_script("return document.getElementById('scene').data[4].x.slice()")
    assert len(before) == len(after) > 50


def test_play_button_runs_and_stops(browser):
    from selenium.webdriver.support.ui import WebDriverWait

    button, slider = browser.find_element("id", "play"), browser.find_element("id", "step")
    at = slider.get_attribute("value")
    button.click()
    WebDriverWait(browser, 10).until(lambda d: slider.get_attribute("value") != at)
    assert button.text == "Pause"
    button.click()
    assert button.text == "Play"


def test_map_carries_the_numbers(browser):
    map_ = browser.execute_script(
        "const g = document.getElementById('map'); const d = g.data[1];"
        "return {hover: d.hovertext, z: d.z, text: d.text, hidden: g.data[0].hovertext,"
        " rows: g.layout.yaxis.ticktext, columns: g.layout.xaxis.ticktext, frames: g.layout.shapes.length}"
    )
    assert map_["columns"] == ["Take-back", "Drop", "Forward<br>swing", "Contact"]
    knee = map_["hover"][0][0]
    assert "Player 71°, model 44°" in knee
    assert "Difference +27°, give or take 8°" in knee
    assert "it counts" in knee
    assert map_["z"][0][0] == pytest.approx(27 / 12)
    assert map_["text"][0][0] == "+27°"
    flat = [h for row in map_["hidden"] for h in row]
    assert sum("Not visible from this view" in h for h in flat) == 2


def test_film_can_be_played(browser, scene, film_fps):
    from selenium.webdriver.support.ui import WebDriverWait

    from swingmatch.report.clock import moments

    film = browser.find_element("id", "film")
    state = "return arguments[0].readyState >= 2 && arguments[0].videoWidth"
    WebDriverWait(browser, 15).until(lambda d: d.execute_script(state, film) == 1280)
    length = browser.execute_script("return arguments[0].duration", film)
    assert length == pytest.approx(len(moments(scene.review, film_fps)) / film_fps, abs=0.2)
    browser.find_element("id", "film-on").click()
    WebDriverWait(browser, 10).until(
        lambda d: d.execute_script("return arguments[0].currentTime", film) > 0.02
    )
    assert browser.execute_script("return arguments[0].error", film) is None


def test_pictures_have_words_and_the_page_a_language(browser):
    assert browser.execute_script("return document.documentElement.lang") == "en"
    images = browser.find_elements("tag name", "img")
    assert len(images) == 4
    assert all(i.get_attribute("alt") and i.get_property("naturalWidth") > 100 for i in images)
    names = "return [...document.querySelectorAll('button, input, select')].filter((e) => !e.hidden && " \
            "!(e.innerText || e.getAttribute('aria-label') || e.labels.length)).length"  # fmt: skip
    assert browser.execute_script(names) == 0


def test_phone_shows_the_page_without_sideways_scrolling(browser):
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": True},
    )
    from selenium.webdriver.support.ui import WebDriverWait

    width = "return document.getElementById('scene').querySelector('svg').clientWidth"
    try:  # the 3-D view follows a change of size a moment later
        WebDriverWait(browser, 10).until(lambda d: d.execute_script(width) <= 390)
        wider = (
            "return [...document.querySelectorAll('body *')].filter((e) => !e.closest('.wide, #scene') && "
            "e.getBoundingClientRect().right > 391).map((e) => e.outerHTML.slice(0, 80))"
        )
        assert browser.execute_script(wider) == []
        assert browser.execute_script("return document.documentElement.scrollWidth") <= 390
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_measures_open_by_keyboard_and_fit_a_phone(browser):
    from selenium.webdriver.common.keys import Keys

    shut = browser.find_element("css selector", "details.part:not([open]) > summary")
    part = shut.find_element("xpath", "..")
    shut.send_keys(Keys.ENTER)
    assert part.get_attribute("open") is not None
    number = part.find_element("css selector", "details.one > summary")
    number.send_keys(Keys.ENTER)
    definition = part.find_element("css selector", "details.one > p")
    assert definition.is_displayed()
    assert len(definition.text) > 20
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": True},
    )
    try:
        browser.execute_script(
            "for (const d of document.querySelectorAll('.measured details')) d.open = true"
        )
        wider = (
            "return [...document.querySelectorAll('.measured *')].filter((e) => !e.closest('svg *') && "
            "e.getBoundingClientRect().right > 391).map((e) => e.outerHTML.slice(0, 80))"
        )
        assert browser.execute_script(wider) == []
        tall = (
            "return [...document.querySelectorAll('svg.shot')].map((e) => e.getBoundingClientRect().height)"
        )
        assert min(browser.execute_script(tall)) > 80
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_on_paper_every_part_is_open(browser):
    parts = "return [...document.querySelectorAll('details.part')].filter((d) => !d.open).length"
    browser.execute_script("document.querySelector('details.part').open = false")
    before = browser.execute_script(parts)
    assert before > 0
    browser.execute_script("window.dispatchEvent(new Event('beforeprint'))")
    assert browser.execute_script(parts) == 0
    browser.execute_script("window.dispatchEvent(new Event('afterprint'))")
    assert browser.execute_script(parts) == before


def test_page_is_small_enough_and_names_no_other_place(page_path, film_path):
    film = len(base64.b64encode(film_path.read_bytes()))
    assert page_path.stat().st_size - film < 7_000_000
    text = page_path.read_text(encoding="utf-8")
    own = re.sub(r"<script>.*?</script>", "", text, flags=re.S)  # without Plotly's own code
    assert not re.search(r"(src|href)=['\"]?(https?:)?//", own)
    assert text.count("plotly.js v") == 1
    assert "17 May 2024" in text


def test_no_changes_is_said_plainly(scene):
    html = page_html(replace(scene.review, changes=(), strengths=(), deviations=()), date=DAY)
    assert "Nothing stands out from this view" in html
    assert "<video" not in html
    assert "id='map'" not in html


def test_large_film_is_linked_beside_the_page(scene, tmp_path):
    film = tmp_path / "a film.mp4"
    with film.open("wb") as file:
        file.truncate(EMBED_BYTES + 1)
    html = page_html(replace(scene.review, changes=()), film, folder=tmp_path, date=DAY)
    assert "src='a%20film.mp4'" in html


def test_problems_with_files_are_sentences(scene, tmp_path):
    bare = replace(scene.review, changes=())
    with pytest.raises(ClipError, match="could not be read"):
        page_html(bare, tmp_path / "none.mp4")
    with pytest.raises(ClipError, match="could not be written"):
        write_page(bare, tmp_path / "no folder" / "page.html")
    assert list(tmp_path.iterdir()) == []


def test_swing_data_keeps_missing_joints_missing_and_hips_in_place(scene):
    pair = scene.review.pairs[0]
    points = pair.player.points.copy()
    points[:, 8] = np.nan
    data = swing_data(replace(pair, player=replace(pair.player, points=points)))
    json.dumps(data, allow_nan=False)
    assert all(step[8] == [None, None, None] for step in data["player"])
    times = step_times(pair)
    assert times[data["contact"]] == 0.0
    assert data["labels"][data["contact"]] == "At contact"
    assert data["phases"][data["contact"]] == "Forward swing"
    payload = scene_payload(scene.review)["swings"][0]
    left, right = 13 - 2, 13 - 1  # hips, see KEYPOINTS
    from swingmatch.body.skeleton import KEYPOINTS

    assert (KEYPOINTS[left], KEYPOINTS[right]) == ("left_hip", "right_hip")
    for who in ("player", "model"):
        hips = np.array([[s[left], s[right]] for s in payload[who]], float).mean(axis=1)
        np.testing.assert_allclose(hips[:, :2], 0.0, atol=1.1e-3)
