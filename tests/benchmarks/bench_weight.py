"""The first drill page on a poor line: its parts, when a tap is answered, and how soon the next item is there.

`quizsvc serve` on loopback, and in front of it a TCP proxy that holds every connection together to 400 kbit/s and adds
400 ms to each round trip: a browser's own throttling does not reach the worker's requests. The floor is one bare file
of as many bytes, fetched by the same browser through the same proxy in the same run.
"""

from __future__ import annotations

import asyncio
import gzip
import os
import shutil
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections import defaultdict
from pathlib import Path
from typing import Any

from tests.benchmarks import Row

RATE_BYTES_S = 400_000 / 8
ONE_WAY_S = 0.2
ARGUMENTS = (
    "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync --disable-dev-shm-usage"
).split()
# What the page itself asks for; the worker's own script does not show in the page's traffic and is added by hand.
SCRIPTS = ("main", "drill", "form", "kept", "send", "installed", "store", "outbox", "fill")
# Until the next screen is painted after Next is pressed, ms, measured inside the page.
NEXT = """() => new Promise((done) => {
  const begun = performance.now();
  const look = () => {
    const now = document.querySelector("[data-answer], [data-tally], .tally, h1");
    if (document.querySelector("#outcome") || !now) setTimeout(look, 1);
    else requestAnimationFrame(() => done(performance.now() - begun));
  };
  [...document.querySelectorAll("[data-next]:not(p), .next a.button")].find((one) => one.checkVisibility()).click();
  look();
})"""


