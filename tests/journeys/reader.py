"""Somebody who reads pages and sends their forms, without a browser.

What the page holds is sent back as a browser would send it: hidden boxes, boxes that
are filled already, ticks and choices. So a form that lacks something fails here too.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any
from urllib.parse import urljoin

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client


INLINE = {"a", "abbr", "b", "em", "span", "strong", "time"}
Attributes = dict[str, str | None]


@dataclass
class Box:
    """One box of a form."""

    tag: str
    name: str
    kind: str
    value: str = ""
    ticked: bool = False
    choices: list[str] = field(default_factory=list)


@dataclass
class Form:
    """A form, its boxes and the words on its buttons."""

    action: str
    method: str
    boxes: list[Box] = field(default_factory=list)
    buttons: list[tuple[str, str, str]] = field(default_factory=list)

    def offers(self, words: str) -> bool:
        return any(told == words for told, _name, _value in self.buttons)

    def as_sent(self, words: str, wanted: dict[str, Any]) -> dict[str, list[Any]]:
        """Give what a browser sends when these boxes are filled and this is pressed."""
        wanted = {self._named(name): value for name, value in wanted.items()}
        sent: dict[str, list[Any]] = {}
        for box in self.boxes:
            if box.name in wanted or box.kind == "file":
                continue
            if box.kind in {"checkbox", "radio"} and not box.ticked:
                continue
            sent.setdefault(box.name, []).append(box.value)
        for name, value in wanted.items():
            self._check_choice(name, value)
            sent[name] = value if isinstance(value, list) else [value]
        sent.update(
            {
                name: [value]
                for told, name, value in self.buttons
                if told == words and name
            }
        )
        return sent

    def _named(self, name: str) -> str:
        """Find a box by its name, with or without what stands before it."""
        known = {box.name for box in self.boxes}
        if name in known:
            return name
        (found,) = (one for one in known if one.endswith(f"-{name}"))
        return found

    def _check_choice(self, name: str, value: Any) -> None:
        """See that what is chosen can be chosen."""
        offered = [
            choice
            for box in self.boxes
            if box.name == name
            for choice in (
                box.choices
                if box.tag == "select"
                else [box.value]
                if box.kind in {"checkbox", "radio"}
                else []
            )
        ]
        if offered:
            assert str(value) in offered, f"{name}: {value} is not among {offered}"


class Page(HTMLParser):
    """A page taken apart: what is said in ``main``, its links and its forms."""

    def __init__(self, markup: str) -> None:
        super().__init__()
        self.words: list[str] = []  # all of the page
        self.main: list[str] = []  # what a reader of the page's own part is told
        self.links: list[tuple[str, str]] = []
        self.forms: list[Form] = []
        self._depth = 0
        self._form: Form | None = None
        self._inside: list[tuple[str, Attributes, int]] = []
        self.feed(markup)
        self.said = plain("".join(self.main))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        self._part(tag)
        if tag == "main":
            self._depth += 1
        elif tag == "form":
            self._form = Form(told.get("action") or "", told.get("method") or "get")
            self.forms.append(self._form)
        elif tag in {"a", "button", "textarea", "option"}:
            self._inside.append((tag, told, len(self.words)))
        if self._form is not None:
            self._take_box(self._form, tag, told)

    def _take_box(self, form: Form, tag: str, told: Attributes) -> None:
        name, value = told.get("name") or "", told.get("value") or ""
        if tag == "input" and name:
            kind = told.get("type") or "text"
            if kind in {"checkbox", "radio"} and not value:
                value = "on"
            form.boxes.append(Box(tag, name, kind, value, "checked" in told))
        elif tag in {"select", "textarea"} and name:
            form.boxes.append(Box(tag, name, tag))
        elif tag == "option" and form.boxes and form.boxes[-1].tag == "select":
            box = form.boxes[-1]
            if "selected" in told or not box.choices:
                box.value = value
            box.choices.append(value)

    def _part(self, tag: str) -> None:
        """Keep words apart where the page does."""
        if tag not in INLINE:
            self.words.append(" ")
            self.main.append(" ")

    def handle_endtag(self, tag: str) -> None:
        self._part(tag)
        if tag == "main":
            self._depth -= 1
        elif tag == "form":
            self._form = None
        elif self._inside and self._inside[-1][0] == tag:
            _tag, told, start = self._inside.pop()
            words = plain("".join(self.words[start:]))
            if tag == "a" and told.get("href"):
                self.links.append((words, told["href"] or ""))
            elif tag == "button" and self._form is not None:
                name, value = told.get("name") or "", told.get("value") or ""
                self._form.buttons.append((words, name, value))
            elif tag == "textarea" and self._form is not None:
                self._form.boxes[-1].value = words

    def handle_data(self, data: str) -> None:
        self.words.append(data)
        if self._depth and not (self._inside and self._inside[-1][0] == "option"):
            self.main.append(data)


def plain(words: str) -> str:
    """Close up the white space."""
    return re.sub(r"\s+", " ", words).strip()


class Reader:
    """Somebody of the store at the pages."""

    def __init__(self, name: str, password: str) -> None:
        self.client = Client()
        self.at = ""
        self.go("/accounts/login/")
        self.send("Sign in", login=name, password=password)
        assert "/login/" not in self.at, self.page.said

    def go(self, address: str) -> None:
        """Open an address; it must be there."""
        self._keep(self.client.get(address, follow=True), address)

    def _keep(self, response: Any, address: str) -> None:
        steps = response.redirect_chain
        self.at = urljoin(address, steps[-1][0]) if steps else address
        self.page = Page(response.content.decode())
        assert response.status_code == 200, f"{response.status_code} {self.page.said}"

    def follow(self, words: str) -> None:
        """Follow the link with these words."""
        self.go(urljoin(self.at, self._link(words)))

    def _link(self, words: str) -> str:
        found = [href for told, href in self.page.links if told == words]
        assert found, f"no link “{words}” at {self.at}: {self.page.links}"
        return found[0]

    def send(self, button: str, **filled: Any) -> None:
        """Fill boxes of the form that has this button, and press it."""
        form = self.form(button)
        sent = form.as_sent(button, {name: put(one) for name, one in filled.items()})
        address = urljoin(self.at, form.action)
        assert form.method == "post", form
        self._keep(self.client.post(address, sent, follow=True), address)

    def form(self, button: str) -> Form:
        """Give the first form with this button."""
        found = [form for form in self.page.forms if form.offers(button)]
        known = [form.buttons for form in self.page.forms]
        assert found, f"no button “{button}” at {self.at}: {known}: {self.page.said}"
        return found[0]

    def reads(self, *sentences: str) -> None:
        """See each of these on the page."""
        for words in sentences:
            assert words in self.page.said, f"“{words}” at {self.at}: {self.page.said}"

    def fetches(self, words: str) -> bytes:
        """Get what the link with these words gives."""
        address = urljoin(self.at, self._link(words))
        response = self.client.get(address)
        assert response.status_code == 200, (address, response.status_code)
        return b"".join(response) if response.streaming else response.content


def put(value: Any) -> Any:
    """Give a value as a form sends it; a file is a pair of name and content."""
    if isinstance(value, tuple):
        return SimpleUploadedFile(*value)
    if isinstance(value, list):
        return [str(one) for one in value]
    return str(value)
