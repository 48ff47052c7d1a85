// Reading a label with the device's camera, without leaving the page. Where the browser reads no codes
// itself the button does not appear; any camera program opens a label's address all the same.
//
//   <p data-scan="f-code" data-next="f-value" hidden></p>   becomes a button that fills the field f-code
//   and goes on to f-value; with data-send it sends the field's form instead.
(() => {
  "use strict";
  const LOOK_MS = 150;
  const { code } = window.overwinter;

  const canScan = async () => {
    if (!("BarcodeDetector" in window) || !navigator.mediaDevices?.getUserMedia) return false;
    const kinds = await window.BarcodeDetector.getSupportedFormats().catch(() => []);
    return kinds.includes("qr_code");
  };

  const make = (name, text, attributes = {}) => {
    const element = document.createElement(name);
    element.textContent = text;
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    return element;
  };

  // The dialog with the camera's picture: answers with the first code that it sees, or "".
  const look = (stream) => new Promise((resolve) => {
    const dialog = make("dialog", "", { class: "scan", "aria-label": "Scan a label" });
    const picture = make("video", "", { muted: "", playsinline: "" });
    const says = make("p", "Hold a label before the camera.", { role: "status" });
    const close = make("button", "Type it instead", { type: "button", class: "second" });
    dialog.append(picture, says, close);
    document.body.append(dialog);
    const detector = new window.BarcodeDetector({ formats: ["qr_code"] });
    let timer;
    const end = (found) => {
      clearTimeout(timer);
      for (const track of stream.getTracks()) track.stop();
      dialog.remove();
      resolve(found);
    };
    const glance = async () => {
      const seen = await detector.detect(picture).catch(() => []);
      if (!dialog.isConnected) return;
      const codes = seen.map((one) => code.scanned(one.rawValue));
      const found = codes.find((one) => one !== "");
      if (found) return end(found);
      if (codes.length) says.textContent = "That is no label of a specimen.";
      timer = setTimeout(glance, LOOK_MS);
    };
    close.addEventListener("click", () => end(""));
    dialog.addEventListener("cancel", () => end(""));
    picture.muted = true;
    picture.srcObject = stream;
    // Until there is a picture the detector finds nothing, and looks again.
    picture.play().catch(() => {});
    dialog.showModal();
    glance();
  });

  const scan = async (place) => {
    const field = document.getElementById(place.dataset.scan);
    const says = place.querySelector("[role=status]");
    says.textContent = "";
    let stream;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    } catch {
      says.textContent = "The camera is not available; type the code.";
      return;
    }
    const found = await look(stream);
    if (found === "") return field.focus();
    field.value = found;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.dispatchEvent(new Event("change", { bubbles: true }));
    if ("send" in place.dataset) return field.form.requestSubmit();
    document.getElementById(place.dataset.next)?.focus();
  };

  const offer = async () => {
    if (!(await canScan())) return;
    for (const place of document.querySelectorAll("[data-scan]")) {
      if (place.firstChild) continue;
      const button = make("button", "Scan a label", { type: "button", class: "second" });
      button.addEventListener("click", () => scan(place));
      place.append(button, make("span", "", { role: "status", class: "hint" }));
      place.hidden = false;
    }
  };

  window.overwinter.scan = { offer };
  offer();
})();
