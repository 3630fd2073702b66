// After an answer has come, a field follows what is shown if it was sent, or if
// what is shown has changed; what was written or chosen and not sent yet stays.
// The field that is being written in follows when it is left as it was answered.
const shown = new WeakMap(); // the value that a field had in the page
const due = new WeakSet(); // fields that have yet to follow
const fields = () => document.querySelectorAll("select[data-now], input[id]");
const now = (field) => field.dataset.now ?? field.getAttribute("value");
const follow = (field) => {
  if (!field.matches("input:focus") && due.delete(field)) field.value = now(field);
};
document.addEventListener("htmx:after:swap", (e) => {
  const sent = e.detail.ctx.request.form;
  for (const f of fields()) {
    if (sent?.contains(f) || shown.get(f) !== now(f)) due.add(f);
    follow(f);
    shown.set(f, now(f));
  }
});
document.addEventListener("input", (e) => due.delete(e.target));
document.addEventListener("focusout", (e) => follow(e.target));
for (const f of fields()) shown.set(f, now(f));
