from __future__ import annotations

from playwright.sync_api import Browser

from dashboards import figures, pages

OWN_RULES = """
[...[...document.styleSheets].find(each => each.ownerNode.id === 'plotly.js-style-global').cssRules]
    .map(rule => rule.cssText).join('\\n')
"""


def test_the_style_sheet_served_is_the_one_that_the_chart_library_would_write(browser: Browser) -> None:
    page = browser.new_page()
    page.set_content("<div id='here'></div>")
    page.add_script_tag(path=str(figures.chart_library()))
    page.evaluate("Plotly.newPlot('here', [{y: [1, 2]}]).then(() => null)")
    rules = page.evaluate(OWN_RULES)
    page.close()
    served = (pages.STATIC_FOLDER / "plotly.css").read_text(encoding="utf-8")
    assert served.split("\n", 1)[1].strip() == rules.strip()
