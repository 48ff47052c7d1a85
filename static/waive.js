// Waiving baseline readings, with a reason: into the device's outbox, with or without a network.
(() => {
  "use strict";
  const form = document.querySelector("form[data-waive]");
  if (!form || !window.overwinter?.fieldwork) return;
  const { fieldwork, outbox } = window.overwinter;
  const work = fieldwork(form);
  const reason = form.elements.namedItem("reason");

  work.onSubmit(async () => {
    const specimens = work.chosen();
    if (!specimens.length) return work.stop("Tick at least one piece.", form.querySelector("input[name=piece]:enabled"));
    const note = reason.value.trim();
    if (!note) return work.stop("Say why they were not measured.", reason);
    const words = `${fieldwork.count(specimens)}: readings waived`;
    const row = await work.record({ kind: "waived", body: { specimens }, note, about: specimens, words });
    return row && work.close(words, ["exposure/out", "Put out"]);
  });

  const draw = async () => {
    const rows = await work.unknown();
    const done = new Set(rows.filter((row) => row.kind === "waived").flatMap((row) => row.body.specimens));
    for (const box of form.querySelectorAll("input[name=piece]")) {
      if (!done.has(box.value)) continue;
      box.disabled = true;
      box.closest("label").querySelector("small").textContent = "waived, recorded here";
    }
  };
  draw().catch((error) => work.stop(outbox.sentence(error)));
})();
