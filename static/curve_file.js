// How a file is read takes effect as soon as it is chosen with a finger or a mouse: two taps put a wrong guess
// right. By keyboard the button does it, since arrow keys pass over choices that nobody means.
"use strict";

const reading = document.querySelector("#reading");

if (reading) {
  const again = reading.querySelector("button[value=read]");
  let isByKeys = false;
  reading.querySelector("#at-once").hidden = false;
  reading.addEventListener("keydown", () => {
    isByKeys = true;
  });
  for (const pointer of ["pointerdown", "mousedown", "touchstart"]) {
    reading.addEventListener(pointer, () => {
      isByKeys = false;
    });
  }
  reading.addEventListener("change", () => {
    if (!isByKeys) again.form.requestSubmit(again);
  });
}
