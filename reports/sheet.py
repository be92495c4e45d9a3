"""Pages to print that need no script, no network and no other file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from millilot.reports.printing import paper, templates
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
    page = templates("millilot.reports").get_template(template)
    return page.render(paper=paper(currency), currency=currency, **_shown(context)) + "\n"


def _shown(context: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _value(value) for name, value in context.items()}


def _value(value: Any) -> Any:
    """Return a value as it stands on the page."""
    if isinstance(value, dict):
        return _shown(value)
    if isinstance(value, list | tuple):
        return [_value(each) for each in value]
    return printable(text(value))
