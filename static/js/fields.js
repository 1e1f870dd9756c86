// A number that stands in a field gives way to the first digit typed: no taking back one by one.
document.addEventListener("focusin", (event) => {
  const field = event.target;
  if (field instanceof HTMLInputElement && field.matches(".fields input[inputmode], .circuit input")) {
    requestAnimationFrame(() => field.select());
  }
});
