"""A small server on 127.0.0.1 that shows the invented pages, and a browser to look at them."""

# ruff: noqa: ANN401 - JSON of any shape
from __future__ import annotations

import json
import shutil
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import SimpleNamespace
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Browser, sync_playwright

from dashboards import figures, pages, views
from dashboards.figures.thresholds import threshold_figure
from dashboards.threshold_views import ThresholdPage, ThresholdRow
from tests.dashboards.in_browser import papers

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), "/usr/bin/chromium")
LOSSES_PCT = (1, 2, 3, 5, 10)
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


class Stage:
    """What the little server shows at present; a test may change the frame and the pumps."""

    def __init__(self, invented: SimpleNamespace) -> None:
        self.invented = invented
        self.frame: dict[str, Any] = {}
        self.pumps: tuple[views.PumpRow, ...] | None = None

    def site(self) -> views.SitePage:
        page: views.SitePage = self.invented.site(**self.frame)
        return page if self.pumps is None else replace(page, pumps=self.pumps)

    def thresholds(self, path: str) -> ThresholdPage:
        """Return invented thresholds: of a pump with trials, with too short a history, or none to see."""
        trials = 0 if path.endswith("short") else 12
        is_blind = path.endswith("blind")
        return ThresholdPage(
            frame=self.invented.frame(**self.frame),
            pump=path.removeprefix("/"),
            loss=0.03,
            can_be_judged=not is_blind,
            pumps=9,
            is_ready=True,
            own=() if is_blind else threshold_rows(trials),
            site=() if is_blind else threshold_rows(140),
            quiet_days=20,
            look_days=14 if trials else 0,
            most_evidence_sd=1.8,
        )

    def html(self, path: str) -> str | None:
        shown: dict[str, Callable[[], str]] = {
            "/": lambda: pages.site_page(self.site()),
            "/pump": lambda: pages.pump_page(self.invented.pump_page(**self.frame)),
            "/finding": lambda: pages.finding_page(
                views.FindingPage(frame=self.invented.frame(**self.frame), card=self.invented.worn())
            ),
            "/week": lambda: pages.week_page(self.invented.week_page(**self.frame)),
            "/thresholds": lambda: pages.threshold_page(self.thresholds(path), LOSSES_PCT),
            "/thresholds-short": lambda: pages.threshold_page(self.thresholds(path), LOSSES_PCT),
            "/thresholds-blind": lambda: pages.threshold_page(self.thresholds(path), LOSSES_PCT),
            "/handover": lambda: papers.handover(self.invented, self.frame),
            "/documents": lambda: papers.documents(self.invented, self.frame, is_wrong=False),
            "/documents-wrong": lambda: papers.documents(self.invented, self.frame, is_wrong=True),
            "/label": lambda: papers.labels(self.invented, self.frame, count=11),
            "/label-none": lambda: papers.labels(self.invented, self.frame, count=0),
            "/explained": lambda: pages.explained_page(self.invented.frame(**self.frame)),
            "/first-run": lambda: pages.site_page(
                views.SitePage(frame=self.invented.frame(data_as_of_utc_ms=None))
            ),
        }
        return shown[path]() if path in shown else None

    def json(self, path: str, query: dict[str, list[str]]) -> Any:
        if path == "/live":
            page = self.site()
            return pages.live_answer(page.frame, page.pumps, self.invented.curve_picture(2).now)
        scheme = query.get("scheme", ["light"])[0]
        units = self.frame.get("units", "SI")
        drawn = {
            "/figure/head": lambda: figures.head_figure(self.invented.curve_picture(units=units), scheme),
            "/figure/first": lambda: figures.head_figure(self.invented.curve_picture(units=units), scheme),
            "/figure/power": lambda: figures.power_figure(self.invented.curve_picture(units=units), scheme),
            "/figure/against": lambda: figures.against_curve_figure(
                self.invented.curve_picture(units=units), scheme
            ),
            "/figure/trend": lambda: figures.trend_figure(self.invented.trend_picture(units=units), scheme),
            "/figure/thresholds": lambda: threshold_figure(
                self.thresholds("/" + query.get("pump", [""])[0]), scheme
            ),
            "/figure/energy": lambda: figures.energy_figure(
                self.invented.energy_picture(units=units), scheme
            ),
        }
        return drawn[path]().answer() if path in drawn else None


def threshold_rows(trials: int) -> tuple[ThresholdRow, ...]:
    return tuple(
        ThresholdRow(
            notice=notice,
            evidence_sd=evidence,
            is_set=(notice, evidence) == (0.008, 5.0),
            trials=trials,
            found=trials if notice < 0.03 else trials // 2,
            median_days=(evidence / 2 + place) if trials else None,
            p90_days=(evidence + place) if trials and notice < 0.03 else None,
            false_alarms=0,
            pump_years=1.27,
            rate=0.0,
            rate_low=0.0,
            rate_high=2.9,
        )
        for evidence in (3.5, 5.0, 7.0)
        for place, notice in enumerate((0.005, 0.008, 0.012, 0.02, 0.03))
    )


def static(path: str) -> bytes | None:
    if path == "/static/plotly.min.js":
        return figures.chart_library().read_bytes()
    file = pages.STATIC_FOLDER / path.removeprefix("/static/")
    return file.read_bytes() if file.is_file() else None


TYPES = {"css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}


def _handler(stage: Stage) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked = urlsplit(self.path)
            html = stage.html(asked.path)
            if html is not None:
                self._send(html.encode(), "text/html; charset=utf-8")
            elif asked.path.startswith("/static/") and (body := static(asked.path)) is not None:
                self._send(body, TYPES[asked.path.rsplit(".", 1)[1]])
            elif (answer := stage.json(asked.path, parse_qs(asked.query))) is not None:
                self._send(json.dumps(answer, allow_nan=False).encode(), "application/json")
            else:
                self.send_error(404)

        def _send(self, body: bytes, kind: str) -> None:
            self.send_response(200)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(body)))
            self.send_header("Content-Security-Policy", pages.CONTENT_SECURITY_POLICY)
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, format: str, *args: Any) -> None:
            """Keep the test's output quiet."""

    return Handler


@pytest.fixture
def stage(invented: SimpleNamespace) -> Iterator[SimpleNamespace]:
    """A running server of the invented pages: ``.address`` and ``.shows.frame`` to change the frame."""
    shows = Stage(invented)
    server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(shows))
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    yield SimpleNamespace(address=f"http://127.0.0.1:{server.server_port}", shows=shows)
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's chromium, started once."""
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield started
        started.close()
