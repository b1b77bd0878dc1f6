/* On a phone the filters of a list are one line until they are wanted, or hold. */
for (const filters of document.querySelectorAll(".filters:not([data-active])")) {
  if (matchMedia("(max-width: 767px)").matches) filters.open = false;
}
