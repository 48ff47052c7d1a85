// What a measuring round knows: the pieces and readings of its page, and what this device recorded
// since, sent or not. Knows no element of the page.
(() => {
  "use strict";
  const { outbox, check } = window.overwinter;

  const state = (data) => {
    const pieces = new Map(data.pieces.map((piece) => [piece.code, { ...piece, readings: [...piece.readings] }]));
    const settled = new Set(data.settled);
    const needs = new Map();
    const skipped = new Set();
    const recorded = [];

    const isOfRound = (reading) => reading.quantity === data.quantity
      && reading.occasion === data.occasion && reading.state === data.state;
    const holderOf = (entry) =>
      [...pieces.values()].find((piece) => piece.readings.some((reading) => reading.entry === entry));
    const asReading = (row) => {
      const { reading } = row.body;
      const { repeat, value, typed } = reading;
      return { entry: row.id, repeat, value, text: typed.text, unit: typed.unit };
    };
    const without = (piece, entry) => {
      piece.readings = piece.readings.filter((reading) => reading.entry !== entry);
    };

    // One row of the outbox. What the page's readings show already changes nothing.
    const apply = (row) => {
      const target = row.body.supersedes ?? row.body.entry;
      const holder = target ? holderOf(target) : pieces.get(row.body.reading?.specimen);
      if (row.study !== data.study || !holder) return;
      if (!target && !isOfRound(row.body.reading)) return;
      if (settled.has(row.id) || holderOf(row.id)) return;
      if (row.state === "refused") {
        needs.set(holder.code, row.why);
        return;
      }
      if (target) without(holder, target);
      if (row.body.reading) holder.readings.push(asReading(row));
      else settled.add(row.id);
      recorded.push({ code: holder.code, entry: row.id });
      skipped.delete(holder.code);
    };

    // The server refused it meanwhile: it counts as no reading, and the piece needs somebody.
    const refuse = (row) => {
      if (row.study !== data.study || !/^(reading_|voided)/.test(row.kind)) return;
      const holder = holderOf(row.id) ?? pieces.get(row.about[0]);
      if (!holder || needs.has(holder.code)) return;
      without(holder, row.id);
      needs.set(holder.code, row.why);
    };

    const mean = (piece) => {
      const values = piece.readings.map((reading) => reading.value);
      return values.length ? values.reduce((sum, value) => sum + value, 0) / values.length : null;
    };
    const freeRepeat = (piece) => {
      for (let n = 1; n <= data.wanted; n += 1) {
        if (!piece.readings.some((reading) => reading.repeat === n)) return n;
      }
      return null;
    };
    const isDue = (piece) => freeRepeat(piece) !== null && !needs.has(piece.code);

    // The next piece that lacks a reading: after this one, then from the top, the skipped ones last.
    const next = (after) => {
      const all = [...pieces.values()];
      const start = all.findIndex((piece) => piece.code === after) + 1;
      const turned = [...all.slice(start), ...all.slice(0, start)].filter(isDue);
      const fresh = turned.find((piece) => !skipped.has(piece.code));
      return fresh ?? turned.find((piece) => piece.code !== after) ?? turned[0] ?? null;
    };

    const siblings = (code) => check.spread([...pieces.values()]
      .filter((piece) => piece.code !== code).map(mean).filter((value) => value !== null));

    // Mass in g over volume in cm³, where the shape's volume is known.
    const density = (piece, value) => {
      if (data.material_density == null || data.shape === "other") return null;
      const read = (name) => (name === data.body_name ? value : piece.others[name]);
      const [mass, length] = [read("mass"), read("length")];
      const area = data.shape === "round" ? (Math.PI / 4) * read("diameter") ** 2 : read("width") * read("thickness");
      const own = mass / ((area * length) / 1000);
      return Number.isFinite(own) ? [own, data.material_density] : null;
    };

    const expected = (piece, value) => ({
      siblings: siblings(piece.code),
      readability: data.readability,
      nominal: data.nominal,
      ownBefore: piece.before_checked,
      density: density(piece, value),
    });

    // What was recorded last and still counts.
    const last = () => {
      const own = recorded.findLast?.(({ entry }) => holderOf(entry)) ?? data.last;
      const piece = own && pieces.get(own.code);
      const reading = piece?.readings.find((one) => one.entry === own.entry);
      return reading ? { piece, reading } : null;
    };

    return {
      apply, refuse, next, siblings, expected, freeRepeat, last, needs, skipped,
      piece: (code) => pieces.get(code) ?? null,
      missing: () => [...pieces.values()].filter((piece) => freeRepeat(piece) !== null),
      progress: () => ({ done: [...pieces.values()].filter((piece) => freeRepeat(piece) === null).length, of: pieces.size }),
      catchUp: async () => { (await outbox.all()).forEach(apply); },
    };
  };

  window.overwinter.roundState = state;
})();
