// Putting out: into the device's outbox, with or without a network. What this device recorded since the
// page was made counts: pieces measured here may go, pieces put out here are not asked for again.
(() => {
  "use strict";
  const form = document.querySelector("form[data-put-out]");
  if (!form || !window.overwinter?.fieldwork) return;
  const { fieldwork, outbox } = window.overwinter;
  const work = fieldwork(form);
  const { putOut, begun, begunWords } = form.dataset;
  const note = form.elements.namedItem("note");

  // How many readings of each kind this device took of each piece.
  const taken = (rows) => {
    const counts = new Map();
    for (const { body, kind, state } of rows) {
      const { reading } = body;
      if (kind !== "reading_taken" || state === "refused") continue;
      if (reading.occasion !== "before" || reading.state !== putOut) continue;
      const key = `${reading.specimen} ${reading.quantity}`;
      counts.set(key, (counts.get(key) ?? 0) + 1);
    }
    return counts;
  };

  const draw = async () => {
    const rows = await work.unknown();
    const gone = new Set(rows.filter((row) => row.kind === "put_out").flatMap((row) => row.body.specimens));
    const waived = new Set(rows.filter((row) => row.kind === "waived").flatMap((row) => row.body.specimens));
    const counts = taken(rows);
    const lacks = (code, missing) => missing.some(([quantity, many]) => (counts.get(`${code} ${quantity}`) ?? 0) < many);
    const held = form.querySelector("[data-held]");
    for (const box of form.querySelectorAll("input[name=piece]")) {
      const missing = JSON.parse(box.dataset.missing ?? "[]");
      const isHeld = missing.length > 0 && !waived.has(box.value) && lacks(box.value, missing);
      box.disabled = gone.has(box.value) || isHeld;
      if (box.dataset.missing) box.closest("label").hidden = box.disabled;
      else if (gone.has(box.value)) box.closest("label").querySelector("small").textContent = "put out, recorded here";
    }
    if (!held) return;
    held.hidden = !held.querySelector("input:enabled");
    form.hidden = form.hidden && held.hidden;
  };

  // As study/outing.rs has it: a day alone counts from noon, so the day of the seal is never doubtful.
  const tooEarly = (at) => (begun && at.getTime() + 24 * 3600e3 < Date.parse(begun)
    ? [`This lies before the plan was sealed on ${begunWords}.`] : []);

  work.onSubmit(async () => {
    const specimens = work.chosen();
    if (!specimens.length) return work.stop("Tick at least one piece.", form.querySelector("input[name=all]"));
    const at = work.moment();
    if (!at || work.asks([...work.ahead(at), ...tooEarly(at)])) return null;
    const words = `${fieldwork.count(specimens)}: put out`;
    const body = work.withMark({ specimens, at: at.toISOString() });
    const entry = { kind: "put_out", body, note: note.value.trim(), about: specimens, words };
    return (await work.record(entry)) && work.close(words, ["exposure/out", "Put out others"]);
  });
  draw().catch((error) => work.stop(outbox.sentence(error)));
})();
