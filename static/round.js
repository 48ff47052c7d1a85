// The measuring round: a code, one number, next. Everything is checked at once and recorded in the
// device's outbox, with or without a network. Without this script the same form posts to the server.
(() => {
  "use strict";
  const form = document.querySelector("form[data-round]");
  // A page that asks about a doubtful value came from the server as it is: it goes back there.
  if (!form || !document.querySelector("[data-doubt]") || !window.overwinter?.roundState) return;
  const { outbox, send, check, code: spelling, roundState } = window.overwinter;
  const data = JSON.parse(form.dataset.round);
  const round = roundState(data);
  // Where the plan wants this mass dry: how the pieces stand, by the page and the outbox together.
  const dry = data.drying ? window.overwinter.dryState(data.drying) : null;
  const part = (name) => document.querySelector(`[data-${name}]`);
  const [code, value] = ["code", "value"].map((name) => form.elements.namedItem(name));
  const [says, hint, said, asks] = ["check", "piece", "said", "doubt"].map(part);
  const confirmed = asks.querySelector("input");
  // The reading that is being corrected, when one is.
  let undoing = null;
  let isBusy = false;

  const show = (element, text) => { if (element.textContent !== text) element.textContent = text; };
  const written = (si) => (si / data.one).toFixed(data.decimals);
  const words = (si) => `${written(si)} ${data.symbol}`;
  const short = (si) => Number((si / data.one).toPrecision(4)).toString();

  const valueDoubt = (piece) => {
    if (value.value.trim() === "") return "";
    const { value: number, fault } = check.number(value.value, "The value");
    if (fault) return fault;
    const range = check.usualRange(round.expected(piece ?? { code: "", others: {} }, 0), data.rules);
    const si = number * data.one;
    if (!range || (si >= range[0] && si <= range[1])) return "";
    return `Outside what siblings show (${short(Math.max(range[0], 0))} to ${short(range[1])} ${data.symbol}): look again.`;
  };

  const codeDoubt = (typed, piece) => {
    if (typed.length < 5) return "";
    if (piece) return round.needs.has(typed) ? `${typed} needs you: ${round.needs.get(typed)}` : "";
    return spelling.sentence(typed) || `${typed} does not belong to this round.`;
  };

  // While something is typed.
  const look = () => {
    const typed = spelling.bare(code.value);
    const piece = round.piece(typed);
    show(says, codeDoubt(typed, piece) || valueDoubt(piece));
    hint.hidden = !piece;
    if (piece && hint.dataset.piece !== typed) drawPiece(piece);
  };

  const drawPiece = (piece) => {
    hint.dataset.piece = piece.code;
    const repeat = round.freeRepeat(piece);
    const which = data.wanted > 1 && repeat ? `reading ${repeat} of ${data.wanted}` : "";
    show(hint, undoing ? `Correcting ${piece.code}: ${undoing.text} ${undoing.unit} stands` : [piece.origin, which].filter(Boolean).join(" · "));
    const spread = round.siblings(piece.code);
    show(part("siblings"), spread
      ? `Siblings: ${spread.n} so far: median ${words(spread.median)}, from ${written(spread.smallest)} to ${words(spread.largest)}.`
      : "No sibling is measured yet.");
  };

  const drawRound = () => {
    const { done, of } = round.progress();
    const bar = document.querySelector("main.round progress");
    show(part("count"), `${done} of ${of}`);
    bar.value = done;
    bar.max = of;
    const missing = round.missing();
    const name = (piece) => piece.code + (round.needs.has(piece.code) ? " (needs you)" : round.skipped.has(piece.code) ? " (skipped)" : "");
    show(part("missing-count"), missing.length ? `${missing.length} still to read` : "Nothing is missing");
    show(part("missing-codes"), missing.map(name).join(", "));
    part("done").hidden = missing.some((piece) => !round.needs.has(piece.code));
    part("missing").open = part("missing").open || round.skipped.size + round.needs.size >= missing.length;
    const last = round.last();
    part("last").hidden = !last || undoing !== null;
    if (last) show(part("last-words"), `Saved last: ${last.piece.code}, ${last.reading.text} ${data.symbol}.`);
    if (last) show(part("undo"), `Undo or correct ${last.piece.code}`);
    part("undoing").hidden = undoing === null;
    part("skip").hidden = !round.next(spelling.bare(code.value)) || undoing !== null;
    show(part("skip"), `Skip ${spelling.bare(code.value)}`);
  };

  const goTo = (piece) => {
    code.value = piece?.code ?? "";
    value.value = "";
    code.readOnly = undoing !== null;
    doubt("");
    hint.dataset.piece = "";
    look();
    drawRound();
    (piece ? value : code).focus();
  };

  // Asked once about a doubtful value.
  const doubt = (sentences) => {
    asks.hidden = !sentences;
    confirmed.checked = false;
    show(asks.querySelector("[data-why]"), sentences);
    if (sentences) confirmed.focus();
  };

  const changeOf = (piece, si) => {
    if (data.occasion === "before" || piece.before == null) return "";
    const percent = (100 * (si - piece.before)) / piece.before;
    return ` Before: ${words(piece.before)} (${check.signed(percent, 2)} %).`;
  };

  const readingOf = (piece, si, isDoubted) => ({
    specimen: piece.code, quantity: data.quantity, occasion: data.occasion,
    repeat: undoing ? undoing.repeat : round.freeRepeat(piece), state: data.state, value: si,
    typed: { text: value.value.trim(), unit: data.unit }, instrument: data.instrument,
    ...(isDoubted ? { is_confirmed_doubt: true } : {}),
  });

  const stop = (sentence, field) => {
    show(says, sentence);
    field.focus();
    field.select();
  };

  // Into the outbox; what was typed stays until it is on this device's disk.
  const keep = async (entry) => {
    isBusy = true;
    try {
      const row = await outbox.queue({ study: data.study, slug: data.slug, ...entry });
      round.apply(row);
      send.now();
      return row;
    } catch (error) {
      show(says, outbox.sentence(error));
      return null;
    } finally {
      isBusy = false;
    }
  };

  const save = async () => {
    const typed = spelling.bare(code.value);
    const piece = round.piece(typed);
    if (!piece) return stop(spelling.sentence(typed) || `${typed} does not belong to this round.`, code);
    if (!undoing && round.freeRepeat(piece) === null) return stop(`${typed} has its readings. Undo or correct one to change it.`, code);
    const drying = undoing ? null : dry?.piece(typed);
    if (drying && !dry.mayTake(drying)) {
      return stop(`${typed} is not dry by the plan’s rule: ${dry.words(drying)}. Weigh it in the drying round, or override the rule there with a reason.`, value);
    }
    const { value: number, fault } = check.number(value.value, "The value");
    if (fault) return stop(fault, value);
    const si = number * data.one;
    const doubts = check.doubts(si, round.expected(piece, si), data.rules);
    if (doubts.length && !confirmed.checked) return doubt(doubts.join(" "));
    const reading = readingOf(piece, si, doubts.length > 0);
    const text = `${value.value.trim()} ${data.symbol}`;
    const entry = undoing
      ? { kind: "reading_corrected", body: { supersedes: undoing.entry, reading }, note: "Mistyped in the round, corrected at once." }
      : { kind: "reading_taken", body: { reading } };
    const row = await keep({ ...entry, about: [piece.code], words: `${piece.code}: ${data.label} ${text}` });
    if (!row) return undefined;
    const change = changeOf(piece, si);
    show(said, `${piece.code}: ${text} ${undoing ? "recorded instead" : "recorded"}.${change}`);
    said.hidden = false;
    undoing = null;
    return goTo(round.freeRepeat(piece) === null ? round.next(piece.code) : piece);
  };

  const undo = () => {
    const last = round.last();
    if (!last) return;
    undoing = last.reading;
    goTo(last.piece);
    value.value = last.reading.text;
    value.select();
  };

  const takeBack = async () => {
    const { piece } = round.last();
    const entry = { kind: "voided", body: { entry: undoing.entry }, note: "Taken back in the round." };
    const row = await keep({ ...entry, about: [piece.code], words: `${piece.code}: ${undoing.text} ${data.symbol} taken back` });
    if (!row) return;
    show(said, `${piece.code}: ${undoing.text} ${data.symbol} taken back. It stays in the record, marked void.`);
    said.hidden = false;
    undoing = null;
    goTo(piece);
  };

  const skip = () => {
    const typed = spelling.bare(code.value);
    if (round.piece(typed)) round.skipped.add(typed);
    goTo(round.next(typed));
  };

  const on = (name, work) => part(name).addEventListener("click", (event) => {
    event.preventDefault();
    if (!isBusy) work();
  });
  on("undo", undo);
  on("take-back", takeBack);
  on("leave", () => { undoing = null; goTo(round.next("")); });
  on("skip", skip);

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (!isBusy) save();
  });
  // Enter in the code field, as a hand scanner sends it too, goes on to the number.
  code.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || value.value.trim() !== "") return;
    event.preventDefault();
    value.focus();
  });
  code.addEventListener("focus", () => code.select());
  form.addEventListener("input", (event) => {
    if (event.target !== confirmed) doubt("");
    look();
  });

  const begin = async () => {
    await round.catchUp().catch((error) => show(says, outbox.sentence(error)));
    if (dry) await outbox.all().then((rows) => rows.filter((row) => row.study === data.study).forEach(dry.apply));
    const asked = new URLSearchParams(location.search);
    const wanted = round.piece(spelling.bare(asked.get("at") ?? "")) ?? round.next(asked.get("after") ?? "");
    if (value.value === "" && !undoing) goTo(wanted);
    // What the server refused meanwhile shows here too.
    outbox.changes.addEventListener("change", async () => {
      const before = round.needs.size;
      for (const row of await outbox.inState("refused")) round.refuse(row);
      if (round.needs.size !== before) drawRound();
    });
    form.dataset.ready = "yes";
  };
  begin();
})();
