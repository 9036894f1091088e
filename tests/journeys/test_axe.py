"""Every page at three sizes under axe-core, and the proof that axe finds what is wrong."""

from pathlib import Path

import pytest
from real_page import DAY, SIZES

AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text()
RULES = "['wcag2a','wcag2aa','wcag21a','wcag21aa','wcag22aa','best-practice']"
PAGES = {
    "chairs": f"/day/{DAY}",
    "people": f"/day/{DAY}?by=person",
    "machines": f"/day/{DAY}?by=machine",
    "details": f"/day/{DAY}#c1-2",
    "table": f"/day/{DAY}",
    "times": "/times/chair%202",
    "chair": "/chair/chair%204",
    "rules": "/rules",
    "measuring flow": "/measure/chair%202/flow",
    "measuring strips": "/measure/chair%201/strips",
    "mixing": "/measure/chair%201/mix",
    "held in the tablet": "/held",
    "no network": "/offline",
    "to be settled": "/settle",
    "nothing booked": "/day/2026-11-22",
}
pytestmark = pytest.mark.invented


# Only what is wrong is described, in the page itself: to describe every passed element of a day took five times as long.
RUN = f"""() => axe.run(document, {{ runOnly: {RULES}, resultTypes: ["violations"] }}).then((found) => ({{
  passed: found.passes.length,
  wrong: found.violations.flatMap((rule) => rule.nodes.map((node) =>
    `${{rule.id}} (${{rule.impact}}): ${{node.html.slice(0, 120)}} ${{node.failureSummary.slice(0, 200)}}`)),
}}))"""


# The line at the foot lies over whatever is scrolled under it just then, and axe would blame that for being hidden. So it stands in
# its own place while axe looks, and that nothing has to stay under it is a test of its own below.
FOOT = "(how) => { const foot = document.querySelector('.sending'); if (foot) foot.style.position = how; }"
UNDER_THE_FOOT = """() => {
  const foot = document.querySelector(".sending");
  return [...document.querySelectorAll("a, button, summary, input:not([type=hidden]), select")]
    .filter((target) => target.checkVisibility({ visibilityProperty: true }) && !foot.contains(target))
    .filter((target) => {
      target.scrollIntoView({ block: "nearest", behavior: "instant" });
      const [box, top] = [target.getBoundingClientRect(), foot.getBoundingClientRect().top];
      return box.height > 0 && box.height < innerHeight / 2 && box.bottom > top + 0.5;
    }).map((target) => target.outerHTML.slice(0, 90));
}"""


def violations(page) -> list[str]:
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE + ";0")  # never by a script tag: the page's own policy refuses it, and shall
    page.evaluate(FOOT, "static")
    found = page.evaluate(RUN)
    page.evaluate(FOOT, "")
    assert found["passed"]
    return found["wrong"]


@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_nothing_on(page, served, name):
    page.goto(served.address + PAGES[name])
    if PAGES[name].startswith("/day/"):
        page.locator(".verdict").wait_for(timeout=60_000)
    if name in ("times", "rules", "table"):
        page.evaluate("document.querySelectorAll('details').forEach(fold => fold.open = true)")
    for size, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        assert violations(page) == [], size


@pytest.mark.parametrize("name", ["rules", "measuring strips", "mixing", "to be settled"])
def test_whatever_can_be_touched_can_be_scrolled_clear_of_the_line_at_the_foot(page, served, name):
    page.goto(served.address + PAGES[name])
    page.locator(".sending").wait_for()
    for size, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate(UNDER_THE_FOOT) == [], size
    page.evaluate("document.documentElement.style.scrollPaddingBottom = 0")
    page.evaluate("document.querySelector('body > footer').style.paddingBottom = 0")
    page.set_viewport_size({"width": 800, "height": 400})
    assert page.evaluate(UNDER_THE_FOOT), "without the free space something stays under it"


def test_axe_finds_nothing_on_the_page_of_a_mendable_error(page, serve):
    served = serve("--date", DAY)
    practice = served.folder / "practice.toml"
    practice.write_text(practice.read_text().replace("[reprocessing]", "[reprocessing]\nlode_minutes = 3"))
    page.goto(f"{served.address}/rules")
    for _ in range(60):
        page.reload()
        if page.locator(".trouble").count():
            break
        page.wait_for_timeout(250)
    assert page.locator(".trouble .finding").count() == 1
    assert violations(page) == []


def test_axe_finds_nothing_on_a_day_that_can_not_be_planned(page, serve, waited):
    served = serve("--date", DAY)
    (served.folder / "book.ics").write_bytes(b"Zzmarker")
    statuses: list[int] = []

    def refused() -> bool:
        answer = page.goto(f"{served.address}/day/2026-11-27")
        statuses.append(answer.status)
        return answer.status == 422

    waited(refused)
    assert page.locator(".finding .mend").count() >= 1
    assert "Zzmarker" not in page.locator("main").inner_text()
    assert violations(page) == []


def test_axe_can_fail(page):
    page.set_content('<html lang="en"><title>t</title><main><h1>bad</h1><img src="x.png"><input><a href="#"></a></main></html>')
    found = violations(page)
    assert {line.split()[0] for line in found} >= {"image-alt", "label", "link-name"}
    page.evaluate("document.querySelector('img').alt = 'a picture'")
    assert "image-alt" not in {line.split()[0] for line in violations(page)}
