// Where one piece stands that dries, and what may be done now: its last weighing taken as the dry mass once it
// is constant, or the rule overridden with a reason. Both go into the device's outbox. On the page of one
// piece it stands instead of what the server wrote; the drying round shows it after each weighing.
(() => {
  "use strict";
  const section = document.querySelector("[data-verdict]");
  if (!section || !window.overwinter?.fieldwork || !window.overwinter.dryState) return;
  const { fieldwork, dryState, outbox } = window.overwinter;
  const data = JSON.parse(section.dataset.verdict);
  const dry = dryState(data);
  const form = section.querySelector("form");
  const work = fieldwork(form);
  const part = (name) => section.querySelector(`[data-${name}]`);
  const reason = form.elements.namedItem("reason");
  let piece = null;

  const set = (name, text) => {
    const element = part(name);
    if (element.textContent !== text) element.textContent = text;
    element.hidden = !text;
  };
  const mass = ({ text, unit }) => `${text} ${dry.symbol(unit)}`;

  const draw = () => {
    const last = dry.last(piece);
    const mayTake = dry.mayTake(piece) && last && !piece.taken;
    set("code", piece.code);
    set("state", dry.words(piece));
    part("wanting").replaceChildren(...dry.wanting(piece).map((sentence) => {
      const item = document.createElement("li");
      item.textContent = sentence;
      return item;
    }));
    set("overridden", piece.overridden ? `The rule is overridden: “${piece.overridden}”` : "");
    set("taken", piece.taken ? `The dry mass is recorded: ${mass(piece.taken)}.` : "");
    set("take", mayTake ? `Take ${mass(last)} as the dry mass` : "");
    part("early").hidden = Boolean(piece.is_out || mayTake || piece.taken || piece.overridden);
    section.hidden = false;
    section.dispatchEvent(new Event("drawn"));
  };

  const done = (row, sentence) => {
    if (!row) return;
    dry.apply(row);
    draw();
    work.says.textContent = sentence;
    section.querySelector("h2").focus();
  };

  part("take").addEventListener("click", async () => {
    const reading = dry.dryMass(piece);
    const words = `${piece.code}: dry mass ${mass(reading.typed)}`;
    done(await work.record({ kind: "reading_taken", body: { reading }, about: [piece.code], words }), `${words}: recorded.`);
  });

  work.onSubmit(async () => {
    const note = reason.value.trim();
    if (!note) return work.stop("Say why the mass is taken before it is constant.", reason);
    const words = `${piece.code}: drying rule overridden`;
    const body = { specimens: [piece.code], occasion: piece.occasion };
    const row = await work.record({ kind: "drying_overridden", body, note, about: [piece.code], words });
    if (row) reason.value = "";
    return done(row, `${words}: recorded.`);
  });

  const show = (code) => {
    piece = dry.piece(code);
    work.says.textContent = "";
    if (piece) draw();
  };
  // What this device recorded since the page was made counts too.
  const ready = work.unknown().then((rows) => rows.forEach(dry.apply));
  ready.then(() => {
    const { of } = section.dataset;
    if (!of || (dry.piece(of)?.is_out ?? true)) return;
    show(of);
    document.querySelectorAll("[data-plain]").forEach((plain) => { plain.hidden = true; });
  }).catch((error) => work.stop(outbox.sentence(error)));

  window.overwinter.dryVerdict = { dry, ready, show };
})();
