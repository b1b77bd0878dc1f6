/* The finder's box has no name of its own until something is chosen; give it its field's, once the finder stands. */
if (window.django && django.jQuery) {
  django.jQuery(() => {
    for (const box of document.querySelectorAll(".select2-selection__rendered")) {
      const field = box.closest(".field, .form-row");
      const label = field && field.querySelector("label, legend");
      if (label) box.setAttribute("aria-label", label.textContent.trim());
    }
  });
}

/* What the counted notes and coins come to, while they are typed. */
for (const box of document.querySelectorAll(".pieces")) {
  const sum = () => {
    let cents = 0;
    for (const input of box.querySelectorAll("input")) cents += (Number.parseInt(input.value, 10) || 0) * Number(input.dataset.cents);
    box.querySelector("output").textContent = box.dataset.sign + (cents / 100).toFixed(2);
  };
  box.addEventListener("input", sum);
  sum();
}

/* Lines, as of a journal: what both sides come to while they are typed, and one more line. */
for (const box of document.querySelectorAll(".lines[data-lines]")) {
  const list = box.querySelector("ol");
  const count = box.querySelector(`[name="${box.dataset.lines}-TOTAL_FORMS"]`) || document.querySelector(`[name="${box.dataset.lines}-TOTAL_FORMS"]`);
  const said = box.querySelector(".sums");
  const side = (name) => [...list.querySelectorAll(`[name$="-${name}"]`)].reduce((sum, input) => sum + Math.round((Number.parseFloat(input.value.replaceAll(",", "")) || 0) * 100), 0);
  const sum = () => {
    if (!said) return;
    const [debit, credit] = [side("debit"), side("credit")];
    const out = Math.abs(debit - credit) / 100;
    const money = (figure) => box.dataset.sign + figure.toFixed(2);
    said.textContent = `Debits ${money(debit / 100)} · credits ${money(credit / 100)} · ${out ? `out by ${money(out)}` : debit ? "both sides agree" : "nothing typed yet"}`;
    said.classList.toggle("out", Boolean(out));
    said.hidden = false;
  };
  const more = box.querySelector(".more");
  more.hidden = false;
  more.addEventListener("click", () => {
    const number = Number(count.value);
    const line = list.lastElementChild.cloneNode(true);
    line.classList.remove("errors");
    for (const each of line.querySelectorAll(".errorlist")) each.remove();
    for (const each of line.querySelectorAll("[name], [for], [id]")) {
      for (const name of ["name", "for", "id"]) {
        if (each.hasAttribute(name)) each.setAttribute(name, each.getAttribute(name).replace(/-\d+-/, `-${number}-`));
      }
      if (each.matches("input")) each.value = "";
    }
    list.append(line);
    count.value = number + 1;
    line.querySelector("select, input").focus();
  });
  box.addEventListener("input", sum);
  sum();
}

/* A table wider than its place says so, and keeps its first column in sight. */
for (const box of document.querySelectorAll(".scroll")) {
  if (box.scrollWidth <= box.clientWidth + 1) continue;
  box.classList.add("wider");
  const said = document.createElement("p");
  said.className = "slide";
  said.textContent = "The table goes on to the right; slide it sideways.";
  box.before(said);
}
