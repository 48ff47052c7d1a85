// An incident on a holder: into the device's outbox, with or without a network.
(() => {
  "use strict";
  const form = document.querySelector("form[data-incident]");
  if (!form || !window.overwinter?.fieldwork) return;
  const { fieldwork } = window.overwinter;
  const work = fieldwork(form);
  const field = (name) => form.elements.namedItem(name);
  const today = fieldwork.nowIn(form.dataset.zone).slice(0, 10);
  const [from, until] = ["from", "until"].map(field);
  // A page kept since yesterday holds yesterday's day.
  if (document.body.dataset.kept !== undefined && from.value === from.defaultValue) from.value = today;

  // The rules of web/steward/exposure_incident.rs; whether one holder leads into the other is the server's to say.
  const read = () => {
    const note = field("note").value.trim();
    if (!note) return work.stop("Say what happened.", field("note"));
    if (!from.value) return work.stop("The first day is missing.", from);
    if (until.value && until.value < from.value) return work.stop("The last day lies before the first one.", until);
    const isAhead = [from.value, until.value].some((day) => day > today);
    if (work.asks(isAhead ? ["A day lies in the future."] : [])) return null;
    const body = { holder: field("holder").value, from: from.value, decision: field("decision").value };
    if (until.value) body.until = until.value;
    if (field("into_holder").value) body.into_holder = field("into_holder").value;
    return { kind: "incident", body, note, about: [] };
  };

  work.onSubmit(async () => {
    const entry = read();
    if (!entry) return;
    const words = `Incident on ${field("holder").selectedOptions[0].textContent.trim()}`;
    if (await work.record({ ...entry, words })) work.close(words, ["exposure", "Back to the exposure"]);
  });
})();
