"""A browser makes the same of the lean page as of the whole one."""

import pytest

from panelcp.report.cooling_section import cooling_section
from panelcp.report.page_lean import lean_html
from panelcp.report.page_tables import finished_tables
from panelcp.report.units_switch import switchable
from tests.report.test_cooling_tables import HOSTILE, tug

LISTS = (
    "<ul><li>one</li><li>two<ol><li>a <b>b</b></li></ol></li></ul><p>x=&quot;y&quot; > z</p>"
    '<table class="wide"><thead><tr><th>Air, kg/s</th></tr></thead><tbody><tr><td>1.0</td></tr>'
    '<tr><td class="" title="a b">at <i>0.50</i></td></tr></tbody></table>'
    '<style>p { margin:"1.0" }</style><textarea>a="b" </li></textarea>'
    '<svg viewBox="0 0 9 9"><path d="M1.0 2.05V3.0H10.0"/>'
    '<rect x="1.0" rx="2.50" y="2"></rect></svg>'
)
ALIKE = """const [whole, lean] = ["whole", "lean"].map(
  id => new DOMParser().parseFromString(document.getElementById(id).value, "text/html").body);
for (const one of whole.querySelectorAll("td > data, th > data")) {
  if (one.parentNode.childNodes.length > 1) continue;
  one.parentNode.dataset.q = one.value || one.getAttribute("value");
  one.replaceWith(one.textContent);
}
for (const one of whole.querySelectorAll(".q")) {
  one.setAttribute("data-q", one.getAttribute("data-cockpit"));
  one.removeAttribute("data-cockpit");
  one.removeAttribute("class");
}
for (const one of whole.querySelectorAll("svg *, svg"))
  for (const name of ["d", "x", "y", "x1", "x2", "y1", "y2", "rx", "width", "height", "points"])
    if (one.hasAttribute(name))
      one.setAttribute(name, one.getAttribute(name).replace(/(\\d)\\.0+(?!\\d)/g, "$1"));
return [whole.isEqualNode(lean), whole.querySelectorAll("*").length];"""


@pytest.mark.parametrize("names", [None, HOSTILE], ids=["plain", "hostile"])
def test_a_browser_makes_the_same_of_it(names, browser, tmp_path):
    section = cooling_section(tug(names) if names else tug())
    html, _ = finished_tables(switchable(section + LISTS))
    lean = lean_html(html)
    assert len(lean) < 0.9 * len(html)
    path, escaped = tmp_path / "page.html", {}
    for word, text in (("whole", html), ("lean", lean)):
        escaped[word] = text.replace("&", "&amp;").replace("<", "&lt;")
    boxes = "".join(f'<textarea id="{w}">{t}</textarea>' for w, t in escaped.items())
    path.write_text(f"<!doctype html><meta charset='utf-8'>{boxes}", encoding="utf-8")
    page = browser.open(path)
    alike, elements = page.run(ALIKE)
    page.close()
    assert alike
    assert elements > 1000


def test_texts_styles_and_what_is_typed_stay_letter_by_letter():
    lean = lean_html(LISTS)
    assert '<style>p { margin:"1.0" }</style><textarea>a="b" </li></textarea>' in lean
    assert "<td>1.0<tr>" in lean
    assert '<path d="M1 2.05V3H10"/><rect x=1 rx=2.50 y="2">' in lean.replace("y=2>", 'y="2">')
