"""Draw the home-screen icons from icon.svg: run it after changing that file.

.venv/bin/python tests/support/draw_icons.py
"""

from pathlib import Path

from playwright.sync_api import sync_playwright

ICONS = Path(__file__).parents[2] / "station" / "web" / "static" / "icons"
SIZES = (180, 192, 512)


def main() -> None:
    drawing = (ICONS / "icon.svg").read_text()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        for size in SIZES:
            page = browser.new_page(viewport={"width": size, "height": size})
            page.set_content(f"<style>body{{margin:0}}svg{{display:block}}</style>{drawing}")
            page.screenshot(path=ICONS / f"icon-{size}.png")
        browser.close()


if __name__ == "__main__":
    main()
