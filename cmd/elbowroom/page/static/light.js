// Pointing at a node, or moving the focus into its row, lights it in every
// picture and table.
(() => {
  let lit = null;
  const light = (target) => {
    const at = target instanceof Element ? target.closest("[data-node]") : null;
    const node = at ? at.dataset.node : null;
    if (node === lit) return;
    for (const e of document.querySelectorAll(".lit")) e.classList.remove("lit");
    lit = node;
    if (node === null) return;
    for (const e of document.querySelectorAll(`[data-node="${CSS.escape(node)}"]`)) e.classList.add("lit");
  };
  document.addEventListener("pointerover", (e) => light(e.target));
  document.addEventListener("focusin", (e) => light(e.target));
})();
