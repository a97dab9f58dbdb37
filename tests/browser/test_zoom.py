"""At 200 % nothing is cut off, covered or pushed out of the window (WCAG 2.2, 1.4.4 and 1.4.10).

A browser at 200 % shows a window of 1440 x 900 px as one of 720 x 450 CSS px; larger text alone is
a root font size of 32 px instead of 16.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.browser.hands import fits, quiet
from tests.browser.test_all_screens import SCREENS

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

# Elements that are pressed or read, and whatever covers them.
FAULTS = """() => {
  const told = one => `${one.tagName.toLowerCase()} "${(one.innerText || one.ariaLabel || '')
    .trim().slice(0, 50)}"`;
  const shown = one => {
    const box = one.getBoundingClientRect();
    return box.width > 2 && box.height > 2 && one.checkVisibility({visibilityProperty: true,
      opacityProperty: true});
  };
  const main = document.querySelector('[data-testid=stMain]'), found = [];
  const all = roots => roots.flatMap(root => [...root.querySelectorAll('*')].flatMap(
    one => one.shadowRoot ? [one, ...all([one.shadowRoot])] : [one]));
  const seen = all([main]).filter(shown);
  // a table that scrolls sideways in its own frame: its cells are reached by scrolling there
  const framed = one => one.closest(
    '[style*="overflow-x"],.st-key-strip,[data-testid=stDataFrame]');
  // the headings of a table shown as cards are there only for screen readers
  const aloud = one => getComputedStyle(one.closest('thead') ?? one).clipPath !== 'none';
  for (const one of seen) {
    const box = one.getBoundingClientRect(), style = getComputedStyle(one);
    const words = [...one.childNodes].some(n => n.nodeType === 3 && n.data.trim());
    if (words && !framed(one) && !aloud(one) && (box.left < -1 || box.right > innerWidth + 1))
      found.push(`outside the window: ${told(one)}`);
    if (words && one.scrollWidth > one.clientWidth + 2 && one.clientWidth > 0
        && ['hidden', 'clip'].includes(style.overflowX) && style.textOverflow !== 'ellipsis')
      found.push(`cut off: ${told(one)}`);
  }
  const hands = seen.filter(one => one.matches('button,a[href],input:not([type=file]),textarea')
    && !one.closest('nav,[aria-hidden=true]') && getComputedStyle(one).position !== 'fixed');
  for (let i = 0; i < hands.length; i++) for (let j = i + 1; j < hands.length; j++) {
    const [a, b] = [hands[i], hands[j]];
    if (a.contains(b) || b.contains(a) || framed(a) || framed(b)) continue;
    const [p, q] = [a.getBoundingClientRect(), b.getBoundingClientRect()];
    if (Math.min(p.right, q.right) - Math.max(p.left, q.left) > 3
        && Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 3
        && !a.closest('.st-key-decisions') && !b.closest('.st-key-decisions'))
      found.push(`overlapping: ${told(a)}, ${told(b)}`);
  }
  const title = document.querySelector('h1').getBoundingClientRect();
  const head = document.querySelector('[data-testid=stHeader]');
  const under = head && document.elementFromPoint(title.left + 5, title.top + title.height / 2);
  if (under && head.contains(under)) found.push('the header covers the title');
  const bar = document.querySelector('.st-key-decisions');
  if (bar && getComputedStyle(bar.closest('[data-testid=stLayoutWrapper]')).position === 'sticky'
      && bar.getBoundingClientRect().height > innerHeight / 3)
    found.push('the decision bar covers more than a third of the window');
  return found;
}"""


def faults(page: Page) -> list[str]:
    found: list[str] = page.evaluate(FAULTS)
    return found


def faults_by_screen(page: Page, pages: str) -> dict[str, list[str]]:
    """Return the faults of each screen that has any."""
    from playwright.sync_api import expect

    by_screen = {}
    for screen, title in SCREENS.items():
        page.goto(f"{pages}/{screen}")
        expect(page.get_by_role("heading", name=title, exact=True)).to_be_visible()
        quiet(page)
        page.wait_for_timeout(1500)
        found = faults(page) + ([] if fits(page) else ["scrolls sideways"])
        if found:
            by_screen[title] = found
    return by_screen


def test_at_200_per_cent_no_screen_loses_anything(browser: Browser, sample_pages: str) -> None:
    page = browser.new_page(viewport={"width": 720, "height": 450})
    by_screen = faults_by_screen(page, sample_pages)
    page.close()
    assert by_screen == {}


def test_with_text_twice_as_large_no_screen_loses_anything(
    browser: Browser, sample_pages: str
) -> None:
    page = browser.new_page(viewport={"width": 1440, "height": 900})
    page.add_init_script(
        "addEventListener('DOMContentLoaded', () => {"
        "document.documentElement.style.fontSize = '32px'})"
    )
    by_screen = faults_by_screen(page, sample_pages)
    page.close()
    assert by_screen == {}


@pytest.mark.parametrize("page", [(720, 450)], indirect=True, ids=["zoomed"])
def test_the_check_sees_what_is_cut_off_and_what_lies_over_another(
    page: Page, sample_pages: str
) -> None:
    page.goto(sample_pages)
    page.get_by_role("heading", name="Ropes").wait_for()
    quiet(page)
    page.evaluate(
        """() => {
          const title = document.querySelector('h1 *') ?? document.querySelector('h1');
          Object.assign(title.style, {width: '20px', overflow: 'hidden', display: 'block',
            whiteSpace: 'nowrap'});
          const button = document.querySelector('[data-testid=stMain] button');
          const twin = button.cloneNode(true);
          Object.assign(twin.style, {position: 'absolute', left: 0, top: 0});
          button.parentElement.style.position = 'relative';
          button.after(twin);
        }"""
    )
    found = " ".join(faults(page))
    assert "cut off" in found
    assert "overlapping" in found
