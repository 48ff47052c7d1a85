// A photograph is made smaller on the device before it is kept or sent: a phone's twelve megapixels
// are more than anybody looks at, and a weak line takes minutes for them. Drawing it anew also leaves
// behind whatever the camera wrote beside it. The server does all of this again.
(() => {
  "use strict";
  const LONGEST = 2560;
  const QUALITY = 0.9;
  const form = document.querySelector("form[data-photograph]");
  if (!form) return;
  const field = form.elements.namedItem("file");
  const preview = form.querySelector("[data-preview]");

  // Turned as the camera meant it; null when this browser cannot read the file.
  const smaller = async (file) => {
    const picture = await createImageBitmap(file, { imageOrientation: "from-image" }).catch(() => null);
    if (!picture) return null;
    const scale = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(picture.width * scale));
    canvas.height = Math.max(1, Math.round(picture.height * scale));
    const ground = canvas.getContext("2d");
    ground.fillStyle = "#fff";
    ground.fillRect(0, 0, canvas.width, canvas.height);
    ground.drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    return new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", QUALITY));
  };

  let ready = Promise.resolve();
  const prepare = async () => {
    const [file] = field.files;
    preview.hidden = true;
    if (!file) return;
    const blob = await smaller(file);
    // What the browser cannot read goes as it is: the server says what is wrong with it.
    if (!blob || field.files[0] !== file) return;
    const chosen = new DataTransfer();
    chosen.items.add(new File([blob], "photograph.jpg", { type: "image/jpeg" }));
    field.files = chosen.files;
    const reader = new FileReader();
    reader.onload = () => { preview.src = reader.result; preview.hidden = false; };
    reader.readAsDataURL(blob);
  };
  field.addEventListener("change", () => { ready = prepare(); });

  let isReady = false;
  form.addEventListener("submit", async (event) => {
    if (isReady) return;
    event.preventDefault();
    await ready;
    isReady = true;
    form.requestSubmit();
    // The page may come back when the sending fails.
    setTimeout(() => { isReady = false; }, 0);
  });
})();
