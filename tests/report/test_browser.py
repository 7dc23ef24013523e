"""The page in a real browser: drawn, offline, linked, operable by keys, accessible, whole on paper."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import pytest
from browser import Browser

from arena.report.result import read_result

WIDTHS = (390, 1024, 1600)
CHARTS = ("scores", "trade-hours", "trade-energy", "road-chart", "hist")
PANELS = ["iat", "duty", "coolant", "boost", "speed"]
ROAD = "document.querySelector('#road-chart')"
WINDOW = f"{ROAD}.layout.xaxis.range.map(m => 60 * m)"
# what is really on the screen: the lines of each of the five panels as they are drawn
DRAWN = f"[...{ROAD}.querySelectorAll('.cartesianlayer > .subplot')].map(p => [...p.querySelectorAll('path.js-line, path.js-fill')].map(l => l.getAttribute('d')).join())"  # noqa: E501
COUNT = "(k => ['#road-chart', '#hist'].map(p => document.querySelector(p).data.filter(t => t.meta.k === k).length))(0)"


@pytest.mark.parametrize("width", WIDTHS)
def test_page_draws_every_chart_quietly_and_offline(browser: Browser, folder: Path, width: int) -> None:
    browser.size(width)
    browser.prefer("light")
    seconds = browser.open(folder / "page.html")
    assert browser.errors() == []
    assert browser.requests() == []
    if seconds >= 3.0:  # a busy machine: look again
        seconds = min(browser.open(folder / "page.html") for _ in range(3))
    assert seconds < 3.0
    for chart in CHARTS:
        found = browser.run(
            f"(e => [e.getAttribute('role'), e.getAttribute('aria-label').length,"
            f" e.querySelectorAll('.main-svg path, .main-svg text').length,"
            f" Math.abs(e.querySelector('.main-svg').getBoundingClientRect().width - e.clientWidth),"
            f" e.data.length])(document.querySelector('#{chart}'))"
        )
        role, said, marks, misfit, traces = found
        assert role == "img" and said > 40 and traces >= 3, chart
        assert marks > 12 and misfit < 1.0, chart
    drawn = browser.run(DRAWN)
    assert len(drawn) == len(PANELS) and all(len(d) > 100 for d in drawn), "a panel is empty"
    assert sorted(set(browser.run(f"{ROAD}.data.map(t => t.meta.panel)"))) == sorted(PANELS)
    wide = browser.run("[document.documentElement.scrollWidth, innerWidth]")
    assert wide[0] <= wide[1] == width, "the page scrolls sideways"
    small = browser.run(
        "[...document.querySelectorAll('.main-svg text')].filter(t => t.textContent.trim())"
        ".filter(t => t.getBoundingClientRect().height < 9).map(t => t.textContent)"
    )
    assert small == [], "letters shrink with the page"


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("which", ["folder", "crowded"])
def test_nothing_of_a_chart_hangs_over_its_edge(
    browser: Browser, request: pytest.FixtureRequest, width: int, which: str
) -> None:
    browser.size(width)
    browser.open(request.getfixturevalue(which) / "page.html")
    assert browser.run("document.documentElement.scrollWidth") == width, "the page scrolls sideways"
    cut = browser.run(
        "[...document.querySelectorAll('.chart')].flatMap(c => { const r = c.getBoundingClientRect();"
        " return [...c.querySelectorAll('text')].filter(t => t.textContent.trim() && !t.closest('.hoverlayer'))"
        ".filter(t => { const b = t.getBoundingClientRect(); return b.width && (b.left < r.left - 1 ||"
        " b.right > r.right + 1 || b.top < r.top - 1 || b.bottom > r.bottom + 1); })"
        ".map(t => c.id + ': ' + t.textContent); })"
    )
    assert cut == []


def test_charts_have_no_tool_bar_and_point_nowhere(browser: Browser, folder: Path) -> None:
    browser.size(1024)
    browser.open(folder / "page.html")
    assert browser.run("document.querySelectorAll('.modebar, .modebar-btn, .plotlyjsicon').length") == 0
    assert browser.run("document.querySelectorAll('.chart a').length") == 0
    assert browser.run("[...document.querySelectorAll('a[href]')].filter(a => !a.hash || a.host).length") == 0


def drag(browser: Browser, panel: int) -> None:
    """Drag over the middle fifth of a panel of the road chart."""
    box = browser.run(
        f"(() => {{ const e = {ROAD}; e.scrollIntoView({{block: 'center', behavior: 'instant'}});"
        f" const r = e.querySelectorAll('.draglayer > g')[{panel}].querySelector('.nsewdrag').getBoundingClientRect();"
        " return [r.left, r.top, r.width, r.height]; })()"
    )
    browser.drag(box[0] + 0.4 * box[2], box[0] + 0.6 * box[2], box[1] + box[3] / 2)


@pytest.mark.parametrize("width", WIDTHS)
def test_zoom_on_one_chart_moves_the_others(browser: Browser, folder: Path, width: int) -> None:
    browser.size(width)
    browser.open(folder / "page.html")
    whole, before = browser.run(WINDOW), browser.run(DRAWN)
    if width < 500:  # a finger scrolls: there the buttons zoom
        browser.run("document.querySelector('[data-zoom=in]').click()")
        browser.run("document.querySelector('[data-zoom=in]').click()")
    else:
        drag(browser, 3)
    low, high = browser.run(WINDOW)
    assert 0.1 * whole[1] < high - low < 0.35 * whole[1]
    after = browser.run(DRAWN)
    assert len(after) == len(PANELS)
    assert all(a != b for a, b in zip(after, before, strict=True)), "a panel stayed where it was"
    browser.run("document.querySelector('[data-zoom=all]').click()")
    assert browser.run(WINDOW) == whole
    assert browser.run(DRAWN) == before
    assert browser.errors() == []


@pytest.mark.parametrize("width", WIDTHS)
def test_contestant_toggled_leaves_every_chart(browser: Browser, folder: Path, width: int) -> None:
    browser.size(width)
    browser.open(folder / "page.html")
    faded = (
        "document.querySelector('#trade-hours').data"
        ".find(t => t.meta.what === 'contestant' && t.meta.k === 0).marker.opacity < 1"
    )
    assert browser.run(COUNT)[0] >= 4
    assert browser.run(faded) is False
    browser.run("[...document.querySelectorAll('input[data-k=\"0\"]')].find(e => e.checked).click()")
    assert browser.run(COUNT) == [0, 0]
    assert browser.run("[...document.querySelectorAll('input[data-k=\"0\"]')].some(e => e.checked)") is False
    assert browser.run(faded) is True
    browser.run("document.querySelector('input[data-k=\"0\"]').click()")
    assert browser.run(COUNT)[0] >= 4
    assert browser.errors() == []


def test_keys_do_what_the_mouse_does(browser: Browser, folder: Path) -> None:
    browser.size(1024)
    browser.open(folder / "page.html")
    browser.run("document.querySelector('#road-keys').focus()")
    whole = browser.run(WINDOW)
    browser.key("+")
    closer = browser.run(WINDOW)
    assert closer[1] - closer[0] < 0.6 * whole[1]
    browser.key("ArrowRight")
    assert browser.run(WINDOW) != closer
    browser.key("0")
    assert browser.run(WINDOW) == whole
    said = browser.run("document.querySelector('#reading caption').textContent")
    line = f"new Promise(done => setTimeout(() => done({ROAD}.layout.shapes[0].x0), 80))"
    at = browser.run(line)
    browser.key(".")
    assert browser.run("document.querySelector('#reading caption').textContent") != said
    assert browser.run(line) > at, "the reading line stands still"
    unreachable = browser.run(
        "[...document.querySelectorAll('input, select, button, summary, a[href], #road-keys, .scroll')]"
        ".filter(e => e.tabIndex < 0).length"
    )
    assert unreachable == 0


def test_mouse_over_a_panel_moves_the_reading(browser: Browser, folder: Path) -> None:
    browser.size(1024)
    browser.open(folder / "page.html")
    box = browser.run(
        f"(() => {{ const e = {ROAD}; e.scrollIntoView({{block: 'center', behavior: 'instant'}});"
        " const r = e.querySelector('.nsewdrag').getBoundingClientRect();"
        " return [r.left, r.top, r.width, r.height]; })()"
    )
    seconds = browser.run(WINDOW)[1]
    for share in (0.3, 0.6):
        browser.ask(
            "Input.dispatchMouseEvent", type="mouseMoved", x=box[0] + share * box[2], y=box[1] + 0.5 * box[3]
        )  # fmt: skip
        browser.run("new Promise(done => setTimeout(done, 200))")
    minutes, rest = browser.run("document.querySelector('#reading caption').textContent").split(" ")[1].split(":")
    assert 60 * int(minutes) + int(rest) == pytest.approx(0.6 * seconds, abs=0.01 * seconds + 1.0)


def test_every_outing_can_be_picked_and_read_as_a_table(browser: Browser, folder: Path) -> None:
    browser.size(1024)
    browser.open(folder / "page.html")
    browser.run("document.querySelector('#time-table').open = true")
    views = json.loads((folder / "views.json").read_text(encoding="utf-8"))["views"]
    for view in views:
        for key in ("drive", "climate", "fault"):
            browser.run(
                f"(e => {{ e.value = {json.dumps(view[key])}; e.dispatchEvent(new Event('change')); }})"
                f"(document.querySelector('#{key}'))"
            )
        about = browser.run("document.querySelector('#outing-about').textContent")
        assert about.startswith(f"{view['drive']} in {view['climate']}")
        assert (view["fault"] or "with") in about or not view["fault"]
        browser.run("new Promise(done => setTimeout(done, 30))")
        assert browser.run("document.querySelectorAll('#samples tbody tr').length") == 25
        assert browser.run("document.querySelectorAll('#outing-figures tbody tr').length") >= 3
    assert browser.errors() == []


def test_line_of_the_chart_shows_the_peak_of_the_run(browser: Browser, folder: Path) -> None:
    """What is drawn goes as high as the data: nothing is smoothed away on the way to the screen."""
    browser.size(1600)
    browser.open(folder / "page.html")
    content = json.loads((folder / "views.json").read_text(encoding="utf-8"))
    label = browser.run(f"{ROAD}.getAttribute('aria-label')")
    view = next(v for v in content["views"] if label.split(", ")[0] == f"{v['drive']} in {v['climate']}")
    total, top = 0, -1e9
    for step in view["lines"]["always-off"]["iat_c"]:
        total += step
        top = max(top, 0.1 * total)
    assert "always-off" in label
    assert f"to {top:.0f} degC" in label.split("always-off")[1].split(";")[0]
    place = next(k for k, c in enumerate(read_result(folder).lines) if c.contestant == "always-off")
    drawn = f"{ROAD}.data.find(t => t.meta.panel === 'iat' && t.meta.k === {place}).y"
    assert browser.run(f"Math.max(...Array.from({drawn}).filter(v => !Number.isNaN(v)))") == pytest.approx(
        top, abs=1e-6
    )


def test_dark_and_light_follow_the_system_and_the_switch(browser: Browser, folder: Path) -> None:
    paper = (
        "['body', '#hist .xtick text', '#road-chart .ytick text'].map(e => document.querySelector(e))"
        ".map((e, n) => getComputedStyle(e)[n ? 'fill' : 'backgroundColor'])"
    )
    browser.size(1024)
    browser.prefer("dark")
    browser.open(folder / "page.html")
    dark = browser.run(paper)
    browser.run("document.querySelector('[data-shade=light]').click()")
    light = browser.run(paper)
    browser.prefer("light")
    browser.run("document.querySelector('[data-shade=auto]').click()")
    assert browser.run(paper) == light
    assert all(a != b for a, b in zip(light, dark, strict=True)), "a chart kept its colours"
    browser.run("document.querySelector('[data-shade=dark]').click()")
    assert browser.run(paper) == dark


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1600])
def test_no_serious_accessibility_finding(browser: Browser, folder: Path, axe: str, scheme: str, width: int) -> None:
    browser.size(width)
    browser.prefer(scheme)
    browser.open(folder / "page.html")
    browser.run("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    browser.run(axe + "; 0")
    found = browser.run(
        "axe.run(document, {resultTypes: ['violations']})"
        ".then(r => r.violations.map(v => [v.impact, v.id, v.nodes.slice(0, 3).map(n => n.html)]))"
    )
    assert [v for v in found if v[0] in {"serious", "critical"}] == []
    browser.prefer("light")


@pytest.mark.parametrize("which", ["folder", "crowded"])
def test_paper_holds_everything_and_cuts_nothing(
    browser: Browser, request: pytest.FixtureRequest, tmp_path: Path, which: str
) -> None:
    folder: Path = request.getfixturevalue(which)
    browser.size(703)  # A4 less its margins
    browser.open(folder / "page.html")
    browser.ask("Emulation.setEmulatedMedia", media="print")
    browser.run("dispatchEvent(new Event('beforeprint'))")
    views = json.loads((folder / "views.json").read_text(encoding="utf-8"))["views"]
    assert browser.run("document.querySelectorAll('#paper .main-svg').length") >= len(views)
    beyond = browser.run(
        "[...document.querySelectorAll('main *')].filter(e => e.getClientRects().length && !e.closest('svg g')"
        " && !e.matches('.vh') && e.getBoundingClientRect().right > 704)"
        ".map(e => e.tagName + '.' + e.className + ' ' + e.textContent.slice(0, 40))"
    )
    closed = browser.run("document.querySelectorAll('details:not([open]):not(.whobox):not(#time-table)').length")
    browser.run("dispatchEvent(new Event('afterprint'))")
    browser.ask("Emulation.setEmulatedMedia", media="")
    assert beyond == []
    assert closed == 0
    paper = tmp_path / "page.pdf"
    paper.write_bytes(browser.paper())
    assert paper.read_bytes().startswith(b"%PDF")
    assert browser.run("document.querySelectorAll('#paper svg').length") == 0, "the page is as it was before"
    assert browser.run(f"{ROAD}.layout.width === {ROAD}.parentElement.clientWidth")
    program = shutil.which("pdftotext")
    if program is not None:
        text = subprocess.run([program, str(paper), "-"], capture_output=True, text=True, check=True).stdout
        for view in views:
            assert f"{view['drive']} in {view['climate']}" in text
        for words in ("Cautions", "Doing it again", "Standings"):
            assert words in text


def test_text_from_files_stays_text(browser: Browser, copy: Path) -> None:
    """A name or summary that looks like markup is shown, not obeyed."""
    from arena.report.page import build_page

    path = copy / "views.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    nasty = "</script><img src=x onerror=document.title='caught'>"
    content["season"]["summary"] = nasty
    content["views"][0]["drive"] = nasty
    content["views"][0]["notes"] = [nasty]
    path.write_text(json.dumps(content), encoding="utf-8")
    browser.open(build_page(copy))
    assert browser.run("document.querySelectorAll('img').length") == 0
    assert browser.run("document.title") == "two-roads: which pump control is best"
    assert browser.errors() == []
    assert nasty in browser.run("document.querySelector('.over').textContent")


def test_faults_stand_on_the_page_with_who_protects(browser: Browser, folder: Path) -> None:
    """A season with a fault: its outing can be picked, and every contestant's seconds over the limit are told."""
    browser.size(390)
    browser.open(folder / "page.html")
    content = json.loads((folder / "views.json").read_text(encoding="utf-8"))
    assert content["protection"]
    rows = browser.run(
        "[...document.querySelectorAll('#faults table')].map(t => [...t.querySelectorAll('tbody tr')]"
        ".map(r => [...r.children].map(c => c.textContent.trim())))"
    )
    ranked, by_fault = rows[0], rows[1]
    for line, told in zip(content["protection"], ranked, strict=True):
        assert told[0].endswith(line["contestant"])
        assert float(told[1].replace(",", "")) == pytest.approx(line["seconds_over"], abs=0.5)
        assert told[4] == f"{line['noticed']} of {line['of']}"
    faulty = [v for v in content["views"] if v["fault"]]
    assert [row[0] for row in by_fault] == [v["outing"] for v in faulty]
    browser.run(
        "(e => { e.value = 'probe-open'; e.dispatchEvent(new Event('change')); })(document.querySelector('#fault'))"
    )
    assert browser.run(f"{ROAD}.getAttribute('aria-label')").startswith("hill-pulls in mild with probe-open")
    browser.run("document.querySelector('#faults details').open = true")
    assert browser.run("document.documentElement.scrollWidth") == 390, "the page scrolls sideways"
    assert browser.errors() == []
