"""What a browser sends of a page: the names and texts of its fields, as they come from the HTML."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import Any

from django.template.loader import render_to_string

from riders.pages.scheme_form import SchemeForm, draw_scheme, read_scheme_form
from riders.pages.scheme_nodes import Typed
from scoring.season.scheme import read_with_problems


class Fields(HTMLParser):
    """The fields of a page by their names, and its ids; ``form`` leaves out the fields of other forms."""

    def __init__(self, html: str, *, form: str = "") -> None:
        super().__init__()
        self.texts: dict[str, str] = {}
        self.ids: list[str] = []
        self._wanted, self._open, self._select, self._first = form, not form, "", False
        self._area, self._text = "", ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if "id" in given:
            self.ids.append(given["id"])
        if tag == "form" and self._wanted:
            self._open = given.get("id") == self._wanted
        if not self._open or (tag in ("input", "select", "textarea") and not given.get("name")):
            return  # a field without a name is not sent
        if tag == "input":
            self.texts[given["name"]] = given.get("value", "").replace("\n", "").replace("\r", "")
        elif tag == "select":
            self._select, self._first = given["name"], True
        elif tag == "option" and self._select and (self._first or "selected" in given):
            self.texts[self._select], self._first = given.get("value", ""), False
        elif tag == "textarea":
            self._area, self._text = given["name"], ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = ""
        elif tag == "textarea" and self._area:
            self.texts[self._area] = self._text.removeprefix("\n").replace("\n", "\r\n")
            self._area = ""

    def handle_data(self, data: str) -> None:
        if self._area:
            self._text += data


def page_of(form: SchemeForm) -> str:
    return render_to_string("riders/_scheme_form.html", {"form": form, "base": "{}"})


def fields_of(document: Any) -> Fields:
    """Return what a browser would send of the form of a document, nothing changed."""
    return Fields(page_of(draw_scheme(document, problems=read_with_problems(document)[1])))


def kept(document: Any, act: str = "", **typed: str) -> Any:
    """Open a document in the form, type something, press a button, and return what it has become.

    Names are paths; in keywords ``__`` stands for a dot, so that ``value__aggregate`` is ``value.aggregate``.
    """
    fields = fields_of(document).texts
    changed = {name.replace("__", "."): text for name, text in typed.items()}
    assert not changed.keys() - fields.keys(), f"no such fields: {changed.keys() - fields.keys()}"
    return read_scheme_form(document, Typed(fields | changed, act))


def typed_into(document: Any, fields: dict[str, str], act: str = "") -> Any:
    """As ``kept``, with names that are no words of Python."""
    drawn = fields_of(document).texts
    assert not fields.keys() - drawn.keys(), f"no such fields: {fields.keys() - drawn.keys()}"
    return read_scheme_form(document, Typed(drawn | fields, act))
