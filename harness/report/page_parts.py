"""What every page is put together from: its template, its style and scripts, and its policy.

A page needs nothing else: it works offline. Names and sentences on it can come from whoever is
hostile. The template escapes every one of them, the data of the plots is JSON without a single `<`,
and the page's own policy lets no other script run than the two whose hashes it names.
"""

from __future__ import annotations

import base64
import hashlib
from pathlib import Path
from typing import Any

import jinja2
import orjson
from markupsafe import Markup

FOLDER = Path(__file__).with_name("page")


def rendered(template: str, data: Any, *, styles: str, script: str, **members: Any) -> str:
    """A page.

    Args:
        template: name of its template.
        data: what its script draws from; anything that can be JSON, arrays included.
        styles: name of its style besides that of every page; empty for none.
        script: name of its script.
        members: what the template asks for besides `style`, `plots`, `script`, `data`, `policy`
            and `licence`.
    """
    style = _style("uplot.min.css", "page.css", styles)
    # The first line of the library is a comment with an address in it.
    plots = _asset("uplot.min.js").partition("*/")[2].strip()
    own = _asset("plots.js") + _asset(script)
    return (
        _environment()
        .get_template(template)
        .render(
            licence=_asset("uplot.LICENSE"),
            policy=_policy(style, plots, own),
            style=Markup(style),
            plots=Markup(plots),
            script=Markup(own),
            data=Markup(_json(data)),
            **members,
        )
    )


def rendered_still(template: str, *, styles: str, **members: Any) -> str:
    """A page on which no script runs at all.

    Args:
        template: name of its template.
        styles: name of its style besides that of every page.
        members: what the template asks for besides `style` and `policy`.
    """
    style = _style("page.css", styles)
    return (
        _environment()
        .get_template(template)
        .render(policy=_policy(style), style=Markup(style), **members)
    )


def _style(*names: str) -> str:
    return "".join(_asset(name) for name in names if name)


def _environment() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _asset(name: str) -> str:
    return (FOLDER / name).read_text(encoding="utf-8")


def _json(data: Any) -> str:
    """JSON that no parser of HTML can take for anything else."""
    text = orjson.dumps(data, option=orjson.OPT_SERIALIZE_NUMPY).decode()
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _policy(style: str, *scripts: str) -> str:
    def named(text: str) -> str:
        digest = hashlib.sha256(text.encode()).digest()
        return f"'sha256-{base64.b64encode(digest).decode()}'"

    allowed = " ".join(map(named, scripts)) or "'none'"
    return (
        f"default-src 'none'; script-src {allowed}; "
        f"style-src {named(style)}; base-uri 'none'; form-action 'none'"
    )
