/* The key / leads to the box that finds, from any page, unless something is being typed or it was switched off here. */
const box = document.getElementById("site-find");
const KEPT = "no-find-key";
if (box) {
  document.addEventListener("keydown", (event) => {
    const typing = event.target.closest("input, textarea, select, [contenteditable], dialog");
    if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey || typing || localStorage.getItem(KEPT)) return;
    event.preventDefault();
    box.focus();
    box.select();
  });
}

/* Whoever speaks to the machine or hits keys by chance can switch it off. */
for (const choice of document.querySelectorAll("[data-find-key]")) {
  const tick = choice.querySelector("input");
  tick.checked = !localStorage.getItem(KEPT);
  tick.addEventListener("change", () => (tick.checked ? localStorage.removeItem(KEPT) : localStorage.setItem(KEPT, "1")));
  choice.hidden = false;
}
