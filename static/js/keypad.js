// Big digits beside a number field, for one hand that holds a meter in the other. A number that
// stands there already, as typed before, gives way to the first digit.
for (const field of document.querySelectorAll("[data-keypad]")) {
  let stale = field.value !== "";
  field.inputMode = "none";  // a keyboard of the system would lie over the keys
  field.addEventListener("input", () => { stale = false; });
  const pad = field.closest("form").querySelector("[data-pad]");
  for (const digit of ["7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0", "⌫"]) {
    const key = document.createElement("button");
    key.type = "button";
    key.className = "key";
    key.textContent = digit;
    if (digit === "⌫") key.setAttribute("aria-label", "Take the last digit back");
    key.addEventListener("click", () => {
      field.value = digit === "⌫" ? field.value.slice(0, -1) : (stale ? "" : field.value) + digit;
      stale = false;
    });
    pad.append(key);
  }
}
