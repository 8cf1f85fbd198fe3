"""What looks with axe for the other tests sees faults in each look."""

from __future__ import annotations

import pytest

from tests.browser import axe

pytestmark = pytest.mark.browser

PAGE = """<!doctype html><html lang="en"><head><title>Look</title><style>
p { color: #000; background: #fff; }
@media (prefers-color-scheme: dark) { p { color: #777; background: #555; } }
@media (min-width: 1000px) { .narrow { display: none; } }
</style></head><body><main><h1>Look</h1><p>These words are grey on grey in dark.</p>
<img class="narrow" src="data:,"></main></body></html>"""


def test_a_fault_of_one_look_is_found_in_that_look(chromium):
    """Grey on grey in dark only, at both widths (WCAG 2.2, 1.4.3); a picture without words on the phone only."""
    page, found = chromium.new_page(), []
    page.set_content(PAGE)
    axe.look(page, "look", found)
    page.close()

    assert sorted((scheme, width, rule) for _, scheme, width, rule, _ in found) == [
        ("dark", axe.PHONE, "color-contrast"),
        ("dark", axe.DESK, "color-contrast"),
        ("light", axe.PHONE, "image-alt"),
    ]


def test_a_page_on_which_nothing_can_be_looked_at_is_no_pass(chromium):
    """Without a word no rule about colours has anything to pass."""
    page = chromium.new_page()
    page.set_content('<!doctype html><html lang="en"><title>Empty</title>')
    with pytest.raises(AssertionError, match="has not looked"):
        axe.look(page, "empty", [])
    page.close()
