"""Make the icons of the installed page from our mark: `python scripts/make_icons.py`. Run anew when mark.svg changes."""

from pathlib import Path
from shutil import which

from playwright.sync_api import sync_playwright

STATIC = Path(__file__).parents[1] / "src/fettlebook/web/static"
PAPER = "#f5f4ef"
# name: pixels, share of the icon's width that the mark takes (a maskable icon is cut to a circle of 80 %), paper behind it
ICONS = {"mark-192": (192, 0.86, False), "mark-512": (512, 0.86, False), "mark-maskable-512": (512, 0.56, True)}


def main() -> None:
    mark = (STATIC / "mark.svg").read_text("utf-8")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=which("chromium") or "/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"])
        for name, (pixels, share, full) in ICONS.items():
            page = browser.new_page(viewport={"width": pixels, "height": pixels})
            side = round(pixels * share)
            sized = mark.replace("<svg ", f'<svg width="{side}" height="{side}" ', 1)
            ground = PAPER if full else "transparent"
            page.set_content(f'<body style="margin:0;height:100vh;display:grid;place-items:center;background:{ground}">{sized}')
            page.screenshot(path=STATIC / f"icons/{name}.png", omit_background=True)
        browser.close()


if __name__ == "__main__":
    main()
