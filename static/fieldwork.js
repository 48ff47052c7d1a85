// What the forms that are used standing in the field have in common: pieces ticked, moments of the
// study's own zone, doubts asked about once, and recording into the device's outbox. Without scripts the
// same forms post to the server.
(() => {
  "use strict";
  if (!window.overwinter?.outbox) return;
  const { outbox, send } = window.overwinter;
  // As study/outing.rs: a form knows the minute only, and clocks differ a little.
  const AHEAD_MS = 120000;

  // What a clock on the wall of a zone shows at a moment, as if it were UTC.
  const wall = (moment, zone) => {
    const format = new Intl.DateTimeFormat("en-GB", {
      timeZone: zone, hourCycle: "h23", year: "numeric", month: "numeric", day: "numeric",
      hour: "numeric", minute: "numeric",
    });
    const parts = Object.fromEntries(format.formatToParts(moment).map(({ type, value }) => [type, Number(value)]));
    return Date.UTC(parts.year, parts.month - 1, parts.day, parts.hour, parts.minute);
  };

  // The moment at which that clock shows this day and time. Twice is enough: the first guess is off by
  // the zone's offset, the second by a change of it in between.
  const momentOf = (text, zone) => {
    const wanted = Date.parse(`${text}:00Z`);
    if (Number.isNaN(wanted)) return null;
    let guess = wanted;
    for (let n = 0; n < 2; n += 1) guess += wanted - wall(guess, zone);
    return new Date(guess);
  };

  // A moment, and now, as a field for day and time holds it.
  const fieldIn = (moment, zone) => new Date(wall(moment, zone)).toISOString().slice(0, 16);
  const nowIn = (zone) => fieldIn(Date.now(), zone);

  const fieldwork = (form) => {
    const { study, slug, zone } = form.dataset;
    const says = form.querySelector("[data-says]");
    const doubt = form.querySelector("[data-doubt]");
    // Nothing is ever doubtful where the form has no place to ask.
    const confirmed = doubt?.querySelector("input");
    const at = form.elements.namedItem("at");
    // A page kept since yesterday holds yesterday's time, and nobody would notice.
    const isKept = document.body.dataset.kept !== undefined;
    if (isKept && at && at.value === at.defaultValue) at.value = nowIn(zone);

    const stop = (sentence, field) => {
      says.textContent = sentence;
      field?.focus();
      return null;
    };

    const moment = () => momentOf(at.value, zone) ?? stop("Say when, day and time.", at);
    const ahead = (when) => (when.getTime() > Date.now() + AHEAD_MS ? ["This lies in the future."] : []);

    // Whether doubts stand in the way: they are asked about once, and what is confirmed is kept so.
    const asks = (doubts) => {
      if (!doubts.length || confirmed?.checked) return false;
      says.textContent = "";
      doubt.querySelector("[data-why]").textContent = doubts.join(" ");
      doubt.hidden = false;
      confirmed.focus();
      return true;
    };
    const withMark = (body) => (confirmed?.checked ? { ...body, is_confirmed_doubt: true } : body);
    const settle = () => {
      if (!doubt) return;
      confirmed.checked = false;
      doubt.hidden = true;
    };
    form.addEventListener("input", (event) => { if (event.target !== confirmed) settle(); });

    // The pieces ticked singly, with their holder or with their condition, in the order of the page.
    const chosen = () => {
      const taken = new Set();
      const inside = (place) => place?.querySelectorAll("input[name=piece]:enabled") ?? [];
      for (const all of form.querySelectorAll("input[name=all]:checked")) {
        const place = all.closest(".tick.all") ? all.closest("fieldset") : all.closest("label").nextElementSibling;
        inside(place).forEach((piece) => taken.add(piece.value));
      }
      form.querySelectorAll("input[name=piece]:checked:enabled").forEach((piece) => taken.add(piece.value));
      return [...inside(form)].map((piece) => piece.value).filter((code) => taken.has(code));
    };

    // Rows of this study that the page cannot know of yet: recorded here and unsent, or sent after the
    // page was kept.
    const unknown = async () => {
      const keptAt = Date.parse(document.body.dataset.kept ?? "");
      const isNews = (row) => row.state !== "sent" || (!row.aside && isKept && Date.parse(row.sent_at) >= keptAt);
      return (await outbox.all()).filter((row) => row.study === study && isNews(row));
    };

    let isBusy = false;
    // Into the outbox, once; null when the device could not keep it: then everything stays as typed.
    const record = async (entry) => {
      if (isBusy) return null;
      isBusy = true;
      try {
        const row = await outbox.queue({ study, slug, ...entry });
        send?.now();
        return row;
      } catch (error) {
        return stop(outbox.sentence(error));
      } finally {
        isBusy = false;
      }
    };

    // The form gives way to what was recorded, and to where one goes on from here.
    const close = (words, [address, label]) => {
      const done = document.createElement("p");
      done.className = "notice done";
      done.tabIndex = -1;
      done.append(`${words}: recorded. `);
      const more = done.appendChild(document.createElement("a"));
      more.href = `/desk/${slug}/${address}`;
      more.textContent = label;
      form.replaceWith(done);
      done.focus();
      return done;
    };

    const onSubmit = (work) => form.addEventListener("submit", (event) => {
      event.preventDefault();
      work();
    });

    return { at, says, stop, moment, ahead, asks, withMark, settle, chosen, unknown, record, close, onSubmit };
  };

  const count = (codes) => (codes.length === 1 ? codes[0] : `${codes.length} pieces`);

  window.overwinter.fieldwork = Object.assign(fieldwork, { count, nowIn, fieldIn });
})();
