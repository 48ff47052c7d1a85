// A weighing while a piece dries: into the device's outbox, with or without a network; then the page says
// how the piece stands by the plan's rule, and the form is ready for the next one.
(() => {
  "use strict";
  const form = document.querySelector("form[data-drying]");
  if (!form || !window.overwinter?.dryVerdict) return;
  const { fieldwork, check, code: spelling, outbox, dryVerdict } = window.overwinter;
  const { dry } = dryVerdict;
  const work = fieldwork(form);
  const data = JSON.parse(form.dataset.drying);
  const field = (name) => form.elements.namedItem(name);
  const [code, value, unit, balance] = ["code", "value", "unit", "instrument"].map(field);

  // As web/steward/drying_list.rs marks a piece.
  const tagOf = (piece) => {
    const found = dry.judged(piece);
    if (found.word === "constant") return ["done", "constant"];
    if (piece.overridden != null) return ["doubt", "overridden"];
    return Date.now() >= (found.weigh_after ?? 0) ? ["doubt", "due"] : null;
  };

  // The list says how each piece stands by what this device knows.
  const drawList = () => {
    for (const cell of document.querySelectorAll("[data-state-of]")) {
      const piece = dry.piece(cell.dataset.stateOf);
      if (!piece || piece.is_out) continue;
      cell.textContent = dry.words(piece);
      cell.parentElement.querySelector(".tag")?.remove();
      const [look, word] = tagOf(piece) ?? [];
      if (!word) continue;
      const tag = document.createElement("span");
      tag.className = `tag ${look}`;
      tag.textContent = word;
      cell.after(" ", tag);
    }
    form.closest("[data-weighing]").hidden = !data.pieces.some(({ code: one }) => !dry.piece(one).is_out);
    const none = document.querySelector("[data-none]");
    if (none) none.hidden = !form.closest("[data-weighing]").hidden;
  };

  // The rules of web/steward/drying_parse.rs.
  const doubts = (piece, mass, at) => {
    const last = dry.last(piece);
    const said = check.doubts(mass, {
      siblings: null, readability: data.readability[balance.value] ?? 0, ownBefore: null, density: null,
      nominal: last?.mass_g ?? data.nominal_g,
    }, data.rules);
    const gain = last ? (100 * (mass - last.mass_g)) / last.mass_g : 0;
    if (!said.length && gain > data.gain_percent) {
      said.push(`It would have gained ${check.signed(gain, 1)} % since its last weighing, while it dries.`);
    }
    if (piece.needs_rinsing && !last) {
      said.push(`It is not on record that ${piece.code} was rinsed; salt and soil that cling to it are weighed too.`);
    }
    said.push(...work.ahead(at));
    if (last && at.getTime() < last.at) said.push("This lies before its last weighing.");
    return said;
  };

  const read = () => {
    const typed = spelling.bare(code.value);
    if (!typed) return work.stop("The code is missing.", code);
    const piece = dry.piece(typed);
    if (!piece || piece.is_out) return work.stop(spelling.sentence(typed) || `${typed} is not among the pieces that dry now.`, code);
    const { value: number, fault } = check.number(value.value, "The mass");
    if (fault) return work.stop(fault, value);
    const at = work.moment();
    if (!at) return null;
    const mass_g = number * data.one[unit.value];
    if (work.asks(doubts(piece, mass_g, at))) return null;
    return { piece, body: work.withMark({
      specimen: piece.code, occasion: piece.occasion, at: at.toISOString(), mass_g,
      typed: { text: value.value.trim(), unit: unit.value }, instrument: balance.value,
    }) };
  };

  // The last minute that the script itself wrote: a time that was typed by hand stays.
  let written = work.at.value;
  work.onSubmit(async () => {
    const found = read();
    if (!found) return;
    const symbol = unit.selectedOptions[0].textContent.trim();
    const words = `${found.piece.code}: drying, ${value.value.trim()} ${symbol}`;
    const row = await work.record({ kind: "drying_weighed", body: found.body, about: [found.piece.code], words });
    if (!row) return;
    dry.apply(row);
    work.settle();
    dryVerdict.show(found.piece.code);
    work.says.textContent = `${words}: recorded; ${dry.words(found.piece)}. Next piece?`;
    code.value = "";
    value.value = "";
    if (work.at.value === written) work.at.value = written = fieldwork.nowIn(form.dataset.zone);
    code.focus();
  });
  // Enter in the code field, as a hand scanner sends it too, goes on to the number.
  code.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || value.value.trim() !== "") return;
    event.preventDefault();
    value.focus();
  });
  document.querySelector("[data-verdict]").addEventListener("drawn", drawList);
  dryVerdict.ready.then(drawList).catch((error) => work.stop(outbox.sentence(error)));
})();
