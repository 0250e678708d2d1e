"""Somebody who leaves the mouse alone: Tab, Enter, arrows, and the page's own keys."""

from tests.journeys.stage import Person


# What stands on or beside what has the focus, as a reader of screens would say it.
FOCUSED = """() => {
  const one = document.activeElement;
  if (one === document.body) return "";
  const labels = [...(one.labels || [])].map((label) => label.innerText);
  const words = [one.getAttribute("aria-label"), ...labels, one.innerText, one.value];
  return words.filter(Boolean).join(" ");
}"""
FARTHEST = 150
"""Steps with Tab after which a page is taken not to have what is looked for."""


class Keyboard(Person):
    """A person at a screen of some size who uses keys only."""

    def __init__(self, started, house, name, size) -> None:
        super().__init__(started, house, name)
        self.page.set_viewport_size(size)

    def reach(self, words: str) -> None:
        """Go on with Tab until the focus is on what bears these words."""
        for _step in range(FARTHEST):
            if words in self.page.evaluate(FOCUSED):
                return
            self.page.keyboard.press("Tab")
        raise AssertionError(f"{words!r} is not reached on {self.page.url}")

    def do(self, words: str) -> None:
        """Reach a link or button and press Enter on it."""
        self.reach(words)
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")

    def fill(self, label: str, text: str) -> None:
        """Reach a field and type into it, over what stands there."""
        self.reach(label)
        self.page.keyboard.press("Control+a")
        self.page.keyboard.type(text)

    def choose(self, words: str) -> None:
        """Reach a group of choices and tick the one with these words."""
        self.reach(words)
        self.page.keyboard.press("Space")

    def key(self, one: str) -> None:
        """Press a single key of the page, which leads to another."""
        with self.page.expect_navigation():
            self.page.keyboard.press(one)

    def finds(self, typed: str) -> None:
        """Put the cursor into the one box, type, and take the first answer."""
        self.page.keyboard.press("/")
        self.page.keyboard.type(typed)
        answers = self.page.locator("#one-box-answers .answer")
        answers.first.wait_for()
        self.page.keyboard.press("ArrowDown")
        assert answers.first.evaluate("one => one === document.activeElement")
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")
