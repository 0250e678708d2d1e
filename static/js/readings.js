// Says beside a measured check whether the reading is within its limits, and shows big
// keys to type it with gloves on. The server judges again when the form is sent; this
// only tells earlier, and without it the field is a plain one.
const MILLIMETRES_AN_INCH = 25.4;
const TYPED = /^([+-]?\d*\.?\d+)\s*(mm|in|inch|inches|")?$/i;

function unitOf(box, typed) {
  if (typed) {
    return typed.toLowerCase() === "mm" ? "mm" : "in";
  }
  const chosen = box.closest("form").querySelector("input[name=unit]:checked");
  return chosen ? chosen.value : box.dataset.unit;
}

function judged(box, text) {
  const found = TYPED.exec(text.trim());
  if (!found) {
    return "";
  }
  const given = unitOf(box, found[2]);
  let reading = Number(found[1]);
  if (given !== box.dataset.unit) {
    reading = given === "in" ? reading * MILLIMETRES_AN_INCH : reading / MILLIMETRES_AN_INCH;
  }
  const { low, high } = box.dataset;
  const tooLow = low !== "" && reading < Number(low);
  const tooHigh = high !== "" && reading > Number(high);
  return tooLow || tooHigh ? "out" : "in";
}

function watchKeypad(keypad) {
  const field = document.getElementById(keypad.dataset.for);
  keypad.hidden = false;
  if (window.matchMedia("(pointer: coarse)").matches) {
    field.inputMode = "none";
  }
  keypad.addEventListener("click", (event) => {
    const { key } = event.target.dataset;
    if (!key) {
      return;
    }
    field.value = key === "back" ? field.value.slice(0, -1) : field.value + key;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });
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
    box.closest("form").addEventListener("input", () => show(box));
    for (const keypad of box.querySelectorAll("[data-keypad]")) {
      watchKeypad(keypad);
    }
  }
}
