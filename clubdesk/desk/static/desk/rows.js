/* One row more in place; without this script the button asks the site for the page with one more. */
for (const box of document.querySelectorAll("[data-rows]")) {
  const button = box.querySelector("button[name=more]");
  if (!button) continue;
  const prefix = box.dataset.rows;
  const pattern = box.querySelector(":scope > template");
  const count = document.querySelector(`[name="${prefix}-TOTAL_FORMS"]`);
  button.addEventListener("click", (event) => {
    event.preventDefault();
    const number = Number(count.value);
    const row = pattern.content.firstElementChild.cloneNode(true);
    for (const each of [row, ...row.querySelectorAll("[name], [id], [for], [aria-describedby]")]) {
      for (const name of ["name", "id", "for", "aria-describedby"]) {
        if (each.hasAttribute(name)) each.setAttribute(name, each.getAttribute(name).replaceAll("__prefix__", number));
      }
    }
    row.querySelector(".number").textContent = number + 1;
    for (const name of box.dataset.carries.split(" ").filter(Boolean)) {
      const before = document.querySelector(`[name="${prefix}-${number - 1}-${name}"]`);
      if (before) row.querySelector(`[name="${prefix}-${number}-${name}"]`).value = before.value;
    }
    pattern.before(row);
    count.value = number + 1;
    row.dispatchEvent(new CustomEvent("formset:added", { bubbles: true, detail: { formsetName: prefix } }));
    const first = row.querySelector("input:not([type=hidden]), select");
    if (first) first.focus();
    if (number + 1 >= Number(box.dataset.most)) button.closest(".add").hidden = true;
  });
}
