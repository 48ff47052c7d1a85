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
  const preview = document.createElement("img");
  preview.dataset.preview = "";
  preview.alt = "The picture chosen";
  preview.hidden = true;
  form.querySelector("[data-preview-place]").append(preview);

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

  const outbox = window.overwinter?.outbox;
  const says = form.querySelector("[data-photograph-says]");

  // What the form says, as the journal's entry holds it; null while something is wrong with it, which
  // the server's own page says best.
  const described = () => {
    const view = form.elements.namedItem("view").value;
    const frame = form.elements.namedItem("frame").value.trim().replace(",", ".");
    const frame_mm = frame === "" ? null : Number(frame);
    if (!view || (frame_mm !== null && !(frame_mm > 0 && frame_mm <= 20000))) return null;
    const { holder, photograph } = form.dataset;
    return { ...(holder ? { specimens: [], holder } : { specimens: [photograph] }), view, frame_mm };
  };

  // Into the device's queue, from where it is sent by and by; false when the form must go by itself.
  const queue = async () => {
    const body = described();
    const [file] = field.files;
    if (!outbox || !document.body.dataset.account || !file || !body) return false;
    const view = form.querySelector("input[name=view]:checked").parentElement.textContent.trim();
    await outbox.queue({
      // Not the form's own id: a page that is kept on the device is opened more than once.
      study: form.dataset.study,
      slug: form.dataset.slug,
      kind: "photograph_taken",
      body,
      note: form.elements.namedItem("note").value.trim() || null,
      about: body.specimens,
      words: `${form.dataset.photograph}: photograph, ${view}`,
      door: "/photographs",
    }, [{ name: "photograph.jpg", blob: file }]);
    window.overwinter.send?.now();
    return true;
  };

  // Kept here; the form is ready for the next picture of the piece.
  const keepOn = (id) => {
    form.reset();
    form.elements.namedItem("entry").value = id;
    preview.hidden = true;
    says.textContent = "Kept on this device; the strip says when it is sent. Another one?";
    says.hidden = false;
    field.focus();
  };

  let isPlain = false;
  form.addEventListener("submit", async (event) => {
    if (isPlain) return;
    event.preventDefault();
    says.hidden = true;
    await ready;
    try {
      if (await queue()) return keepOn(outbox.newId());
    } catch (error) {
      says.textContent = outbox.sentence(error);
      says.hidden = false;
      return;
    }
    isPlain = true;
    form.requestSubmit(event.submitter);
    // The page may come back when the sending fails.
    setTimeout(() => { isPlain = false; }, 0);
  });
})();
