// A form that was sent is not sent again by a second press, and the list of errors
// takes the focus, so that a screen reader starts there.
export function watchForms(page) {
  page.querySelector("[data-take-focus]")?.focus();
  page.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.matches("form[data-once]")) {
      return;
    }
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "yes";
    event.submitter?.setAttribute("aria-busy", "true");
  });
  // A page that comes back from the browser's memory may be sent again.
  window.addEventListener("pageshow", () => {
    for (const form of page.querySelectorAll("form[data-sent]")) {
      delete form.dataset.sent;
      form.querySelector("[aria-busy]")?.removeAttribute("aria-busy");
    }
  });
}
