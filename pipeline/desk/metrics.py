"""Figures of a running desk: how many requests, how they ended, how long they took. No figure names a person or an animal."""

from __future__ import annotations

import time

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram
from starlette.types import ASGIApp, Message, Receive, Scope, Send

_BOUNDS_S = (0.005, 0.02, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0)


class Metrics:
    """The figures of one application."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self.requests = Counter(
            "rostral_requests", "Requests by route and status.", ("route", "status"), registry=self.registry
        )
        self.seconds = Histogram(
            "rostral_request_seconds",
            "Time to the end of an answer.",
            ("route",),
            buckets=_BOUNDS_S,
            registry=self.registry,
        )
        self.records = Gauge("rostral_records", "Records by state.", ("state",), registry=self.registry)


class Measured:
    """Counts every request under the pattern of its route, so that identifiers make no figures of their own."""

    def __init__(self, app: ASGIApp, metrics: Metrics) -> None:
        self.app, self.metrics = app, metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        began, status = time.perf_counter(), 500

        async def sent(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        try:
            await self.app(scope, receive, sent)
        finally:
            route = getattr(scope.get("route"), "path", "none")
            self.metrics.requests.labels(route, str(status)).inc()
            self.metrics.seconds.labels(route).observe(time.perf_counter() - began)
