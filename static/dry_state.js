// What a page knows of the pieces that dry: the weighings that it came with and those of the outbox together,
// overrides and dry masses too. Knows no element of the page.
(() => {
  "use strict";
  const { dryRule } = window.overwinter;

  const state = (data) => {
    const pieces = new Map(data.pieces.map((piece) => [piece.code, {
      ...piece, weighings: piece.weighings.map((one) => ({ ...one, at: Date.parse(one.at) })),
    }]));

    const weigh = (piece, row) => {
      const { occasion, at, mass_g, typed, instrument, is_confirmed_doubt } = row.body;
      if (piece?.occasion !== occasion || piece.weighings.some((one) => one.entry === row.id)) return;
      piece.weighings.push({
        entry: row.id, at: Date.parse(at), mass_g, step_g: data.readability[instrument] ?? 0, text: typed.text,
        unit: typed.unit, instrument, is_confirmed_doubt: is_confirmed_doubt === true,
      });
      piece.weighings.sort((one, other) => one.at - other.at);
    };

    const isDryMass = (reading) => reading?.quantity === "mass" && reading.state === data.final_state;
    const byKind = {
      handled: ({ body }) => {
        if (body.what !== "cleaned") return;
        body.specimens.forEach((code) => { if (pieces.has(code)) pieces.get(code).needs_rinsing = false; });
      },
      // Taken in on this device: it dries from now on.
      taken_in: ({ about }) => about.forEach((code) => { if (pieces.has(code)) pieces.get(code).is_out = false; }),
      drying_weighed: (row) => weigh(pieces.get(row.body.specimen), row),
      drying_overridden: ({ body, note }) => body.specimens.forEach((code) => {
        const piece = pieces.get(code);
        if (piece?.occasion === body.occasion) piece.overridden = note;
      }),
      reading_taken: ({ body }) => {
        const { reading } = body;
        const piece = pieces.get(reading.specimen);
        if (isDryMass(reading) && piece?.occasion === reading.occasion) piece.taken ??= { text: reading.typed.text, unit: reading.typed.unit };
      },
      voided: ({ body }) => {
        for (const piece of pieces.values()) piece.weighings = piece.weighings.filter((one) => one.entry !== body.entry);
      },
    };
    // One row of the outbox; what the server refused counts for nothing.
    const apply = (row) => { if (row.state !== "refused") byKind[row.kind]?.(row); };

    const judged = (piece, now = Date.now()) => dryRule.judge(data.rule, data.margin_percent, piece.weighings, now);
    // The last weighing as a reading of the dry mass, as web/steward/drying_show.rs takes it.
    const dryMass = (piece) => {
      const last = piece.weighings[piece.weighings.length - 1];
      return {
        specimen: piece.code, quantity: "mass", occasion: piece.occasion, repeat: 1, state: data.final_state,
        value: last.mass_g, typed: { text: last.text, unit: last.unit }, instrument: last.instrument,
        ...(last.is_confirmed_doubt ? { is_confirmed_doubt: true } : {}),
      };
    };
    const mayTake = (piece) => !piece.is_out && (piece.overridden != null || judged(piece).word === "constant");

    return {
      apply, judged, dryMass, mayTake,
      piece: (code) => pieces.get(code) ?? null,
      last: (piece) => piece.weighings[piece.weighings.length - 1] ?? null,
      symbol: (unit) => data.symbols[unit] ?? unit,
      words: (piece) => dryRule.state(judged(piece), data.zone),
      wanting: (piece) => dryRule.wanting(judged(piece), data.zone),
    };
  };

  window.overwinter.dryState = state;
})();
