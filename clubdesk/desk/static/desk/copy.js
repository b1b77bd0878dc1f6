// What is written on a transfer is copied by one tap; where a browser cannot, it stays to be read.
"use strict";
const said = document.getElementById("copied");
for (const button of document.querySelectorAll("[data-copies]")) {
  if (!navigator.clipboard) break;
  button.hidden = false;
  button.addEventListener("click", async () => {
    await navigator.clipboard.writeText(button.dataset.copies);
    for (const other of document.querySelectorAll("[data-copies]")) other.textContent = "Copy";
    button.textContent = "Copied";
    said.textContent = button.getAttribute("aria-label").replace("Copy:", "Copied:");
  });
}
