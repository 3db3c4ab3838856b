"""The page in a real browser: offline, without errors, and it moves."""

import base64
import datetime
import json
import re
from dataclasses import replace

import numpy as np
import pytest

from swingmatch.errors import ClipError
from swingmatch.report.page import EMBED_BYTES, page_html, write_page
from swingmatch.report.scene import scene_payload, step_times, swing_data

EVIL = "Bo <script>document.title='owned'</script> & \"Sons\""
DAY = datetime.date(2024, 5, 17)


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
def heard():
    """What the browser said and asked for while the page was open: (errors, addresses)."""
    return [], set()


@pytest.fixture(scope="module")
def page(page_path, chromium, browsing, heard):
    page = browsing.new_page(chromium)
    errors, asked = heard
    page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("request", lambda request: asked.add(request.url))
    page.goto(page_path.as_uri())
    ready(page)
    yield page
    page.context.close()


def ready(page):
    page.wait_for_function("document.getElementById('scene').dataset.ready === 'yes'")


@pytest.fixture
def phone(page_path, open_page):
    page = open_page(page_path.as_uri(), "phone")
    ready(page)
    return page


def test_no_errors_and_nothing_fetched(page, page_path, heard):
    errors, asked = heard
    assert errors == []
    assert page_path.as_uri() in asked  # requests are seen
    assert {url.split(":")[0] for url in asked} <= {"file", "data", "blob"}
    assert {u for u in asked if u.startswith("file")} == {page_path.as_uri()}


def test_user_text_is_shown_as_text(page):
    assert page.title() == f"{EVIL}: forehand review"
    assert page.inner_text("h1") == EVIL
    assert page.locator("main img[src=x], main b").count() == 0
    assert "<img src=x" in page.inner_text("#sure + ul")


def test_slider_moves_both_figures(page):
    read = (
        "() => {const g = document.getElementById('scene').data; const joints = g[g.length - 1];"
        "return {player: g[4].x.slice(), model: g[2].x.slice(), colour: joints.marker.color.slice(),"
        " text: joints.text.slice(), when: document.getElementById('when').innerText}}"
    )
    seen = []
    for step in (5, 30):
        page.locator("#step").fill(str(step))
        seen.append(page.evaluate(read))
    assert seen[0]["player"] != seen[1]["player"]
    assert seen[0]["model"] != seen[1]["model"]
    assert seen[0]["colour"] != seen[1]["colour"]
    assert seen[0]["when"] != seen[1]["when"]
    assert "ms before contact" in seen[0]["when"]
    knee = next(t for t in seen[0]["text"] if t.startswith("<b>Left knee</b>"))
    assert re.search(r"Difference from the model \d+°", knee)
    assert "&lt;script&gt;" in knee  # Plotly is given the escaped name


def test_contact_button_and_swing_choice(page):
    page.click("#contact")
    assert "At contact" in page.inner_text("#when")
    drawn = "document.getElementById('scene').data[4].x.slice()"
    before = page.evaluate(drawn)
    page.select_option("#swing", "0")
    after = page.evaluate(drawn)
    assert len(before) == len(after) > 50


def test_play_button_runs_and_stops(page):
    at = page.input_value("#step")
    page.click("#play")
    page.wait_for_function("at => document.getElementById('step').value !== at", arg=at)
    assert page.inner_text("#play") == "Pause"
    page.click("#play")
    assert page.inner_text("#play") == "Play"


def test_map_carries_the_numbers(page):
    map_ = page.evaluate(
        "() => {const g = document.getElementById('map'); const d = g.data[1];"
        "return {hover: d.hovertext, z: d.z, text: d.text, hidden: g.data[0].hovertext,"
        " rows: g.layout.yaxis.ticktext, columns: g.layout.xaxis.ticktext, frames: g.layout.shapes.length}}"
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


def test_film_can_be_played(page, scene, film_fps):
    from swingmatch.report.clock import moments

    film = page.locator("#film")
    page.wait_for_function(
        "() => {const f = document.getElementById('film'); return f.readyState >= 2 && f.videoWidth === 1280}"
    )
    length = film.evaluate("f => f.duration")
    assert length == pytest.approx(len(moments(scene.review, film_fps)) / film_fps, abs=0.2)
    page.click("#film-on")
    page.wait_for_function("document.getElementById('film').currentTime > 0.02")
    assert film.evaluate("f => f.error") is None


def test_pictures_have_words_and_the_page_a_language(page):
    assert page.evaluate("document.documentElement.lang") == "en"
    images = page.evaluate("[...document.querySelectorAll('img')].map((i) => [i.alt, i.naturalWidth])")
    assert len(images) == 4
    assert all(alt and width > 100 for alt, width in images)
    names = "[...document.querySelectorAll('button, input, select')].filter((e) => !e.hidden && " \
            "!(e.innerText || e.getAttribute('aria-label') || e.labels.length)).length"  # fmt: skip
    assert page.evaluate(names) == 0


WIDER = (
    "what => [...document.querySelectorAll(what)].filter((e) => !e.closest('.wide, #scene, svg *') && "
    "e.getBoundingClientRect().right > 391).map((e) => e.outerHTML.slice(0, 80))"
)


def test_phone_shows_the_page_without_sideways_scrolling(phone):
    # The 3-D view follows a change of size a moment later.
    phone.wait_for_function("document.getElementById('scene').querySelector('svg').clientWidth <= 390")
    assert phone.evaluate(WIDER, "body *") == []
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390


def test_measures_open_by_keyboard(page):
    # Named by its place: once open it is no longer "the first that is shut".
    at = page.evaluate("[...document.querySelectorAll('details.part')].findIndex((d) => !d.open)")
    part = page.locator("details.part").nth(at)
    part.locator("> summary").press("Enter")
    assert part.get_attribute("open") is not None
    part.locator("details.one > summary").first.press("Enter")
    definition = part.locator("details.one > p").first
    assert definition.is_visible()
    assert len(definition.inner_text()) > 20


def test_open_measures_fit_a_phone(phone):
    phone.evaluate("for (const d of document.querySelectorAll('.measured details')) d.open = true")
    assert phone.evaluate(WIDER, ".measured *") == []
    tall = "[...document.querySelectorAll('svg.shot')].map((e) => e.getBoundingClientRect().height)"
    assert min(phone.evaluate(tall)) > 80


def test_on_paper_every_part_is_open(page):
    parts = "[...document.querySelectorAll('details.part')].filter((d) => !d.open).length"
    page.evaluate("document.querySelector('details.part').open = false")
    before = page.evaluate(parts)
    assert before > 0
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert page.evaluate(parts) == 0
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert page.evaluate(parts) == before


def test_the_rules_of_accessibility_hold_at_both_widths_in_both_themes(page_path, contexts, axe, shot):
    broken = {}
    for name, page in contexts(page_path.as_uri()):
        ready(page)
        page.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
        shot(page, f"review-{name}")
        broken[name] = axe(page)
    assert broken == {name: [] for name in broken}
    assert len(broken) == 4


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
