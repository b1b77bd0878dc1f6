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
