// Logging what was done to pieces: into the device's outbox, with or without a network.
(() => {
  "use strict";
  const form = document.querySelector("form[data-handle]");
  if (!form || !window.overwinter?.fieldwork) return;
  const { fieldwork } = window.overwinter;
  const work = fieldwork(form);
  const field = (name) => form.elements.namedItem(name);

  const read = () => {
    const specimens = work.chosen();
    if (!specimens.length) return work.stop("Tick at least one piece.", form.querySelector("input[name=all]"));
    const at = work.moment();
    if (!at) return null;
    const [note, into] = [field("note").value.trim(), field("into_holder")];
    if ("needsReason" in form.dataset && !note) return work.stop("Say what happened.", field("note"));
    if (work.asks(work.ahead(at))) return null;
    const body = { what: field("what").value, specimens, at: at.toISOString() };
    if (into) body.into_holder = into.value;
    return { kind: "handled", body: work.withMark(body), note, about: specimens };
  };

  work.onSubmit(async () => {
    const entry = read();
    if (!entry) return;
    const words = `${fieldwork.count(entry.about)}: ${form.dataset.handle}`;
    if (await work.record({ ...entry, words })) work.close(words, ["exposure/handle", "Log something else"]);
  });
})();
