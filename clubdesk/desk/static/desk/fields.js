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
    box.querySelector("output").textContent = (cents / 100).toFixed(2);
  };
  box.addEventListener("input", sum);
  sum();
}
