"""What tests of a page in a browser do and ask: keys, pictures, and colours."""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest

from tests.report.browser import LIMIT_S, Browser

DRAWN = "document.querySelectorAll('.drawn').length"
FOCUS = "document.activeElement"
# What is said of the sample that is read in the picture that has the focus.
READ = f"{FOCUS}.closest('.picture').querySelector('.readout').textContent"
CONTRAST = """
(() => {
  const channel = (v) => (v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  const light = (colour) => {
    const probe = document.createElement("canvas").getContext("2d");
    probe.fillStyle = colour;
    probe.fillRect(0, 0, 1, 1);
    const [r, g, b] = [...probe.getImageData(0, 0, 1, 1).data].map((v) => channel(v / 255));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const of = (name) => getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
  return (one, other) => {
    const [a, b] = [light(of(one)), light(of(other))].sort((x, y) => y - x);
    return (a + 0.05) / (b + 0.05);
  };
})()
"""
TEXTS = [
    *((name, "back") for name in ("text", "soft", "link", "bad", "good", "odd")),
    *((name, "band") for name in ("text", "soft")),
    *((f"on-{stage}", stage) for stage in ("bulk", "absorption", "float", "inhibited")),
]


def tab_to(browser: Browser, selector: str) -> None:
    """Press Tab until this has the focus."""
    for _ in range(400):
        if browser.run(f"{FOCUS}.matches({selector!r})"):
            return
        browser.press("Tab")
    pytest.fail(f"Tab never came to {selector}")


def still(browser: Browser, of: str = "document.querySelector('.drawn')") -> list[str]:
    """What the panels of a picture look like, the first one as a rule."""
    pictures: list[str] = browser.run(
        f"[...{of}.querySelectorAll('canvas')].map(c => c.toDataURL())"
    )
    return pictures


def all_differ(before: list[str], now: list[str]) -> bool:
    """Whether every panel looks different."""
    return all(one != other for one, other in zip(before, now, strict=True))


def soon(comes_true: Callable[[], bool]) -> None:
    """Wait for what the next frames bring."""
    end = time.monotonic() + LIMIT_S
    while not comes_true():
        assert time.monotonic() < end, "it never came true"


def nameless(browser: Browser) -> list[str]:
    """The roles of what can be reached by keyboard and has no name."""
    nodes = browser.ask("Accessibility.getFullAXTree")["nodes"]
    return [
        node["role"]["value"]
        for node in nodes
        if not node.get("ignored")
        and node.get("role", {}).get("value")
        in ("button", "link", "textbox", "searchbox", "checkbox", "image", "img", "region", "group")
        and any(p["name"] == "focusable" for p in node.get("properties", []))
        and not node.get("name", {}).get("value")
    ]
