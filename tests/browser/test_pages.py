"""All pages, in both themes and three sizes. Pictures of them are left in ``shots/``."""

from __future__ import annotations

import pytest
import pytest_asyncio
from playwright.async_api import Browser

from tests.browser.pages import NAMES, Visit, visit_all

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

Visits = dict[str, Visit]


@pytest_asyncio.fixture(scope="module", loop_scope="session")
async def visits(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Visits:
    return await visit_all(browser, tmp_path_factory.mktemp("pages"))


@pytest.mark.parametrize("name", NAMES)
async def test_axe_finds_nothing(visits: Visits, name: str) -> None:
    """The axe-core rules for WCAG 2.2 A and AA, and its best practice, find no violation."""
    assert visits[name].axe == []


@pytest.mark.parametrize("name", [name for name in NAMES if name != "docs"])
async def test_everything_that_acts_is_44_pixels_and_more(visits: Visits, name: str) -> None:
    """WCAG 2.2, 2.5.5: 44 by 44 CSS pixels at least, on every page that is used with fingers."""
    assert visits[name].small == []


@pytest.mark.parametrize("name", NAMES)
async def test_nothing_must_be_scrolled_sideways(visits: Visits, name: str) -> None:
    """WCAG 2.2, 1.4.10: all is seen by scrolling one way, but for tables of data."""
    assert visits[name].sideways == []


@pytest.mark.parametrize("name", NAMES)
async def test_no_errors_in_the_console_and_nothing_from_elsewhere(visits: Visits, name: str) -> None:
    """No error, no violation of the content security policy, no request to another host."""
    assert visits[name].faults == []
    assert visits[name].elsewhere == []