class Proxy:
    """Forwards to a port of this machine, slowly; counts what comes down."""

    def __init__(self, target: int) -> None:
        self.target, self.down, self.port = target, 0, free_port()
        self._free_at = {True: 0.0, False: 0.0}  # when the line can take the next piece, by direction
        self._loop = asyncio.new_event_loop()
        self._tasks: set[asyncio.Task[None]] = set()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._ready = threading.Event()

    def __enter__(self) -> Proxy:
        self._thread.start()
        self._ready.wait(5)
        return self

    def __exit__(self, *_: object) -> None:
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(5)

    def _serve(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_until_complete(asyncio.start_server(self._begin, "127.0.0.1", self.port))
        self._ready.set()
        self._loop.run_forever()
        left = asyncio.all_tasks(self._loop)
        for task in left:
            task.cancel()
        self._loop.run_until_complete(asyncio.gather(*left, return_exceptions=True))

    def _begin(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        # A task of our own: asyncio's takes it for a fault when one is cancelled at the end.
        task = self._loop.create_task(self._connect(reader, writer))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _connect(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await asyncio.sleep(2 * ONE_WAY_S)  # a connection costs a round trip before its first byte
        try:
            up_reader, up_writer = await asyncio.open_connection("127.0.0.1", self.target)
        except OSError:
            writer.close()
            return
        await asyncio.gather(self._pipe(reader, up_writer, False), self._pipe(up_reader, writer, True))

    async def _pipe(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, down: bool) -> None:
        queue: asyncio.Queue[tuple[float, bytes]] = asyncio.Queue()

        async def deliver() -> None:
            while True:
                at, data = await queue.get()
                await asyncio.sleep(max(0.0, at - time.monotonic()))
                if not data:
                    break
                writer.write(data)
                await writer.drain()
            writer.close()

        task = asyncio.ensure_future(deliver())
        try:
            while data := await reader.read(1460):
                now = time.monotonic()
                self._free_at[down] = max(now, self._free_at[down]) + len(data) / RATE_BYTES_S
                if down:
                    self.down += len(data)
                queue.put_nowait((self._free_at[down] + ONE_WAY_S, data))
        except OSError:
            pass
        queue.put_nowait((time.monotonic() + ONE_WAY_S, b""))
        try:
            await task
        except OSError:
            pass


def free_port() -> int:
    """A port that nothing listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def run() -> list[Row]:
    """All figures; about half a minute."""
    program = Path(sys.executable).with_name("quizsvc")
    with tempfile.TemporaryDirectory() as folder:
        port = free_port()
        with Proxy(port) as proxy:
            environment = {
                **os.environ,
                "HOME": folder,
                "QUIZSVC_DATABASE_URL": f"sqlite:///{folder}/quizsvc.db",
                "QUIZSVC_DATA_DIR": folder,
                "QUIZSVC_PUBLIC_URL": f"http://127.0.0.1:{proxy.port}",
            }
            for command in (["db", "upgrade"], ["bank", "load", "--json"]):
                subprocess.run([program, *command], env=environment, check=True, stdout=subprocess.DEVNULL)
            server = subprocess.Popen(
                [program, "serve", "--bind", f"127.0.0.1:{port}"],
                env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
            )  # fmt: skip
            try:
                _until_up(port)
                return _measure(proxy, _worker(port))
            finally:
                os.killpg(server.pid, signal.SIGTERM)
                server.wait(20)


def _until_up(port: int) -> None:
    for _ in range(200):
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/about", timeout=2):
                return
        except OSError:
            time.sleep(0.1)
    raise RuntimeError("the server does not answer")


def _worker(port: int) -> bytes:
    """The worker's script as it is served."""
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/sw.js", timeout=10) as reply:
        script: bytes = reply.read()
    return script


def _measure(proxy: Proxy, worker: bytes) -> list[Row]:
    from playwright.sync_api import sync_playwright

    base = f"http://127.0.0.1:{proxy.port}"
    rows: list[Row] = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), headless=True, args=ARGUMENTS)
        context = browser.new_context(viewport={"width": 360, "height": 800}, base_url=base)
        context.set_default_timeout(40_000)
        page = context.new_page()
        sizes: dict[str, float] = defaultdict(float)
        started = _count(context, page, sizes)
        before = proxy.down
        begun = time.monotonic()
        page.goto("/", wait_until="commit")
        start_s = _interactive(page, "button.start", begun)
        begun = time.monotonic()
        page.locator("button.start").click()
        item_s = _interactive(page, "[data-answer] .send .button", begun)
        tap_s = _tap(page)
        shown_s = time.monotonic() - begun
        page.wait_for_timeout(9000)  # what loads behind the first item: the worker's files and the kept questions
        # As `web/compression.py` packs it, without headers: the page's traffic shows its request and no bytes.
        sizes["/sw.js"] = max(sizes["/sw.js"], len(gzip.compress(worker, 6)))
        later = ("/api/v1/kept-questions", "/api/v1/answers")
        whole = sum(size for name, size in sizes.items() if name not in later)
        scripts = {name: size for name, size in started.items() if name.split("/")[-1].split(".")[0] in SCRIPTS}
        scripts["sw.js"] = len(worker)
        if missing := {f"{name}.js" for name in SCRIPTS} - set(scripts):
            raise RuntimeError(f"not weighed: {', '.join(sorted(missing))}")
        online_ms = _next_online(page)
        for name, size in sorted(sizes.items(), key=lambda pair: -pair[1]):
            rows.append(Row(f"  on the wire: {name}", size, "B"))
        floor_s = _bare_file(browser, proxy, round(whole))
        script_bytes = sum(scripts.values())
        rows += [
            Row("first drill page, all its files compressed (60,000 B)", whole, "B", whole / 60_000, "at most 1"),
            Row("our scripts on it, uncompressed (25,000 B)", script_bytes, "B", script_bytes / 25_000, "at most 1"),
            Row("all that came down, kept questions included", proxy.down - before, "B"),
            Row("first visit: Start, until a tap counts (3 s)", start_s, "s", start_s / 3, "at most 1"),
            Row("Start pressed: first item, until a tap counts (3 s)", item_s, "s", item_s / 3, "at most 1"),
            Row("a tap on Answer, until its answer is shown (one round trip)", tap_s, "s", tap_s / (2 * ONE_WAY_S)),
            Row("Start pressed, until the first answer is shown", shown_s, "s"),
            Row("next item with signal, after its answer's reply", online_ms, "ms"),
            Row("floor: one bare file of as many bytes", floor_s, "s"),
            Row("first visit against the floor", start_s, "s", start_s / floor_s, ""),
        ]
        rows += _from_the_device(context, base)
        browser.close()
    return rows


def _count(context: Any, page: Any, sizes: dict[str, float]) -> dict[str, int]:
    """Bytes on the wire by file into `sizes`; returns uncompressed sizes of scripts, filled as they come."""
    raw: dict[str, int] = {}
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    names: dict[str, str] = {}
    session.on(
        "Network.responseReceived",
        lambda event: names.__setitem__(
            event["requestId"], event["response"]["url"].split("://", 1)[1].partition("/")[2]
        ),
    )

    def finished(event: dict[str, Any]) -> None:
        name = names.get(event["requestId"], "?")
        sizes["/" + name.split("/v-")[0] + ("/…/" + name.rsplit("/", 1)[1] if "/v-" in name else "")] += event[
            "encodedDataLength"
        ]

    session.on("Network.loadingFinished", finished)

    def body(response: Any) -> None:
        if response.url.endswith(".js"):
            try:
                raw[response.url.rsplit("/", 1)[1]] = len(response.body())
            except Exception:  # a response that the worker asked for has no body here
                pass

    page.on("response", body)
    return raw


def _interactive(page: Any, selector: str, begun: float) -> float:
    """Seconds until the element is there, scripts have run and the main thread is free."""
    page.locator(selector).first.wait_for()
    page.wait_for_load_state("domcontentloaded")  # module scripts have run by then
    page.evaluate("() => new Promise((done) => requestIdleCallback(done))")
    return time.monotonic() - begun


def _tap(page: Any) -> float:
    """Answer the item on the screen by thumb; seconds from the tap on Answer until the answer is shown.

    The clicks are Chromium's own, at the place where the control stands; nothing is sent but by the page's script.
    """
    loads: list[str] = []
    page.on("request", lambda request: loads.append(request.url) if request.is_navigation_request() else None)
    _respond(page)
    begun = time.monotonic()
    page.locator("[data-answer] .send .button").first.click()
    page.locator("#outcome").wait_for()
    taken = time.monotonic() - begun
    if loads:
        raise RuntimeError("a page was loaded: the script had not taken the tap")
    return taken


def _respond(page: Any) -> None:
    """Pick the first of everything, type a number where one is asked."""
    form = page.locator("[data-answer]")
    names = form.locator("input[type=radio], input[type=checkbox]").evaluate_all("all => all.map((one) => one.name)")
    for name in dict.fromkeys(name for name in names if name != "sureness"):
        form.locator(f"label:has(input[name='{name}'])").first.click()
    for field in form.locator("input[type=text]:visible, input:not([type]):visible").all():
        field.fill("1000")
    for number, chooser in enumerate(form.locator("select:visible").all()):
        chooser.select_option(index=number + 1)


def _next_online(page: Any) -> float:
    """Milliseconds from Next to the next item of a set with signal; median."""
    times = []
    while True:
        times.append(page.evaluate(NEXT))
        if len(times) == 4 or not page.locator("[data-answer]").count():
            return statistics.median(times)
        page.locator("button[name=pass]").click()
        page.locator("#outcome").wait_for()


def _bare_file(browser: Any, proxy: Proxy, size: int) -> float:
    """The same browser fetches one file of that size from a bare server through a proxy of the same kind."""
    import http.server

    body = b"<!doctype html><title>x</title><p>" + b"x" * max(0, size - 34)

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        with Proxy(server.server_address[1]) as slow:
            page = browser.new_page()
            begun = time.monotonic()
            page.goto(f"http://127.0.0.1:{slow.port}/x", wait_until="load")
            taken = time.monotonic() - begun
            page.close()
            return taken
    finally:
        server.shutdown()
        server.server_close()


def _from_the_device(context: Any, base: str) -> list[Row]:
    """The second visit paints from the device; the next item of a set there comes without the line."""
    page = context.new_page()
    for _ in range(60):
        page.goto("/on-this-device", wait_until="load")
        if (
            page.evaluate("Boolean(navigator.serviceWorker.controller)")
            and page.locator("[data-begin]:visible").count()
        ):
            break
        page.wait_for_timeout(1000)
    begun = time.monotonic()
    page.goto("/", wait_until="commit")
    page.locator("[data-minutes]:visible, button[name=minutes]:visible").first.wait_for()
    painted = time.monotonic() - begun
    page.goto("/on-this-device")
    page.locator("[data-minutes='10']:visible").click()
    times = []
    for _ in range(6):
        page.locator("[data-answer]").wait_for()
        page.locator("button[name=pass]").click()
        page.locator("#outcome").wait_for()
        times.append(page.evaluate(NEXT))
        if page.locator("[data-tally]").count():
            break
    middle = statistics.median(times)
    trip_s = 2 * ONE_WAY_S
    return [
        Row("second visit: Start painted (one round trip)", painted, "s", painted / trip_s, "at most 1"),
        Row("next item from the kept questions (100 ms)", middle, "ms", middle / 100, "at most 1"),
    ]
