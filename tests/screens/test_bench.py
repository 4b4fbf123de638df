"""At the bench in a real browser: two taps, undo, and nothing lost or doubled without a network."""

from __future__ import annotations

import json
import time
from contextlib import ExitStack

import pytest
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

from api.records.entries import Kind
from api.records.observations import entered
from api.records.session import reading

pytestmark = [pytest.mark.screen, pytest.mark.slow]

LARGEST_BYTES = 200_000


class Hand:
    """A bench hand with a browser, and what the nursery has written down so far."""

    def __init__(self, driver, parts, address) -> None:
        self.driver, self.parts, self.address = driver, parts, address

    def open(self, code="MG-07") -> None:
        self.driver.get(f"{self.address}/bench/{code}")
        # This nursery's clock stands days away from the device's, so the page looks itself up anew.
        again = (
            "return performance.getEntriesByType('resource')"
            ".some((one) => one.name === location.href && one.responseEnd > 0)"
        )
        self.until(lambda: self.driver.execute_script(again))
        time.sleep(0.3)

    def press(self, selector: str) -> None:
        """Press what stands there now: the page may swap its parts while we look."""
        for _ in range(5):
            try:
                one = self.driver.find_element(By.CSS_SELECTOR, selector)
                self.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", one)
                one.click()
            except StaleElementReferenceException:
                continue
            return
        pytest.fail(f"{selector} never stood still")

    def write(self, field: str, text: str) -> None:
        for _ in range(5):
            try:
                self.driver.find_element(By.ID, field).send_keys(text)
            except StaleElementReferenceException:
                continue
            return
        pytest.fail(f"{field} never stood still")

    def tap(self, what: str) -> None:
        self.press(f'#fresh button[value="{what}"]')

    def network(self, *, there: bool) -> None:
        self.driver.execute_cdp_cmd("Network.enable", {})
        how = {"offline": not there, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
        self.driver.execute_cdp_cmd("Network.emulateNetworkConditions", how)

    def written(self, code="MG-07") -> list:
        with reading(self.parts.records) as db:
            found = entered(db, batch=code)
        return [one.observation for one in sorted(found, key=lambda one: one.id)]

    def words(self, code="MG-07") -> list[str]:
        return [one.seen.value for one in self.written(code)]

    def queue(self) -> list[dict]:
        kept = self.driver.execute_script("return localStorage.getItem('graftvigil.bench')")
        return json.loads(kept or "[]")

    def until(self, what, seconds=20):
        swapping = [StaleElementReferenceException]
        wait = WebDriverWait(self.driver, seconds, ignored_exceptions=swapping)
        return wait.until(lambda _: what())

    def says(self, text: str) -> bool:
        return text in self.driver.find_element(By.ID, "live").text


@pytest.fixture
def open_parts(tern_hollow):
    return tern_hollow.parts


class Server:
    """The pages' server, which can go away and come back at the same address."""

    def __init__(self, parts, serving) -> None:
        self.parts, self.serving = parts, serving
        self.port = 0
        self.up = ExitStack()

    def start(self) -> str:
        self.parts.stopping.clear()
        address = self.up.enter_context(self.serving(self.parts, port=self.port))
        self.port = int(address.rpartition(":")[2])
        return address

    def stop(self) -> None:
        self.up.close()


@pytest.fixture
def server(open_parts, serving):
    one = Server(open_parts, serving)
    yield one
    one.stop()


@pytest.fixture
def hand(driver, open_parts, server):
    _, one = driver
    address = server.start()
    one.delete_all_cookies()
    one.get_log("browser")
    here = Hand(one, open_parts, address)
    yield here
    here.network(there=True)
    one.execute_script("localStorage.clear()")
    one.get("about:blank")
    one.get_log("browser")


def test_one_tap_writes_down_what_was_seen_and_another_takes_it_back(hand):
    hand.open()
    hand.tap("droop")
    hand.until(lambda: hand.words() == ["droop"])
    undo = "#written button"
    hand.until(lambda: hand.driver.find_elements(By.CSS_SELECTOR, undo))
    hand.press(undo)
    hand.until(lambda: not hand.driver.find_elements(By.CSS_SELECTOR, undo))
    hand.until(lambda: hand.queue() == [])
    assert hand.driver.get_log("browser") == []


def test_plants_are_counted_in_two_taps_and_the_figures(hand):
    hand.open()
    hand.press("#count summary")
    hand.write("alive", "20")
    hand.write("dead", "4")
    hand.tap("counted")
    hand.until(lambda: hand.words() == ["counted"])
    (kept,) = hand.written()
    assert (kept.alive, kept.dead) == (20, 4)


def test_a_count_of_more_plants_than_there_are_is_told_and_can_be_put_away(hand):
    hand.open()
    hand.press("#count summary")
    hand.write("alive", "99")
    hand.tap("counted")
    hand.until(lambda: hand.says("99 plants are more than the 24 of MG-07"))
    assert hand.words() == []
    put_away = hand.driver.find_elements(By.CSS_SELECTOR, "#mine [data-state=refused] button")[1]
    put_away.click()
    hand.until(lambda: hand.queue() == [])


def test_a_batch_is_moved_in_two_taps(hand):
    hand.open()
    hand.press("#move summary")
    hand.tap("moved@b3")
    hand.until(lambda: hand.words() == ["moved"])
    assert hand.parts.book.now.written(Kind.BATCH, "MG-07")["bench"] == "b3"


def kept_by_the_worker(hand, path: str) -> None:
    hand.until(
        lambda: hand.driver.execute_async_script(
            """const [path, done] = arguments;
               caches.open('bench-1').then((kept) => kept.match(path))
                 .then((found) => done(found !== undefined), () => done(false));""",
            path,
        )
    )


def test_what_was_tapped_without_a_network_arrives_once_in_order_with_the_time_of_the_tap(
    hand, server, tern_hollow
):
    hand.open()
    hand.tap("watered")
    hand.until(lambda: hand.words() == ["watered"])
    kept_by_the_worker(hand, "/bench/MG-07")
    hand.network(there=False)
    hand.tap("droop")
    time.sleep(2)
    hand.tap("mould")
    hand.until(lambda: hand.says("On this device: 2 waiting."))
    hand.until(lambda: hand.says("No network. What you see is of 02:10"))
    tapped = hand.queue()[-2:]
    # The tab is closed and opened again, by its label; the server is still away.
    server.stop()
    hand.driver.get("about:blank")
    hand.driver.get(f"{hand.address}/b/MG-07")
    hand.until(lambda: hand.says("On this device: 2 waiting."))
    assert hand.words() == ["watered"]
    hand.tap("new_growth")
    time.sleep(3)
    server.start()
    hand.network(there=True)
    hand.driver.execute_script("dispatchEvent(new Event('online'))")
    hand.until(lambda: hand.words() == ["watered", "droop", "mould", "new_growth"], 40)
    hand.until(lambda: not any(one["state"] == "waiting" for one in hand.queue()))
    hand.driver.refresh()
    hand.until(lambda: hand.says("Just written down"))
    time.sleep(1)
    assert hand.words() == ["watered", "droop", "mould", "new_growth"]
    _, droop, mould, grown = hand.written()
    taps_ms = [one["tappedAt"] for one in tapped]
    told_ms = [one.at.timestamp() * 1000 for one in (droop, mould)]
    assert told_ms[1] - told_ms[0] == pytest.approx(taps_ms[1] - taps_ms[0], abs=1)
    assert 1.5 < (mould.at - droop.at).total_seconds() < 8.0
    assert mould.at < grown.at
    late_s = (tern_hollow.clock.now() - grown.at).total_seconds()
    assert 2.5 < late_s < 60.0, "of the tap, not of sending"


def test_an_answer_that_was_lost_is_asked_for_again_and_nothing_is_doubled(hand):
    hand.open()
    hand.driver.execute_script(
        """const real = window.fetch; let lose = 2;
           window.fetch = async (address, how) => {
             const answer = await real(address, how);
             const written = how && how.method === 'POST' && address.includes('observations');
             if (written && lose-- > 0)
               throw new TypeError('the answer was lost');
             return answer;
           };"""
    )
    hand.tap("droop")
    hand.until(lambda: hand.words() == ["droop"])
    hand.driver.execute_script("dispatchEvent(new Event('online'))")
    hand.until(lambda: not any(one["state"] == "waiting" for one in hand.queue()), 40)
    assert hand.words() == ["droop"]


def test_a_device_whose_clock_is_days_off_still_tells_the_time_of_the_tap(hand, tern_hollow):
    hand.open()
    hand.driver.execute_script("const real = Date.now; Date.now = () => real() + 3 * 86400e3;")
    hand.tap("mould")
    hand.until(lambda: hand.words() == ["mould"])
    off_s = (tern_hollow.clock.now() - hand.written()[0].at).total_seconds()
    assert -1.0 < off_s < 20.0


def test_what_waits_can_be_taken_back_before_it_was_ever_sent(hand):
    hand.open()
    hand.network(there=False)
    hand.driver.execute_script(
        "navigator.locks.request('graftvigil.bench', () => new Promise(() => {}))"
    )
    hand.tap("droop")
    hand.until(lambda: [one["state"] for one in hand.queue()] == ["waiting"])
    hand.driver.find_element(By.CSS_SELECTOR, "#mine li button").click()
    hand.until(lambda: hand.queue() == [])
    hand.driver.get("about:blank")
    hand.network(there=True)
    hand.open()
    time.sleep(1)
    assert hand.words() == []


def test_a_step_that_harms_is_refused_with_its_reason_also_when_it_waited(hand):
    hand.open()
    assert not hand.driver.find_elements(
        By.CSS_SELECTOR, "#fresh .deeds:not(.pad) [value=cover_off]"
    )
    hand.press("#against-1 summary")
    hand.until(lambda: "new growth" in hand.driver.find_element(By.ID, "not-yet").text)
    hand.write("why-1", "mould")
    hand.press("#against-1 button")
    hand.until(lambda: hand.says("Only a lead may do this against the care plan"))
    assert hand.words() == []


def test_page_is_light_and_its_targets_are_large(hand):
    hand.driver.get("about:blank")
    hand.driver.get_log("performance")
    hand.open()
    time.sleep(1)
    total = 0
    for entry in hand.driver.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.loadingFinished":
            total += message["params"]["encodedDataLength"]
    assert 5_000 < total < LARGEST_BYTES
    hand.driver.execute_script(
        "document.querySelectorAll('details').forEach(d => { d.open = true })"
    )
    small = hand.driver.execute_script(
        """const every = 'button, select, input:not([type=checkbox]), summary';
           return [...document.getElementById('live').querySelectorAll(every)]
             .map((one) => [one.textContent.trim().slice(0, 20), one.getBoundingClientRect()])
             .filter(([, box]) => box.height > 0 && box.height < 48)
             .map(([name, box]) => `${name} ${box.width} ${box.height}`)"""
    )
    assert small == []
    wide, room = hand.driver.execute_script(
        "return [document.documentElement.scrollWidth, window.innerWidth]"
    )
    assert wide <= room


def test_who_writes_is_remembered_on_the_device(hand):
    hand.open()
    who = hand.driver.find_element(By.ID, "by")
    who.find_element(By.CSS_SELECTOR, "option[value=odell]").click()
    hand.driver.get("about:blank")
    hand.open("AV-04")
    assert hand.driver.find_element(By.ID, "by").get_attribute("value") == "odell"
    hand.tap("watered")
    hand.until(lambda: hand.words("AV-04") == ["watered"])
    assert hand.written("AV-04")[0].by == "odell"


def test_all_of_it_works_from_the_keyboard(hand):
    hand.open()
    time.sleep(1)
    at = hand.driver.find_element(By.TAG_NAME, "body")
    for _ in range(30):
        at.send_keys(Keys.TAB)
        at = hand.driver.switch_to.active_element
        if at.get_attribute("value") == "mould":
            break
    assert at.get_attribute("value") == "mould"
    outline = "return getComputedStyle(document.activeElement).outlineStyle"
    assert hand.driver.execute_script(outline) == "solid"
    at.send_keys(Keys.ENTER)
    hand.until(lambda: hand.words() == ["mould"])


def test_what_is_due_is_ticked_off_in_place_and_taken_back(hand):
    hand.driver.get(f"{hand.address}/todo")
    done = '.tasks form[action="/bench/AV-04"] button[value="checked.droop"]'
    count = lambda: len(hand.driver.find_elements(By.CSS_SELECTOR, done))  # noqa: E731
    assert count() == 1
    hand.press(done)
    hand.until(lambda: hand.words("AV-04") == ["checked"])
    hand.until(lambda: count() == 0)
    hand.until(lambda: hand.says("AV-04: checked, droop"))
    hand.press("#written button")
    hand.until(lambda: count() == 1)
    assert hand.driver.get_log("browser") == []
