// Logging what was done to pieces: into the device's outbox, with or without a network. Without this
// script the same form posts to the server.
(() => {
  "use strict";
  const form = document.querySelector("form[data-handle]");
  if (!form || !window.overwinter) return;
  const { outbox, send } = window.overwinter;
  const { study, slug, zone } = form.dataset;
  const says = form.querySelector("[data-handle-says]");

  // The pieces ticked singly, with their holder or with their condition, in the order of the page.
  const chosen = () => {
    const taken = new Set();
    const inside = (place) => place?.querySelectorAll("input[name=piece]") ?? [];
    for (const all of form.querySelectorAll("input[name=all]:checked")) {
      const place = all.closest(".tick.all") ? all.closest("fieldset") : all.closest("label").nextElementSibling;
      inside(place).forEach((piece) => taken.add(piece.value));
    }
    form.querySelectorAll("input[name=piece]:checked").forEach((piece) => taken.add(piece.value));
    return [...inside(form)].map((piece) => piece.value).filter((code) => taken.has(code));
  };

  // What a clock on the wall of the study's zone shows at a moment, as if it were UTC.
  const wall = (moment) => {
    const format = new Intl.DateTimeFormat("en-GB", {
      timeZone: zone, hourCycle: "h23", year: "numeric", month: "numeric", day: "numeric",
      hour: "numeric", minute: "numeric",
    });
    const parts = Object.fromEntries(format.formatToParts(moment).map(({ type, value }) => [type, Number(value)]));
    return Date.UTC(parts.year, parts.month - 1, parts.day, parts.hour, parts.minute);
  };

  // The moment at which that clock shows this day and time. Twice is enough: the first guess is off by
  // the zone's offset, the second by a change of it in between.
  const momentOf = (text) => {
    const wanted = Date.parse(`${text}:00Z`);
    if (Number.isNaN(wanted)) return null;
    let guess = wanted;
    for (let n = 0; n < 2; n += 1) guess += wanted - wall(guess);
    return new Date(guess);
  };

  const stop = (sentence, field) => {
    says.textContent = sentence;
    field?.focus();
  };

  const read = () => {
    const field = (name) => form.elements.namedItem(name);
    const [at, note, into] = [momentOf(field("at").value), field("note").value.trim(), field("into_holder")];
    const specimens = chosen();
    if (!specimens.length) return stop("Tick at least one piece.", form.querySelector("input[name=all]"));
    if (!at) return stop("Say when, day and time.", field("at"));
    if ("needsReason" in form.dataset && !note) return stop("Say what happened.", field("note"));
    const body = { what: field("what").value, specimens, at: at.toISOString() };
    if (into) body.into_holder = into.value;
    if (field("confirmed")?.checked) body.is_confirmed_doubt = true;
    return { body, note, about: specimens };
  };

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const entry = read();
    if (!entry) return;
    const count = entry.about.length;
    const words = `${count === 1 ? entry.about[0] : `${count} pieces`}: ${form.dataset.handle}`;
    try {
      await outbox.queue({ study, slug, kind: "handled", words, ...entry });
    } catch (error) {
      return stop(outbox.sentence(error));
    }
    send.now();
    const done = document.createElement("p");
    done.className = "notice done";
    done.setAttribute("role", "status");
    done.append(`${words}: recorded. `);
    const more = done.appendChild(document.createElement("a"));
    more.href = `/desk/${slug}/exposure/handle`;
    more.textContent = "Log something else";
    form.replaceWith(done);
  });
})();
