// A weighing while a piece dries: into the device's outbox, with or without a network; then the form is
// ready for the next piece. Whether the mass is constant by the plan's rule is the server's to say.
(() => {
  "use strict";
  const form = document.querySelector("form[data-drying]");
  if (!form || !window.overwinter?.fieldwork) return;
  const { fieldwork, check, code: spelling, outbox } = window.overwinter;
  const work = fieldwork(form);
  const data = JSON.parse(form.dataset.drying);
  const pieces = new Map(data.pieces.map((piece) => [piece.code, { ...piece }]));
  const field = (name) => form.elements.namedItem(name);
  const [code, value, unit, balance] = ["code", "value", "unit", "instrument"].map(field);

  const wet = (specimen) => {
    const piece = pieces.get(specimen);
    if (!piece?.is_out) return;
    piece.is_out = false;
    form.closest("[data-weighing]").hidden = false;
    const none = document.querySelector("[data-none]");
    if (none) none.hidden = true;
  };

  // What this device recorded since the page was made.
  const apply = (row) => {
    if (row.state === "refused") return;
    if (row.kind === "handled" && row.body.what === "cleaned") {
      row.body.specimens.forEach((one) => { if (pieces.has(one)) pieces.get(one).needs_rinsing = false; });
    }
    // Taken in on this device: it dries from now on.
    if (row.kind === "taken_in") row.about.forEach(wet);
    if (row.kind !== "drying_weighed") return;
    const { specimen, occasion, at, mass_g } = row.body;
    const piece = pieces.get(specimen);
    if (piece?.occasion === occasion) Object.assign(piece, { last_at: at, last_g: mass_g });
  };

  // The rules of web/steward/drying_parse.rs.
  const doubts = (piece, mass, at) => {
    const said = check.doubts(mass, {
      siblings: null, readability: data.readability[balance.value] ?? 0, ownBefore: null, density: null,
      nominal: piece.last_g ?? data.nominal_g,
    }, data.rules);
    const gain = piece.last_g == null ? 0 : (100 * (mass - piece.last_g)) / piece.last_g;
    if (!said.length && gain > data.gain_percent) {
      said.push(`It would have gained ${check.signed(gain, 1)} % since its last weighing, while it dries.`);
    }
    if (piece.needs_rinsing && piece.last_g == null) {
      said.push(`It is not on record that ${piece.code} was rinsed; salt and soil that cling to it are weighed too.`);
    }
    said.push(...work.ahead(at));
    if (piece.last_at && at < new Date(piece.last_at)) said.push("This lies before its last weighing.");
    return said;
  };

  const read = () => {
    const typed = spelling.bare(code.value);
    if (!typed) return work.stop("The code is missing.", code);
    const piece = pieces.get(typed);
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
    apply(row);
    work.settle();
    work.says.textContent = `${words}: recorded. Next piece?`;
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
  work.unknown().then((rows) => rows.forEach(apply)).catch((error) => work.stop(outbox.sentence(error)));
})();
