"""The judge's table: a touch until its mark is drawn, a day without network kept and sent, and what is loaded at first.

Touches are real ones in Chromium with the processor slowed down four times, on a sheet of 30 lines of a day of 40; the
alternative is a bare button in the same browser that writes a figure. The day is 40 sheets of 30 marks written
without network, kept on the device, and sent when it is back; the alternative sends mark by mark. Sizes are what
came over the line. A saved mark is measured on the server; the alternative is one plain UPDATE of the same row.
"""

from __future__ import annotations

import json
import os
import shutil
import statistics
import time
from contextlib import contextmanager
from typing import Any

from tests.benchmarks.bench_board import serving

_SLOWER = 4
_ENTRIES, _ITEMS = 40, 28

_WATCH = """() => {
  window.taps = [];
  let start = 0;
  document.addEventListener("pointerdown", (event) => { start = event.timeStamp; }, true);
  document.addEventListener("click", () => requestAnimationFrame(() => {
    const after = new MessageChannel();
    after.port1.onmessage = () => window.taps.push(performance.now() - start);
    after.port2.postMessage(0);
  }), true);
}"""
_WRITE = """async ({ module, seat, entries, items }) => {
  const { Book } = await import(module);
  const book = new Book();
  await book.open();
  const start = performance.now();
  for (const entry of entries) for (const item of items) book.write(entry, seat, `mark.${item}`, 45);
  await book.kept();
  return performance.now() - start;
}"""
_BARE = """<meta name="viewport" content="width=device-width"><p id="figure">0</p><button id="go">7</button>
<script>let n = 0; go.onclick = () => { figure.textContent = n += 1; };</script>"""


def run() -> dict[str, float | str]:
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"  # the browser's driver runs a loop of its own
    chromium = os.environ.get("MARKBOOK_TEST_CHROMIUM") or shutil.which("chromium")
    load = f"{os.getloadavg()[0]:.1f} on {os.cpu_count()} processors"
    figures: dict[str, float | str] = {"load average": load}
    seat, judge = _day()
    figures |= _saved(seat, judge)
    if chromium is None:
        return figures | {"in the browser": "not run: Chromium is not installed"}
    from django.core.management import call_command
    from playwright.sync_api import sync_playwright

    call_command("collectstatic", interactive=False, verbosity=0)
    with serving("config.wsgi:application") as address, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        with _page(browser, address, judge) as page:
            figures |= _first_load(page)
            figures |= _touches(page, browser)
            figures |= _day_without_network(page, seat)
        browser.close()
    return figures


def _day() -> tuple[Any, Any]:
    from competitions.models import Judge
    from tests.builders import make_class, make_competition, make_rule_set, make_test, make_user

    test, rules = make_test(id="bench-table", items=_ITEMS), make_rule_set(id="bench-table")
    judge = make_user("bench-judge")
    named = Judge.objects.create(name="Bench Judge", user=judge)
    competition = make_competition("bench-table")
    found = make_class(competition, seats="CEHMB", entries=_ENTRIES, judges={"C": named}, test=test, rule_set=rules)
    return found.seats.get(seat="C"), judge


def _saved(seat: Any, judge: Any, *, rounds: int = 60) -> dict[str, float | str]:
    """Save one mark after the other over the address that the table uses, on one sheet of a class of 40."""
    from django.test import Client

    from competitions.models import Sheet

    client = Client()
    client.force_login(judge)
    entry = seat.competition_class.entries.order_by("pk")[1]
    saved, plain, base = [], [], None
    for n in range(rounds):
        value = 60 + 5 * (n % 2)
        change = {"id": f"bench-{n:08}", "entry": entry.pk, "seat": seat.pk, "field": "mark.1", "value": value}
        body = json.dumps({"user": judge.pk, "changes": [change | {"base": base}]})
        start = time.perf_counter()
        response = client.post("/table/changes/", body, content_type="application/json")
        saved.append(time.perf_counter() - start)
        base = value
        assert response.json()["answers"][0]["outcome"] == "arrived"
        sheet = Sheet.objects.get(entry=entry, seat=seat)
        start = time.perf_counter()
        Sheet.objects.filter(pk=sheet.pk).update(marks=sheet.marks)
        plain.append(time.perf_counter() - start)
    return {
        "a mark saved on the server, ms, median": statistics.median(saved) * 1000,
        "  alternative: one plain UPDATE, ms": statistics.median(plain) * 1000,
        "  ratio of the two": statistics.median(saved) / statistics.median(plain),
    }


@contextmanager
def _page(browser: Any, address: str, judge: Any) -> Any:
    from django.conf import settings
    from django.test import Client

    client = Client()
    client.force_login(judge)
    context = browser.new_context(base_url=address, viewport={"width": 360, "height": 740}, has_touch=True)
    cookie = client.cookies[settings.SESSION_COOKIE_NAME]
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": cookie.value, "url": address}])
    page = context.new_page()
    page.set_default_timeout(60_000)
    yield page
    context.close()


