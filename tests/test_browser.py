"""The tools that look at pages do see what is wrong with one."""

BAD = "<!doctype html><title>Bad</title><body style='color:#ccc;background:#fff'><main>{}</main>"


def test_axe_names_what_is_broken_and_nothing_on_a_sound_page(open_page, axe):
    page = open_page()
    page.set_content(BAD.format("<p>Pale</p><img src='data:,'><button></button>"))
    rules = {sentence.split(" ")[0] for sentence in axe(page)}
    assert rules == {"button-name", "color-contrast", "html-has-lang", "image-alt"}
    page.set_content(
        "<!doctype html><html lang=en><title>Good</title><main><h1>Good</h1><button>Go</button></main>"
    )
    assert axe(page) == []


def test_axe_runs_under_a_strict_content_policy(open_page, axe):
    page = open_page()
    policy = "<meta http-equiv='Content-Security-Policy' content=\"default-src 'none'\">"
    page.set_content(
        f"<!doctype html><html lang=en><head>{policy}<title>Shut</title></head><main><img></main>"
    )
    assert [sentence.split(" ")[0] for sentence in axe(page)] == ["image-alt"]


def test_every_page_is_seen_at_both_widths_in_both_themes(contexts, shot):
    seen = {}
    for name, page in contexts(
        "data:text/html,<!doctype html><meta name=viewport content='width=device-width'>"
    ):
        dark = page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches")
        seen[name] = (page.evaluate("innerWidth"), dark)
        assert shot(page, name).stat().st_size > 100
    assert seen == {
        "wide-light": (1280, False),
        "wide-dark": (1280, True),
        "phone-light": (390, False),
        "phone-dark": (390, True),
    }
