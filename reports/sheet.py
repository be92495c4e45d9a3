"""Pages to print that need no script, no network and no other file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from millilot.reports.pack.workbook import LETTER_CURRENCIES
from millilot.reports.tables import printable, text

if TYPE_CHECKING:
    from collections.abc import Mapping


def render(template: str, currency: str, **context: Any) -> str:
    """Return a page as HTML, in which text from the books is escaped and free of control characters.

    Args:
        template: the file in `templates/`; it extends sheet.html.
        currency: the operating currency, which tells the paper.
        context: what the template asks for, `title` and `subtitle` among it; lists, mappings and plain values.
    """
    environment = Environment(
        loader=PackageLoader("millilot.reports"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )
    paper = "letter" if currency in LETTER_CURRENCIES else "A4"
    return environment.get_template(template).render(paper=paper, currency=currency, **_shown(context)) + "\n"


def _shown(context: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _value(value) for name, value in context.items()}


def _value(value: Any) -> Any:
    """Return a value as it stands on the page."""
    if isinstance(value, dict):
        return _shown(value)
    if isinstance(value, list | tuple):
        return [_value(each) for each in value]
    return printable(text(value))
