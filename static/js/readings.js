// Says beside a measured check whether the reading is within its limits. The server
// judges again when the form is sent; this only tells earlier.
function judged(box, text) {
  const reading = Number(text.trim().replace(",", "."));
  if (text.trim() === "" || Number.isNaN(reading)) {
    return "";
  }
  const { low, high } = box.dataset;
  const tooLow = low !== "" && reading < Number(low);
  const tooHigh = high !== "" && reading > Number(high);
  return tooLow || tooHigh ? "out" : "in";
}

export function watchReadings(page) {
  const show = (box) => {
    const verdict = judged(box, box.querySelector("input").value);
    box.dataset.verdict = verdict;
    const marks = { out: `✕ ${box.dataset.out}`, in: `✓ ${box.dataset.in}`, "": "" };
    box.querySelector("output").textContent = marks[verdict];
  };
  for (const box of page.querySelectorAll("[data-reading]")) {
    show(box);
    box.addEventListener("input", () => show(box));
  }
}
