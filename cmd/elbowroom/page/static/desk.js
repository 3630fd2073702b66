// After the answer has come, what a person had set by hand follows what is
// shown, but for the field that is being written in. What was written and not
// sent yet stays while answers come that nobody asked for.
const shown = new WeakMap(); // the value that a field had in the page
let sent = false;
document.addEventListener("submit", () => { sent = true; });
document.addEventListener("change", (e) => { sent ||= e.target.closest("form[hx-trigger]") !== null; });
document.addEventListener("htmx:after:swap", () => {
  for (const s of document.querySelectorAll("select[data-now]")) s.value = s.dataset.now;
  for (const i of document.querySelectorAll("input[id]")) {
    const now = i.getAttribute("value");
    if (i !== document.activeElement && (sent || shown.get(i) !== now)) i.value = now;
    shown.set(i, now);
  }
  sent = false;
});
for (const i of document.querySelectorAll("input[id]")) shown.set(i, i.getAttribute("value"));
