// Taking in: the pick-list into the device's outbox, with or without a network.
(() => {
  "use strict";
  const form = document.querySelector("form[data-take-in]");
  if (!form || !window.overwinter?.fieldwork) return;
  const { fieldwork, outbox } = window.overwinter;
  const work = fieldwork(form);
  const [days, reach] = ["stage", "window"].map((name) => Number(form.dataset[name]));
  const note = form.elements.namedItem("note");
  const lines = [...form.querySelectorAll("[data-piece]")];
  const select = (line, name) => form.elements.namedItem(`${name}-${line.dataset.piece}`);

  // Pieces that this device took in since the page was made are not asked for again.
  const draw = async () => {
    const rows = await work.unknown();
    const back = new Set(rows.filter((row) => row.kind === "taken_in").flatMap((row) => row.about));
    for (const line of lines.filter((one) => back.has(one.dataset.piece))) {
      select(line, "state").value = "";
      for (const name of ["state", "known"]) select(line, name).disabled = true;
      line.querySelector("small").textContent = "taken in, recorded here";
    }
  };

  const recovered = () => lines.flatMap((line) => {
    const [recovery, known] = ["state", "known"].map((name) => select(line, name).value);
    if (!recovery) return [];
    // Nothing was found that could be identified.
    return [{ specimen: line.dataset.piece, recovery, identity: recovery === "not_found" ? "unknown" : known }];
  });

  // What study/outing.rs says of pieces that come in outside their stage's window. Days are those of the
  // study's zone, as the field has them.
  const outside = (pieces) => {
    const day = Date.parse(work.at.value.slice(0, 10));
    const planned = new Set(pieces.filter((piece) => piece.recovery !== "in_error").map((piece) => piece.specimen));
    const out = lines.filter((line) => planned.has(line.dataset.piece) && line.dataset.out)
      .map((line) => Math.round((day - Date.parse(line.dataset.out)) / 864e5))
      .filter((spent) => Math.abs(spent - days) > reach)
      .sort((one, other) => one - other);
    if (!out.length) return [];
    const [least, most] = [out[0], out[out.length - 1]];
    const spent = least === most ? `${least} days` : `${least} to ${most} days`;
    return [`${out.length} ${out.length === 1 ? "piece comes" : "pieces come"} in after ${spent}; the plan says ${days} ± ${reach} days.`];
  };

  work.onSubmit(async () => {
    const pieces = recovered();
    if (!pieces.length) {
      return work.stop("Say for at least one piece in which state it came in.", form.querySelector("select:enabled"));
    }
    const at = work.moment();
    if (!at || work.asks([...work.ahead(at), ...outside(pieces)])) return null;
    const about = pieces.map((piece) => piece.specimen);
    const words = `${fieldwork.count(about)}: taken in`;
    const body = work.withMark({ pieces, at: at.toISOString() });
    const entry = { kind: "taken_in", body, note: note.value.trim(), about, words };
    return (await work.record(entry)) && work.close(words, ["exposure/in", "Another stage"]);
  });
  draw().catch((error) => work.stop(outbox.sentence(error)));
})();
