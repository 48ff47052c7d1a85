// What waits on this device, one by one: what was refused with the reason and a way to mend it, what is
// still to be sent, and what was acknowledged.
(() => {
  "use strict";
  const place = document.querySelector("[data-waiting]");
  if (!place || !window.overwinter) return;
  const { outbox, send } = window.overwinter;
  const card = document.querySelector("#refused-card");
  const lists = Object.fromEntries(["refused", "codes", "waiting", "sent"].map((name) =>
    [name, place.querySelector(`[data-list=${name}]`)]));
  const says = place.querySelector("[data-says]");

  const moment = (text) => new Date(text).toLocaleString("en-GB", {
    day: "numeric", month: "long", year: "numeric", hour: "2-digit", minute: "2-digit",
  });
  const line = (text, quiet) => {
    const item = document.createElement("li");
    item.append(text);
    const small = item.appendChild(document.createElement("small"));
    small.className = "quiet";
    small.textContent = quiet;
    return item;
  };

  // The one reading or weighing of an entry, if it is about one: what names its piece.
  const readingOf = (row) => (row.kind === "drying_weighed" ? row.body : row.body.reading ?? null);
  const AGAIN = { state: "waiting", why: null, mend: null, piece: null };

  // What was typed into the card, as the entry it should be.
  const mended = (row, fields) => {
    const body = structuredClone(row.body);
    const code = fields.code.value.replace(/[\s-]/g, "").toUpperCase();
    const about = [...row.about];
    if (readingOf(row) && code) {
      (body.reading ?? body).specimen = code;
      about[0] = code;
    }
    const confirming = body.reading ?? body;
    if (fields.confirm.checked) confirming.is_confirmed_doubt = true;
    const words = row.about[0] ? row.words.replace(row.about[0], about[0]) : row.words;
    return { body, about, words, note: fields.reason.value.trim() || row.note, ...AGAIN };
  };

  // A rule is set aside with a reason: an entry that says so, then the refused one again. Recorded after
  // the entry that needs it, and sent before it.
  const clear = (row, needed, reason) => outbox.queue({ study: row.study, note: reason, ...needed })
    .then((first) => outbox.change([[row.n, { ...AGAIN, after: first.id, reason }]]))
    .then(() => send.now());
  // Only the piece that lacks them: a waiver of one that has its readings would be untrue.
  const stuck = (row) => [row.piece ?? row.about[0]];
  const waive = (row, reason) => clear(row, {
    kind: "waived", body: { specimens: stuck(row) }, words: `${stuck(row)}: readings waived`,
  }, reason);
  const override = (row, reason) => clear(row, {
    kind: "drying_overridden",
    body: { specimens: stuck(row), occasion: row.body.reading.occasion },
    words: `${stuck(row)}: drying rule overridden`,
  }, reason);

  // One piece of several is left out; the others go.
  const leaveOut = async (row) => {
    const without = (codes) => codes.filter((code) => code !== row.piece);
    const body = structuredClone(row.body);
    if (body.specimens) body.specimens = without(body.specimens);
    if (body.pieces) body.pieces = body.pieces.filter((one) => one.specimen !== row.piece);
    const words = `${row.words} (without ${row.piece})`;
    await outbox.change([[row.n, { ...AGAIN, body, about: without(row.about), words }]]);
    await send.now();
  };
  const isOneOfSeveral = (row) => row.piece !== null && row.about.length > 1 && row.about.includes(row.piece);

  const setAside = async (row, reason) => {
    const body = JSON.stringify({ id: row.id, entry: row, why: row.why ?? "", reason });
    const answer = await fetch("/sync/set-aside", {
      method: "POST", body, headers: { "content-type": "application/json" }, redirect: "error",
    }).catch(() => null);
    if (!answer?.ok) {
      says.textContent = "It stays here: the server could not be reached to keep it.";
      return;
    }
    await outbox.change([[row.n, { state: "sent", sent_at: new Date().toISOString(), aside: reason, why: null }]]);
    await send.now();
  };

  const drawCard = (row) => {
    const item = card.content.cloneNode(true).firstElementChild;
    const part = (name) => item.querySelector(`[data-${name}]`);
    part("words").textContent = row.words;
    part("why").textContent = row.why ?? "";
    part("when").textContent = `Taken ${moment(row.taken_at)}`;
    const fields = Object.fromEntries([...item.querySelectorAll("[name]")].map((field) => [field.name, field]));
    for (const field of Object.values(fields)) {
      field.id = `${field.name}-${row.n}`;
      field.closest("[data-field]").querySelector("label")?.setAttribute("for", field.id);
    }
    fields.code.value = row.about[0] ?? "";
    fields.code.closest("[data-field]").hidden = !readingOf(row);
    fields.confirm.closest("[data-field]").hidden = row.mend !== "confirm";
    fields.reason.value = row.reason ?? "";
    part("waive").hidden = row.mend !== "waive";
    part("override").hidden = row.mend !== "override";
    part("form").hidden = row.mend !== "form";
    // As it is it would be refused again.
    item.querySelector("form button:not([type])").hidden = row.mend === "form";
    part("form").href = `/desk/${row.slug}/exposure/nameless?mend=${row.n}`;
    part("leave").hidden = !isOneOfSeveral(row);
    part("leave").textContent = `Leave ${row.piece} out, send the others`;
    const piece = part("piece");
    piece.hidden = !row.about.length || !row.slug;
    if (row.slug) piece.href = `/desk/${row.slug}/specimens/${row.about[0]}`;
    const needsReason = (work) => {
      const reason = fields.reason.value.trim();
      if (reason) return work(row, reason);
      part("says").textContent = "Write down why first.";
      return fields.reason.focus();
    };
    item.querySelector("form").addEventListener("submit", async (event) => {
      event.preventDefault();
      if (row.mend === "reason" && !fields.reason.value.trim()) return needsReason(() => {});
      await outbox.change([[row.n, mended(row, fields)]]);
      return send.now();
    });
    part("waive").addEventListener("click", () => needsReason(waive));
    part("override").addEventListener("click", () => needsReason(override));
    part("leave").addEventListener("click", () => leaveOut(row));
    part("aside").addEventListener("click", () => needsReason(setAside));
    return item;
  };

  const download = async () => {
    const rows = await outbox.all();
    const file = new Blob([JSON.stringify(rows, null, 1)], { type: "application/json" });
    const link = document.createElement("a");
    link.href = URL.createObjectURL(file);
    link.download = `overwinter-queue-${new Date().toISOString().slice(0, 10)}.json`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  };

  const section = (name, count) => {
    const heading = place.querySelector(`[data-section=${name}]`);
    heading.hidden = count === 0;
    heading.querySelector("[data-count]").textContent = count;
  };

  // A code that the server gave to a piece found without its mark, until it stands on the bag.
  const drawCode = ([id, { code, mark, slug }]) => {
    const item = line(`${mark} is ${code}`, `Write ${code} on the bag marked ${mark}.`);
    const link = item.appendChild(document.createElement("a"));
    link.href = `/desk/${slug}/specimens/${code}`;
    link.textContent = "The piece’s page";
    const button = item.appendChild(document.createElement("button"));
    button.className = "second";
    button.type = "button";
    button.textContent = `${code} is written`;
    button.addEventListener("click", async () => {
      const { [id]: _, ...others } = (await outbox.fact("codes")) ?? {};
      await outbox.setFact("codes", others);
      outbox.changes.dispatchEvent(new Event("change"));
    });
    return item;
  };

  let drawn = "";
  const draw = async () => {
    const [refused, waiting, sent] = await Promise.all(["refused", "waiting", "sent"].map(outbox.inState));
    // Cards that somebody types into are left alone until something changes about them.
    const key = refused.map((row) => `${row.n} ${row.why}`).join("|");
    if (key !== drawn) lists.refused.replaceChildren(...refused.map(drawCard));
    drawn = key;
    const codes = Object.entries((await outbox.fact("codes")) ?? {});
    lists.codes.replaceChildren(...codes.map(drawCode));
    section("codes", codes.length);
    const behind = new Set(refused.flatMap((row) => row.about));
    const whyNot = (row) => (row.about.some((code) => behind.has(code)) ? " · waits behind the one above" : row.why ? ` · ${row.why}` : "");
    lists.waiting.replaceChildren(...waiting.map((row) => line(row.words, `taken ${moment(row.taken_at)}${whyNot(row)}`)));
    lists.sent.replaceChildren(...sent.slice(-100).reverse().map((row) =>
      line(row.code ? `${row.words}: ${row.code}` : row.words, `taken ${moment(row.taken_at)} · ${row.aside ? `set aside: ${row.aside}` : `no. ${row.receipt?.seq} of its journal`}`)));
    section("refused", refused.length);
    section("waiting", waiting.length);
    section("sent", sent.length);
    const isNone = refused.length + waiting.length === 0;
    place.querySelector("[data-none]").hidden = !isNone;
    place.querySelector("[data-send]").hidden = isNone;
  };

  let last = Promise.resolve();
  const redraw = () => { last = last.then(draw).catch((error) => { says.textContent = outbox.sentence(error); }); };
  outbox.changes.addEventListener("change", redraw);
  place.querySelector("[data-send]").addEventListener("click", () => send.now());
  place.querySelector("[data-download]").addEventListener("click", download);
  place.hidden = false;
  redraw();
})();