def _first_load(page: Any) -> dict[str, float | str]:
    session, sizes, asked = page.context.new_cdp_session(page), [], []
    session.send("Network.enable")
    session.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
    page.goto("/table/")
    page.wait_for_selector("#state[data-kind='done']")
    page.get_by_text("This device works without network.").wait_for()
    first = sum(sizes)
    page.context.set_offline(True)
    page.on("response", lambda response: asked.append(not response.from_service_worker))
    page.reload()
    page.wait_for_selector(".t-ride")
    page.context.set_offline(False)
    session.detach()
    return {
        "first load of a day of 40 sheets, KB over the line": first / 1000,
        "second load, answers of the server": sum(asked),
    }


def _touches(page: Any, browser: Any, *, rounds: int = 25) -> dict[str, float | str]:
    page.goto("/table/")
    page.locator(".t-ride a").first.click()
    page.wait_for_selector(".t-sheet[data-ready]")
    drawn = _timed(page, ['.t-wholes [data-whole="7"]', '.t-halves [data-tenth="5"]'], rounds=rounds)
    plain = browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True).new_page()
    plain.set_content(_BARE)
    bare = _timed(plain, ["#go"], rounds=rounds)
    plain.context.close()
    return {
        "touch to drawn mark, ms, median": statistics.median(drawn),
        "  slowest of all": max(drawn),
        "  alternative: a bare button, ms, median": statistics.median(bare),
        "  ratio to the button": statistics.median(drawn) / statistics.median(bare),
    }


def _timed(page: Any, targets: list[str], *, rounds: int) -> list[float]:
    session = page.context.new_cdp_session(page)
    session.send("Emulation.setCPUThrottlingRate", {"rate": _SLOWER})
    page.evaluate(_WATCH)
    for n in range(rounds):
        box = page.locator(targets[n % len(targets)]).bounding_box()
        page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        page.wait_for_function("known => window.taps.length > known", arg=n)
    session.send("Emulation.setCPUThrottlingRate", {"rate": 1})
    found: list[float] = page.evaluate("window.taps")
    return found[2:]  # the first ones are of a page that has never been touched


def _day_without_network(page: Any, seat: Any) -> dict[str, float | str]:
    from competitions.models import Sheet

    done = page.locator("#state[data-waiting='0'][data-unkept='0']")
    done.wait_for()
    page.goto("/table/")
    done.wait_for()
    loaded: list[str] = page.evaluate("performance.getEntriesByType('resource').map((found) => found.name)")
    module = next(name for name in loaded if "/table/book" in name)
    entries = list(seat.competition_class.entries.order_by("pk").values_list("pk", flat=True))
    items = [item["id"] for item in seat.competition_class.test.document["items"]]
    page.context.set_offline(True)
    kept = page.evaluate(_WRITE, {"module": module, "seat": seat.pk, "entries": entries, "items": items})
    page.wait_for_selector(f"#state[data-waiting='{len(entries) * len(items)}']")
    start = time.perf_counter()
    page.context.set_offline(False)
    done.wait_for()
    sent = time.perf_counter() - start
    arrived = [tenths for sheet in Sheet.objects.filter(seat=seat) for tenths in sheet.marks.values()]
    assert arrived == [45] * len(entries) * len(items)
    alone = _one_by_one(page, seat, entries[0], items)
    return {
        f"{len(entries)} sheets x {len(items)} marks kept, s": kept / 1000,
        "  sent when the network is back, s": sent,
        "  alternative: a request for each mark, s": alone * len(entries),
        "  ratio to that": (kept / 1000 + sent) / (alone * len(entries)),
    }


def _one_by_one(page: Any, seat: Any, entry: int, items: list[str]) -> float:
    """Return the seconds that the marks of one sheet take where each is a request of its own."""
    started: float = page.evaluate(
        """async ({ user, seat, entry, items }) => {
          const token = /csrftoken=([^;]+)/.exec(document.cookie)[1];
          const start = performance.now();
          for (const item of items) {
            const change = { id: `alone-${entry}-${item}`, entry, seat, field: `mark.${item}`, value: 70, base: 45 };
            const headers = { "Content-Type": "application/json", "X-CSRFToken": token };
            const body = JSON.stringify({ user, changes: [change] });
            const answer = await fetch("/table/changes/", { method: "POST", body, headers });
            if (!answer.ok) throw new Error(answer.status);
          }
          return performance.now() - start;
        }""",
        {"user": seat.judge.user_id, "seat": seat.pk, "entry": entry, "items": items},
    )
    return started / 1000
