// Single keys: "/" goes to the one box, "?" shows the help, and a button of the page
// may name one of its own (data-key). They can be switched off (WCAG 2.2, 2.1.4) and
// never act while somebody types. The arrow keys walk through the answers of the box.
const SWITCH = "mendroll.single-keys";

function areOn() {
  try {
    return localStorage.getItem(SWITCH) !== "off";
  } catch {
    return true; // a browser that keeps nothing has the keys on
  }
}

function keep(on) {
  try {
    localStorage.setItem(SWITCH, on ? "on" : "off");
  } catch {
    // nothing is kept: the choice holds for this page only
  }
}

function isTyping(target) {
  return target.closest?.("input, textarea, select, [contenteditable]") !== null;
}

export function watchKeys(page) {
  const box = page.getElementById("one-box");
  const help = page.getElementById("keys-help");
  const choice = help?.querySelector("[data-keys-switch]");
  let on = areOn();
  if (choice) {
    choice.checked = on;
    choice.addEventListener("change", () => {
      on = choice.checked;
      keep(on);
    });
  }
  page.querySelector("[data-keys-help]")?.addEventListener("click", (event) => {
    if (help) {
      event.preventDefault();
      help.showModal();
    }
  });
  page.addEventListener("keydown", (event) => {
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      walkAnswers(page, box, event);
      return;
    }
    if (event.key === "Escape") {
      closeFolds(page);
      return;
    }
    if (!on || isTyping(event.target) || event.ctrlKey || event.altKey || event.metaKey) {
      return;
    }
    if (event.key === "/" && box) {
      event.preventDefault();
      box.focus();
      box.select();
    } else if (event.key === "?" && help && !help.open) {
      event.preventDefault();
      help.showModal();
    } else if (/^[a-z]$/.test(event.key) && !event.repeat && !help?.open) {
      page.querySelector(`button[data-key="${event.key}"]`)?.click();
    }
  });
  page.addEventListener("click", (event) => {
    if (!event.target.closest(".fold")) {
      closeFolds(page);
    }
  });
}

function closeFolds(page) {
  for (const fold of page.querySelectorAll(".fold[open]")) {
    const within = fold.contains(page.activeElement);
    fold.open = false;
    if (within) {
      fold.querySelector("summary").focus();
    }
  }
}

function walkAnswers(page, box, event) {
  const answers = [...page.querySelectorAll(".one-box-answers .answer")];
  const now = event.target === box ? -1 : answers.indexOf(event.target);
  if (answers.length === 0 || (now === -1 && event.target !== box)) {
    return;
  }
  event.preventDefault();
  const next = now + (event.key === "ArrowDown" ? 1 : -1);
  (next < 0 ? box : answers[Math.min(next, answers.length - 1)]).focus();
}
