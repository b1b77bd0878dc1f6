/* The finder's box has no name of its own until something is chosen; give it its field's, once the finder stands. */
if (window.django && django.jQuery) {
  const named = (part) => {
    for (const box of part.querySelectorAll(".select2-selection__rendered")) {
      const field = box.closest(".field, .form-row");
      const label = field && field.querySelector("label, legend");
      if (label) box.setAttribute("aria-label", label.textContent.trim());
    }
  };
  django.jQuery(() => named(document));
  document.addEventListener("formset:added", (event) => setTimeout(() => named(event.target)));
}

/* What the counted notes and coins come to, while they are typed. */
for (const box of document.querySelectorAll(".pieces")) {
  const sum = () => {
    let cents = 0;
    for (const input of box.querySelectorAll("input")) cents += (Number.parseInt(input.value, 10) || 0) * Number(input.dataset.cents);
    box.querySelector("output").textContent = box.dataset.sign + (cents / 100).toLocaleString("en", { minimumFractionDigits: 2 });
  };
  box.addEventListener("input", sum);
  sum();
}

/* Lines, as of a journal: what they come to while they are typed, and one more line. */
const inCents = (input) => Math.round((Number.parseFloat(input.value.replaceAll(/[^0-9.−-]/g, "").replace("−", "-")) || 0) * 100);
const typed = (lines, name) => lines.reduce((sum, line) => sum + inCents(line.querySelector(`[name$="-${name}"]`)), 0);
const added = {
  sides(lines, money) {
    const [debit, credit] = [typed(lines, "debit"), typed(lines, "credit")];
    const state = debit !== credit ? `out by ${money(Math.abs(debit - credit))}` : debit ? "both sides agree" : "nothing typed yet";
    return { said: `Debits ${money(debit)} · credits ${money(credit)} · ${state}`, out: debit !== credit };
  },
  funds(lines, money) {
    const funds = new Map();
    for (const line of lines) {
      const fund = line.querySelector('[name$="-fund"]').selectedOptions[0].textContent;
      funds.set(fund, [...(funds.get(fund) || []), line]);
    }
    const said = [];
    for (const [fund, own] of funds) {
      const [had, owed] = [typed(own, "debit"), typed(own, "credit")];
      if (had || owed) said.push(`${fund}: had ${money(had)}, owed or worn off ${money(owed)}; the club’s own ${money(had - owed)}`);
    }
    return { said: said.join("\n") || "Nothing typed yet.", out: false };
  },
};
for (const box of document.querySelectorAll(".lines[data-lines]")) {
  const list = box.querySelector("ol");
  const count = box.querySelector(`[name="${box.dataset.lines}-TOTAL_FORMS"]`) || document.querySelector(`[name="${box.dataset.lines}-TOTAL_FORMS"]`);
  const said = box.querySelector(".sums");
  const money = (cents) => (cents < 0 ? "−" : "") + box.dataset.sign + (Math.abs(cents) / 100).toLocaleString("en", { minimumFractionDigits: 2 });
  const sum = () => {
    if (!said) return;
    const told = added[box.dataset.sums]([...list.children], money);
    said.textContent = told.said;
    said.classList.toggle("out", told.out);
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
  box.addEventListener("change", sum);
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

/* The signs that Django's two-sided list puts beside its boxes have a name and no part in the page. */
addEventListener("load", () => {
  for (const sign of document.querySelectorAll(".help-tooltip[aria-label]")) sign.setAttribute("role", "img");
});
