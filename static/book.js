// Scripts only add: nothing here is needed to write anything down.
"use strict";
(() => {
  // A key that is tapped a second time is taken back, so that 'not stated' can be said again.
  const radioAt = (event) => event.target.closest?.("label.key")?.querySelector('input[type="radio"]');
  document.addEventListener("pointerdown", (event) => {
    const radio = radioAt(event);
    if (radio) radio.dataset.was = radio.checked;
  });
  document.addEventListener("click", (event) => {
    const radio = radioAt(event);
    if (radio !== event.target || radio?.dataset.was !== "true") return;
    radio.checked = false;
    radio.dataset.was = "";
  });
  // A form that came back is opened at its first problem.
  document.querySelector(".says")?.closest(".field, fieldset, li")?.scrollIntoView({ block: "center" });
})();
