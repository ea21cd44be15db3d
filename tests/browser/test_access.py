"""First start, signing in, and a browser that becomes a panel until its pairing is taken back."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import pytest_asyncio
from playwright.async_api import Page, expect

from tests.api.harness import Served, write_venue
from tests.browser.conftest import Opener
from tests.browser.harness import QUAY
from tests.browser.pages import AXE, AXE_RUN, SMALL_TARGETS, TARGET_PX
from tests.test_service_access import code_of

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

PASSWORD = "four words in a row"


@pytest_asyncio.fixture(loop_scope="session")
async def guarded(tmp_path: Path) -> AsyncIterator[Served]:
    """Quay House, where one has to sign in; nobody has yet."""
    folder = write_venue(tmp_path / "guarded", QUAY)
    served = await asyncio.to_thread(Served, folder, None, sign_in=True)
    yield served
    await asyncio.to_thread(served.stop)


async def make_engineer(page: Page, served: Served) -> None:
    """What whoever started the service does first, with the code from the terminal."""
    form = page.locator("#first")
    await form.get_by_label("Code").fill(await asyncio.to_thread(code_of, served))
    await form.get_by_label("Your name").fill("alex")
    await form.get_by_label("A password").fill(PASSWORD)
    await form.get_by_role("button").click()


async def looked_at(page: Page) -> list[str]:
    """What a checker of accessibility finds on a page as it is now, and what is too small for a finger."""
    await page.evaluate(AXE.read_text())
    found: list[str] = await page.evaluate(AXE_RUN) + await page.evaluate(SMALL_TARGETS, TARGET_PX)
    return found


async def test_from_the_first_start_to_a_panel_that_is_taken_back(guarded: Served, show: Opener) -> None:
    """The engineer comes in by the terminal's code, pairs a second browser, which works, and then no longer."""
    desk = await show("/technician", base=guarded.url, live=False)
    await expect(desk.page.locator("h1")).to_have_text("The first engineer")
    await make_engineer(desk.page, guarded)
    await desk.live()
    await desk.page.locator("#panel-controller").select_option("tern-wall")
    await desk.page.get_by_role("button", name="Make a pairing code").click()
    code = await desk.page.locator("#pairing-secret").inner_text()
    picture = desk.page.locator("#pairing-once img")
    assert await picture.evaluate("image => image.decode().then(() => image.naturalWidth)")
    assert await looked_at(desk.page) == []

    wall = await show(f"/pair#{code}", base=guarded.url, live=False)
    await expect(wall.page.get_by_label("Code")).to_have_value(code)
    assert wall.page.url == guarded.url + "/pair"
    await wall.page.get_by_role("button", name="Pair this browser").click()
    await wall.live()
    assert wall.page.url == guarded.url + "/panel/tern-wall"
    await wall.control("mute", "toggle").click()
    await expect(wall.control("mute", "toggle")).to_have_attribute("aria-pressed", "false")
    await desk.page.reload()
    await desk.live()
    await expect(desk.page.locator("#journal-table")).to_contain_text("was paired with Tern wall")
    await desk.page.get_by_role("button", name="Take back: tern-wall").click()
    await expect(wall.connection).to_have_text("Live")
    await desk.page.get_by_role("button", name="Really take back? tern-wall").click()
    await expect(wall.connection).to_have_attribute("data-stale", "")
    await expect(wall.connection).to_contain_text("taken back by alex")
    await expect(wall.connection).not_to_contain_text("Trying again")
    await wall.page.get_by_role("link", name="Sign in or pair again").click()
    await expect(wall.page.locator("h1")).to_have_text("Sign in")
    await wall.page.get_by_role("link", name="pair this browser").click()
    await expect(wall.page.locator("h1")).to_have_text("Make this browser a panel")


async def test_a_person_signs_out_and_in_again(guarded: Served, show: Opener) -> None:
    """The page that one wanted comes after the sign-in; what is wrong is told without saying which part."""
    desk = await show("/sign-in", base=guarded.url, live=False)
    assert await looked_at(desk.page) == []
    await make_engineer(desk.page, guarded)
    await expect(desk.page.locator("h1")).to_have_text("Quay House")
    await desk.page.goto(guarded.url + "/sign-in")
    await expect(desk.page.locator("#about")).to_have_text("You are alex, with the role engineer.")
    await desk.page.get_by_role("button", name="Sign out").click()
    await expect(desk.page.locator("h1")).to_have_text("Sign in")
    assert await looked_at(desk.page) == []
    await desk.page.goto(guarded.url + "/plan")
    enter = desk.page.locator("#enter")
    await enter.get_by_label("Name").fill("alex")
    await enter.get_by_label("Password").fill(PASSWORD)
    await enter.get_by_role("button").click()
    await desk.live()
    assert desk.page.url == guarded.url + "/plan"


async def test_who_signs_out_leaves_no_technician_s_page_behind(guarded: Served, show: Opener) -> None:
    """In another tab of the same browser names and the journal would be left for whoever comes by."""
    desk = await show("/sign-in", base=guarded.url, live=False)
    await make_engineer(desk.page, guarded)
    await expect(desk.page.locator("h1")).to_have_text("Quay House")
    await desk.page.goto(guarded.url + "/technician")
    await expect(desk.page.locator("#people-table")).to_contain_text("alex")
    other = await desk.page.context.new_page()
    await other.goto(guarded.url + "/sign-in")
    await other.get_by_role("button", name="Sign out").click()
    await expect(desk.page.locator("h1#title")).to_have_text("Sign in")
    assert desk.page.url == guarded.url + "/sign-in?next=/technician"
    await expect(desk.page.locator("#people-table")).to_have_count(0)


async def test_a_picture_that_is_read_while_the_page_stands_open_fills_the_code(guarded: Served, show: Opener) -> None:
    """Only the mark of the address changes then; what was tried before is replaced."""
    wall = await show("/pair", base=guarded.url, live=False)
    await wall.page.get_by_label("Code").fill("WRONG-CODE")
    await wall.page.goto(guarded.url + "/pair#ABCD-EFGH")
    await expect(wall.page.get_by_label("Code")).to_have_value("ABCD-EFGH")
    assert wall.page.url == guarded.url + "/pair"


async def test_what_became_of_somebody_is_said_where_it_was_done(guarded: Served, show: Opener) -> None:
    """A name that is new, then another role alone, then nothing; who has a name already finds the way in, too."""
    desk = await show("/sign-in", base=guarded.url, live=False)
    await expect(desk.page.get_by_role("heading", name="Or, with a name already")).to_be_visible()
    await make_engineer(desk.page, guarded)
    await expect(desk.page.locator("h1")).to_have_text("Quay House")
    await desk.page.goto(guarded.url + "/sign-in")
    await expect(desk.page.locator("h1")).to_have_text("Signed in")
    await expect(desk.page.get_by_role("heading", name="Or, with a name already")).to_be_hidden()
    await desk.page.goto(guarded.url + "/technician")
    form, note = desk.page.locator("#person-form"), desk.page.locator("#access-note")
    for role, password, said in (
        ("operate", PASSWORD, "bea has the role operate and this password now."),
        ("view", "", "bea has the role view now."),
        ("", "", "Nothing of bea was changed."),
    ):
        await form.get_by_label("Name").fill("bea")
        await form.get_by_label("Role").select_option(role)
        await form.get_by_label("Password").fill(password)
        await form.get_by_role("button").click()
        await expect(note).to_have_text(said)
