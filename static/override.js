// Overriding the plan's drying rule for several pieces, with a reason: into the device's outbox, one entry for
// each occasion.
(() => {
  "use strict";
  const form = document.querySelector("form[data-override]");
  if (!form || !window.overwinter?.fieldwork) return;
  const { fieldwork, outbox } = window.overwinter;
  const work = fieldwork(form);
  const occasions = JSON.parse(form.dataset.override);
  const reason = form.elements.namedItem("reason");

  work.onSubmit(async () => {
    const chosen = work.chosen();
    if (!chosen.length) return work.stop("Tick at least one piece.", form.querySelector("input[name=all]"));
    const note = reason.value.trim();
    if (!note) return work.stop("Say why the mass is taken before it is constant.", reason);
    const words = `${fieldwork.count(chosen)}: drying rule overridden`;
    for (const occasion of new Set(chosen.map((code) => occasions[code]))) {
      const specimens = chosen.filter((code) => occasions[code] === occasion);
      const entry = { kind: "drying_overridden", body: { specimens, occasion }, note, about: specimens };
      if (!(await work.record({ ...entry, words: `${fieldwork.count(specimens)}: drying rule overridden` }))) return null;
      // Kept: were the next one refused by a full device, these are not asked for again.
      form.querySelectorAll("input[name=piece]").forEach((box) => { box.disabled ||= specimens.includes(box.value); });
    }
    return work.close(words, ["drying", "Back to the drying"]);
  });

  const draw = async () => {
    const rows = await work.unknown();
    const done = new Set(rows.filter((row) => row.kind === "drying_overridden").flatMap((row) => row.body.specimens));
    for (const box of form.querySelectorAll("input[name=piece]")) {
      if (!done.has(box.value)) continue;
      box.disabled = true;
      box.closest("label").querySelector("small").textContent = "overridden, recorded here";
    }
  };
  draw().catch((error) => work.stop(outbox.sentence(error)));
})();
