// After the answer has come, what a person had set by hand follows what is
// shown, but for the field that is being written in.
document.addEventListener("htmx:after:swap", () => {
  for (const s of document.querySelectorAll("select[data-now]")) s.value = s.dataset.now;
  for (const i of document.querySelectorAll("input[id]")) {
    if (i !== document.activeElement) i.value = i.getAttribute("value");
  }
});
