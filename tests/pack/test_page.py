"""report.html without a browser: one file, its policy, its anchors, and hostile words kept as words."""

from __future__ import annotations

import base64
import hashlib
import re
from collections import Counter
from html.parser import HTMLParser

import pytest

from borelog.pack import page
from borelog.pack.build import build

HOSTILE = (
    "<script>document.title='owned'</script><img src=x onerror=document.title='owned'><svg onload=document.title='owned'>"
    "\"><a href=javascript:document.title='owned'>x</a>' onmouseover=document.title='owned' {{7*7}} {% raw %} ]]> --> "
    "<style>body{display:none}</style><iframe src=file:///etc/passwd></iframe><meta http-equiv=refresh content=0;url=x>"
)


class Tags(HTMLParser):
    """Every tag with its attributes."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


@pytest.fixture(scope="module", params=["archive", "customer", "buyer", "machinist", "insurer"])
def html(packs, request) -> str:
    return (packs[request.param].folder / "report.html").read_text()


def test_policy_comes_first_and_names_exactly_this_style_and_script(html):
    head = html[html.index("<head>") :]
    assert head.startswith('<head>\n<meta http-equiv="Content-Security-Policy"')
    tags = Tags(html)
    policy = next(a["content"] for t, a in tags.found if a.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none'; img-src data:; ")
    assert "unsafe" not in policy
    for kind in ("style", "script"):
        inside = re.findall(rf"<{kind}>(.*?)</{kind}>", html, re.S)
        assert len(inside) == 1
        digest = base64.b64encode(hashlib.sha256(inside[0].encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in policy


def test_nothing_points_outside(html):
    for tag, attrs in Tags(html).found:
        for name, value in attrs.items():
            if name in ("src", "href", "action", "data-full", "srcset", "poster"):
                assert value.startswith(("data:image/", "#")), (tag, name, value[:60])
            assert not name.startswith("on")
            assert name != "style"
    assert "http://" not in html.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in html


def test_every_link_leads_somewhere_and_ids_are_unique(html):
    tags = Tags(html).found
    ids = Counter(a["id"] for _, a in tags if "id" in a)
    assert not [i for i, n in ids.items() if n > 1]
    for tag, attrs in tags:
        if tag == "a":
            assert attrs["href"][1:] in ids, attrs
        for name in ("aria-labelledby", "for"):
            assert attrs.get(name, next(iter(ids))) in ids


def test_every_picture_has_words(html):
    pictures = [a for t, a in Tags(html).found if t == "img"]
    assert pictures
    assert all(a["alt"].startswith("Still s") for a in pictures)


def test_first_screen_order(html):
    """Which engine, one line a cylinder, the call, what is still unknown: before anything else."""
    at = [
        html.index(x)
        for x in ('class="which"', 'class="lines"', 'class="call"', "Still unknown", 'id="plan"')
    ]
    assert at == sorted(at)


def test_a_reading_is_shown_with_unit_repeats_conditions_and_correction(packs):
    html = (packs["archive"].folder / "report.html").read_text()
    for words in (
        "178 176 psi",
        "2 repeats.",
        "1220 kPa",
        "Battery while cranking: 12,2 V",
        "Not noted:",
        "Before: 110 (M. Invented",
    ):
        assert words in html, words


def test_hostile_words_stay_words(scenes, tmp_path):
    scene = scenes.build_scene(tmp_path / "log", name=HOSTILE[:150], note=HOSTILE)
    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", entries=scene.entries,
        pdf=False, sync=False,
    )  # fmt: skip
    html = (built.folder / "report.html").read_text()
    tags = Tags(html).found
    assert not [t for t, a in tags if t in ("iframe", "object", "embed", "form", "base")]
    assert len([t for t, _ in tags if t == "script"]) == 1
    assert len([t for t, _ in tags if t == "style"]) == 1
    assert len([t for t, _ in tags if t == "meta"]) == 5
    assert "{{7*7}}" in html
    assert "49" not in re.findall(r"raw %\} .{0,40}", html)
    scene.journal.close()


def test_an_undefined_name_in_a_template_is_an_error():
    import jinja2

    with pytest.raises(jinja2.UndefinedError):
        page.environment().from_string("{{ nothing }}").render()


def test_the_page_is_small(packs):
    """Without its pictures the page stays under 150 kB, so that a phone opens it at once."""
    raw = (packs["archive"].folder / "report.html").read_bytes()
    bare = re.sub(rb"base64,[A-Za-z0-9+/=]+", b"", raw)
    assert len(bare) < 150_000


def test_money_is_on_the_customer_s_page_only_with_its_range(packs):
    html = (packs["customer"].folder / "report.html").read_text()
    assert "1 in 10 worse" in html
    assert "Stop if over 900 after the head is off." in html
    assert "Placeholders, not yet set by a person" in html


def test_cards_of_each_reader(packs):
    wanted = {
        "archive": 4, "customer": 1, "buyer": 1, "machinist": 1, "insurer": 2,
    }  # fmt: skip
    for reader, count in wanted.items():
        html = (packs[reader].folder / "report.html").read_text()
        assert html.count('<article class="card">') == count
    assert "For the machinist: what to check" in (packs["machinist"].folder / "report.html").read_text()
    assert "What was said, and what the record says" in (packs["customer"].folder / "report.html").read_text()
